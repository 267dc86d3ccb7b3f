//! Plain deliveries whose figures contradict each other, or stand beside blanks: each with its clean twin.

use aslaid::intake::fields::Fields;
use aslaid::intake::ledger::{Folder, Ledger};
use aslaid::intake::mains::Mains;
use aslaid::intake::report::{Row, Status};
use aslaid::intake::take_in;
use aslaid::record::AsBuilt;
use aslaid::record::model::VertexKind;

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

/// What becomes of a file, and the records on file afterwards.
fn taken(name: &str, bytes: &[u8], fields: &str) -> (Row, Vec<AsBuilt>) {
    let folder = support::folder();
    let map = serde_json::json!({"type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}},
        "features": [{"type": "Feature", "properties": {"ID": "M1", "UP": 97.5, "DOWN": 97.0, "DIAM": 0.3},
            "geometry": {"type": "LineString", "coordinates": [[500_026, 5_700_100], [500_026, 5_699_900]]}}]});
    let path = folder.path().join("mains.geojson");
    std::fs::write(&path, map.to_string()).unwrap();
    let fields = Fields::parse(fields, "fields.toml").unwrap();
    let mains = Mains::read(&path, &fields).unwrap();
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
