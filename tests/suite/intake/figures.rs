//! Plain deliveries whose figures contradict each other, or stand beside blanks: each with its clean twin.

use std::path::Path;

use aslaid::crs::{Crs, Datum};
use aslaid::intake::fields::Fields;
use aslaid::intake::ledger::{Folder, Ledger};
use aslaid::intake::mains::Mains;
use aslaid::intake::report::{Row, Status};
use aslaid::intake::take_in;
use aslaid::record::AsBuilt;
use aslaid::record::model::VertexKind;
use aslaid::units::LengthUnit;

use super::support;
use super::town;

const FIELDS: &str = r#"
[delivery]
crs = "EPSG:25832"
unit = "m"
vertical = "Town"
supplier = "Plain Ltd"
[fields]
mark = "PT"
easting = "X"
northing = "Y"
ground = "GL"
transmitter_depth = "DEPTH"
invert = "INV"
invert_95 = "ACC_V"
horizontal_95 = "ACC_H"
diameter = "DIAM"
material = "MAT"
[units]
diameter = "mm"
[require]
horizontal_95 = "1 m"
[mains]
id = "ID"
upstream_invert = "UP"
downstream_invert = "DOWN"
diameter = "DIAM"
vertical = "Town"
"#;

const HEADS: [&str; 11] = [
    "job", "PT", "X", "Y", "GL", "DEPTH", "INV", "ACC_V", "ACC_H", "DIAM", "MAT",
];

/// A delivery of six marks, 25 m long, whose end lies 0.7 m above its main's invert.
#[derive(Clone)]
struct Table {
    heads: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Table {
    fn good() -> Self {
        let row = |number: u32| {
            let down = f64::from(number) * 0.1;
            let cells = [
                "J-1".to_owned(),
                format!("A{}", number + 1),
                format!("{}", 500_000 + 5 * number),
                "5700010".to_owned(),
                "100".to_owned(),
                format!("{:.2}", 1.5 + down),
                format!("{:.2}", 98.46 - down),
                "0.15".to_owned(),
                "0.2".to_owned(),
                "100".to_owned(),
                "PVC".to_owned(),
            ];
            cells.to_vec()
        };
        Self {
            heads: HEADS.map(str::to_owned).to_vec(),
            rows: (0..6).map(row).collect(),
        }
    }

    /// With another cell; rows are counted from 1.
    fn with(mut self, row: usize, head: &str, cell: &str) -> Self {
        let column = self.heads.iter().position(|own| own == head);
        let column = column.unwrap_or_else(|| {
            self.heads.push(head.to_owned());
            self.rows.iter_mut().for_each(|row| row.push(String::new()));
            self.heads.len() - 1
        });
        cell.clone_into(&mut self.rows[row - 1][column]);
        self
    }

    /// With another column.
    fn all(self, head: &str, cells: [&str; 6]) -> Self {
        let cells = (1..).zip(cells);
        cells.fold(self, |table, (row, cell)| table.with(row, head, cell))
    }

    /// With the rows in another order.
    fn ordered(mut self, rows: [usize; 6]) -> Self {
        self.rows = rows.map(|row| self.rows[row - 1].clone()).to_vec();
        self
    }

    fn text(&self) -> String {
        let lines = std::iter::once(&self.heads).chain(&self.rows);
        lines.map(|cells| cells.join(",") + "\n").collect()
    }
}

/// Mains M1, M2, … 100 m apart, each with its inverts and its diameter; M1 is where the delivery ends.
fn mains(folder: &Path, figures: &[(f64, f64, f64)], fields: &Fields) -> Mains {
    let features = (0_u32..).zip(figures).map(|(number, (up, down, diameter))| {
        let x = 500_026 + 100 * number;
        let properties = serde_json::json!({"ID": format!("M{}", number + 1), "UP": up, "DOWN": down, "DIAM": diameter});
        serde_json::json!({"type": "Feature", "properties": properties,
            "geometry": {"type": "LineString", "coordinates": [[x, 5_700_100], [x, 5_699_900]]}})
    });
    let map = serde_json::json!({"type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}},
        "features": features.collect::<Vec<_>>()});
    let path = folder.join("mains.geojson");
    std::fs::write(&path, map.to_string()).unwrap();
    Mains::read(&path, fields).unwrap()
}

/// What becomes of a file, and the records on file afterwards.
fn taken(name: &str, bytes: &[u8], fields: &str) -> (Row, Vec<AsBuilt>) {
    let folder = support::folder();
    let fields = Fields::parse(fields, "fields.toml").unwrap();
    let mains = mains(folder.path(), &[(97.5, 97.0, 0.3)], &fields);
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).unwrap();
    let mut ledger = Folder::open(&folder.path().join("on-file")).unwrap();
    let mut rows = take_in(&[path], &fields, &mains, &mut ledger).unwrap();
    assert_eq!(rows.len(), 1);
    (rows.remove(0), ledger.on_file().unwrap())
}

