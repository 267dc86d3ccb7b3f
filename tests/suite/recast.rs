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

fn fixture(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(name)
}

/// Longitudes, latitudes and axes agree; azimuths differ by the difference of the convergences.
fn agree(a: &AsBuilt, b: &AsBuilt) {
    assert_eq!(a.marks.len(), b.marks.len());
    assert!(a.marks.len() > 7, "nothing to compare");
    let turn = a.frame.convergence.unwrap() - b.frame.convergence.unwrap();
    for (m, n) in a.marks.iter().zip(&b.marks) {
        let (p, q) = (m.geographic.unwrap(), n.geographic.unwrap());
        let metres = (p.longitude - q.longitude).hypot(p.latitude - q.latitude) * 111_000.0;
        assert!(metres < 1e-4, "{}: {metres} m apart", m.mark);
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
        agree(&own, &other);
        assert!(other.notes.iter().any(|note| note.text.contains(crs)));
    }
}

#[test]
fn positions_of_the_systems_own_datum_and_angles() {
    let job = fixture("jobs/mill-row");
    agree(&record(&job, None), &record(&job, Some("EPSG:5243")));
}

#[test]
fn grid_bearings_turn_with_the_grid() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write(
        "job.toml",
        "[job]\nid = \"turn\"\n[grid]\ncrs = \"EPSG:25832\"\nunit = \"m\"\nheight = \"30 m\"\n[[run]]\nid = \"A\"\n",
    );
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
    );
}

#[test]
fn a_local_grid_has_no_other_system() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write(
        "job.toml",
        "[job]\nid = \"site\"\n[grid]\ncrs = \"local\"\nunit = \"m\"\n[[run]]\nid = \"A\"\n",
    );
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
