//! A run of a large job comes out as it would alone: computing in sections skips nothing.
//!
//! What a job has one of by design is kept out: lengths need no scale.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use aslaid::job::corrections::MOST_ROWS;
use aslaid::pipeline::{Large, Options};
use serde_json::Value;

use crate::cli::site::Site;

/// Runs of the large job, and how many of them are built alone; `ASLAID_SAMPLED=100000,1000` asks for more.
const SAMPLED: (usize, usize) = (7_500, 40);
/// Runs side by side.
const WIDE: usize = 317;
pub const SETTINGS: &str = "[job]\nid = \"CITY\"\nsupplier = \"Example Survey\"\nlocated_on = 2026-05-14\n[grid]\ncrs = \"EPSG:26910\"\nunit = \"m\"\n\
                        vertical = \"NAVD88\"\nheight = \"95 m\"\ngeoid_separation = \"-20.1 m\"\ndistances = \"grid\"\n[equipment]\naxis_above_invert = \"50 mm\"\n\
                        [limits]\nmin_cover = \"1.4 m\"\n[run_default]\ndiameter = \"100 mm\"\nwall = \"6 mm\"\nmaterial = \"PVC\"\nmin_grade = \"1 %\"\n";
pub const HEADING: &str =
    "run,mark,counter,latitude,longitude,height,fix,depth_1,depth_2,easting,northing,sigma,note\n";

pub struct Random(pub u64);