/// The record that a delivery becomes.
#[track_caller]
fn accepted(table: &Table) -> AsBuilt {
    accepted_by(FIELDS, table)
}

#[track_caller]
fn accepted_by(fields: &str, table: &Table) -> AsBuilt {
    let (row, mut on_file) = taken("d.csv", table.text().as_bytes(), fields);
    assert_eq!(row.status, Status::Accepted, "{row:?}");
    on_file.remove(0)
}

/// The one reason for which it is refused has this code and these words.
#[track_caller]
fn refused(table: &Table, code: &str, parts: &[&str]) {
    refused_by(FIELDS, table, code, parts);
}

#[track_caller]
fn refused_by(fields: &str, table: &Table, code: &str, parts: &[&str]) {
    let (row, on_file) = taken("d.csv", table.text().as_bytes(), fields);
    let codes: Vec<_> = row.reasons.iter().map(|reason| reason.code).collect();
    assert_eq!(
        (row.status, codes, on_file.len()),
        (Status::Refused, vec![code], 0),
        "{row:?}"
    );
    for part in parts {
        assert!(row.reasons[0].message.contains(part), "{part} in {row:?}");
    }
}

#[test]
fn what_stands_beside_a_blank_is_checked() {
    let good = Table::good();
    accepted(&good);
    let blank = good.clone().with(4, "DEPTH", "");
    accepted(&blank);
    let deep = blank.with(3, "DEPTH", "45");
    refused(&deep, "implausible", &["A depth of 45.000 m"]);

    let blank = good.clone().with(5, "INV", "");
    accepted(&blank);
    let below = blank.with(6, "INV", "95.46").with(6, "GL", "97.5");
    refused(&below, "below-main", &["1.815 m below its invert"]);

    let blank = good.with(4, "ACC_H", "");
    accepted(&blank);
    refused(&blank.with(3, "ACC_H", "9"), "wide", &["good to 9.000 m"]);
}

#[test]
fn depths_and_bounds_at_the_ends_are_enough() {
    let blank = ["", "", "", ""];
    let inner = |table: Table, head: &str| {
        (2..)
            .zip(blank)
            .fold(table, |table, (row, cell)| table.with(row, head, cell))
    };
    let ends = inner(inner(Table::good(), "DEPTH"), "INV");
    accepted(&ends);
    let one = ends.with(6, "DEPTH", "").with(6, "INV", "");
    refused(&one, "no-depth", &["fewer than two of its points"]);

    let ends = inner(Table::good(), "ACC_H");
    accepted(&ends);
    for (row, end) in [(1, "its upstream end"), (6, "its downstream end")] {
        refused(&ends.clone().with(row, "ACC_H", ""), "no-bound", &[end]);
        // A bound of 0 is none.
        refused(&ends.clone().with(row, "ACC_H", "0"), "no-bound", &[end]);
    }
    let exact = accepted(&Table::good().with(6, "ACC_V", "0"));
    assert_eq!(exact.runs[0].vertices[5].invert_95, None);
}

