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
use aslaid::maps::{self, RawFeature};
use aslaid::pipeline::{self, Options, Outcome};
use aslaid::plan::layers::{Layers, Lie};
use aslaid::plan::{self, Request, Site};
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
    ("drawing", drawing),
    ("fields", fields),
    ("delivery", delivery),
    ("check", check),
    ("sections", sections),
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

/// Puts the files that an input holds into a folder, as far as they have names for one.
fn put_all(folder: &Path, held: &[(String, &[u8])]) {
    for (name, held) in held {
        let fits = !name.is_empty() && name.len() < 60 && !name.starts_with('.');
        if fits && !name.contains(['/', '\0']) {
            put(folder, name, held);
        }
    }
}

/// `job.toml`, alone or with files beside it; or a sheet `job` and others, as comma-separated text, in a workbook.
pub fn settings(folder: &Path, bytes: &[u8]) {
    let job = empty(folder, "settings");
    put(&job, "marks.csv", MARKS.as_bytes());
    let held = files(bytes);
    if held.is_empty() {
        put(&job, "job.toml", bytes);
    } else if held.iter().any(|(name, _)| name == "job") {
        put(&job, "w.xlsx", &sheets(&held));
        let logs = held.into_iter().filter(|(name, _)| name.contains('.'));
        put_all(&job, &logs.collect::<Vec<_>>());
        return read(&JobPath::Workbook(job.join("w.xlsx")));
    } else {
        put_all(&job, &held);
    }
    read(&JobPath::Folder(job));
}

