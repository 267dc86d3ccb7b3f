//! Reads every job under `fixtures/jobs/broken` and `fixtures/jobs/strangers` and compares with what its `expected.txt` says:
//! the findings as `code level file:row`, sorted, and the number of filled cells, which was counted by Python's csv module.

#![expect(clippy::unwrap_used, reason = "a test that can't go on says where")]

use std::fmt::Write as _;
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
    let mut rows = String::new();
    for row in 0..5000 {
        writeln!(rows, "A,M{row},x").unwrap();
    }
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

/// What `aslaid new` writes is read without a finding, and both forms say the same.
#[test]
fn an_empty_job_reads_without_a_finding() {
    let folder = tempfile::tempdir().unwrap();
    let (plain, book) = (folder.path().join("job"), folder.path().join("job.xlsx"));
    job::template::write_folder(&plain).unwrap();
    job::template::write_workbook(&book).unwrap();
    assert!(
        job::template::write_folder(&plain).is_err(),
        "it must not overwrite"
    );
    assert!(
        job::template::write_workbook(&book).is_err(),
        "it must not overwrite"
    );
    let read = |path: JobPath| job::read(&path, &crs_unit).unwrap();
    let (plain, book) = (read(JobPath::Folder(plain)), read(JobPath::Workbook(book)));
    for reading in [&plain, &book] {
        assert!(reading.findings.is_empty(), "{:#?}", reading.findings);
        assert!(
            reading.job.left_out.is_empty() && reading.job.notes.is_empty(),
            "{:#?}",
            reading.job
        );
    }
    let (plain, book) = (plain.job, book.job);
    assert_eq!(
        (plain.head, plain.grid, plain.equipment),
        (book.head, book.grid, book.equipment)
    );
    assert_eq!(
        (plain.marks.len(), plain.control.len(), plain.measures.len()),
        (1, 1, 1)
    );
    assert_eq!(plain.marks[0].placing, book.marks[0].placing);
    assert_eq!(plain.marks[0].readings, book.marks[0].readings);
    assert_eq!(
        (
            plain.camera.len(),
            plain.levels.len(),
            plain.pushes.len(),
            plain.runs.len()
        ),
        (1, 1, 1, 1)
    );
    near(plain.camera[0].counter, 14.2 * FOOT);
    assert_eq!(
        job::template::workbook().unwrap(),
        job::template::workbook().unwrap()
    );
}

/// Broken jobs whose workbook can't be wrong in the same way.
const UNLIKE: [&str; 12] = [
    // Wrong as a text file only: a workbook has no separators, quotation marks or TOML, and takes a decimal comma.
    "length-decimal-comma",
    "marks-binary",
    "marks-empty",
    "marks-missing",
    "quote-unclosed",
    "toml-syntax",
    "toml-key-twice",
    "toml-section-as-value",
    "key-misspelt",
    "file-misspelt",
    "log-broken",
    "row-too-long",
];

/// Corrections of every broken job read back as a job with the same findings, as far as a workbook can hold what was wrong.
#[test]
fn corrections_read_back_with_the_same_findings() {
    let folder = tempfile::tempdir().unwrap();
    for path in jobs("broken").into_iter().chain(jobs("strangers")) {
        let first = read(&path);
        let bytes = job::corrections::workbook(&first.tables, &first.findings).unwrap();
        assert_eq!(
            bytes,
            job::corrections::workbook(&first.tables, &first.findings).unwrap(),
            "{}",
            path.display()
        );
        let book = folder.path().join("corrections.xlsx");
        fs::write(&book, bytes).unwrap();
        let again = job::read(&JobPath::Workbook(book), &crs_unit).unwrap();
        if UNLIKE.iter().any(|name| path.ends_with(name)) {
            continue;
        }
        let codes = |reading: &Reading| {
            let mut codes: Vec<String> = reading
                .findings
                .iter()
                .map(|finding| format!("{} {} {:?}", finding.code, finding.level, finding.columns))
                .collect();
            codes.sort();
            codes
        };
        assert_eq!(
            codes(&first),
            codes(&again),
            "{}: {:#?}",
            path.display(),
            again.findings
        );
        assert_eq!(
            first.job.marks.len(),
            again.job.marks.len(),
            "{}",
            path.display()
        );
        for (one, other) in first.job.marks.iter().zip(&again.job.marks) {
            assert_eq!(
                (&one.placing, &one.readings, &one.note),
                (&other.placing, &other.readings, &other.note),
                "{}",
                path.display()
            );
        }
    }
}

