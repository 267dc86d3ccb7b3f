//! Other people's points: files in any column order, maps with field names of their own, jobs that are nothing but these and depths.

use std::process::Command;

use aslaid::findings::{Code, Level};
use aslaid::pipeline::{Options, Outcome, run};
use aslaid::record::AsBuilt;
use serde_json::json;

const FOOT: f64 = 0.3048;
const HEAD: &str = "[job]\nid = \"P-1\"\nsupplier = \"S\"\nlocated_on = 2026-05-14\n[grid]\ncrs = \"EPSG:2264\"\nunit = \"ft\"\n\
    [equipment]\naxis_above_invert = \"1.5 in\"\n[[run]]\nid = \"A\"\ndiameter = \"4 in\"\n";

/// Marks that somebody else staked: name, easting and northing (US survey feet), elevation (feet).
const STAKES: [(&str, f64, f64, f64); 3] = [
    ("A1", 1_443_600.25, 541_300.5, 705.32),
    ("A2", 1_443_630.5, 541_310.25, 704.9),
    ("A3", 1_443_660.75, 541_318.0, 704.1),
];
const DEPTHS: &str = "mark,counter,depth_1,depth_2\nA1,0,4.1,4.2\nA2,32,4.5,4.5\nA3,63,4.9,5.0\n";

fn job(section: &str, files: &[(&str, String)]) -> (tempfile::TempDir, Outcome) {
    let folder = tempfile::tempdir().unwrap();
    let settings = HEAD.replace("[[run]]", &format!("{section}\n[[run]]"));
    std::fs::write(folder.path().join("job.toml"), settings).unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let outcome = run(folder.path(), &Options::default()).unwrap();
    (folder, outcome)
}

#[track_caller]
fn record(outcome: Outcome) -> AsBuilt {
    let errors: Vec<_> = outcome
        .findings
        .iter()
        .filter(|finding| finding.level == Level::Error)
        .collect();
    assert!(errors.is_empty(), "{errors:#?}");
    outcome.record.unwrap()
}

/// The marks lie where they were staked, their pipe as deep as was read.
#[track_caller]
fn holds(record: &AsBuilt, tolerance: f64) {
    assert_eq!(record.marks.len(), 3);
    assert!(record.references.is_empty(), "{:?}", record.references);
    for ((name, e, n, elevation), depth) in STAKES.into_iter().zip([4.15, 4.5, 4.95]) {
        let mark = record.marks.iter().find(|mark| mark.mark == name).unwrap();
        let off = (mark.paint.easting - e).hypot(mark.paint.northing - n);
        assert!(off < tolerance, "{name}: {off}");
        assert!((mark.ground.unwrap() - elevation).abs() < 1e-6, "{name}");
        assert!(
            (mark.transmitter_depth.unwrap() - depth).abs() < 0.02,
            "{name}"
        );
        // Depth to the axis, and from there to the invert.
        let invert = elevation - mark.transmitter_depth.unwrap() - 0.125;
        assert!((mark.invert.unwrap() - invert).abs() < 1e-6, "{name}");
    }
}

fn lines(row: impl Fn(&(&str, f64, f64, f64)) -> String) -> String {
    STAKES.iter().map(|stake| row(stake) + "\n").collect()
}

