//! Reads every job under `fixtures/jobs/broken` and `fixtures/jobs/strangers` and compares with what its `expected.txt` says:
//! the findings as `code level file:row`, sorted, and the number of filled cells, which was counted by Python's csv module.

use std::fs;
use std::path::{Path, PathBuf};

use aslaid::findings::Level;
use aslaid::job::{self, JobPath, Reading};
use aslaid::units::{FOOT, INCH, US_SURVEY_FOOT};

/// The units of the coordinate systems that the fixtures name.
fn crs_unit(name: &str) -> Result<f64, String> {
    match name {
        "EPSG:2264" => Ok(US_SURVEY_FOOT),
        "EPSG:2921" => Ok(FOOT),
        "EPSG:25832" | "EPSG:26910" | "EPSG:27700" => Ok(1.0),
        other => Err(format!("{other} is no coordinate system that is known")),
    }
}

fn read(path: &Path) -> Reading {
    job::read(&JobPath::Folder(path.to_owned()), &crs_unit)
        .unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn jobs(kind: &str) -> Vec<PathBuf> {
    let mut jobs: Vec<PathBuf> = fs::read_dir(Path::new("fixtures/jobs").join(kind))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.is_dir())
        .collect();
    jobs.sort();
    jobs
}

fn said(reading: &Reading) -> Vec<String> {
    let mut lines: Vec<String> = reading
        .findings
        .iter()
        .map(|finding| {
            format!(
                "{} {} {}",
                finding.code,
                finding.level,
                finding.source.as_deref().unwrap_or("-")
            )
        })
        .collect();
    lines.sort();
    lines
}

