//! From nothing to results, as a new user goes.

use std::fs;

use serde_json::Value;

use super::site::{Site, fixture};

/// The worked example is accepted as it stands, checked and built, without a single finding.
fn accepted(site: &Site, job: &str) {
    let said = site.ends(0, &["check", job]);
    assert!(said.contains("findings: 0 errors, 0 warnings"), "{said}");
    let found: Value = serde_json::from_str(&site.ends(0, &["check", job, "--json"])).unwrap();
    assert_eq!(found, Value::Array(Vec::new()));
    site.ends(0, &["build", job, "--out", "out"]);
    let mut expected: Vec<&str> = aslaid::export::FORMATS
        .iter()
        .map(|format| format.file())
        // Only with a plan.
        .filter(|file| *file != "crossings.csv")
        .chain(["findings.csv", "findings.json"])
        .collect();
    expected.sort_unstable();
    assert_eq!(site.names("out/LAT-0042"), expected);
}

#[test]
fn a_new_folder_is_accepted_as_it_stands() {
    let site = Site::new();
    let said = site.ends(0, &["new", "my job"]);
    assert!(said.contains("aslaid check"), "{said}");
    accepted(&site, "my job");
}

#[test]
fn a_new_workbook_is_accepted_as_it_stands() {
    let site = Site::new();
    site.ends(0, &["new", "--workbook", "book"]);
    accepted(&site, "book.xlsx");
}

#[test]
fn new_leaves_alone_what_is_there() {
    let site = Site::new();
    site.ends(0, &["new", "job"]);
    site.swap("job/job.toml", "LAT-0042", "MINE");
    let before = site.files("job");
    let output = site.aslaid(&["new", "job"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(super::err(&output).contains("it is there already"));
    assert_eq!(site.files("job"), before);
    fs::write(site.at("book.xlsx"), "mine").unwrap();
    assert_eq!(
        site.aslaid(&["new", "--workbook", "book.xlsx"])
            .status
            .code(),
        Some(2)
    );
    assert_eq!(fs::read(site.at("book.xlsx")).unwrap(), b"mine");
}

/// The table without the column that names file and row.
fn without_sources(csv: &[u8]) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(csv);
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let source = rows[0].iter().position(|name| name == "source").unwrap();
    rows.iter()
        .map(|row| {
            let kept = row.iter().enumerate().filter(|(at, _)| *at != source);
            kept.map(|(_, cell)| cell.to_owned()).collect()
        })
        .collect()
}

#[test]
fn a_job_gives_the_same_points_as_a_folder_and_as_a_workbook() {
    for (job, marks) in [
        ("quarry-lane", 10),
        ("mill-row", 9),
        ("harbour-yard", 9),
        ("two-corners", 8),
    ] {
        let site = Site::new();
        let folder = fixture(&format!("jobs/{job}"));
        site.ends(0, &["new", "--workbook", "book"]);
        site.python("fill_in_workbook.py", &[&folder, "book.xlsx"]);
        site.ends(0, &["build", &folder, "--out", "a"]);
        site.ends(0, &["build", "book.xlsx", "--out", "b"]);
        let points = |out: &str| {
            let path = site.at(out).join(job).join("points.csv");
            without_sources(&fs::read(path).unwrap())
        };
        assert_eq!(points("a").len(), marks + 1, "{job}");
        assert_eq!(points("a"), points("b"), "{job}");
    }
}
