//! What reads bytes that somebody else wrote, one entry a reader: called by the fuzzer, and by the test that replays
//! what the fuzzer found.
//!
//! An entry panics where a reader breaks its word: a panic of its own, a number that is none, an error that names no
//! place. It may write into the folder that it is given, and nowhere else.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use aslaid::crs::Crs;
use aslaid::export::{self, View};
use aslaid::findings::Level;
use aslaid::job::{self, JobPath};
use aslaid::maps;
use aslaid::pipeline::{self, Options, Outcome};
use aslaid::plan::{self, Request, Site, layers::Layers};
use aslaid::units::{self, Axis, LengthUnit, Plain};

/// One reader: a folder that it may write to, the bytes.
pub type Entry = fn(&Path, &[u8]);

/// Every entry by name.
pub const ENTRIES: &[(&str, Entry)] = &[
    ("settings", settings),
    ("cells", cells),
    ("lengths", lengths),
    ("nmea", nmea),
    ("workbook", workbook),
    ("plan", plan),
    ("fields", fields),
    ("delivery", delivery),
    ("check", check),
];

/// Line that begins a file, in inputs that hold several: the name follows.
const FILE: &str = "%% ";

const SETTINGS: &str = "[job]\nid = \"J\"\nsupplier = \"S\"\nlocated_on = 2026-05-14\n[grid]\ncrs = \"EPSG:2264\"\nunit = \"ft\"\n[[run]]\nid = \"A\"\n";
const MARKS: &str =
    "run,mark,easting,northing,sigma\nA,A1,1450200,541700,0.05\nA,A2,1450220,541705,0.05\n";

fn crs_unit(code: &str) -> Result<f64, String> {
    Crs::new(code, LengthUnit::Metre)
        .map(|crs| crs.unit_metres())
        .map_err(|error| error.to_string())
}

/// An empty folder of this name.
fn empty(folder: &Path, name: &str) -> PathBuf {
    let folder = folder.join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder to write to");
    folder
}

fn put(folder: &Path, name: &str, bytes: &[u8]) {
    fs::write(folder.join(name), bytes).expect("a file to write to");
}

/// Reads a job and holds what came of it against what is promised.
fn read(path: &JobPath) {
    let Ok(reading) = job::read(path, &crs_unit) else {
        return;
    };
    for finding in reading.findings.iter().filter(|f| f.level == Level::Error) {
        assert!(
            finding.source.is_some(),
            "a finding of reading names no place: {}",
            finding.message
        );
    }
    let finite =
        |value: Option<f64>| assert!(value.is_none_or(f64::is_finite), "{value:?} was read");
    for mark in &reading.job.marks {
        finite(mark.counter);
        finite(mark.ground);
        finite(mark.tilt);
        finite(mark.placing.sigma);
        finite(mark.placing.elevation);
        finite(mark.placing.grid.map(|(e, n)| e + n));
        mark.readings.iter().copied().for_each(finite);
        mark.placing
            .ties
            .iter()
            .for_each(|tie| finite(Some(tie.length)));
    }
    for control in &reading.job.control {
        finite(control.elevation);
        finite(control.grid.map(|(e, n)| e + n));
    }
    for measure in &reading.job.measures {
        finite(Some(measure.value));
    }
    for row in &reading.job.camera {
        finite(Some(row.counter));
    }
}

/// `job.toml`.
pub fn settings(folder: &Path, bytes: &[u8]) {
    let job = empty(folder, "settings");
    put(&job, "job.toml", bytes);
    put(&job, "marks.csv", MARKS.as_bytes());
    read(&JobPath::Folder(job));
}

/// A table as a text file: the first byte says which, the rest is the file.
pub fn cells(folder: &Path, bytes: &[u8]) {
    const TABLES: [&str; 7] = [
        "marks", "control", "runs", "pushes", "measures", "camera", "levels",
    ];
    let Some((which, text)) = bytes.split_first() else {
        return;
    };
    let job = empty(folder, "cells");
    let name = TABLES[usize::from(*which) % TABLES.len()];
    put(&job, "job.toml", SETTINGS.as_bytes());
    put(&job, "marks.csv", MARKS.as_bytes());
    put(&job, &format!("{name}.csv"), text);
    read(&JobPath::Folder(job));
}

