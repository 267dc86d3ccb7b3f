//! What the files say, read by ourselves.

use std::fs;

use aslaid::export::{FORMATS, View, select};
use aslaid::record::{AsBuilt, file_hash, hash, sealed};
use aslaid::units::LengthUnit;
use serde_json::Value;
use sha2::{Digest, Sha256};

use super::build;
use super::common::{draft, local, sample};

fn bytes(record: &AsBuilt, name: &str) -> Vec<u8> {
    let format = FORMATS.iter().find(|format| format.name() == name).unwrap();
    let mut out = Vec::new();
    format.write(&View::new(record), &mut out).unwrap();
    out
}

#[test]
fn the_record_reads_back_as_it_was() {
    let record = sample();
    let read: AsBuilt = serde_json::from_slice(&bytes(&record, "record")).unwrap();
    // Columns of a finding are for the corrections workbook and are not in the record; the sample has none.
    assert_eq!(read, record);
}

#[test]
fn the_hash_is_that_of_the_file_without_its_line() {
    let folder = tempfile::tempdir().unwrap();
    build(folder.path(), sample());
    let text = fs::read_to_string(folder.path().join("LAT-2031/record.json")).unwrap();
    let read: AsBuilt = serde_json::from_str(&text).unwrap();
    let without: String = text
        .split_inclusive('\n')
        .filter(|line| !line.starts_with("  \"hash\": "))
        .collect();
    assert_eq!(without.lines().count() + 1, text.lines().count());
    assert_eq!(
        read.hash,
        Some(format!("{:x}", Sha256::digest(without.as_bytes())))
    );
}

/// Written once, with the hash put into it, the file is what writing the record with its hash gives; also where texts hold what looks like
/// lines before the hash.
#[test]
fn a_sealed_file_is_that_of_the_sealed_record() {
    let odd = AsBuilt {
        schema: "\n\n\n".to_owned(),
        generator: "two\nlines\n  \"hash\": 1".to_owned(),
        hash: Some("another".to_owned()),
        ..sample()
    };
    for record in [sample(), odd] {
        let stated = hash(&record).unwrap();
        let (sealed, file) = sealed(record).unwrap();
        assert_eq!(sealed.hash.as_ref(), Some(&stated));
        assert_eq!(file_hash(&file), stated);
        assert!(file == bytes(&sealed, "record"));
    }
}

#[test]
fn the_same_record_gives_the_same_bytes() {
    for format in FORMATS {
        assert_eq!(
            bytes(&sample(), format.name()),
            bytes(&sample(), format.name()),
            "{}",
            format.name()
        );
    }
}

#[test]
fn what_is_not_known_is_absent_and_zero_is_kept() {
    let map: Value = serde_json::from_slice(&bytes(&sample(), "geojson")).unwrap();
    let features = map["features"].as_array().unwrap();
    let bare = &features
        .iter()
        .find(|feature| feature["properties"]["mark"] == "B3")
        .unwrap()["properties"];
    assert!(bare.get("invert").is_none() && bare.get("cover_least").is_none());
    assert_eq!(bare["tilt"], 0.0);
    let text = String::from_utf8(bytes(&sample(), "geojson")).unwrap();
    assert!(
        !text.contains("null,\"properties\":{}")
            && !text.contains("-9999")
            && !text.contains("\"crs\":{")
    );
}

#[test]
fn a_third_coordinate_is_there_only_where_the_height_is_known() {
    let map: Value = serde_json::from_slice(&bytes(&sample(), "geojson")).unwrap();
    let coordinates = |id: &str| {
        let features = map["features"].as_array().unwrap();
        features.iter().find(|f| f["id"] == id).unwrap()["geometry"]["coordinates"].clone()
    };
    assert_eq!(
        coordinates("Invented Locating/LAT-2031/A/A1")
            .as_array()
            .unwrap()
            .len(),
        3
    );
    assert_eq!(
        coordinates("Invented Locating/LAT-2031/B/B3")
            .as_array()
            .unwrap()
            .len(),
        2
    );
    // One vertex of run B has no height: the whole line is flat.
    assert!(
        coordinates("Invented Locating/LAT-2031/B")
            .as_array()
            .unwrap()
            .iter()
            .all(|p| p.as_array().unwrap().len() == 2)
    );
    assert!(
        coordinates("Invented Locating/LAT-2031/A")
            .as_array()
            .unwrap()
            .iter()
            .all(|p| p.as_array().unwrap().len() == 3)
    );
    // Some places have three coordinates, so that the box has them too.
    let bounds = map["bbox"].as_array().unwrap();
    assert_eq!(bounds.len(), 6);
    let low = bounds[2].as_f64().unwrap();
    assert!(low < bounds[5].as_f64().unwrap());
    let mark = coordinates("Invented Locating/LAT-2031/A/A1");
    assert!((low..=bounds[5].as_f64().unwrap()).contains(&mark[2].as_f64().unwrap()));
}

