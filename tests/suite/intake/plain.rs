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

#[test]
fn a_column_that_the_field_file_names_and_the_delivery_lacks_is_named() {
    for (theirs, parts) in [
        (
            "Inv Elev (ft)",
            "\"Inv Elev\" for `invert` (is \"Inv Elev (ft)\" meant?)",
        ),
        ("INV ELEV", "(is \"INV ELEV\" meant?)"),
        ("Inv Elv", "(is \"Inv Elv\" meant?)"),
        ("Height", "\"Inv Elev\" for `invert`. "),
    ] {
        let (code, message) = refused(&good().replace("Inv Elev", theirs));
        assert_eq!(code, "columns", "{message}");
        assert!(
            message.contains(parts) && message.contains("its own are"),
            "{message}"
        );
    }
    let (code, message) = refused(
        &good()
            .replace("Job No", "JOB NO")
            .replace(",Pt,", ",Point,"),
    );
    assert_eq!(code, "columns");
    for part in [
        "\"Job No\" for `job` (is \"JOB NO\" meant?)",
        "\"Pt\" for `mark`",
    ] {
        assert!(message.contains(part), "{message}");
    }
    let (code, message) = refused(&good().replace("X,Y,Inv Elev", "X,Y,X"));
    assert_eq!(code, "columns", "{message}");
    // The same of a map, whose shapes say where its points are.
    let map = |invert: &str| {
        let points = [561_300.0, 561_280.0, 561_250.0].into_iter().enumerate();
        let points = points.map(|(at, north)| {
            serde_json::json!({"type": "Feature", "geometry": {"type": "Point", "coordinates": [1_452_394.0, north]},
                "properties": {"Job No": "P-1", "Line": "A", "Pt": at.to_string(), invert: 705.9 - 0.4 * at as f64, "Depth": 3.0, "H95": 0.4}})
        });
        let points: Vec<_> = points.collect();
        serde_json::json!({"type": "FeatureCollection", "features": points,
            "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::2264"}}})
        .to_string()
    };
    let (row, _) = taken("d.geojson", map("Inv Elev").as_bytes(), FIELDS);
    assert_eq!(row.status, Status::Accepted, "{row:?}");
    let (row, _) = taken("d.geojson", map("inv_elev").as_bytes(), FIELDS);
    let reason = &row.reasons[0];
    assert!(
        reason.code == "columns" && reason.message.contains("is \"inv_elev\" meant?"),
        "{reason:?}"
    );
}

#[test]
fn the_habits_of_spreadsheets_are_fine() {
    let (_, due) = taken("d.csv", good().as_bytes(), FIELDS);
    let semicolons = good().replace(',', ";").replace('.', ",");
    let utf_16: Vec<u8> = [0xff, 0xfe]
        .into_iter()
        .chain(semicolons.encode_utf16().flat_map(u16::to_le_bytes))
        .collect();
    let blank = good()
        .replace("Y,Inv", "Y,Note \u{e9},Inv")
        .replace("\nP-1,A,2", "\n,,,,,,,,\nP-1,A,2");
    let blank = blank
        .replace("00,705", "00,,705")
        .replace("80,705", "80,,705")
        .replace("50,705", "50,,705");
    let windows = blank.chars().map(|letter| letter as u8).collect();
    for (what, bytes) in [
        ("semicolons", semicolons.into_bytes()),
        ("UTF-16", utf_16),
        ("tabs", good().replace(',', "\t").into_bytes()),
        ("Windows", windows),
    ] {
        let (row, on_file) = taken("d.csv", &bytes, FIELDS);
        assert_eq!(row.status, Status::Accepted, "{what}: {row:?}");
        assert_eq!(on_file[0].hash, due[0].hash, "{what}");
    }
}

#[test]
fn a_row_that_is_cut_off_or_shifted_is_named() {
    let good = good();
    for (text, says) in [
        (good.get(..good.len() - 12).unwrap().to_owned(), "row 4 has"),
        (
            good.replace("705.5", "705,5"),
            "row 3 has 9 cells, and the heading 8",
        ),
        (
            good.replace("P-1,A,2", "\"P-1,A,2"),
            "row 3: a quotation mark",
        ),
        (
            good.replace("1452394,561280", "east,561280"),
            "row 3, easting",
        ),
    ] {
        let (code, message) = refused(&text);
        assert!(code == "unreadable" && message.contains(says), "{message}");
        assert!(!message.contains("CSV error"), "{message}");
    }
}

#[test]
fn a_revision_or_an_order_that_is_none_is_named() {
    for (column, says) in [
        ("revision", "`revision`: \"B\" is no whole number"),
        ("order", "`order`"),
    ] {
        let text = good()
            .replace("H95", &format!("H95,{column}"))
            .replace("0.4\n", "0.4,B\n");
        let (code, message) = refused(&text);
        assert!(code == "unreadable" && message.contains(says), "{message}");
    }
}

#[test]
fn without_a_unit_a_map_in_feet_is_in_feet() {
    let fields = FIELDS.replace("unit = \"ft\"\n", "");
    let (row, on_file) = taken("d.csv", good().as_bytes(), &fields);
    assert_eq!(row.status, Status::Accepted, "{row:?}");
    assert_eq!(on_file[0].frame.unit.symbol(), "us-ft");
    // The end of the lateral is a part of a foot above 702.06 ft.
    let above = row.taps[0].above.unwrap() / support::US_FOOT;
    assert!((above - 3.04).abs() < 0.01, "{above}");
    let low = table([
        ("1", "605.9", "3"),
        ("2", "605.5", "3"),
        ("3", "605.1", "3"),
    ]);
    let (row, _) = taken("d.csv", low.as_bytes(), &fields);
    let message = &row.reasons[0].message;
    assert!(message.contains("96.96 us-ft below"), "{message}");
}