#[test]
fn the_schema_of_job_toml_is_a_json_schema_that_fits() {
    let schema = job::schema();
    let validator = jsonschema::validator_for(&schema).unwrap();
    for path in [
        Path::new("fixtures/jobs/strangers/unit-headings/job.toml"),
        Path::new("fixtures/demo/fern-hollow/job.toml"),
    ] {
        let text = fs::read_to_string(path).unwrap();
        let value: toml::Table = text.parse().unwrap();
        // A schema sees TOML's dates as texts.
        let json: serde_json::Value = serde_json::from_str(
            &serde_json::to_string(&dates_as_text(toml::Value::Table(value))).unwrap(),
        )
        .unwrap();
        let errors: Vec<String> = validator
            .iter_errors(&json)
            .map(|error| error.to_string())
            .collect();
        assert!(errors.is_empty(), "{}: {errors:?}", path.display());
    }
    assert!(!validator.is_valid(
        &serde_json::json!({ "job": { "id": "../x" }, "grid": { "crs": "local", "unit": "m" } })
    ));
    assert!(!validator.is_valid(
        &serde_json::json!({ "job": { "id": "x" }, "grid": { "crs": "local", "unit": "yard" } })
    ));
}

fn dates_as_text(value: toml::Value) -> toml::Value {
    match value {
        toml::Value::Datetime(time) => toml::Value::String(time.to_string()),
        toml::Value::Table(table) => toml::Value::Table(
            table
                .into_iter()
                .map(|(key, value)| (key, dates_as_text(value)))
                .collect(),
        ),
        toml::Value::Array(items) => {
            toml::Value::Array(items.into_iter().map(dates_as_text).collect())
        }
        other => other,
    }
}

/// Runs a script beside this file with the Python that scripts/setup installs; its output.
fn python(script: &str, argument: &Path) -> String {
    let output = std::process::Command::new("target/venv/bin/python")
        .arg(Path::new("tests/suite/reading").join(script))
        .arg(argument)
        .output()
        .expect("target/venv/bin/python is missing: run scripts/setup");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn a_strangers_workbook_is_read_as_a_spreadsheet_stores_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lateral 7.xlsx");
    let filled: usize = python("stranger_workbook.py", &path)
        .trim()
        .parse()
        .unwrap();
    let reading = job::read(&JobPath::Workbook(path), &crs_unit).unwrap();
    assert_eq!(
        said(&reading),
        [
            "unreadable error lateral 7.xlsx!marks :5",
            "unused-column note lateral 7.xlsx!Job:11"
        ],
        "{:#?}",
        reading.findings
    );
    assert!(
        reading
            .findings
            .iter()
            .any(|finding| finding.message.contains("12-6")),
        "{:#?}",
        reading.findings
    );
    let job = reading.job;
    assert_eq!(
        job.cells.used + job.cells.kept + job.cells.named,
        filled,
        "{:?}",
        job.cells
    );
    assert_eq!(
        (
            job.head.id.as_str(),
            job.head.located_on.as_deref(),
            job.head.revision
        ),
        ("LAT-7", Some("2026-05-14"), Some(2))
    );
    assert!(job.equipment.signal_is_linear);
    near(job.accuracy.depth_fraction, 0.04);
    near(job.runs[0].diameter.unwrap(), 4.0 * INCH);
    assert_eq!(
        job.runs[0].min_grade,
        Some(job::model::MinGrade::Ratio(0.02))
    );
    assert_eq!(&*job.control[0].point, "1");
    check_strangers_mark(&job.marks[0]);
    assert!(job.left_out.iter().any(|row| row.reason == "totals row"));
    assert!(
        job.left_out
            .iter()
            .any(|row| row.reason == "none of the job's tables")
    );
}

fn check_strangers_mark(mark: &job::model::MarkRow) {
    near(mark.readings[1].unwrap(), 4.0 * FOOT + 2.5 * INCH);
    // 2026-05-14 is day 20587
    assert_eq!(
        mark.placing.window,
        Some((
            20_587.0 * 86_400.0 + 46_925.0,
            20_587.0 * 86_400.0 + 46_980.0
        ))
    );
    assert_eq!(&*mark.placing.ties[1].from, "2");
    assert_eq!(mark.attributes, [("gate_code".into(), "4711".to_owned())]);
}