/// Every form of a single figure.
pub fn lengths(_: &Path, bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let finite = |value: Result<f64, String>| match value {
        Ok(value) => assert!(value.is_finite(), "{text:?} was read as {value}"),
        Err(why) => assert!(!why.is_empty()),
    };
    for unit in [
        LengthUnit::Metre,
        LengthUnit::Foot,
        LengthUnit::UsSurveyFoot,
    ] {
        for decimal_comma in [false, true] {
            let plain = Plain {
                decimal_comma,
                ..Plain::of(unit)
            };
            finite(units::parse_length(text, plain));
            finite(units::parse_station(text, plain));
            finite(units::parse_offset(text, plain));
            finite(units::parse_number(text, decimal_comma));
            finite(units::parse_fraction(text, decimal_comma));
            finite(units::parse_grade(text, decimal_comma));
            finite(units::parse_angle(text, decimal_comma));
            finite(units::parse_bearing(text, decimal_comma));
            finite(units::parse_declination(text, decimal_comma));
            for axis in [Axis::Latitude, Axis::Longitude] {
                finite(units::parse_coordinate(text, axis, decimal_comma));
            }
        }
    }
    finite(units::parse_time(text, Some(20_000)));
    finite(units::parse_time(text, None));
    let _ = units::parse_date(text).map(units::date_text);
    let _ = units::mangled(text);
}

/// A receiver log.
pub fn nmea(_: &Path, bytes: &[u8]) {
    for day in [None, Some(20_587)] {
        let log = job::nmea::parse("site.nmea", bytes, day);
        let lines = bytes.split(|byte| *byte == b'\n').count();
        assert!(log.epochs.len() <= lines && log.broken.len() <= lines);
        for epoch in &log.epochs {
            assert!(epoch.latitude.is_finite() && epoch.longitude.is_finite());
        }
    }
}

/// The files that an input holds.
fn files(text: &[u8]) -> Vec<(String, &[u8])> {
    let mut files: Vec<(String, &[u8])> = Vec::new();
    let mut rest = text;
    let mark = FILE.as_bytes();
    while let Some(at) = rest.windows(mark.len()).position(|window| window == mark) {
        if let Some((_, held)) = files.last_mut() {
            *held = &held[..held.len() - rest.len() + at];
        }
        rest = &rest[at + mark.len()..];
        let end = rest
            .iter()
            .position(|byte| *byte == b'\n')
            .unwrap_or(rest.len());
        let name = String::from_utf8_lossy(&rest[..end]).trim().to_owned();
        rest = rest.get(end + 1..).unwrap_or_default();
        files.push((name, rest));
    }
    files
}

/// A workbook: as it is, or as the parts that it holds, packed here since no chance finds a right checksum.
pub fn workbook(folder: &Path, bytes: &[u8]) {
    use std::io::Write as _;
    let job = empty(folder, "workbook");
    if bytes.starts_with(b"PK") {
        put(&job, "w.xlsx", bytes);
    } else {
        let mut packed = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
        let stored = zip::write::SimpleFileOptions::default()
            .compression_method(zip::CompressionMethod::Stored);
        for (name, held) in files(bytes) {
            if packed.start_file(name, stored).is_ok() {
                let _ = packed.write_all(held);
            }
        }
        let Ok(packed) = packed.finish() else { return };
        put(&job, "w.xlsx", packed.get_ref());
    }
    read(&JobPath::Workbook(job.join("w.xlsx")));
}

/// A record to lay plans under, in memory.
fn record(folder: &Path) -> &'static (aslaid::record::AsBuilt, Site) {
    static RECORD: OnceLock<(aslaid::record::AsBuilt, Site)> = OnceLock::new();
    RECORD.get_or_init(|| {
        let job = empty(folder, &format!("record-{:?}", std::thread::current().id()));
        put(&job, "job.toml", SETTINGS.as_bytes());
        put(&job, "marks.csv", MARKS.as_bytes());
        let outcome = pipeline::run(&job, &Options::default()).expect("a job that is right");
        let record = outcome.record.expect("a record");
        let site = Site::of(&record).expect("a site");
        (record, site)
    })
}

