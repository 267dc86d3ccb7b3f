//! Broken jobs through the whole pipeline: no panic, the right status, every finding of reading among those printed, and a
//! workbook of corrections that reads as the job does.

use std::fs;
use std::path::{Path, PathBuf};

use aslaid::findings::Level;
use aslaid::pipeline::{self, Options, Outcome};
use serde_json::Value;

use super::site::{Site, fixture};

fn jobs() -> Vec<PathBuf> {
    let mut jobs: Vec<PathBuf> = ["jobs/broken", "jobs/strangers"]
        .iter()
        .flat_map(|folder| fs::read_dir(fixture(folder)).unwrap())
        .map(|entry| entry.unwrap().path())
        .collect();
    jobs.sort();
    assert!(jobs.len() > 90, "{}", jobs.len());
    jobs
}

/// The findings of reading that the fixture must give: `code level file:row`.
fn expected(job: &Path) -> Vec<String> {
    let text = fs::read_to_string(job.join("expected.txt")).unwrap();
    text.lines()
        .filter(|line| !line.starts_with('#') && !line.starts_with("cells "))
        .map(str::to_owned)
        .collect()
}

fn said(finding: &Value) -> String {
    let of = |name: &str| finding[name].as_str().unwrap_or("-");
    format!("{} {} {}", of("code"), of("level"), of("source"))
}

#[test]
fn every_finding_of_reading_is_printed_and_nothing_panics() {
    let site = Site::new();
    let mut wrong = Vec::new();
    for job in jobs() {
        let path = job.to_string_lossy();
        let output = site.aslaid(&["build", &path, "--out", "out", "--json"]);
        let found: Vec<Value> = serde_json::from_slice(&output.stdout).unwrap_or_default();
        let mut printed: Vec<String> = found.iter().map(said).collect();
        let errors = found.iter().any(|finding| finding["level"] == "error");
        for line in expected(&job) {
            match printed.iter().position(|of| *of == line) {
                Some(at) => drop(printed.remove(at)),
                None => wrong.push(format!("{path}: {line} is not printed")),
            }
        }
        let status = output.status.code();
        // Without a usable id there is no folder to write to.
        let fits = match status {
            Some(0) => !errors,
            Some(1) => errors,
            Some(2) => errors && super::err(&output).contains("the job's id can't be read"),
            _ => false,
        };
        if !fits || super::err(&output).contains("panicked") {
            wrong.push(format!("{path}: {status:?} {}", super::err(&output)));
        }
        let draft = site.aslaid(&["build", &path, "--out", "draft", "--draft", "-q"]);
        if draft.status.code() != status {
            wrong.push(format!(
                "{path}: draft {:?} {}",
                draft.status,
                super::err(&draft)
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What is wrong with these is wrong with their form as CSV, which a workbook has not: an ambiguous comma, a quotation mark
/// that is never closed, a cell too many.
const FORM: [&str; 3] = ["length-decimal-comma", "quote-unclosed", "row-too-long"];

fn run(path: &Path) -> Outcome {
    let options = Options {
        corrections: true,
        ..Options::default()
    };
    pipeline::run(path, &options).unwrap_or_else(|error| panic!("{error}"))
}

/// Codes, columns and marks of the errors that lie in a table; their rows move from file to sheet.
fn errors(outcome: &Outcome) -> Vec<String> {
    let mut errors: Vec<String> = outcome
        .findings
        .iter()
        .filter(|finding| finding.level == Level::Error)
        .map(|finding| format!("{} {:?} {:?}", finding.code, finding.columns, finding.mark))
        .collect();
    errors.sort();
    errors
}

#[test]
fn the_workbook_of_corrections_reads_as_the_job_does() {
    let folder = tempfile::tempdir().unwrap();
    let (mut wrong, mut read) = (Vec::new(), 0);
    for job in jobs() {
        if FORM.iter().any(|form| job.ends_with(form)) {
            continue;
        }
        let found = run(&job);
        let in_tables = found.findings.iter().all(|finding| {
            finding
                .source
                .as_deref()
                .is_none_or(|source| source.contains(".csv:"))
        });
        let Some(bytes) = found.corrections.as_ref().filter(|_| in_tables) else {
            continue;
        };
        let path = folder.path().join("corrections.xlsx");
        fs::write(&path, bytes).unwrap();
        let again = run(&path);
        let (before, after) = (errors(&found), errors(&again));
        if before != after || found.job != again.job {
            wrong.push(format!(
                "{}: {before:#?} came back as {after:#?}",
                job.display()
            ));
        }
        read += 1;
    }
    assert!(read > 50, "{read}");
    assert!(wrong.is_empty(), "{read}: {}", wrong.join("\n"));
}

#[test]
fn a_job_mended_in_its_workbook_of_corrections_is_built() {
    let site = Site::new();
    site.job("job", "J1", "6-Dec");
    site.ends(1, &["build", "job", "--out", "out"]);
    site.python(
        "mend_workbook.py",
        &["out/J1/corrections.xlsx", "mended.xlsx", "4.30"],
    );
    site.ends(0, &["build", "mended.xlsx", "--out", "mended"]);
    site.job("right", "J1", "4.30");
    site.ends(0, &["build", "right", "--out", "right-out"]);
    let depths = |out: &str| {
        let path = site.at(out).join("J1/record.json");
        let record: Value = serde_json::from_slice(&fs::read(path).unwrap()).unwrap();
        record["marks"]
            .as_array()
            .unwrap()
            .iter()
            .map(|mark| (mark["mark"].clone(), mark["transmitter_depth"].clone()))
            .collect::<Vec<_>>()
    };
    assert_eq!(depths("mended").len(), 3);
    assert_eq!(depths("mended"), depths("right-out"));
}