#[test]
fn a_mark_beside_a_junction_is_checked() {
    let judged = |depth: f64| {
        let mut record = town::good(1);
        let vertices = &mut record.runs[0].vertices;
        let mut junction = vertices[0].clone();
        junction.kind = VertexKind::Junction;
        junction.northing = f64::midpoint(vertices[0].northing, vertices[1].northing);
        junction.station = f64::midpoint(vertices[0].station, vertices[1].station);
        junction.transmitter_depth = None;
        junction.depth_95 = None;
        vertices[0].transmitter_depth = Some(depth);
        vertices[0].ground = vertices[0].invert.map(|invert| invert + depth);
        vertices.insert(1, junction);
        let folder = support::folder();
        let fields = Fields::parse(town::FIELDS, "fields.toml").unwrap();
        let mains = Mains::read(&town::mains(folder.path()), &fields).unwrap();
        let path = folder.path().join("record.json");
        std::fs::write(&path, town::bytes(record)).unwrap();
        let mut ledger = Folder::open(&folder.path().join("on-file")).unwrap();
        let rows = take_in(&[path], &fields, &mains, &mut ledger).unwrap();
        rows[0]
            .reasons
            .iter()
            .map(|reason| reason.code)
            .collect::<Vec<_>>()
    };
    assert!(judged(1.5).is_empty());
    assert_eq!(judged(45.0), ["implausible"]);
}

#[test]
fn ground_invert_and_depth_that_contradict_each_other_are_refused() {
    let good = Table::good();
    let feet = ["4.92", "5.25", "5.58", "5.91", "6.23", "6.56"];
    refused(
        &good.clone().all("DEPTH", feet),
        "implausible",
        &[
            "at A1 lies 1.540 m below the ground, and its depth is given as 4.920 m",
            "agree with the depth in feet.",
        ],
    );
    let high = good.clone().all("GL", ["328.08"; 6]);
    refused(
        &high,
        "implausible",
        &["229.620 m below", "agree with the ground in feet."],
    );
    // Without a depth it must lie no deeper than a pipe may.
    let bare = good.clone().all("DEPTH", [""; 6]);
    accepted(&bare);
    refused(
        &bare.all("GL", ["328.08"; 6]),
        "implausible",
        &[
            "over the limit of 9.000 m",
            "agree with the ground in feet.",
        ],
    );
    // One of several is enough, and where no unit explains all of them none is named.
    refused(
        &good.clone().with(3, "DEPTH", "5.58"),
        "implausible",
        &["at A3", "5.580 m. Check the units"],
    );

    // To the invert and to the top of the pipe are depths as well.
    let to_invert = ["1.54", "1.64", "1.74", "1.84", "1.94", "2.04"];
    accepted(&good.clone().all("DEPTH", to_invert));
    let to_top = ["1.43", "1.53", "1.63", "1.73", "1.83", "1.93"];
    accepted(&good.clone().all("DEPTH", to_top));
    // A wider pipe has more room, and a wide bound excuses more.
    let half = good.with(3, "DEPTH", "2.4");
    refused(&half, "implausible", &["at A3"]);
    accepted(&half.with(3, "ACC_V", "0.6"));
    let shallow = Table::good().with(3, "DEPTH", "1.1");
    refused(&shallow, "implausible", &["at A3"]);
    accepted(&shallow.all("DIAM", ["300"; 6]));
}

#[test]
fn a_lateral_that_ends_high_above_its_main_is_refused() {
    let bare = Table::good().all("GL", [""; 6]);
    accepted(&bare);
    let feet = ["323.03", "322.70", "322.37", "322.05", "321.72", "321.39"];
    refused(
        &bare.clone().all("INV", feet),
        "implausible",
        &["224.115 m above its invert", "would fit as feet."],
    );
    let above = |metres: f64| {
        let rows = (0..6).map(|row| format!("{:.2}", 97.275 + metres + 0.1 * f64::from(5 - row)));
        let rows: Vec<String> = rows.collect();
        let cells: [&str; 6] = std::array::from_fn(|row| rows[row].as_str());
        bare.clone().all("INV", cells)
    };
    accepted(&above(8.9));
    refused(
        &above(9.3),
        "implausible",
        &["more than a pipe may lie deep"],
    );
}

#[test]
fn a_diameter_that_no_pipe_has_is_refused() {
    let good = Table::good();
    let diameter = |cell: &str| good.clone().all("DIAM", [cell; 6]);
    refused(&diameter("4"), "diameter", &["is 0.004 m"]);
    accepted(&diameter("4 in"));
    let unknown = FIELDS.replace("diameter = \"DIAM\"\nvertical", "vertical");
    assert_ne!(unknown, FIELDS);
    refused_by(
        &unknown,
        &diameter("4 m"),
        "diameter",
        &["is 4.000 m.", "would fit as feet or inches or centimetres."],
    );
    accepted_by(&unknown, &diameter("300"));
}

