//! Crossings in the deliverables: the same figures in every one.

use aslaid::export::{FORMATS, View};
use aslaid::plan::attach;
use aslaid::record::AsBuilt;

use super::support::{Corner, US_FOOT, folder, lines, read, record, run};

fn bytes(record: &AsBuilt, name: &str) -> String {
    let format = FORMATS.iter().find(|format| format.name() == name).unwrap();
    let mut out = Vec::new();
    format.write(&View::new(record), &mut out).unwrap();
    String::from_utf8(out).unwrap()
}

#[test]
fn a_record_with_a_plan_has_crossings_in_csv_map_and_record_and_one_without_has_none() {
    let folder = folder();
    let path = folder.path().join("site.geojson");
    let mut record = record("EPSG:2264", US_FOOT, "us-ft");
    let corner = |east: f64| Corner {
        at: (440_000.0 + east, 165_000.0),
        depth: Some((1.52, 0.1)),
        cover: Some(1.4),
        ..Corner::default()
    };
    record.runs = vec![run(&record, "A", &[corner(0.0), corner(20.0)])];
    let crossings = FORMATS
        .iter()
        .find(|format| format.name() == "crossings")
        .unwrap();
    assert!(
        crossings
            .absent(&record)
            .is_some_and(|why| why.contains("--plan"))
    );
    assert!(!bytes(&record, "geojson").contains("\"crossing\""));
    let feet =
        |east: f64, north: f64| ((440_000.0 + east) / US_FOOT, (165_000.0 + north) / US_FOOT);
    lines(
        &path,
        Some(2264),
        &[
            ("=boundary", vec![feet(8.0, -5.0), feet(8.0, 5.0)]),
            ("tree", vec![feet(300.0, 0.0), feet(301.0, 0.0)]),
        ],
    );
    let (plan, site) = read(&record, &[path], "", None).unwrap();
    attach(&mut record, &plan, &site).unwrap();
    assert!(crossings.absent(&record).is_none());
    let text = bytes(&record, "crossings");
    let mut table = csv::Reader::from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let header = table.headers().unwrap().clone();
    let rows: Vec<_> = table.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 1);
    let cell = |name: &str| &rows[0][header.iter().position(|column| column == name).unwrap()];
    assert_eq!(
        [
            "id",
            "meeting",
            "role",
            "layer",
            "station",
            "transmitter_depth",
            "vertical_clearance",
            "source"
        ]
        .map(cell),
        [
            "S/T-1/A/x1",
            "crosses",
            "boundary",
            "'=boundary",
            "26.2467",
            "4.9869",
            "",
            "site.geojson!=boundary:1"
        ]
    );
    let map: serde_json::Value = serde_json::from_str(&bytes(&record, "geojson")).unwrap();
    let features: Vec<_> = map["features"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|f| f["properties"]["feature"] == "crossing")
        .collect();
    assert_eq!(features.len(), 1);
    assert_eq!(features[0]["properties"]["station"], 26.2467);
    let longitude = features[0]["geometry"]["coordinates"][0].as_f64().unwrap();
    assert!((longitude - record.crossings[0].geographic.unwrap().longitude).abs() < 1e-9);
    assert!(bytes(&record, "kml").contains("<styleUrl>#crossing</styleUrl>"));
    let back: AsBuilt = serde_json::from_str(&bytes(&record, "record")).unwrap();
    assert_eq!(back, record);
    assert_eq!((back.plans.len(), back.plans[1].role.as_str()), (2, "tree"));
    assert_eq!(back.inputs.last().unwrap().file, "site.geojson");
}