#[test]
fn only_published_columns_leave_the_record() {
    for name in ["geojson", "kml", "points"] {
        let text = String::from_utf8(bytes(&sample(), name)).unwrap();
        assert!(
            text.contains("inspector") && !text.contains("4711"),
            "{name}"
        );
    }
    assert!(
        String::from_utf8(bytes(&sample(), "record"))
            .unwrap()
            .contains("4711")
    );
}

#[test]
fn a_published_column_never_takes_the_place_of_ours() {
    let mut record = sample();
    record.published = vec!["Cover".to_owned()];
    record.marks[0]
        .attributes
        .insert("cover".to_owned(), "leaves".to_owned());
    let map: Value = serde_json::from_slice(&bytes(&record, "geojson")).unwrap();
    let first = &map["features"]
        .as_array()
        .unwrap()
        .iter()
        .find(|f| f["properties"]["mark"] == "A1")
        .unwrap()["properties"];
    assert_eq!(first["cover"], 1.65);
    assert_eq!(first["cover_entered"], "leaves");
}

#[test]
fn every_file_of_a_draft_says_so_with_its_number() {
    let folder = tempfile::tempdir().unwrap();
    let delivered = build(folder.path(), draft());
    for file in &delivered.files {
        let path = delivered.folder.join(file);
        let text = if *file == "sheet.pdf" {
            let said = std::process::Command::new("pdftotext")
                .args([path.as_os_str(), "-".as_ref()])
                .output();
            said.unwrap().stdout
        } else {
            fs::read(path).unwrap()
        };
        let text = String::from_utf8_lossy(&text);
        let marked = text.contains("DRAFT, 2 rows left out")
            || (*file == "record.json" && text.contains("\"left_out\": 2"));
        assert!(marked, "{file}");
    }
    let clean = build(folder.path(), sample());
    for file in &clean.files {
        let text = fs::read(clean.folder.join(file)).unwrap();
        assert!(!String::from_utf8_lossy(&text).contains("DRAFT"), "{file}");
    }
}

#[test]
fn an_empty_draft_table_says_so_in_its_header() {
    let mut record = draft();
    record.ties.clear();
    let text = String::from_utf8(bytes(&record, "ties")).unwrap();
    assert_eq!(text.lines().count(), 1);
    assert!(
        text.contains("draft (DRAFT, 2 rows left out)")
            || text.contains("\"draft (DRAFT, 2 rows left out)\"")
    );
}

#[test]
fn a_job_in_site_coordinates_has_no_map_and_the_reason_is_given() {
    let folder = tempfile::tempdir().unwrap();
    let delivered = build(folder.path(), local());
    let absent: Vec<&str> = delivered.absent.iter().map(|(file, _)| *file).collect();
    assert_eq!(absent, ["asbuilt.geojson", "asbuilt.kml", "crossings.csv"]);
    assert!(
        delivered
            .absent
            .iter()
            .take(2)
            .all(|(_, why)| why.contains("[grid] crs"))
    );
    assert!(
        !delivered.folder.join("asbuilt.kml").exists()
            && delivered.folder.join("points.csv").exists()
    );
}

#[test]
fn the_geojson_is_valid_against_our_own_schema_and_against_the_standards() {
    let standard: Value = serde_json::from_str(include_str!("rfc7946.schema.json")).unwrap();
    let own = aslaid::export::schema::geojson();
    for record in [sample(), draft()] {
        let map: Value = serde_json::from_slice(&bytes(&record, "geojson")).unwrap();
        for schema in [&standard, &own] {
            let validator = jsonschema::validator_for(schema).unwrap();
            let errors: Vec<String> = validator
                .iter_errors(&map)
                .map(|e| format!("{}: {e}", e.instance_path()))
                .collect();
            assert!(errors.is_empty(), "{errors:#?}");
        }
    }
}

#[test]
fn the_schemas_refuse_what_is_wrong() {
    let standard: Value = serde_json::from_str(include_str!("rfc7946.schema.json")).unwrap();
    let own = aslaid::export::schema::geojson();
    let refused = |schema: &Value, change: &dyn Fn(&mut Value)| {
        let mut map: Value = serde_json::from_slice(&bytes(&sample(), "geojson")).unwrap();
        change(&mut map);
        !jsonschema::validator_for(schema).unwrap().is_valid(&map)
    };
    assert!(refused(&standard, &|map| map["features"][2]["geometry"]
        ["coordinates"] =
        serde_json::json!(["a", 2])));
    assert!(refused(&standard, &|map| map["crs"] =
        serde_json::json!({"type": "name"})));
    assert!(refused(&standard, &|map| map["bbox"] = serde_json::json!([1, 2, 3])));
    assert!(refused(
        &own,
        &|map| map["features"][0]["properties"]["length"] = serde_json::json!("long")
    ));
    assert!(refused(&own, &|map| {
        map["features"][3]["properties"]
            .as_object_mut()
            .unwrap()
            .remove("evidence");
    }));
}

