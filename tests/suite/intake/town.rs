//! An invented town: ten mains, a thousand laterals, a hundred of whose deliveries are bad.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use aslaid::export::{FORMATS, View, record::seal};
use aslaid::findings::{Code, Finding};
use aslaid::intake::ledger::Ledger;
use aslaid::record::AsBuilt;
use aslaid::record::model::{Draft, Ellipse};
use serde_json::json;

use super::support::{Corner, Random, US_FOOT, record, run};

pub const FIELDS: &str = r#"
[delivery]
crs = "EPSG:2264"
unit = "m"
vertical = "NAVD88"
[fields]
supplier = "FIRM"
job = "WORK_ORDER"
run = "LINE"
order = "SEQ"
easting = "X"
northing = "Y"
depth = "DEPTH"
ground = "GROUND"
invert = "INV"
invert_95 = "ACC_V"
horizontal_95 = "ACC_H"
diameter = "DIAM_MM"
material = "MAT"
[units]
diameter = "mm"
[require]
fields = ["diameter", "material"]
horizontal_95 = "1 m"
[mains]
id = "MAIN_ID"
upstream_manhole = "US_MH"
downstream_manhole = "DS_MH"
upstream_invert = "US_INV"
downstream_invert = "DS_INV"
diameter = "DIAM"
unit = "m"
drawn = "upstream"
vertical = "NAVD88"
"#;

const ORIGIN: (f64, f64) = (440_000.0, 165_000.0);

/// Ways in which a delivery can be bad, by the code of the reason.
const WAYS: [&str; 25] = [
    "unreadable",
    "schema",
    "draft",
    "altered",
    "findings",
    "identity",
    "twice",
    "on-file",
    "date",
    "incomplete",
    "no-run",
    "coordinates",
    "elsewhere",
    "no-bound",
    "wide",
    "same-place",
    "no-main",
    "against-flow",
    "stations",
    "no-depth",
    "implausible",
    "above-ground",
    "vertical",
    "below-main",
    "diameter",
];

pub struct Town {
    pub mains: PathBuf,
    pub deliveries: Vec<PathBuf>,
    bad: BTreeMap<String, &'static str>,
    ends: BTreeMap<String, (f64, f64)>,
    on_file: Vec<AsBuilt>,
}

/// Number 0 to 999: every tenth is bad.
fn way(number: usize) -> Option<&'static str> {
    (number % 10 == 7).then(|| WAYS[number / 10 % WAYS.len()])
}

/// A lateral of 15 m from the north to its main, with what the truth of its end is: easting, northing.
fn corners(number: usize, random: &mut Random) -> Vec<Corner> {
    let (main, along) = (number % 10, 3.0 + 5.9 * (number / 10) as f64);
    let (x, y) = (
        ORIGIN.0 + along,
        ORIGIN.1 + 60.0 * main as f64 + bend(along),
    );
    let mut corner = |part: f64| {
        let ellipse = Ellipse {
            semi_major_95: 0.2,
            semi_minor_95: 0.1,
            azimuth_95: 30.0,
        };
        Corner {
            at: (
                x + 0.05 * random.normal(),
                y + 15.0 * (1.0 - part) + 0.05 * random.normal(),
            ),
            ellipse: Some(ellipse),
            depth: Some((1.5 + part, 0.1)),
            cover: Some(1.4 + part),
            invert: Some((100.8 - 0.3 * part, 0.1)),
            joint: None,
        }
    };
    [0.0, 0.5, 1.0].map(&mut corner).to_vec()
}

/// The mains bend gently: metres north of the straight.
fn bend(along: f64) -> f64 {
    if along < 300.0 {
        0.05 * along
    } else {
        15.0 - 0.02 * (along - 300.0)
    }
}

fn delivered(number: usize, corners: &[Corner]) -> AsBuilt {
    let mut record = record("EPSG:2264", US_FOOT, "m");
    record.job.id = format!("J-{number:04}");
    record.job.supplier = Some(["Alder", "Birch", "Cedar"][number % 3].to_owned());
    record.job.located_on = Some("2026-05-14".to_owned());
    record.job.revision = Some(1);
    record.frame.vertical = Some("NAVD88".to_owned());
    let mut run = run(&record, "A", corners);
    run.diameter = Some(0.1);
    run.texts.insert("material".to_owned(), "PVC".to_owned());
    for vertex in &mut run.vertices {
        vertex.ground =
            Some(vertex.invert.unwrap_or_default() + vertex.transmitter_depth.unwrap_or_default());
    }
    record.runs = vec![run];
    record
}