#[test]
fn a_workbook_that_unpacks_to_too_much_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bomb.xlsx");
    python("bomb.py", &path);
    assert!(fs::metadata(&path).unwrap().len() < 2_000_000);
    let error = job::read(&JobPath::Workbook(path.clone()), &crs_unit)
        .unwrap_err()
        .to_string();
    assert!(error.contains("unpacks to more than"), "{error}");
    for junk in [&b"PK\x03\x04"[..], b"", b"not a workbook", &[0xff; 4096]] {
        fs::write(&path, junk).unwrap();
        assert!(job::read(&JobPath::Workbook(path.clone()), &crs_unit).is_err());
    }
}

/// A small generator, so that every run tries the same inputs.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, below: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % below.max(1) as u64).unwrap()
    }

    /// Changes a few bytes: others, repeated, lost, or taken from where tables and numbers break.
    fn spoil(&mut self, bytes: &mut Vec<u8>) {
        const SHARP: &[u8] = b"\",;\t\n\r'#>+-/.:=[](){}eE9\0\xff\xc3%&<";
        for _ in 0..=self.roll(6) {
            let at = self.roll(bytes.len());
            match self.roll(4) {
                0 if !bytes.is_empty() => bytes[at] = SHARP[self.roll(SHARP.len())],
                1 => bytes.insert(at, SHARP[self.roll(SHARP.len())]),
                2 if !bytes.is_empty() => {
                    drop(bytes.drain(at..(at + self.roll(20)).min(bytes.len())));
                }
                _ => {
                    let piece = bytes[at..(at + self.roll(40)).min(bytes.len())].to_vec();
                    let to = self.roll(bytes.len());
                    bytes.splice(to..to, piece);
                }
            }
        }
    }
}

/// Every number that reading lets through is finite.
fn all_finite(reading: &Reading) -> bool {
    let text = format!(
        "{:?}",
        (
            &reading.job.grid,
            &reading.job.equipment,
            &reading.job.control,
            &reading.job.marks,
            &reading.job.measures
        )
    );
    !text.contains("NaN") && !text.contains("inf")
}

#[test]
fn no_spoilt_job_stops_the_reader() {
    let mut dice = Dice(0x9e37_79b9_7f4a_7c15);
    let folder = tempfile::tempdir().unwrap();
    let mut findings = 0;
    for source in jobs("strangers")
        .into_iter()
        .chain([PathBuf::from("fixtures/demo/fern-hollow")])
    {
        for _ in 0..60 {
            for entry in fs::read_dir(&source).unwrap() {
                let path = entry.unwrap().path();
                let mut bytes = fs::read(&path).unwrap();
                if dice.roll(2) == 0 {
                    dice.spoil(&mut bytes);
                }
                fs::write(folder.path().join(path.file_name().unwrap()), bytes).unwrap();
            }
            let Ok(reading) = job::read(&JobPath::Folder(folder.path().to_owned()), &crs_unit)
            else {
                continue;
            };
            assert!(all_finite(&reading), "{:?}", reading.job);
            findings += reading.findings.len();
            job::corrections::workbook(&reading.tables, &reading.findings).unwrap();
        }
    }
    assert!(
        findings > 300,
        "the spoiling must hit something: {findings}"
    );
}

#[test]
fn no_spoilt_workbook_stops_the_reader() {
    use std::io::{Cursor, Read as _, Write as _};
    let mut dice = Dice(0x2545_f491_4f6c_dd1d);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("book.xlsx");
    let clean = job::template::workbook().unwrap();
    let (mut read, mut refused) = (0, 0);
    for _ in 0..400 {
        let mut archive = zip::ZipArchive::new(Cursor::new(&clean)).unwrap();
        let mut spoilt = zip::ZipWriter::new(Cursor::new(Vec::new()));
        let victim = dice.roll(archive.len());
        for index in 0..archive.len() {
            let mut entry = archive.by_index(index).unwrap();
            let mut bytes = Vec::new();
            entry.read_to_end(&mut bytes).unwrap();
            if index == victim {
                dice.spoil(&mut bytes);
            }
            spoilt
                .start_file(
                    entry.name().unwrap(),
                    zip::write::SimpleFileOptions::default(),
                )
                .unwrap();
            spoilt.write_all(&bytes).unwrap();
        }
        fs::write(&path, spoilt.finish().unwrap().into_inner()).unwrap();
        match job::read(&JobPath::Workbook(path.clone()), &crs_unit) {
            Ok(reading) => {
                assert!(all_finite(&reading));
                read += 1;
            }
            Err(_) => refused += 1,
        }
    }
    assert!(read > 50 && refused > 50, "{read} read, {refused} refused");
}
