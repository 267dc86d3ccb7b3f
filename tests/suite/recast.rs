//! The same job in another coordinate system is the same pipe.
#![expect(clippy::unwrap_used, reason = "a test stops where it fails")]

use std::fs;
use std::path::Path;

use aslaid::pipeline::{Options, run};
use aslaid::record::AsBuilt;

fn record(job: &Path, crs: Option<&str>) -> AsBuilt {
    let options = Options {
        crs: crs.map(str::to_owned),
        ..Options::default()
    };
    run(job, &options).unwrap().record.unwrap()
}

/// A folder with the settings of a job in a system, in metres, of one run.
fn job_in(crs: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let toml = format!(
        "[job]\nid = \"recast\"\n[grid]\ncrs = \"{crs}\"\nunit = \"m\"\nheight = \"30 m\"\n[[run]]\nid = \"A\"\n"
    );
    fs::write(folder.path().join("job.toml"), toml).unwrap();
    folder
}

fn fixture(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(name)
}

/// What the same datum loses on the way to another grid and back, metres.
const SAME_DATUM: f64 = 1e-4;
/// What a shift by seven parameters of some hundred metres and parts in a million loses: its inverse is one to first order only.
const OTHER_DATUM: f64 = 1e-3;

/// Longitudes, latitudes and axes agree; azimuths differ by the difference of the convergences.
fn agree(a: &AsBuilt, b: &AsBuilt, most: f64) {
    assert_eq!(a.marks.len(), b.marks.len());
    assert!(a.marks.len() > 7, "nothing to compare");
    let turn = a.frame.convergence.unwrap() - b.frame.convergence.unwrap();
    for (m, n) in a.marks.iter().zip(&b.marks) {
        let (p, q) = (m.geographic.unwrap(), n.geographic.unwrap());
        let metres = (p.longitude - q.longitude).hypot(p.latitude - q.latitude) * 111_000.0;
        assert!(metres < most, "{}: {metres} m apart", m.mark);
        let (e, f) = (m.ellipse.unwrap(), n.ellipse.unwrap());
        assert!((e.semi_major_95 / f.semi_major_95 - 1.0).abs() < 2e-3);
        assert!((e.semi_minor_95 / f.semi_minor_95 - 1.0).abs() < 2e-3);
        let difference = (f.azimuth_95 - e.azimuth_95 - turn + 90.0).rem_euclid(180.0) - 90.0;
        let round = e.semi_major_95 / e.semi_minor_95 - 1.0;
        assert!(difference.abs() * round < 0.02, "{}: {difference}", m.mark);
    }
}

#[test]
fn state_plane_in_other_feet_metres_and_utm() {
    let job = fixture("demo/fern-hollow");
    let own = record(&job, None);
    for crs in ["EPSG:32119", "EPSG:26917", "EPSG:2264"] {
        let other = record(&job, Some(crs));
        assert_eq!(other.frame.crs, crs);
        agree(&own, &other, SAME_DATUM);
        assert!(other.notes.iter().any(|note| note.text.contains(crs)));
    }
}

#[test]
fn positions_of_the_systems_own_datum_and_angles() {
    let job = fixture("jobs/mill-row");
    agree(
        &record(&job, None),
        &record(&job, Some("EPSG:5243")),
        SAME_DATUM,
    );
}

#[test]
fn grid_bearings_turn_with_the_grid() {
    let folder = job_in("EPSG:25832");
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write(
        "control.csv",
        "point,easting,northing\nP1,690000,5700000\nP2,690030,5700010\n",
    );
    let mut rows = String::from("run,mark,counter,setup,bearing,bearing_from,distance\n");
    for i in 0..8 {
        let bearing = 10 + 3 * i;
        rows.push_str(&format!("A,A{i},{i},P1,{bearing},grid,{}\n", 10 + i));
    }
    write("marks.csv", &rows);
    agree(
        &record(folder.path(), None),
        &record(folder.path(), Some("EPSG:5243")),
        SAME_DATUM,
    );
}