impl Random {
    /// Between −1 and 1.
    fn next(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

/// The rows of a run: most are clean, every seventh has a reading that disagrees, every eleventh a mark that is off; and each of
/// the kinds that every thirteenth is lacks something.
pub fn rows(run: usize, random: &mut Random) -> String {
    let mut rows = String::new();
    let (lat, lon) = (
        47.6 + 0.000_3 * (run / WIDE) as f64,
        -122.3 + 0.000_4 * (run % WIDE) as f64,
    );
    let kind = run % 13;
    let marks = match kind {
        5 => 2,
        6 => 1,
        _ => 8,
    };
    for k in 0..marks {
        let step = 2.0 * f64::from(k);
        let north = step * 0.6 + random.next() * 0.03;
        let east = step * 0.8 + random.next() * 0.03;
        let off = if run % 11 == 3 && k == 4 { 3.0 } else { 0.0 };
        let depth = 1.5 + 0.02 * step + random.next() * 0.03;
        let disagrees = run % 7 == 2 && k == 2;
        let other = depth + if disagrees { 0.6 } else { random.next() * 0.03 };
        let height = 74.0 + random.next() * 0.02;
        let cell = |value: f64, said: bool| match said {
            true => format!("{value:.2}"),
            false => String::new(),
        };
        let fix = match (kind, k) {
            (7, 3) => "fixed",
            (8, _) => "float",
            _ => "rtk",
        };
        writeln!(
            rows,
            "R{run},M{run}-{k},{},{:.9},{:.9},{},{fix},{},{},,,,",
            cell(1.0 + step, kind != 9),
            lat + (north + off) / 111_200.0,
            lon + east / 74_900.0,
            cell(height, kind != 10 || k == 3),
            cell(depth, kind != 11 || k != 4),
            cell(other, kind != 12),
        )
        .unwrap();
    }
    rows
}

/// Every row that was written of each run, in every file, without its row number; what names no run stands under none.
fn by_run(out: &Path) -> BTreeMap<String, Vec<String>> {
    let mut all: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut files: Vec<_> = fs::read_dir(out)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    let mut read = Vec::new();
    for file in files {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        if name == "corrections.xlsx" {
            // The tables as typed; a job of many rows has none.
            continue;
        }
        let text = fs::read_to_string(&file).unwrap();
        let rows = match name.rsplit('.').next() {
            Some("csv") => table(&text),
            Some("geojson") => objects(&serde_json::from_str::<Value>(&text).unwrap()["features"]),
            Some("json") => objects(&serde_json::from_str(&text).unwrap()),
            _ => panic!("{name} is held against nothing"),
        };
        for (run, row) in rows {
            all.entry(run).or_default().push(format!("{name}: {row}"));
        }
        read.push(name);
    }
    let expected =
        "asbuilt.geojson camera.csv findings.csv findings.json points.csv profile.csv ties.csv";
    assert_eq!(read.join(" "), expected);
    all
}

/// Rows of a table by their run; the heading stands under none.
fn table(text: &str) -> Vec<(String, String)> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(text.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let at = |name: &str| rows[0].iter().position(|of| of == name);
    let (run, source) = (at("run"), at("source"));
    let told = |row: &csv::StringRecord| {
        let cells = row.iter().enumerate();
        let cells = cells.filter(|(place, _)| Some(*place) != source);
        cells.map(|(_, cell)| cell).collect::<Vec<_>>().join("|")
    };
    let of = |row: &csv::StringRecord| {
        run.and_then(|run| row.get(run))
            .unwrap_or_default()
            .to_owned()
    };
    let heading = std::iter::once((String::new(), told(&rows[0])));
    heading
        .chain(rows[1..].iter().map(|row| (of(row), told(row))))
        .collect()
}

/// Features or findings by their run.
fn objects(list: &Value) -> Vec<(String, String)> {
    let mut rows = Vec::new();
    for object in list.as_array().unwrap() {
        let mut object = object.clone();
        let about = match object.get_mut("properties") {
            Some(properties) => properties,
            None => &mut object,
        };
        let run = about["run"].as_str().unwrap_or_default().to_owned();
        about.as_object_mut().unwrap().remove("source");
        rows.push((run, object.to_string()));
    }
    rows
}

#[test]
fn sampled_runs_of_a_large_job_equal_their_own_jobs() {
    let site = Site::new();
    let mut random = Random(5);
    let (runs, samples) = std::env::var("ASLAID_SAMPLED")
        .ok()
        .and_then(|text| {
            let (runs, samples) = text.split_once(',')?;
            Some((runs.parse().ok()?, samples.parse().ok()?))
        })
        .unwrap_or(SAMPLED);
    let all: Vec<String> = (0..runs).map(|run| rows(run, &mut random)).collect();
    let write = |job: &str, rows: &str| {
        fs::create_dir_all(site.at(job)).unwrap();
        fs::write(site.at(job).join("job.toml"), SETTINGS).unwrap();
        fs::write(site.at(job).join("marks.csv"), format!("{HEADING}{rows}")).unwrap();
    };
    let build = |job: &str, out: &str| {
        site.ends(
            0,
            &[
                "build",
                job,
                "--out",
                out,
                "--formats",
                "geojson,csv",
                "--quiet",
            ],
        )
    };
    write("whole", &all.concat());
    let large = Large::open(&site.at("whole"), MOST_ROWS, &Options::default()).unwrap();
    assert!((0..large.sections()).all(|section| large.section(section).is_some()));
    build("whole", "whole-out");
    let whole = by_run(&site.at("whole-out/CITY"));
    let (mut compared, mut findings) = (0, 0);
    for run in (0..runs).step_by(runs / samples) {
        let name = format!("R{run}");
        write(&name, &all[run]);
        build(&name, &format!("{name}-out"));
        let alone = by_run(&site.at(&format!("{name}-out/CITY")));
        // Nothing else is in its files but what names no run: headings, and findings on the job as a whole.
        for of in alone.keys() {
            assert!(*of == name || of.is_empty(), "{of} in {name}");
            assert_eq!(whole.get(of), alone.get(of), "{name}: {of:?}");
        }
        compared += alone[&name].len();
        findings += alone[&name]
            .iter()
            .filter(|line| line.contains("\"code\""))
            .count();
    }
    println!(
        "{samples} of {runs} runs: {compared} rows of all files equal, {findings} of them findings"
    );
    assert!(findings > 2 * samples);
}