#[test]
fn a_table_that_says_its_unit_system_or_datum_is_not_read_otherwise() {
    let good = Table::good();
    for (head, other, same) in [
        ("unit", "ft", "m"),
        ("Unit", "us-ft", "metres"),
        // Not a unit of length: a column of another meaning.
        ("unit", "ft", "Flat 3"),
        ("crs", "EPSG:25833", "EPSG:25832"),
        ("crs", "EPSG:25833", "the usual"),
        ("vertical", "NAVD88", "town"),
    ] {
        accepted(&good.clone().all(head, [same; 6]));
        let says = [
            format!("\"{}\" says {other} in row 5", head.to_lowercase()),
            format!("`{}` under [delivery]", head.to_lowercase()),
        ];
        refused(
            &good.clone().all(head, [same; 6]).with(4, head, other),
            "columns",
            &says.each_ref().map(String::as_str),
        );
    }
    // A column that the field file takes for something else says nothing of this.
    let runs = FIELDS.replace("mark =", "run = \"unit\"\nmark =");
    let record = accepted_by(&runs, &good.clone().all("unit", ["ft"; 6]));
    assert_eq!(record.runs[0].run, "ft");
    // Where the field file says no datum, the table's own is taken.
    let silent = FIELDS.replacen("vertical = \"Town\"\n", "", 1);
    refused_by(&silent, &good, "vertical", &["no named datum"]);
    let record = accepted_by(&silent, &good.all("vertical", ["Town"; 6]));
    assert_eq!(record.frame.vertical.as_deref(), Some("Town"));
}

#[test]
fn rows_that_say_different_things_of_one_run_or_job_are_refused() {
    let good = Table::good();
    for (head, name, other, says, same) in [
        ("DIAM", "diameter", "150", "say 100 and 150", "10 cm"),
        ("MAT", "material", "VCP", "say PVC and VCP", "pvc"),
        ("wall", "wall", "9 mm", "say 5 mm and 9 mm", "0.005"),
        ("system", "system", "storm", "say foul and storm", "Foul"),
        ("revision", "revision", "2", "say 1 and 2", "01"),
    ] {
        let table = match head {
            "wall" => good.clone().all(head, ["5 mm"; 6]),
            "system" => good.clone().all(head, ["foul"; 6]),
            "revision" => good.clone().all(head, ["1"; 6]),
            _ => good.clone(),
        };
        accepted(&table.clone().with(3, head, same));
        accepted(&table.clone().with(3, head, "").with(1, head, ""));
        let says = ["rows 2 and 4", says, &format!("for `{name}`")];
        refused(&table.with(3, head, other), "unreadable", &says);
    }
    let revised = accepted(&good.with(3, "revision", "2"));
    assert_eq!(revised.job.revision, Some(2));
}

#[test]
fn rows_out_of_order_are_refused() {
    let shuffled = Table::good().ordered([1, 4, 2, 5, 3, 6]);
    refused(&shuffled, "stations", &["turns back on itself at A4"]);
    let record = accepted(&shuffled.all("order", ["1", "4", "2", "5", "3", "6"]));
    assert!((record.runs[0].length_plan.unwrap() - 25.0).abs() < 1e-9);
    // Two corners that make a U, and marks nearer than their bounds that seem to go back.
    let corners = Table::good()
        .all(
            "X",
            ["500010", "500005", "500000", "500000", "500010", "500025"],
        )
        .all(
            "Y",
            [
                "5700020", "5700020", "5700020", "5700010", "5700010", "5700010",
            ],
        );
    accepted(&corners);
    accepted(&Table::good().with(3, "X", "500004.7"));
    refused(
        &Table::good().with(3, "X", "500001.5"),
        "stations",
        &["at A2"],
    );
}