#[test]
fn a_job_can_be_points_in_any_column_order_and_depths() {
    for (columns, separator, row) in [
        (
            "point, northing, easting, elevation, description",
            ',',
            (|(p, e, n, z): &(&str, f64, f64, f64)| format!("{p},{n},{e},{z},stake"))
                as fn(&(&str, f64, f64, f64)) -> String,
        ),
        (
            "easting, northing, elevation, point",
            ',',
            |(p, e, n, z)| format!("{e},{n},{z},{p}"),
        ),
        (
            "elevation, point, code, northing, easting",
            ';',
            |(p, e, n, z)| format!("{z};{p};7;{n};{e}"),
        ),
        (
            "point, easting, northing, elevation",
            '\t',
            |(p, e, n, z)| format!("{p}\t{e}\t{n}\t{z}"),
        ),
    ] {
        let section = format!("[points]\nfiles = [\"stakes.txt\"]\ncolumns = \"{columns}\"");
        let (_folder, outcome) = job(
            &section,
            &[("marks.csv", DEPTHS.to_owned()), ("stakes.txt", lines(row))],
        );
        let record = record(outcome);
        holds(&record, 1e-6);
        assert!(
            record.inputs.iter().any(|input| input.file == "stakes.txt"),
            "{separator}"
        );
        let said = record
            .notes
            .iter()
            .filter(|note| note.text.contains("takes its place from stakes.txt:"));
        assert_eq!(said.count(), 3);
    }
    // A heading of the file's own is left out, and said.
    let text = format!(
        "Pt,N,E,Z\n{}",
        lines(|(p, e, n, z)| format!("{p},{n},{e},{z}"))
    );
    let section = "[points]\nfiles = \"stakes.csv\"\ncolumns = [\"point\", \"northing\", \"easting\", \"elevation\"]";
    let (_folder, outcome) = job(
        section,
        &[("marks.csv", DEPTHS.to_owned()), ("stakes.csv", text)],
    );
    assert!(
        outcome
            .remarks
            .iter()
            .any(|text| text.contains("taken for a heading: Pt,N,E,Z"))
    );
    assert!(
        !outcome
            .remarks
            .iter()
            .any(|text| text.contains("is not read")),
        "{:?}",
        outcome.remarks
    );
    let record = record(outcome);
    holds(&record, 1e-6);
}

#[test]
fn located_points_with_their_depths_need_no_other_table() {
    let text = lines(|(p, e, n, z)| format!("{p},{n},{e},{z},{},{}", 4.1, 4.2));
    let section = "[points]\nfiles = \"located.txt\"\ncolumns = \"mark, northing, easting, ground, depth_1, depth_2\"";
    let (_folder, outcome) = job(section, &[("located.txt", text)]);
    let record = record(outcome);
    assert_eq!(record.marks.len(), 3);
    assert_eq!(record.marks[2].source, "located.txt:3");
    assert!((record.marks[0].easting - STAKES[0].1).abs() < 2.0);
    assert!(record.marks.iter().all(|mark| mark.invert.is_some()));
    // Nothing at all is still said.
    let (_folder, outcome) = job("", &[]);
    assert!(
        outcome
            .findings
            .iter()
            .any(|finding| finding.message.contains("it is not there; a job needs"))
    );
}

#[test]
fn maps_give_points_with_field_names_of_their_own() {
    let section = |file: &str| {
        format!(
            "[points]\nfiles = \"{file}\"\ncolumns = \"point = PT_NO, elevation = Z_FT, description = WHAT\""
        )
    };
    let features = |place: &dyn Fn(f64, f64) -> (f64, f64)| {
        let one = |(p, e, n, z): &(&str, f64, f64, f64)| {
            let (x, y) = place(*e, *n);
            json!({"type": "Feature", "properties": {"PT_NO": p, "Z_FT": z, "WHAT": "stake"}, "geometry": {"type": "Point", "coordinates": [x, y]}})
        };
        STAKES.iter().map(one).collect::<Vec<_>>()
    };
    let crs = |code: u32| json!({"type": "name", "properties": {"name": format!("urn:ogc:def:crs:EPSG::{code}")}});
    let grid = json!({"type": "FeatureCollection", "crs": crs(2264), "features": features(&|e, n| (e, n))}).to_string();
    let marks = ("marks.csv", DEPTHS.to_owned());
    let (folder, outcome) = job(
        &section("stakes.geojson"),
        &[marks.clone(), ("stakes.geojson", grid)],
    );
    holds(&record(outcome), 1e-6);

    // The same as GDAL writes it.
    let package = folder.path().join("stakes.gpkg");
    let done = Command::new("ogr2ogr")
        .args(["-f", "GPKG"])
        .args([&package, &folder.path().join("stakes.geojson")])
        .status()
        .expect("ogr2ogr, of gdal-bin");
    assert!(done.success());
    std::fs::remove_file(folder.path().join("stakes.geojson")).unwrap();
    let settings = std::fs::read_to_string(folder.path().join("job.toml")).unwrap();
    std::fs::write(
        folder.path().join("job.toml"),
        settings.replace("geojson", "gpkg"),
    )
    .unwrap();
    holds(
        &record(run(folder.path(), &Options::default()).unwrap()),
        1e-6,
    );

    // In degrees of the grid's own datum (EPSG:4269, NAD83): nothing but the projection is between.
    let to = aslaid::crs::Crs::new("EPSG:2264", aslaid::units::LengthUnit::Metre).unwrap();
    let metres = to.unit_metres();
    let degrees = json!({"type": "FeatureCollection", "crs": crs(4269), "features": features(&|e, n| {
        let places = to.to_geographic(&aslaid::crs::Datum::OfCrs, &[(e * metres, n * metres)]).unwrap().0;
        (places[0].0.to_degrees(), places[0].1.to_degrees())
    })});
    let (_folder, outcome) = job(
        &section("stakes.geojson"),
        &[marks.clone(), ("stakes.geojson", degrees.to_string())],
    );
    holds(&record(outcome), 1e-3);

    // Another grid is not guessed at.
    let other = json!({"type": "FeatureCollection", "crs": crs(32119), "features": features(&|e, n| (e * FOOT, n * FOOT))});
    let (_folder, outcome) = job(
        &section("stakes.geojson"),
        &[marks, ("stakes.geojson", other.to_string())],
    );
    assert!(refused(&outcome, "EPSG:32119"), "{:#?}", outcome.findings);
}

