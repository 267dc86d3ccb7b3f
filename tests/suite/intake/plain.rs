//! Plain deliveries: what their columns are called, how they are written, and what their figures can't be.

use std::path::{Path, PathBuf};

use aslaid::intake::fields::Fields;
use aslaid::intake::ledger::{Folder, Ledger};
use aslaid::intake::mains::Mains;
use aslaid::intake::report::{Row, Status};
use aslaid::intake::take_in;

use super::support;

const FIELDS: &str = r#"
[delivery]
crs = "EPSG:2264"
unit = "ft"
vertical = "NAVD88"
supplier = "Plain Ltd"
[fields]
job = "Job No"
run = "Line"
mark = "Pt"
easting = "X"
northing = "Y"
invert = "Inv Elev"
depth = "Depth"
horizontal_95 = "H95"
[mains]
id = "ID"
upstream_invert = "UP"
downstream_invert = "DOWN"
vertical = "NAVD88"
unit = "ft"
reach = "10 ft"
"#;

/// A main that falls from 704 to 702 feet.
fn mains(folder: &Path) -> PathBuf {
    let path = folder.join("mains.geojson");
    let map = serde_json::json!({"type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::2264"}},
        "features": [{"type": "Feature", "properties": {"ID": "M1", "UP": 704.0, "DOWN": 702.0},
            "geometry": {"type": "LineString", "coordinates": [[1_452_200, 561_249], [1_452_400, 561_249.5]]}}]});
    std::fs::write(&path, map.to_string()).unwrap();
    path
}

/// Three marks of a run that ends at the main: name, invert, depth.
fn table(marks: [(&str, &str, &str); 3]) -> String {
    let mut text = "Job No,Line,Pt,X,Y,Inv Elev,Depth,H95\n".to_owned();
    for ((name, invert, depth), north) in marks.into_iter().zip([561_300, 561_280, 561_250]) {
        text += &format!("P-1,A,{name},1452394,{north},{invert},{depth},0.4\n");
    }
    text
}

fn good() -> String {
    table([
        ("1", "705.9", "3"),
        ("2", "705.5", "3.3"),
        ("3", "705.1", "3.6"),
    ])
}

/// What becomes of a file of these bytes, and the records on file afterwards.
fn taken(name: &str, bytes: &[u8], fields: &str) -> (Row, Vec<aslaid::record::AsBuilt>) {
    let folder = support::folder();
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).unwrap();
    let fields = Fields::parse(fields, "fields.toml").unwrap();
    let mains = Mains::read(&mains(folder.path()), &fields).unwrap();
    let mut ledger = Folder::open(&folder.path().join("on-file")).unwrap();
    let mut rows = take_in(&[path], &fields, &mains, &mut ledger).unwrap();
    assert_eq!(rows.len(), 1);
    (rows.remove(0), ledger.on_file().unwrap())
}

/// Code and message of the one reason for which a table is refused.
fn refused(text: &str) -> (&'static str, String) {
    let (row, on_file) = taken("d.csv", text.as_bytes(), FIELDS);
    assert_eq!((row.status, on_file.len()), (Status::Refused, 0), "{row:?}");
    assert_eq!(row.reasons.len(), 1, "{row:?}");
    (row.reasons[0].code, row.reasons[0].message.clone())
}

#[test]
fn heights_depths_and_names_that_can_not_be_are_refused() {
    let marks = |a: (&str, &str), b: (&str, &str)| {
        table([("1", a.0, a.1), ("2", b.0, b.1), ("3", "705.1", "3.6")])
    };
    for (text, code, says) in [
        (
            marks(("0", "3"), ("705.5", "3.3")),
            "steep",
            "at 1 and 2 differ by 705.50 ft",
        ),
        (
            marks(("805.9", "3"), ("705.5", "3.3")),
            "steep",
            "100.40 ft",
        ),
        (
            marks(("705.9", "3"), ("705.5", "0")),
            "zero-depth",
            "at 2 is 0",
        ),
        (
            table([
                ("1", "705.9", "3"),
                ("1", "705.5", "3"),
                ("3", "705.1", "3"),
            ]),
            "marks",
            "two marks called 1",
        ),
    ] {
        let (found, message) = refused(&text);
        assert!(
            found == code && message.contains(says),
            "{found}: {message}"
        );
    }
    let (row, _) = taken("d.csv", good().as_bytes(), FIELDS);
    assert_eq!(row.status, Status::Accepted, "{row:?}");
}

#[test]
fn an_upright_drop_is_a_pipe() {
    // The two upper marks lie at one place, as far as their bounds can tell.
    let text = good().replace("1452394,561280", "1452394,561299.9");
    let drop = text.replace("705.9", "713.9");
    let (row, _) = taken("d.csv", drop.as_bytes(), FIELDS);
    assert_eq!(row.status, Status::Accepted, "{row:?}");
    let (code, _) = refused(&text.replace("705.9", "763.9"));
    assert_eq!(code, "steep");
}

#[test]
fn a_height_without_a_bound_is_not_said_to_be_exact() {
    let text = table([("1", "0.9", "3"), ("2", "0.5", "3.3"), ("3", "0.1", "3.6")]);
    let (code, message) = refused(&text);
    assert_eq!(code, "below-main");
    assert!(
        message.contains("no bound of it is stated") && !message.contains('±'),
        "{message}"
    );
}