#[test]
fn the_record_is_valid_against_its_schema() {
    let schema = aslaid::export::schema::record();
    let record: Value = serde_json::from_slice(&bytes(&draft(), "record")).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let errors: Vec<String> = validator
        .iter_errors(&record)
        .map(|e| format!("{}: {e}", e.instance_path()))
        .collect();
    assert!(errors.is_empty(), "{errors:#?}");
}

#[test]
fn a_word_that_names_no_format_is_refused_with_those_that_do() {
    let error = select(&["geojson".to_owned(), "shape".to_owned()])
        .err()
        .unwrap()
        .to_string();
    assert!(error.contains("\"shape\"") && error.contains("geojson, kml"));
    let names = |words: &[&str]| -> Vec<&str> {
        select(&words.iter().map(ToString::to_string).collect::<Vec<_>>())
            .unwrap()
            .iter()
            .map(|f| f.name())
            .collect()
    };
    assert_eq!(
        names(&["csv"]),
        ["points", "profile", "camera", "ties", "crossings"]
    );
    assert_eq!(names(&["KML", "record.json"]), ["record", "kml"]);
    assert_eq!(names(&["findings"]), Vec::<&str>::new());
}

#[test]
fn kml_reads_back_with_a_reader_of_its_own_kind() {
    let text = String::from_utf8(bytes(&sample(), "kml")).unwrap();
    let read: kml::Kml = text.parse().unwrap();
    let shown = format!("{read:?}");
    assert!(
        shown.contains("Invented Locating/LAT-2031/A/A1")
            && shown.contains("Robert'); DROP TABLE mark;--")
    );
}

/// A coordinate is rounded for its file; a label that rounds it again would say something else than the sheet.
#[test]
fn a_drawing_says_elevations_as_the_sheet_does() {
    let mut record = sample();
    record.frame.unit = LengthUnit::UsSurveyFoot;
    record.marks[0].invert = Some(98.654_96);
    let file = String::from_utf8(bytes(&record, "dxf")).unwrap();
    let lines: Vec<&str> = file.lines().map(str::trim).collect();
    assert!(
        lines.contains(&"98.655"),
        "its coordinate has four decimals"
    );
    assert!(lines.contains(&"inv 98.65") && !lines.contains(&"inv 98.66"));
    // In the drawing's unit, where results are in another.
    record.frame.unit = LengthUnit::Metre;
    let file = String::from_utf8(bytes(&record, "dxf")).unwrap();
    assert!(file.lines().any(|line| line.trim() == "inv 323.67"));
}

/// Group codes and values of a drawing.
fn pairs(text: &str) -> Vec<(i32, &str)> {
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    let pairs = lines.iter().step_by(2).zip(lines.iter().skip(1).step_by(2));
    pairs
        .map(|(code, value)| (code.parse().unwrap(), *value))
        .collect()
}

#[test]
fn the_extents_of_a_drawing_hold_its_letters_and_its_notice() {
    let file = bytes(&sample(), "dxf");
    let text = String::from_utf8(file).unwrap();
    let pairs = pairs(&text);
    let corner = |name: &str| -> Vec<f64> {
        let at = pairs.iter().position(|pair| pair.1 == name).unwrap();
        pairs[at + 1..at + 4]
            .iter()
            .map(|(_, v)| v.parse().unwrap())
            .collect()
    };
    let (low, high) = (corner("$EXTMIN"), corner("$EXTMAX"));
    let entities = pairs.iter().position(|pair| pair.1 == "ENTITIES").unwrap();
    let mut count = [0; 3];
    for (code, value) in &pairs[entities..] {
        let Some(axis) = [10, 20, 30].iter().position(|c| c == code) else {
            continue;
        };
        let value: f64 = value.parse().unwrap();
        // A polyline's own point is 0, 0, 0 by definition.
        if value == 0.0 && axis < 2 {
            continue;
        }
        count[axis] += 1;
        assert!(
            (low[axis]..=high[axis]).contains(&value),
            "{code}: {value} in {low:?} {high:?}"
        );
    }
    assert!(count.iter().all(|count| *count > 10), "{count:?}");
}

#[test]
fn a_layer_of_references_says_whose_elevation_its_third_coordinate_is() {
    let file = tempfile::NamedTempFile::new().unwrap();
    fs::write(file.path(), bytes(&sample(), "gpkg")).unwrap();
    let connection = rusqlite::Connection::open(file.path()).unwrap();
    let description = |layer: &str| -> String {
        let sql = "SELECT description FROM gpkg_contents WHERE table_name = ?1";
        connection
            .query_row(sql, [layer], |row| row.get(0))
            .unwrap()
    };
    assert!(description("reference").contains("third coordinate the point's elevation"));
    for layer in ["run", "mark", "camera"] {
        assert!(
            description(layer).contains("third coordinate the invert's elevation"),
            "{layer}"
        );
    }
}
