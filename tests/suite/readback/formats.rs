//! The files, held against `record.json`.

use std::fs;
use std::path::{Path, PathBuf};

use aslaid::record::AsBuilt;
use aslaid::units::LengthUnit;

use super::common::{HOSTILE, draft, local, sample};
use super::{build, here, outside, python};

/// Every check on one record; gives the folder's name for further ones.
fn check(record: AsBuilt) {
    let root = tempfile::tempdir().unwrap();
    let folder = build(root.path(), record).folder;
    check_folders(&[folder]);
}

/// Every check on result folders.
pub fn check_folders(folders: &[PathBuf]) {
    let text = |path: &Path| path.to_str().unwrap().to_owned();
    let of = |name: &str| -> Vec<String> {
        folders
            .iter()
            .map(|folder| text(&folder.join(name)))
            .collect()
    };
    let mut arguments = vec![text(&here("tests/suite/readback/formats.py"))];
    arguments.extend(folders.iter().map(|folder| text(folder)));
    let said = python_of(&arguments);
    assert_eq!(
        said.matches("values equal").count(),
        4 * folders.len(),
        "{said}"
    );
    println!("{said}");
    let mut arguments = vec![
        text(&here("tests/suite/readback/geoparquet.py")),
        text(&here("fixtures/reference/geoparquet/schema.json")),
    ];
    arguments.extend(of("asbuilt.parquet"));
    assert_eq!(python_of(&arguments).trim(), "OK");
    let validate = [
        "-m",
        "osgeo_utils.samples.validate_gpkg",
        "--extra",
        "--warning-as-error",
    ];
    for file in of("asbuilt.gpkg") {
        let mut arguments = validate.to_vec();
        arguments.push(&file);
        let said = python(&arguments);
        assert!(said.trim().is_empty() || said.contains("OK"), "{said}");
    }
    for file in of("asbuilt.gpkg").iter().chain(&of("asbuilt.dxf")) {
        let said = outside("ogrinfo", &["-ro", "-al", file]);
        assert!(
            !said.contains("Warning") && !said.contains("ERROR"),
            "{said}"
        );
    }
}

fn python_of(arguments: &[String]) -> String {
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    python(&arguments)
}

#[test]
fn every_format_says_what_the_record_says() {
    check(sample());
}

#[test]
fn a_draft_says_so_in_every_format() {
    check(draft());
}

#[test]
fn site_coordinates_are_in_no_system() {
    check(local());
}

/// The record in another system: its coordinates are then elsewhere, its longitudes and latitudes unknown.
fn elsewhere(crs: &str, name: &str, unit: (&str, f64)) -> AsBuilt {
    let mut record = sample();
    (record.frame.crs, record.frame.crs_name) = (crs.to_owned(), name.to_owned());
    (record.frame.crs_unit, record.frame.crs_unit_metres) = (unit.0.to_owned(), unit.1);
    for mark in &mut record.marks {
        mark.geographic = None;
    }
    for vertex in record.runs.iter_mut().flat_map(|run| &mut run.vertices) {
        vertex.geographic = None;
    }
    for camera in &mut record.camera {
        camera.geographic = None;
    }
    for reference in &mut record.references {
        reference.geographic = None;
    }
    record
}

#[test]
fn metres_and_international_feet_are_right_too() {
    let mut record = elsewhere("EPSG:25832", "ETRS89 / UTM zone 32N", ("metre", 1.0));
    record.frame.unit = LengthUnit::UsSurveyFoot;
    check(record);
    check(elsewhere(
        "EPSG:2222",
        "NAD83 / Arizona East (ft)",
        ("foot", 0.3048),
    ));
}

#[test]
fn hostile_texts_stand_everywhere_a_text_can() {
    for some in HOSTILE.chunks(8) {
        let mut record = sample();
        let mut texts = some.iter().cycle().map(|text| (*text).to_owned());
        let mut next = || texts.next().unwrap();
        for mark in &mut record.marks {
            (mark.mark, mark.note, mark.fitting) = (next(), Some(next()), Some(next()));
        }
        for run in &mut record.runs {
            run.texts.insert("material".to_owned(), next());
            run.texts.insert("address".to_owned(), next());
        }
        for reference in &mut record.references {
            reference.description = Some(next());
        }
        (record.job.supplier, record.job.title) = (Some(next()), Some(next()));
        check(record);
    }
}

#[test]
fn a_note_as_long_as_a_book_arrives() {
    let mut record = sample();
    record.marks[0].note = Some("line ½\r\n^ \\U+0041 %% 🚧 ".repeat(300));
    record.marks[1].note = Some("x".repeat(12_000));
    check(record);
}

#[test]
fn a_record_without_anything_is_a_file_with_empty_layers() {
    let mut record = sample();
    (record.runs, record.marks, record.camera) = (Vec::new(), Vec::new(), Vec::new());
    record.references = Vec::new();
    record.ties = Vec::new();
    check(record);
}

#[test]
fn a_file_that_is_wrong_is_found_out() {
    // The checks themselves: a coordinate 0.2 mm off, another text, a missing value that is there.
    for (from, to) in [
        ("\"tilt\": -1.1", "\"tilt\": -1.1002"),
        ("\"PVC\"", "\"PVD\""),
        ("\"invert_depth\"", "\"x\""),
    ] {
        let root = tempfile::tempdir().unwrap();
        let folder = build(root.path(), sample()).folder;
        let record = folder.join("record.json");
        let text = fs::read_to_string(&record).unwrap();
        assert!(text.contains(from), "{from}");
        fs::write(&record, text.replacen(from, to, 1)).unwrap();
        let script = here("tests/suite/readback/formats.py");
        for format in ["gpkg", "parquet", "dxf"] {
            let only = format!("--only={format}");
            let arguments = [script.to_str().unwrap(), &only, folder.to_str().unwrap()];
            let output = super::run(&here("target/venv/bin/python"), &arguments);
            let said = String::from_utf8_lossy(&output.stderr).into_owned();
            assert!(
                !output.status.success() && said.contains("AssertionError"),
                "{format}: {said}"
            );
        }
    }
}

#[test]
fn the_same_record_gives_the_same_bytes() {
    let roots = [tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap()];
    let [first, second] = [0, 1].map(|index: usize| build(roots[index].path(), sample()).folder);
    for file in ["asbuilt.gpkg", "asbuilt.parquet", "asbuilt.dxf"] {
        assert!(
            fs::read(first.join(file)).unwrap() == fs::read(second.join(file)).unwrap(),
            "{file}"
        );
    }
}