fn compare(kind: &str) -> usize {
    let mut wrong = Vec::new();
    let jobs = jobs(kind);
    for path in &jobs {
        let reading = read(path);
        let expected = fs::read_to_string(path.join("expected.txt")).unwrap();
        let (cells, lines): (Vec<&str>, Vec<&str>) = expected
            .lines()
            .filter(|line| !line.starts_with('#'))
            .partition(|line| line.starts_with("cells "));
        let found = said(&reading);
        if found != lines {
            let messages: Vec<&str> = reading
                .findings
                .iter()
                .map(|finding| finding.message.as_str())
                .collect();
            wrong.push(format!(
                "{}: expected {lines:#?}, found {found:#?}: {messages:#?}",
                path.display()
            ));
        }
        let counted = reading.job.cells;
        let sum = counted.used + counted.kept + counted.named;
        if cells != [format!("cells {sum}")] {
            wrong.push(format!(
                "{}: expected {cells:?}, found {counted:?}, sum {sum}",
                path.display()
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    jobs.len()
}

#[test]
fn broken_jobs_give_exactly_their_findings() {
    assert!(compare("broken") >= 60);
}

#[test]
fn strangers_spreadsheets_are_read_and_every_cell_is_accounted_for() {
    assert!(compare("strangers") >= 7);
}

#[test]
fn messages_name_the_place_the_text_and_the_way_out() {
    let reading = read(Path::new("fixtures/jobs/broken/length-date-day-month"));
    let message = &reading.findings[0].message;
    for part in [
        "marks.csv:3",
        "depth_1",
        "\"6-Dec\"",
        "12-6",
        "12' 6\\\"",
        "Accepted",
    ] {
        assert!(
            message.contains(&part.replace("\\\"", "\"")),
            "{part} in {message}"
        );
    }
    assert_eq!(reading.findings[0].columns, ["depth_1"]);
    assert_eq!((reading.job.marks.len(), reading.job.dropped), (1, 1));
}

fn near(found: f64, expected: f64) {
    assert!(
        (found - expected).abs() < 1e-9 * expected.abs().max(1.0),
        "{found} is not {expected}"
    );
}

#[test]
fn values_of_strangers_arrive_in_metres_and_radians() {
    let job = read(Path::new("fixtures/jobs/strangers/unit-headings")).job;
    let [first, second] = job.marks.as_slice() else {
        panic!("{:?}", job.marks)
    };
    near(first.readings[0].unwrap(), 49.5 * INCH);
    near(second.readings[0].unwrap(), 4.5 * FOOT);
    near(first.counter.unwrap(), 2.9);
    near(first.placing.ties[1].length, 49.25 * FOOT);
    near(first.placing.ties[0].length, 26.25 * FOOT);
    near(second.ground.unwrap(), 214.9);
    near(
        job.control[0].grid.unwrap().0,
        1_448_210.55 * US_SURVEY_FOOT,
    );
    let job = read(Path::new("fixtures/jobs/strangers/semicolons")).job;
    near(job.marks[0].counter.unwrap(), 1.25);
    assert_eq!(job.marks[0].note.as_deref(), Some("Größe, geschätzt"));
    assert!(
        job.notes
            .iter()
            .any(|note| note.text.contains("Windows-1252"))
    );
    let job = read(Path::new("fixtures/jobs/strangers/tabs-and-marks")).job;
    near(
        job.marks[0]
            .placing
            .polar
            .as_ref()
            .unwrap()
            .distance
            .unwrap(),
        12.0 * FOOT + 3.5 * INCH,
    );
    near(
        job.marks[1]
            .placing
            .polar
            .as_ref()
            .unwrap()
            .distance
            .unwrap(),
        12.5 * FOOT,
    );
    assert_eq!(job.marks[0].note.as_deref(), Some("two\r\nlines"));
    assert_eq!(job.marks[1].source.to_string(), "marks.csv:5");
}

#[test]
fn titles_totals_and_comments_stay_in_the_record() {
    let job = read(Path::new("fixtures/jobs/strangers/titles-and-totals")).job;
    assert_eq!(
        job.marks.iter().map(|mark| &*mark.mark).collect::<Vec<_>>(),
        ["A1", "A2", "A3"]
    );
    let reasons: Vec<(String, &str)> = job
        .left_out
        .iter()
        .map(|row| (row.source.to_string(), row.reason.as_str()))
        .collect();
    let expected = [
        ("marks.csv:6", "comment"),
        ("marks.csv:10", "heading repeated"),
        ("marks.csv:12", "totals row"),
        ("marks.csv:13", "totals row"),
        ("camera.csv:3", "use = no"),
    ];
    assert_eq!(
        reasons,
        expected.map(|(source, reason)| (source.to_owned(), reason))
    );
    assert_eq!(job.notes.len(), 2);
}

#[test]
fn private_columns_are_kept_apart() {
    let job = read(Path::new("fixtures/jobs/strangers/private-columns")).job;
    let names: Vec<&str> = job.marks[0]
        .attributes
        .iter()
        .map(|(name, _)| &**name)
        .collect();
    assert_eq!(names, ["gate_code", "telephone", "inspector", "remark"]);
    assert!(
        job.left_out
            .iter()
            .any(|row| row.cells.contains(&("crew".to_owned(), "2".to_owned())))
    );
    let short = read(Path::new("fixtures/jobs/strangers/short-rows")).job;
    assert_eq!(short.marks.len(), 3);
    assert_eq!(short.marks[1].attributes.len(), 1);
}

#[test]
fn inputs_that_are_no_files_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    fs::copy(
        "fixtures/jobs/broken/marks-missing/job.toml",
        at("job.toml"),
    )
    .unwrap();
    fs::write(
        at("real.txt"),
        "run,mark,easting,northing\nA,A1,500000,5700000\n",
    )
    .unwrap();
    std::os::unix::fs::symlink(at("real.txt"), at("marks.csv")).unwrap();
    std::os::unix::fs::symlink("/dev/zero", at("control.csv")).unwrap();
    let reading = read(folder.path());
    assert_eq!(
        said(&reading),
        ["unreadable error control.csv", "unreadable error marks.csv"]
    );
    fs::remove_file(at("job.toml")).unwrap();
    std::os::unix::fs::symlink("/dev/zero", at("job.toml")).unwrap();
    assert!(job::read(&JobPath::Folder(folder.path().to_owned()), &crs_unit).is_err());
}

#[test]
fn findings_of_a_hostile_table_are_listed_up_to_a_limit() {
    let folder = tempfile::tempdir().unwrap();
    fs::copy(
        "fixtures/jobs/broken/marks-missing/job.toml",
        folder.path().join("job.toml"),
    )
    .unwrap();
    let rows: String = (0..5000).map(|row| format!("A,M{row},x\n")).collect();
    fs::write(
        folder.path().join("marks.csv"),
        format!("run,mark,depth_1\n{rows}"),
    )
    .unwrap();
    let reading = read(folder.path());
    assert!(reading.findings.len() < 1100, "{}", reading.findings.len());
    assert!(
        reading
            .findings
            .last()
            .unwrap()
            .message
            .contains("more findings")
    );
    assert_eq!((reading.job.dropped, reading.job.cells.named), (5000, 5000));
    assert!(
        reading
            .findings
            .iter()
            .all(|finding| finding.level == Level::Error)
    );
}