/// A workbook of comma-separated sheets; a name with a point is none of them.
fn sheets(held: &[(String, &[u8])]) -> Vec<u8> {
    let mut book = rust_xlsxwriter::Workbook::new();
    for (name, text) in held.iter().filter(|(name, _)| !name.contains('.')) {
        let mut sheet = rust_xlsxwriter::Worksheet::new();
        if sheet.set_name(name).is_err() {
            continue;
        }
        let mut rows = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .from_reader(*text);
        for (row, cells) in (0..).zip(rows.byte_records().map_while(Result::ok)) {
            for (column, cell) in (0..300).zip(cells.iter()) {
                let cell = String::from_utf8_lossy(cell);
                // What a sheet can't hold is left out of it.
                let _ = match (cell.parse::<f64>(), &*cell) {
                    (Ok(number), _) if number.is_finite() => {
                        sheet.write_number(row, column, number).map(|_| ())
                    }
                    (_, "TRUE" | "FALSE") => {
                        sheet.write_boolean(row, column, cell == "TRUE").map(|_| ())
                    }
                    (_, text) => sheet.write_string(row, column, text).map(|_| ()),
                };
            }
        }
        book.push_worksheet(sheet);
    }
    // Sheets of the same name make none; the reader then has nothing to read.
    book.save_to_buffer().unwrap_or_default()
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

/// A workbook: as it is, as the parts that it holds, packed here since no chance finds a right checksum, or as sheets of
/// comma-separated text.
pub fn workbook(folder: &Path, bytes: &[u8]) {
    use std::io::Write as _;
    let job = empty(folder, "workbook");
    if bytes.starts_with(b"PK") {
        put(&job, "w.xlsx", bytes);
    } else if bytes.starts_with(b"%% job\n") {
        put(&job, "w.xlsx", &sheets(&files(bytes)));
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

/// A job with depths and heights, on a grid of the world or on one of its own, and with references to tie plans to.
const LAID: &str = "%% marks.csv
run,mark,easting,northing,sigma,ground,depth_1,depth_2,counter,fitting
A,A1,1450200,541700,0.05,705.1,5.5,5.6,10,cleanout
A,A2,1450220,541705,0.05,705.0,5.7,5.7,31,
A,A3,1450240,541702,0.05,704.8,5.9,5.9,52,main connection
B,B1,1450220,541690,0.05,704.9,,,,
B,B2,1450221,541680,0.05,704.9,4,4.1,,
%% control.csv
point,easting,northing,elevation
P1,1450200,541690,705
P2,1450240,541690,704.5
P3,1450220,541720,705.5
%% camera.csv
run,counter,what,clock
A,20,crack,12
";

/// A record to lay plans under, in memory: on the grid of its coordinate system, or on a local one.
fn record(folder: &Path, local: bool) -> &'static (aslaid::record::AsBuilt, Site) {
    static RECORDS: [OnceLock<(aslaid::record::AsBuilt, Site)>; 2] =
        [OnceLock::new(), OnceLock::new()];
    RECORDS[usize::from(local)].get_or_init(|| {
        let name = format!("record-{local}-{:?}", std::thread::current().id());
        let job = empty(folder, &name);
        let settings = if local {
            SETTINGS.replace("EPSG:2264", "local")
        } else {
            SETTINGS.to_owned()
        };
        let settings =
            format!("{settings}diameter = \"4 in\"\nmaterial = \"PVC\"\nsystem = \"sanitary\"\n");
        put(&job, "job.toml", settings.as_bytes());
        put_all(&job, &files(LAID.as_bytes()));
        let outcome = pipeline::run(&job, &Options::default()).expect("a job that is right");
        let record = outcome.record.expect("a record");
        assert!(record.marks.iter().any(|mark| mark.invert.is_some()));
        let site = Site::of(&record).expect("a site");
        (record, site)
    })
}

/// What is said of a plan where the input does not say it.
const LAYERS: &str = "crs = \"EPSG:2264\"\n[[layer]]\nname = \"water\"\nrole = \"utility\"\n";

/// A site plan: the first byte says which form (GeoJSON, GeoPackage, bytes of a shape or a drawing, several files with what is
/// said of them) and under which job, the rest is the file.
pub fn plan(folder: &Path, bytes: &[u8]) {
    let Some((which, held)) = bytes.split_first() else {
        return;
    };
    let place = empty(folder, "plan");
    let local = which & 4 != 0;
    let held = match which % 4 {
        0 => vec![("p.geojson".to_owned(), held)],
        1 => vec![("p.gpkg".to_owned(), held)],
        2 => {
            let _ = maps::wkb::read(held);
            let _ = maps::wkb::geopackage(held);
            let _ = maps::dxf::Drawing::scan(held);
            return;
        }
        _ => files(held),
    };
    lay(folder, &place, &held, local, &["geojson", "json", "gpkg"]);
}

/// A drawing or another file that GDAL's program reads, with the files that belong to it.
pub fn drawing(folder: &Path, bytes: &[u8]) {
    let place = empty(folder, "drawing");
    let mut held = files(bytes);
    if held.is_empty() {
        held.push(("p.dxf".to_owned(), bytes));
    }
    lay(
        folder,
        &place,
        &held,
        false,
        &["dxf", "shp", "kml", "gml", "mif"],
    );
}

/// Lays a plan under the record: the first file with one of these endings, by what the files `layers.toml` and `tie.csv` say.
fn lay(folder: &Path, place: &Path, held: &[(String, &[u8])], local: bool, endings: &[&str]) {
    put_all(place, held);
    let text = |wanted: &str| {
        let (_, text) = held.iter().find(|(name, _)| name == wanted)?;
        std::str::from_utf8(text).ok()
    };
    let ends = |name: &str| endings.iter().any(|end| name.ends_with(&format!(".{end}")));
    let Some((name, _)) = held.iter().find(|(name, _)| ends(name)) else {
        return;
    };
    let (record, site) = record(folder, local);
    let said = text("layers.toml").unwrap_or(LAYERS);
    let layers = Layers::parse(said, "layers.toml", LengthUnit::Foot).unwrap_or_default();
    let tie = text("tie.csv").and_then(|text| plan::tie::Tie::parse(text, "tie.csv", record).ok());
    let request = Request {
        files: &[place.join(name)],
        layers: &layers,
        tie: tie.as_ref(),
    };
    let Ok(plan) = plan::read(&request, site) else {
        return;
    };
    let mut record = record.clone();
    let _ = plan::attach(&mut record, &plan, site);
    for crossing in &record.crossings {
        assert!(crossing.easting.is_finite() && crossing.northing.is_finite());
        for value in [Some(crossing.station), crossing.invert, crossing.cover] {
            assert!(value.is_none_or(f64::is_finite), "{}", crossing.id);
        }
    }
    for file in plan.files {
        let own = plan::OwnSystem {
            file,
            site: site.clone(),
        };
        let _ = own.back(&[(1_450_200.0, 541_700.0)]);
        assert!(own.unit_metres() > 0.0);
    }
}

/// The files that say what other people's columns and layers mean, and where common points lie.
pub fn fields(folder: &Path, bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let (record, _) = record(folder, false);
    let path = Path::new("fields.toml");
    if let Ok(fields) = export::fields::Fields::parse(path, text)
        && let Ok(view) = View::with_fields(record, &fields)
    {
        write(&view, &["geojson", "points", "profile", "camera", "ties"]);
    }
    if let Ok(fields) = aslaid::intake::fields::Fields::parse(text, "fields.toml") {
        let place = empty(folder, "fields");
        put(&place, "d.csv", DELIVERED.as_bytes());
        for delivery in aslaid::intake::read::deliveries(&place.join("d.csv"), &fields) {
            assert!(
                delivery
                    .err()
                    .is_none_or(|refusal| !refusal.message.is_empty())
            );
        }
    }
    if let Ok(layers) = Layers::parse(text, "layers.toml", LengthUnit::Foot) {
        let names = ["water", "gas main", ""];
        let said = [
            ("DEPTH", "4"),
            ("ELEV", "700.1 ft"),
            ("DIAM", "6"),
            ("BAD", "six"),
        ];
        let feature = RawFeature {
            number: 1,
            id: None,
            geometry: geo::Point::new(0.0, 0.0).into(),
            heights: vec![700.5],
            attributes: said
                .map(|(name, text)| (name.to_owned(), text.to_owned()))
                .into(),
        };
        for rule in names.iter().filter_map(|name| layers.rule(name)) {
            let values = match rule.lie(&feature, 1.0).ok().flatten() {
                Some(Lie::Level(level)) => vec![level.value],
                Some(Lie::Drawn { heights, .. }) => heights,
                None => Vec::new(),
            };
            assert!(values.iter().all(|value| value.is_finite()));
            let size = rule.size(&feature.attributes).ok().flatten();
            assert!(size.is_none_or(|size| size >= 0.0));
        }
        let _ = (
            layers.idle(&names),
            layers.beats("p.geojson"),
            layers.otherwise(),
        );
    }
    if let Ok(tie) = plan::tie::Tie::parse(text, "tie.csv", record) {
        assert!(tie.used() >= 3 && !tie.words().is_empty());
        assert!(tie.sigma_at((0.0, 0.0)) >= 0.0);
        let _ = tie.back((442_000.0, 165_000.0));
    }
}

/// What a contractor sends, for the field files of an intake to be held against.
const DELIVERED: &str = "WORK_ORDER,LINE,X,Y,DEPTH_FT,INV_EL,ACC_V,ACC_H,DIAM_IN,PIPE_MAT,BAD
W1,A,1450200,541700,5.5,700.1,0.3,0.5,4,PVC,x
W1,A,1450220,541705,5.6,699.9,0.3,0.5,4 in,PVC,
W2,B,1450220,541705,,,,,,,
";

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
    put_all(&job, &files(bytes));
    let options = Options {
        draft: true,
        corrections: true,
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

/// A system, heights and a diameter for a table of positions.
const CITY: &str = "[job]\nid = \"CITY\"\nsupplier = \"S\"\nlocated_on = 2026-05-14\n[grid]\ncrs = \"EPSG:26910\"\nunit = \"m\"\nheight = \"95 m\"\n\
                    geoid_separation = \"-20.1 m\"\n[run_default]\ndiameter = \"100 mm\"\nmaterial = \"PVC\"\n";

/// A table of marks, or a whole job as for [`check`]: where it can be computed some runs at a time, its files are those of the
/// job computed whole, to the byte.
pub fn sections(folder: &Path, bytes: &[u8]) {
    let job = empty(folder, "sections");
    let held = files(bytes);
    put(&job, "job.toml", CITY.as_bytes());
    if held.is_empty() {
        put(&job, "marks.csv", bytes);
    }
    put_all(&job, &held);
    let options = Options {
        in_sections: Some(2),
        ..Options::default()
    };
    let Some(large) = pipeline::run(&job, &options).ok().and_then(|of| of.large) else {
        return;
    };
    let names = ["geojson", "csv"].map(str::to_owned);
    let formats = export::select(&names).expect("formats that there are");
    let section = |at| large.section(at);
    let count = (large.sections(), &section as export::sections::Section<'_>);
    let parts = empty(folder, "parts");
    let in_parts = export::sections::deliver(&parts, large.job(), count, &formats);
    let Ok(Some(in_parts)) = in_parts else {
        return;
    };
    let outcome = pipeline::run(&job, &Options::default()).expect("a job that was read before");
    assert!(!outcome.blocked(), "an error was not seen");
    let whole = empty(folder, "whole");
    let at_once = export::deliver::deliver(
        &whole,
        export::deliver::Delivery {
            id: &outcome.job,
            record: outcome.record,
            file: None,
            findings: &outcome.findings,
            corrections: None,
            formats: &formats,
            fields: None,
            sheet: &aslaid::sheet::SheetOptions::default(),
        },
    )
    .expect("a folder that could be written before");
    assert_eq!(in_parts.files, at_once.files);
    for file in in_parts.files {
        let read = |folder: &Path| fs::read(folder.join(file)).expect("a file that was written");
        assert!(
            read(&in_parts.folder) == read(&at_once.folder),
            "{file} differs"
        );
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