/// A site plan: the first byte says which form, the rest is the file.
pub fn plan(folder: &Path, bytes: &[u8]) {
    let Some((which, held)) = bytes.split_first() else {
        return;
    };
    if which % 3 == 2 {
        let _ = maps::wkb::read(held);
        let _ = maps::wkb::geopackage(held);
        let _ = maps::dxf::Drawing::scan(held);
        return;
    }
    let name = ["p.geojson", "p.gpkg"][usize::from(which % 3)];
    let place = empty(folder, "plan");
    put(&place, name, held);
    let (record, site) = record(folder);
    let said = "crs = \"EPSG:2264\"\n[[layer]]\nname = \"water\"\nrole = \"utility\"\n";
    let layers = Layers::parse(said, "layers.toml", LengthUnit::Foot).unwrap_or_default();
    let files = [place.join(name)];
    let request = Request {
        files: &files,
        layers: &layers,
        tie: None,
    };
    let Ok(plan) = plan::read(&request, site) else {
        return;
    };
    let mut record = record.clone();
    let _ = plan::attach(&mut record, &plan, site);
    for crossing in &record.crossings {
        assert!(crossing.easting.is_finite() && crossing.northing.is_finite());
    }
}

/// The files that say what other people's columns and layers mean, and where common points lie.
pub fn fields(folder: &Path, bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let (record, _) = record(folder);
    let path = Path::new("fields.toml");
    if let Ok(fields) = export::fields::Fields::parse(path, text)
        && let Ok(view) = View::with_fields(record, &fields)
    {
        write(&view, &["geojson", "points", "profile"]);
    }
    let _ = aslaid::intake::fields::Fields::parse(text, "fields.toml");
    let _ = Layers::parse(text, "layers.toml", LengthUnit::Foot);
    let _ = plan::tie::Tie::parse(text, "tie.csv", record);
}

/// What a utility is sent: the first byte says which form, the rest is the file.
pub fn delivery(folder: &Path, bytes: &[u8]) {
    let Some((which, held)) = bytes.split_first() else {
        return;
    };
    let name = ["record.json", "d.csv", "d.geojson", "d.gpkg"][usize::from(which % 4)];
    let place = empty(folder, "delivery");
    put(&place, name, held);
    let Ok(fields) = aslaid::intake::fields::Fields::parse(INTAKE, "fields.toml") else {
        panic!("the field file is not right")
    };
    for delivery in aslaid::intake::read::deliveries(&place.join(name), &fields) {
        match delivery {
            Ok(_) => {}
            Err(refusal) => assert!(!refusal.message.is_empty()),
        }
    }
}

const INTAKE: &str = include_str!("intake.toml");

/// A whole job: its files, each behind a line `%% name`.
pub fn check(folder: &Path, bytes: &[u8]) {
    let job = empty(folder, "check");
    for (name, held) in files(bytes) {
        if !name.is_empty()
            && !name.contains('/')
            && !name.contains('\0')
            && name.len() < 60
            && !name.starts_with('.')
        {
            put(&job, &name, held);
        }
    }
    let options = Options {
        draft: true,
        tables: true,
        ..Options::default()
    };
    let Ok(outcome) = pipeline::run(&job, &options) else {
        return;
    };
    sound(&outcome);
    if let Some(record) = &outcome.record {
        write(
            &View::new(record),
            &[
                "geojson", "kml", "points", "profile", "camera", "ties", "dxf",
            ],
        );
        let json = export::record::seal(record.clone());
        assert!(json.is_ok(), "the record can't be written");
    }
}

fn write(view: &View<'_>, names: &[&str]) {
    for format in export::FORMATS {
        if names.contains(&format.name()) && format.absent(view.record).is_none() {
            let mut bytes = Vec::new();
            assert!(
                format.write(view, &mut bytes).is_ok(),
                "{} can't be written",
                format.name()
            );
        }
    }
}

/// Errors name a place, and no figure is none.
fn sound(outcome: &Outcome) {
    for finding in outcome.findings.iter().filter(|f| f.level == Level::Error) {
        let placed = finding.source.is_some() || finding.mark.is_some() || finding.run.is_some();
        assert!(
            placed || finding.code.to_string() == "no-datum",
            "names no place: {}",
            finding.message
        );
    }
    let Some(record) = &outcome.record else {
        return;
    };
    for mark in &record.marks {
        assert!(
            mark.easting.is_finite() && mark.northing.is_finite(),
            "{}",
            mark.id
        );
        for value in [
            mark.invert,
            mark.cover,
            mark.transmitter_depth,
            mark.station,
            mark.invert_95,
        ] {
            assert!(value.is_none_or(f64::is_finite), "{}", mark.id);
        }
        assert!(
            mark.invert_95.is_none_or(|bound| bound >= 0.0),
            "{}",
            mark.id
        );
    }
    for run in &record.runs {
        for value in [run.length, run.fall, run.grade, run.grade_95] {
            assert!(value.is_none_or(f64::is_finite), "{}", run.id);
        }
    }
}
