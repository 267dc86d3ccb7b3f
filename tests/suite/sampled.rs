//! A run of a large job comes out as it would alone: computing in sections skips nothing.
//!
//! What a job has one of by design is kept out: positions are of a kind that shares no shift, and lengths need no scale.
//! That a job in sections is written as the job computed whole, to the byte, is asked in [`super::sections`].

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use aslaid::pipeline::{Large, Options};
use serde_json::Value;

use crate::cli::site::Site;

/// Runs of the large job, and how many of them are built alone; `ASLAID_SAMPLED=100000,1000` asks for more.
const SAMPLED: (usize, usize) = (6_400, 40);
/// Runs side by side.
const WIDE: usize = 317;
const SETTINGS: &str = "[job]\nid = \"CITY\"\nsupplier = \"Example Survey\"\nlocated_on = 2026-05-14\n[grid]\ncrs = \"EPSG:26910\"\nunit = \"m\"\n\
                        vertical = \"NAVD88\"\nheight = \"95 m\"\ngeoid_separation = \"-20.1 m\"\ndistances = \"grid\"\n[equipment]\naxis_above_invert = \"50 mm\"\n\
                        [limits]\nmin_cover = \"1.4 m\"\n[run_default]\ndiameter = \"100 mm\"\nwall = \"6 mm\"\nmaterial = \"PVC\"\nmin_grade = \"1 %\"\n";
const HEADING: &str = "run,mark,counter,latitude,longitude,height,fix,depth_1,depth_2\n";

struct Random(u64);

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

/// The rows of a run: most are clean, every seventh has a reading that disagrees, every eleventh a mark that is off.
fn rows(run: usize, random: &mut Random) -> String {
    let mut rows = String::new();
    let (lat, lon) = (
        47.6 + 0.000_3 * (run / WIDE) as f64,
        -122.3 + 0.000_4 * (run % WIDE) as f64,
    );
    for k in 0..8 {
        let step = 2.0 * f64::from(k);
        let (north, east) = (
            step * 0.6 + random.next() * 0.03,
            step * 0.8 + random.next() * 0.03,
        );
        let off = if run % 11 == 3 && k == 4 { 3.0 } else { 0.0 };
        let depth = 1.5 + 0.02 * step + random.next() * 0.03;
        let other = depth
            + if run % 7 == 2 && k == 2 {
                0.6
            } else {
                random.next() * 0.03
            };
        writeln!(
            rows,
            "R{run},M{run}-{k},{:.2},{:.9},{:.9},{:.3},rtk,{depth:.2},{other:.2}",
            1.0 + step,
            lat + (north + off) / 111_200.0,
            lon + east / 74_900.0,
            74.0 + random.next() * 0.02,
        )
        .unwrap();
    }
    rows
}

/// What was written of each run: features without their row numbers, and findings without theirs.
fn by_run(out: &Path) -> BTreeMap<String, Vec<String>> {
    let mut all: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let map: Value =
        serde_json::from_slice(&fs::read(out.join("asbuilt.geojson")).unwrap()).unwrap();
    for feature in map["features"].as_array().unwrap() {
        let mut feature = feature.clone();
        let run = feature["properties"]["run"]
            .as_str()
            .unwrap_or_default()
            .to_owned();
        feature["properties"]
            .as_object_mut()
            .unwrap()
            .remove("source");
        all.entry(run).or_default().push(feature.to_string());
    }
    let findings: Value =
        serde_json::from_slice(&fs::read(out.join("findings.json")).unwrap()).unwrap();
    for finding in findings.as_array().unwrap() {
        let mut finding = finding.clone();
        if let Some(run) = finding["run"].as_str().map(str::to_owned) {
            finding.as_object_mut().unwrap().remove("source");
            all.entry(run).or_default().push(finding.to_string());
        }
    }
    let profile = fs::read_to_string(out.join("profile.csv")).unwrap();
    for line in profile.lines().skip(1) {
        let run = line.split(',').next().unwrap().to_owned();
        all.entry(run).or_default().push(line.to_owned());
    }
    all
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
    let large = Large::open(&site.at("whole"), &Options::default());
    assert!(large.is_some_and(|large| large.sections() > 10));
    build("whole", "whole-out");
    let whole = by_run(&site.at("whole-out/CITY"));
    let (mut compared, mut findings) = (0, 0);
    for run in (0..runs).step_by(runs / samples) {
        let name = format!("R{run}");
        write(&name, &all[run]);
        build(&name, &format!("{name}-out"));
        let alone = by_run(&site.at(&format!("{name}-out/CITY")));
        assert_eq!(whole.get(&name), alone.get(&name), "{name}");
        compared += alone[&name].len();
        findings += alone[&name]
            .iter()
            .filter(|line| line.contains("\"code\""))
            .count();
    }
    println!(
        "{samples} of {runs} runs: {compared} features, profile lines and findings equal, {findings} of them findings"
    );
    assert!(findings > 2 * samples);
}