/// What becomes of files that come one after the other.
fn one_by_one(files: &[(&str, &str)], ledger: &mut dyn Ledger) -> Vec<Row> {
    let folder = support::folder();
    let fields = Fields::parse(FIELDS, "fields.toml").unwrap();
    let mains = Mains::read(&mains(folder.path()), &fields).unwrap();
    let take = |(name, text): &(&str, &str)| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        take_in(&[path], &fields, &mains, ledger).unwrap().remove(0)
    };
    files.iter().map(take).collect()
}

#[test]
fn the_same_under_another_name_or_read_by_another_version_is_unchanged() {
    use Status::{Accepted, Refused, Unchanged};
    let folder = support::folder();
    let into = folder.path().join("on-file");
    let mut ledger = Folder::open(&into).unwrap();
    let (good, other) = (good(), good().replace("705.9", "705.8"));
    let files = [
        ("d.csv", good.as_str()),
        ("d (1).csv", &good),
        ("d.csv", &other),
    ];
    let rows = one_by_one(&files, &mut ledger);
    let statuses: Vec<_> = rows.iter().map(|row| row.status).collect();
    assert_eq!(statuses, [Accepted, Unchanged, Refused], "{rows:?}");
    assert_eq!(rows[2].reasons[0].code, "on-file");
    // As an earlier version left it: it made no marks.
    let mut record = ledger.on_file().unwrap().remove(0);
    record.generator = "aslaid 0.0.1, from a plain delivery".to_owned();
    record.marks.clear();
    ledger
        .accept(&aslaid::export::record::seal(record).unwrap(), &[])
        .unwrap();
    let rows = one_by_one(&files[..1], &mut ledger);
    assert_eq!(rows[0].status, Unchanged, "{rows:?}");
}

#[test]
fn the_rows_are_the_marks_of_the_record_and_of_a_database() {
    let (_, on_file) = taken("d.csv", good().as_bytes(), FIELDS);
    let record = &on_file[0];
    let marks: Vec<_> = record
        .marks
        .iter()
        .map(|mark| (mark.id.as_str(), mark.source.as_str(), mark.run.as_str()))
        .collect();
    assert_eq!(
        marks,
        [
            ("Plain Ltd/P-1/A/1", "d.csv", "A"),
            ("Plain Ltd/P-1/A/2", "d.csv", "A"),
            ("Plain Ltd/P-1/A/3", "d.csv", "A"),
        ]
    );
    for (mark, vertex) in record.marks.iter().zip(&record.runs[0].vertices) {
        assert_eq!(
            (
                mark.easting,
                mark.northing,
                mark.invert,
                mark.transmitter_depth,
                Some(mark.mark.clone())
            ),
            (
                vertex.easting,
                vertex.northing,
                vertex.invert,
                vertex.transmitter_depth,
                vertex.mark.clone()
            )
        );
        assert!((mark.horizontal_95.unwrap() - 0.4).abs() < 1e-9);
    }
    let folder = support::folder();
    let path = folder.path().join("u.gpkg");
    let into = aslaid::export::load::Target::GeoPackage(path.clone());
    let options = aslaid::export::load::Options::default();
    let mut ledger = aslaid::intake::ledger::Database::new(into, options, "EPSG:2264");
    let rows = one_by_one(&[("d.csv", &good())], &mut ledger);
    assert_eq!(rows[0].status, Status::Accepted, "{rows:?}");
    let package = rusqlite::Connection::open(path).unwrap();
    let ask = "SELECT count(*) FROM mark WHERE job = 'P-1' AND run = 'A' AND invert IS NOT NULL";
    let count: i64 = package.query_row(ask, [], |row| row.get(0)).unwrap();
    assert_eq!(count, 3);
}

#[test]
fn whole_numbers_and_days_are_read_as_exports_write_them() {
    let with = |revision: &str, date: &str| {
        good()
            .replace("H95", "H95,revision,located_on")
            .replace("0.4\n", &format!("0.4,{revision},{date}\n"))
    };
    for (revision, date) in [
        ("2", "2026-05-01"),
        ("2.0", "2026-05-01T00:00:00"),
        ("2.000", "2026-05-01T00:00:00+02:00"),
        ("2", "2026-05-01T00:00:00.000Z"),
        ("2", "2026-05-01 00:00:00"),
        ("2", "2026/05/01 00:00:00+00"),
        ("2", "2026/05/01"),
    ] {
        let (row, on_file) = taken("d.csv", with(revision, date).as_bytes(), FIELDS);
        assert_eq!(row.status, Status::Accepted, "{revision} {date}: {row:?}");
        let job = &on_file[0].job;
        assert_eq!(
            (job.revision, job.located_on.as_deref()),
            (Some(2), Some("2026-05-01"))
        );
    }
    for (revision, date, code) in [
        ("2.5", "2026-05-01", "unreadable"),
        ("-1", "2026-05-01", "unreadable"),
        ("2", "2026-05-01T99:00:00", "date"),
        ("2", "2026-05-01x", "date"),
        ("2", "2026-02-30T00:00:00", "date"),
        ("2", "01.05.2026", "date"),
    ] {
        assert_eq!(refused(&with(revision, date)).0, code, "{revision} {date}");
    }
}