#[test]
fn what_the_map_of_the_mains_does_not_know_is_not_held_against_a_delivery() {
    let folder = support::folder();
    let fields = Fields::parse(FIELDS, "fields.toml").unwrap();
    let path = folder.path().join("d.csv");
    std::fs::write(&path, Table::good().text()).unwrap();
    let rest = [(97.5, 97.0, 0.3), (98.0, -9999.0, 0.3)];
    for (up, down, inverts) in [
        (0.0, 97.0, 2),
        (0.0, 0.0, 3),
        (-9999.0, -9999.0, 3),
        (97.5, 999.9, 2),
    ] {
        let figures = [(up, down, 0.0), rest[0], rest[1]];
        let mains = mains(folder.path(), &figures, &fields);
        let [inverts_note, diameters_note] = mains.notes.as_slice() else {
            panic!("{:?}", mains.notes);
        };
        assert!(
            inverts_note.starts_with(&format!(
                "{inverts} inverts count as not known, the first that of main M1 at"
            )),
            "{inverts_note}"
        );
        assert!(
            diameters_note.starts_with(
                "1 diameter counts as not known, the first that of main M1: its size is 0.000 m"
            ),
            "{diameters_note}"
        );
        let into = folder.path().join(format!("{up} {down}"));
        let mut ledger = Folder::open(&into).unwrap();
        let rows = take_in(std::slice::from_ref(&path), &fields, &mains, &mut ledger).unwrap();
        assert_eq!(rows[0].status, Status::Accepted, "{rows:?}");
        let tap = &rows[0].taps[0];
        assert_eq!((tap.above, tap.diameter), (None, None), "{tap:?}");
        // What is known stays.
        assert_eq!(mains.mains[1].inverts, [Some(97.5), Some(97.0)]);
        assert_eq!(mains.mains[1].diameter, Some(0.3));
    }
}

#[test]
fn a_main_at_sea_level_is_one() {
    let folder = support::folder();
    let fields = Fields::parse(FIELDS, "fields.toml").unwrap();
    let figures = [(0.0, -1.0, 0.3), (9.0, 1.5, 0.3)];
    let mains = mains(folder.path(), &figures, &fields);
    assert_eq!(mains.notes, [""; 0]);
    assert_eq!(mains.mains[0].inverts, [Some(0.0), Some(-1.0)]);
}

/// The delivery moved north, of another supplier, with its places in another system.
fn moved(north: f64, supplier: &str, there: impl Fn(f64, f64) -> (f64, f64)) -> String {
    let mut table = Table::good().all("supplier", [supplier; 6]);
    for row in &mut table.rows {
        let place = |cell: &str| cell.parse::<f64>().unwrap();
        let (x, y) = there(place(&row[2]), place(&row[3]) + north);
        row[2] = format!("{x:.9}");
        row[3] = format!("{y:.9}");
    }
    table.text()
}

/// What becomes of plain files, each with its own coordinate system, one after the other.
fn one_by_one(files: &[(&str, String)], fields: &str) -> (Vec<Row>, Vec<AsBuilt>) {
    let folder = support::folder();
    let own = Fields::parse(fields, "fields.toml").unwrap();
    let mains = mains(folder.path(), &[(97.5, 97.0, 0.3)], &own);
    let mut ledger = Folder::open(&folder.path().join("on-file")).unwrap();
    let mut rows = Vec::new();
    for (number, (crs, text)) in files.iter().enumerate() {
        let fields = fields.replace("crs = \"EPSG:25832\"", &format!("crs = \"{crs}\""));
        let fields = Fields::parse(&fields, "fields.toml").unwrap();
        let path = folder.path().join(format!("{number}.csv"));
        std::fs::write(&path, text).unwrap();
        rows.extend(take_in(&[path], &fields, &mains, &mut ledger).unwrap());
    }
    (rows, ledger.on_file().unwrap())
}

fn code(row: &Row) -> &str {
    row.reasons
        .first()
        .map_or(row.status.word(), |reason| reason.code)
}