/// Marks by coordinates, by positions through a correction service and without, told on a grid of another datum: each place keeps its
/// longitude and latitude, as have the runs' vertices; the operations behind them are stated.
#[test]
fn another_datum_moves_nothing_on_earth() {
    let folder = job_in("EPSG:25832");
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    let mut rows = String::from("run,mark,counter,easting,northing,latitude,longitude,fix,sigma\n");
    for i in 0..9 {
        let (easting, latitude) = (550_000 + 3 * i, 51.447_5 + 1e-9 * f64::from(i));
        let longitude = 9.719_5 + 4.2e-5 * f64::from(i);
        rows.push_str(&match i % 3 {
            0 => format!("A,A{i},{},{easting},5700000,,,,\n", 3 * i),
            1 => format!("A,A{i},{},,,{latitude},{longitude},rtk,0.02\n", 3 * i),
            _ => format!("A,A{i},{},,,{latitude},{longitude},dgnss,0.3\n", 3 * i),
        });
    }
    write("marks.csv", &rows);
    let own = record(folder.path(), None);
    let other = record(folder.path(), Some("EPSG:31467"));
    agree(&own, &other, OTHER_DATUM);
    for (a, b) in own.runs[0].vertices.iter().zip(&other.runs[0].vertices) {
        let (p, q) = (a.geographic.unwrap(), b.geographic.unwrap());
        let metres = (p.longitude - q.longitude).hypot(p.latitude - q.latitude) * 111_000.0;
        assert!(metres < OTHER_DATUM, "{metres} m apart");
    }
    assert_eq!(other.frame.given_crs.as_deref(), Some("EPSG:25832"));
    assert_eq!(own.frame.given_crs, None);
    let between = |record: &AsBuilt| {
        let mut operations = record.frame.operations.iter();
        operations.any(|by| by.from.contains("ETRS89") && by.to.contains("DHDN"))
    };
    assert!(between(&other) && !between(&own));
}

#[test]
fn a_local_grid_has_no_other_system() {
    let folder = job_in("local");
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write("control.csv", "point,x,y\nP1,0,0\nP2,30,0\n");
    write(
        "marks.csv",
        "run,mark,baseline,station,offset\nA,A1,P1>P2,4,2\nA,A2,P1>P2,9,2\n",
    );
    let options = Options {
        crs: Some("EPSG:25832".to_owned()),
        ..Options::default()
    };
    let error = run(folder.path(), &options).unwrap_err().to_string();
    assert!(error.contains("local grid"), "{error}");
}

/// Grid bearings turn by the difference of the convergences, also where every given place is a longitude and latitude.
#[test]
fn grid_bearings_turn_without_any_grid_coordinates() {
    let folder = job_in("EPSG:25833");
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write(
        "control.csv",
        "point,latitude,longitude\nP1,51.5,14.5\nP2,51.5003,14.5004\n",
    );
    write(
        "marks.csv",
        "run,mark,setup,bearing,bearing_from,distance\nA,A1,P1,40,grid,20\nA,A2,P1,60,grid,22\nA,A3,P2,110,grid,18\n",
    );
    let (own, other) = (
        record(folder.path(), None),
        record(folder.path(), Some("EPSG:3035")),
    );
    let turn = own.frame.convergence.unwrap() - other.frame.convergence.unwrap();
    assert!(turn.abs() > 0.5, "{turn}");
    assert_eq!(own.marks.len(), 3);
    for (a, b) in own.marks.iter().zip(&other.marks) {
        let (p, q) = (a.geographic.unwrap(), b.geographic.unwrap());
        let metres = (p.longitude - q.longitude).hypot(p.latitude - q.latitude) * 111_000.0;
        // ETRS89-LAEA is not conformal: lengths and angles bend by parts in ten thousand.
        assert!(metres < 0.02, "{}: {metres} m apart", a.mark);
    }
}