/// A good delivery.
pub fn good(number: usize) -> AsBuilt {
    delivered(number, &corners(number, &mut Random(number as u64)))
}

/// Its file, as `build` writes it.
pub fn bytes(record: AsBuilt) -> Vec<u8> {
    let mut out = Vec::new();
    FORMATS[0]
        .write(&View::new(&seal(record).unwrap()), &mut out)
        .unwrap();
    out
}

/// The record gone bad in one way.
fn spoil(way: &str, record: &mut AsBuilt) {
    let run = &mut record.runs[0];
    match way {
        "draft" => record.draft = Some(Draft { left_out: 2 }),
        "findings" => record.findings.push(Finding::new(
            Code::AboveGround,
            "the computed pipe lies above the ground at A2",
        )),
        "identity" => record.job.supplier = None,
        "twice" => {
            // The job before this one, which is good and of another supplier.
            record.job.id = format!("J-{:04}", record.job.id[2..].parse::<usize>().unwrap() - 1);
            record.job.supplier = Some(
                ["Alder", "Birch", "Cedar"][record.job.id[2..].parse::<usize>().unwrap() % 3]
                    .to_owned(),
            );
        }
        "date" => record.job.located_on = Some("14/05/26".to_owned()),
        "incomplete" => {
            run.texts.clear();
        }
        "no-run" => run.vertices.truncate(1),
        "coordinates" => {
            "local".clone_into(&mut record.frame.crs);
            record.frame.local = true;
        }
        "elsewhere" => {
            for vertex in &mut run.vertices {
                std::mem::swap(&mut vertex.easting, &mut vertex.northing);
            }
        }
        "no-bound" => run
            .vertices
            .iter_mut()
            .for_each(|vertex| vertex.ellipse = None),
        "wide" => run.vertices.iter_mut().for_each(|vertex| {
            vertex.ellipse = vertex.ellipse.map(|ellipse| Ellipse {
                semi_major_95: 1.2,
                ..ellipse
            });
        }),
        "no-main" => run
            .vertices
            .iter_mut()
            .for_each(|vertex| vertex.northing += 22.0 / US_FOOT),
        "against-flow" => {
            run.vertices.reverse();
        }
        "stations" => run
            .vertices
            .iter_mut()
            .for_each(|vertex| vertex.station *= 3.28),
        "no-depth" => run.vertices.iter_mut().for_each(|vertex| {
            vertex.transmitter_depth = None;
            vertex.invert = None;
        }),
        "implausible" => run
            .vertices
            .iter_mut()
            .for_each(|vertex| vertex.transmitter_depth = Some(60.0)),
        "above-ground" => {
            run.vertices[1].ground = run.vertices[1].invert.map(|invert| invert - 0.4);
        }
        "vertical" => record.frame.vertical = Some("NGVD29".to_owned()),
        "below-main" => run.vertices.iter_mut().for_each(|vertex| {
            vertex.invert = vertex.invert.map(|invert| invert - 9.0);
            vertex.ground = vertex.ground.map(|ground| ground - 9.0);
        }),
        "diameter" => run.diameter = Some(4.0),
        _ => {}
    }
}