#[test]
fn what_the_operation_between_two_systems_leaves_in_doubt_is_in_the_bounds() {
    let system = |code: &str| Crs::new(code, LengthUnit::Metre).unwrap();
    let (grid, other) = (system("EPSG:25832"), system("EPSG:31467"));
    let (_, by) = grid.to_other(&other, &[(500_010.0, 5_700_010.0)]).unwrap();
    let shift = aslaid::crs::shift_sigma(&by);
    println!("{}: one-sigma {shift} m", by.name);
    assert!(shift >= 0.5, "{by:?}");
    let there = |x: f64, y: f64| grid.to_other(&other, &[(x, y)]).unwrap().0[0];
    let here = |x: f64, y: f64| (x, y);
    let open = FIELDS.replace("[require]\nhorizontal_95 = \"1 m\"\n", "");
    assert_ne!(open, FIELDS);
    // One pipe, 0.6 m off by the other system; its neighbour, 1.5 m off in the same.
    let (ours, theirs) = ("EPSG:25832", "EPSG:31467");
    let (rows, _) = one_by_one(
        &[
            (ours, moved(0.0, "A", here)),
            (theirs, moved(0.6, "B", there)),
        ],
        &open,
    );
    assert_eq!(
        (code(&rows[0]), code(&rows[1])),
        ("accepted", "same-place"),
        "{rows:?}"
    );
    for (system, there) in [
        (theirs, &there as &dyn Fn(f64, f64) -> (f64, f64)),
        (ours, &here),
    ] {
        let files = [
            (system, moved(0.0, "A", there)),
            (system, moved(1.5, "B", there)),
            (system, moved(0.1, "C", there)),
        ];
        let (rows, _) = one_by_one(&files, &open);
        let codes: Vec<&str> = rows.iter().map(code).collect();
        assert_eq!(codes, ["accepted", "accepted", "same-place"], "{system}");
        // The tap's bound has the shift.
        let least = if system == ours { 0.0 } else { 1.9 * shift };
        assert!(rows[0].taps[0].distance_95 > least, "{rows:?}");
    }
    // No measuring helps where the operation alone is too wide.
    let (rows, _) = one_by_one(&[(theirs, moved(0.0, "A", there))], FIELDS);
    assert_eq!(code(&rows[0]), "wide", "{rows:?}");
    let message = &rows[0].reasons[0].message;
    assert!(message.contains("deliver it in EPSG:25832"), "{message}");
}

#[test]
fn points_in_longitude_and_latitude_have_the_doubt_of_their_operation() {
    let folder = support::folder();
    let fields = FIELDS.replace("[require]\nhorizontal_95 = \"1 m\"\n", "");
    let fields = Fields::parse(&fields, "fields.toml").unwrap();
    let mains = mains(folder.path(), &[(97.5, 97.0, 0.3)], &fields);
    let mut ledger = Folder::open(&folder.path().join("on-file")).unwrap();
    let grid = Crs::new("EPSG:25832", LengthUnit::Metre).unwrap();
    let mut codes = Vec::new();
    for (number, north) in [0.0, 1.5, 0.1].into_iter().enumerate() {
        let table = Table::good();
        let features = table.rows.iter().map(|row| {
            let place = |cell: &str| cell.parse::<f64>().unwrap();
            let at = [(place(&row[2]), place(&row[3]) + north)];
            let (lonlat, _) = grid.to_geographic(&Datum::Wgs84, &at).unwrap();
            let properties: serde_json::Map<_, _> = table
                .heads
                .iter()
                .zip(row)
                .map(|(head, cell)| (head.clone(), serde_json::json!(cell)))
                .chain([("supplier".to_owned(), serde_json::json!(number.to_string()))])
                .collect();
            serde_json::json!({"type": "Feature", "properties": properties, "geometry":
                {"type": "Point", "coordinates": [lonlat[0].0.to_degrees(), lonlat[0].1.to_degrees()]}})
        });
        let map = serde_json::json!({"type": "FeatureCollection", "features": features.collect::<Vec<_>>()});
        let path = folder.path().join(format!("{number}.geojson"));
        std::fs::write(&path, map.to_string()).unwrap();
        let rows = take_in(&[path], &fields, &mains, &mut ledger).unwrap();
        codes.push(code(&rows[0]).to_owned());
    }
    assert_eq!(codes, ["accepted", "accepted", "same-place"]);
    let record = &ledger.on_file().unwrap()[0];
    let by = &record.frame.operations[0];
    let shift = aslaid::crs::shift_sigma(by);
    // 2.447747 = √(−2 ln 0.05): the circle of 95 % about one-sigma 1 on each axis.
    let due = 0.2_f64.hypot(2.447_747 * shift);
    let radius = record.marks[0].horizontal_95.unwrap();
    assert!(shift > 0.5 && (radius - due).abs() < 1e-5, "{radius} {due}");
    assert!(record.accuracy.statement.contains(&by.name), "{by:?}");
}