fn refused(outcome: &Outcome, says: &str) -> bool {
    let mut errors = outcome
        .findings
        .iter()
        .filter(|finding| finding.level == Level::Error);
    errors.any(|finding| finding.code == Code::Unreadable && finding.message.contains(says))
}

#[test]
fn what_can_not_be_read_is_named() {
    let marks = ("marks.csv", DEPTHS.to_owned());
    let good = (
        "stakes.txt",
        lines(|(p, e, n, z)| format!("{p},{n},{e},{z}")),
    );
    for (files, columns, says) in [
        (
            "stakes.txt",
            "northing, easting",
            "point (for reference points) or mark",
        ),
        (
            "stakes.txt",
            "point, northing, elevation",
            "4 cells under 3 headings",
        ),
        ("absent.txt", "point, northing, easting", "absent.txt: "),
        (
            "../stakes.txt",
            "point, northing, easting",
            "is no plain name",
        ),
        (
            "stakes.txt",
            "point, easting, elevation, northing, northing",
            "stands twice",
        ),
    ] {
        let section = format!("[points]\nfiles = \"{files}\"\ncolumns = \"{columns}\"");
        let (_folder, outcome) = job(&section, &[marks.clone(), good.clone()]);
        let said: Vec<&str> = outcome
            .findings
            .iter()
            .map(|finding| finding.message.as_str())
            .collect();
        assert!(
            said.iter().any(|message| message.contains(says)),
            "{columns}: {said:#?}"
        );
    }
    // A cell that is no number is named with its line.
    let text = good
        .1
        .replace("541310.25", "541310,25x")
        .replace(',', ";")
        .replace("541310;25x", "here");
    let section =
        "[points]\nfiles = \"stakes.txt\"\ncolumns = \"point, northing, easting, elevation\"";
    let (_folder, outcome) = job(section, &[marks.clone(), ("stakes.txt", text)]);
    assert!(refused(&outcome, "stakes.txt:2"), "{:#?}", outcome.findings);
    // A point that a file and control.csv both define.
    let control = (
        "control.csv",
        "point,easting,northing\nA2,1443630.5,541310.25\n".to_owned(),
    );
    let (_folder, outcome) = job(section, &[marks, good, control]);
    let said: Vec<&str> = outcome
        .findings
        .iter()
        .map(|finding| finding.message.as_str())
        .collect();
    assert!(
        said.iter()
            .any(|message| message.contains("is defined in control.csv:2 already")),
        "{said:#?}"
    );
}