impl Town {
    pub fn build(folder: &Path) -> Self {
        let mut town = Self {
            mains: mains(folder),
            deliveries: Vec::new(),
            bad: BTreeMap::new(),
            ends: BTreeMap::new(),
            on_file: Vec::new(),
        };
        let mut random = Random(77);
        let mut plain =
            String::from("FIRM,WORK_ORDER,LINE,SEQ,X,Y,DEPTH,GROUND,INV,ACC_V,ACC_H,DIAM_MM,MAT\n");
        let mut points = Vec::new();
        let mut last: Vec<Corner> = Vec::new();
        for number in 0..1000 {
            let corners = corners(number, &mut random);
            let mut record = delivered(number, &corners);
            let name = format!("J-{number:04}");
            town.ends.insert(name.clone(), corners[2].at);
            let way = way(number);
            // Good ones of one kind each come as plain rows.
            match (number % 10, way) {
                (1, None) => plain += &rows(&record),
                (2, None) => points.extend(features(&record)),
                _ => {
                    if let Some(way) = way {
                        if way == "same-place" {
                            record = delivered(number, &last);
                        }
                        if way == "on-file" {
                            town.on_file.push(seal(record.clone()).unwrap());
                            record.runs[0].diameter = Some(0.15);
                        }
                        spoil(way, &mut record);
                    }
                    let path = folder.join(format!("{name}.json"));
                    if let Some(way) = way {
                        town.bad.insert(path.display().to_string(), way);
                    }
                    let mut text = String::from_utf8(bytes(record)).unwrap();
                    match way {
                        Some("unreadable") => text.truncate(text.len() / 2),
                        Some("schema") => text = text.replace("aslaid record 1", "aslaid record 0"),
                        Some("altered") => text = text.replacen("2026-05-14", "2026-05-15", 1),
                        _ => {}
                    }
                    std::fs::write(&path, text).unwrap();
                    town.deliveries.push(path);
                }
            }
            if way.is_none() {
                last = corners;
            }
        }
        let (table, map) = (folder.join("plain.csv"), folder.join("plain.geojson"));
        std::fs::write(&table, plain).unwrap();
        let map_text = json!({"type": "FeatureCollection", "features": points,
            "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::2264"}}});
        std::fs::write(&map, map_text.to_string()).unwrap();
        town.deliveries.extend([table, map]);
        town
    }

    /// What is on file before.
    pub fn before(&self, ledger: &mut dyn Ledger) {
        for record in &self.on_file {
            ledger.accept(record, &[]).unwrap();
        }
    }

    pub fn expected(&self, source: &str, _: &str) -> Option<&'static str> {
        self.bad.get(source).copied()
    }

    pub fn job_of(source: &str) -> Option<String> {
        Path::new(source)
            .file_stem()
            .map(|stem| stem.to_string_lossy().into_owned())
    }

    /// Where a lateral ends, metres.
    pub fn end(&self, job: &str) -> (f64, f64) {
        self.ends[job]
    }
}

/// Ten mains that fall by a metre from east to west, drawn upstream, from the downstream manhole in the west.
pub fn mains(folder: &Path) -> PathBuf {
    let features: Vec<_> = (0..10)
        .map(|main| {
            let place = |along: f64| {
                let y = ORIGIN.1 + 60.0 * f64::from(main) + bend(along);
                [(ORIGIN.0 + along) / US_FOOT, y / US_FOOT]
            };
            json!({"type": "Feature", "geometry": {"type": "LineString", "coordinates": [place(0.0), place(300.0), place(620.0)]},
                "properties": {"MAIN_ID": format!("M{main}"), "US_MH": format!("MH{main}-2"), "DS_MH": format!("MH{main}-1"),
                    "US_INV": 100.2, "DS_INV": 99.2, "DIAM": 0.2}})
        })
        .collect();
    let path = folder.join("mains.geojson");
    let all = json!({"type": "FeatureCollection", "features": features,
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::2264"}}});
    std::fs::write(&path, all.to_string()).unwrap();
    path
}

/// The cells of one mark.
fn cells(record: &AsBuilt, number: usize) -> Vec<(&'static str, String)> {
    let vertex = &record.runs[0].vertices[number];
    vec![
        ("FIRM", record.job.supplier.clone().unwrap()),
        ("WORK_ORDER", record.job.id.clone()),
        ("LINE", "A".to_owned()),
        ("SEQ", number.to_string()),
        ("X", format!("{:.6}", vertex.easting)),
        ("Y", format!("{:.6}", vertex.northing)),
        ("DEPTH", vertex.transmitter_depth.unwrap().to_string()),
        ("GROUND", vertex.ground.unwrap().to_string()),
        ("INV", vertex.invert.unwrap().to_string()),
        ("ACC_V", "0.2".to_owned()),
        ("ACC_H", "0.2".to_owned()),
        ("DIAM_MM", "100".to_owned()),
        ("MAT", "PVC".to_owned()),
    ]
}

/// Rows of the CSV, in no order of flow.
fn rows(record: &AsBuilt) -> String {
    [2, 0, 1]
        .map(|number| {
            cells(record, number)
                .into_iter()
                .map(|(_, cell)| cell)
                .collect::<Vec<_>>()
                .join(",")
                + "\n"
        })
        .concat()
}

fn features(record: &AsBuilt) -> Vec<serde_json::Value> {
    let feature = |number: usize| {
        let properties: serde_json::Map<_, _> = cells(record, number)
            .into_iter()
            .map(|(key, cell)| (key.to_owned(), json!(cell)))
            .collect();
        let vertex = &record.runs[0].vertices[number];
        json!({"type": "Feature", "properties": properties, "geometry": {"type": "Point", "coordinates": [vertex.easting, vertex.northing]}})
    };
    [2, 0, 1].map(feature).to_vec()
}
