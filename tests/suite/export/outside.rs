//! Other people's programs read the files, and find in them what the record says.

use super::common::sample;
use super::{build, here, outside, python};

#[test]
fn everything_reads_back_equal_to_the_record() {
    let folder = tempfile::tempdir().unwrap();
    let delivered = build(folder.path(), sample());
    let said = python(
        "tests/suite/export/readback.py",
        &[delivered.folder.to_str().unwrap()],
    );
    assert!(said.contains("cells equal"), "{said}");
    println!("{said}");
}

#[test]
fn gdal_reads_the_geojson_and_the_kml_without_a_warning() {
    let folder = tempfile::tempdir().unwrap();
    let delivered = build(folder.path(), sample());
    for file in ["asbuilt.geojson", "asbuilt.kml"] {
        let path = delivered.folder.join(file);
        let output = outside("ogrinfo", &["-ro", "-al", path.to_str().unwrap()]);
        let warnings = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(warnings.trim().is_empty(), "{file}: {warnings}");
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(text.contains("Invented Locating/LAT-2031/A/A1"), "{file}");
    }
}

#[test]
fn the_kml_is_valid_against_the_schema_of_the_standard() {
    let folder = tempfile::tempdir().unwrap();
    let delivered = build(folder.path(), sample());
    let schemas = here("target/venv/lib/python3.11/site-packages/fastkml/schema/ogckml22.xsd");
    let file = delivered.folder.join("asbuilt.kml");
    outside(
        "xmllint",
        &[
            "--noout",
            "--nonet",
            "--schema",
            schemas.to_str().unwrap(),
            file.to_str().unwrap(),
        ],
    );
}

#[test]
fn that_schema_refuses_elements_out_of_order() {
    let folder = tempfile::tempdir().unwrap();
    let delivered = build(folder.path(), sample());
    let schemas = here("target/venv/lib/python3.11/site-packages/fastkml/schema/ogckml22.xsd");
    let text = std::fs::read_to_string(delivered.folder.join("asbuilt.kml")).unwrap();
    let swapped = folder.path().join("swapped.kml");
    std::fs::write(
        &swapped,
        text.replace(
            "<Placemark><name>",
            "<Placemark><styleUrl>#run</styleUrl><name>",
        ),
    )
    .unwrap();
    let status = std::process::Command::new("xmllint")
        .args([
            "--noout",
            "--nonet",
            "--schema",
            schemas.to_str().unwrap(),
            swapped.to_str().unwrap(),
        ])
        .stderr(std::process::Stdio::null())
        .status()
        .unwrap();
    assert!(!status.success());
}
