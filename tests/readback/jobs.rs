//! The whole way: jobs from their folders through the command to files and databases, read by other people's programs.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};

use super::formats::check_folders;
use super::here;
use super::simulation::frame::{LOCAL, TEXAS, UTAH, UTM_32};
use super::simulation::scenario::Scenario;
use super::simulation::survey::survey;
use super::simulation::write::write;

/// Builds jobs into a folder, and gives the results of those that have some.
fn build(jobs: &[PathBuf], out: &Path, more: &[&str]) -> Vec<PathBuf> {
    let output = Command::new(env!("CARGO_BIN_EXE_aslaid"))
        .arg("build")
        .args(jobs)
        .arg("--out")
        .arg(out)
        .args(more)
        .arg("--quiet")
        .output()
        .unwrap();
    let code = output.status.code();
    assert!(
        code == Some(0) || code == Some(1),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let mut results: Vec<PathBuf> = fs::read_dir(out)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.join("record.json").exists())
        .collect();
    results.sort();
    results
}

#[test]
fn the_demo_and_the_sample_jobs_read_back_as_the_record() {
    let out = tempfile::tempdir().unwrap();
    let jobs = [
        "demo/fern-hollow",
        "jobs/quarry-lane",
        "jobs/mill-row",
        "jobs/harbour-yard",
        "jobs/two-corners",
    ];
    let jobs = jobs.map(|job| here("fixtures").join(job));
    let results = build(&jobs, out.path(), &[]);
    assert_eq!(results.len(), jobs.len());
    check_folders(&results);
}

#[test]
fn simulated_jobs_read_back_as_the_record() {
    let root = tempfile::tempdir().unwrap();
    let mut jobs = Vec::new();
    for number in 0..20 {
        let crs = [&TEXAS, &UTM_32, &UTAH, &LOCAL][number % 4];
        let (mut book, _) = survey(&Scenario::default().crs(crs), number as u64);
        let folder = root.path().join(format!("jobs/{number}"));
        book.id = format!("SIM-{number:02}");
        write(&book, &folder);
        jobs.push(folder);
    }
    // Metre heights over feet grids, and the other way round.
    let mut results = build(&jobs[..10], &root.path().join("m"), &["--unit", "m"]);
    results.extend(build(
        &jobs[10..],
        &root.path().join("ft"),
        &["--unit", "us-ft"],
    ));
    assert_eq!(results.len(), 20);
    check_folders(&results);
}

/// A plan with a line square across the first leg of each run, as the map shows the runs.
fn plan_across(map: &Path) -> Value {
    let map: Value = serde_json::from_slice(&fs::read(map).unwrap()).unwrap();
    let runs = map["features"].as_array().unwrap().iter();
    let runs = runs.filter(|feature| feature["properties"]["feature"] == "run");
    let lines = runs.map(|run| {
        let at = |vertex: usize, axis: usize| {
            run["geometry"]["coordinates"][vertex][axis]
                .as_f64()
                .unwrap()
        };
        let middle = [0, 1].map(|axis| f64::midpoint(at(0, axis), at(1, axis)));
        let leg = [0, 1].map(|axis| at(1, axis) - at(0, axis));
        let end = |side: f64| [middle[0] - side * leg[1], middle[1] + side * leg[0]];
        json!({"type": "Feature", "properties": {"layer": "gas", "name": "=old \"main\" & gas"},
            "geometry": {"type": "LineString", "coordinates": [end(1.0), end(-1.0)]}})
    });
    json!({"type": "FeatureCollection", "features": lines.collect::<Vec<_>>()})
}

#[test]
fn what_a_run_crosses_is_in_every_format_and_in_no_database() {
    let root = tempfile::tempdir().unwrap();
    let job = [here("fixtures/demo/fern-hollow")];
    let before = build(&job, &root.path().join("before"), &[]);
    let plan = root.path().join("gas.geojson");
    let across = plan_across(&before[0].join("asbuilt.geojson"));
    fs::write(&plan, across.to_string()).unwrap();
    let more = ["--plan", plan.to_str().unwrap()];
    let results = build(&job, &root.path().join("after"), &more);
    let record = fs::read(results[0].join("record.json")).unwrap();
    let record: Value = serde_json::from_slice(&record).unwrap();
    assert!(record["crossings"].as_array().unwrap().len() >= 2);
    check_folders(&results);
    let file = root.path().join("utility.gpkg");
    let output = Command::new(env!("CARGO_BIN_EXE_aslaid"))
        .arg("load")
        .args([&results[0], Path::new("--into"), &file])
        .output()
        .unwrap();
    assert!(output.status.success());
    let layers = super::outside("ogrinfo", &["-ro", file.to_str().unwrap()]);
    assert!(
        layers.contains(": mark") && !layers.contains("crossing"),
        "{layers}"
    );
}

#[test]
fn a_job_names_the_layers_of_its_drawing() {
    let root = tempfile::tempdir().unwrap();
    let job = root.path().join("job");
    fs::create_dir(&job).unwrap();
    for entry in fs::read_dir(here("fixtures/demo/fern-hollow")).unwrap() {
        let entry = entry.unwrap();
        if entry.file_type().unwrap().is_file() {
            fs::copy(entry.path(), job.join(entry.file_name())).unwrap();
        }
    }
    let mut text = fs::read_to_string(job.join("job.toml")).unwrap();
    text.push_str("\n[layers]\n");
    // Every layer that a drawing can have is a key of the job, and the other way round.
    for layer in aslaid::export::dxf::layers::LAYERS {
        let (key, name) = (layer.key, layer.key.to_uppercase());
        writeln!(text, "{key} = \"CITY-{name}\"").unwrap();
    }
    fs::write(job.join("job.toml"), text).unwrap();
    let results = build(
        &[job],
        &root.path().join("out"),
        &["--formats", "record,dxf"],
    );
    let drawing = fs::read_to_string(results[0].join("asbuilt.dxf")).unwrap();
    for name in [
        "CITY-RUN",
        "CITY-MARK",
        "CITY-REFERENCE",
        "CITY-LABEL",
        "CITY-NOTICE",
        "CITY-RUN_STORM",
        "CITY-CAMERA",
    ] {
        assert!(drawing.contains(&format!("\r\n{name}\r\n")), "{name}");
    }
    assert!(!drawing.contains("V-SSWR"));
    let findings = fs::read_to_string(results[0].join("findings.json")).unwrap();
    assert!(!findings.contains("unused-column"), "{findings}");
}
