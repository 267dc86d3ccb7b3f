//! The command as the clerk at the utility uses it: slips, folders that are no deliveries, where records go.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use aslaid::export::record::seal;
use aslaid::record::AsBuilt;
use aslaid::record::model::Draft;
use aslaid::sheet::{SheetOptions, pdf};
use tempfile::TempDir;

use super::support;
use super::town::{FIELDS, bytes, good, mains};

struct Desk {
    folder: TempDir,
}

impl Desk {
    fn new() -> Self {
        let folder = support::folder();
        mains(folder.path());
        fs::write(folder.path().join("fields.toml"), FIELDS).unwrap();
        Self { folder }
    }

    fn at(&self, path: &str) -> PathBuf {
        self.folder.path().join(path)
    }

    /// A folder of results.
    fn results(&self, name: &str, record: AsBuilt) -> PathBuf {
        let folder = self.at(name);
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join("record.json"), bytes(record)).unwrap();
        folder
    }

    /// Exit status and everything that is said.
    fn intake(&self, results: &[&str], more: &[&str]) -> (i32, String) {
        let output = Command::new(env!("CARGO_BIN_EXE_aslaid"))
            .current_dir(self.folder.path())
            .arg("intake")
            .args(results)
            .args(["--mains", "mains.geojson", "--fields", "fields.toml"])
            .args(more)
            .output()
            .unwrap();
        let said = [output.stdout, output.stderr].concat();
        let said = String::from_utf8(said).unwrap();
        for leak in ["os error", "serde", "untagged", "CSV error"] {
            assert!(!said.contains(leak), "{said}");
        }
        (output.status.code().unwrap(), said)
    }
}

const INTO: [&str; 2] = ["--into", "on-file"];

#[track_caller]
fn says(found: &(i32, String), status: i32, parts: &[&str]) {
    assert_eq!(found.0, status, "{}", found.1);
    for part in parts {
        assert!(found.1.contains(part), "{part} in {}", found.1);
    }
}

#[test]
fn a_path_where_nothing_is_is_a_slip_and_takes_nothing() {
    let desk = Desk::new();
    desk.results("G-1", good(1));
    let found = desk.intake(&["G-1", "nothere"], &INTO);
    says(&found, 2, &["nothere: there is no such file or folder"]);
    assert_eq!(fs::read_dir(desk.at("on-file")).unwrap().count(), 0);
}

#[test]
fn folders_without_a_record_are_told_apart() {
    let desk = Desk::new();
    desk.results("town/G-1", good(1));
    fs::create_dir(desk.at("E-1")).unwrap();
    fs::write(desk.at("E-1/findings.csv"), "code\n").unwrap();
    fs::create_dir(desk.at("empty")).unwrap();
    for (path, says_so) in [
        ("E-1", "its job has errors and therefore no record"),
        ("town", "Name those: town/*."),
        ("empty", "There is no record.json in it."),
    ] {
        says(&desk.intake(&[path], &INTO), 1, &["unreadable", says_so]);
    }
}

#[test]
fn withdrawn_results_are_passed_over() {
    let desk = Desk::new();
    desk.results("G-1.superseded", good(1));
    desk.results("G-2", good(2));
    let found = desk.intake(
        &["G-1.superseded", "G-2", "G-1.superseded/record.json"],
        &INTO,
    );
    says(
        &found,
        0,
        &[
            "superseded G-1.superseded\n",
            "`build` has withdrawn these results",
            "1 accepted, 0 unchanged, 2 superseded, 0 refused",
        ],
    );
}

#[test]
fn a_damaged_record_is_told_in_plain_words() {
    let desk = Desk::new();
    let folder = desk.results("G-1", good(1));
    let file = folder.join("record.json");
    let text = fs::read_to_string(&file).unwrap();
    let lines = text.lines().count();
    assert!(lines > 20);
    for (broken, code, words) in [
        (
            text.get(..text.len() / 2).unwrap().to_owned(),
            "unreadable",
            "it breaks off in line",
        ),
        (
            text.replacen(':', ";", 1),
            "unreadable",
            "it is no JSON from line 2",
        ),
        (
            text.replacen("\"frame\"", "\"fraim\"", 1),
            "schema",
            "The record does not fit its schema: `frame` is missing",
        ),
        (
            text.replacen("\"easting\": ", "\"easting\": \"far\", \"x\": ", 1),
            "schema",
            "does not belong there",
        ),
    ] {
        fs::write(&file, broken).unwrap();
        says(&desk.intake(&["G-1"], &INTO), 1, &[code, words]);
    }
}

/// The sheet of a record.
fn sheet(record: &AsBuilt) -> Vec<u8> {
    pdf(record, &SheetOptions::default()).unwrap()
}

#[test]
fn a_sheet_of_another_record_is_refused_and_a_missing_one_is_not() {
    let desk = Desk::new();
    let ours = |number: usize| {
        let mut record = good(number);
        record.generator = format!("aslaid {}", env!("CARGO_PKG_VERSION"));
        seal(record).unwrap()
    };
    let folder = desk.results("G-1", ours(1));
    let file = folder.join("sheet.pdf");
    fs::write(&file, sheet(&ours(2))).unwrap();
    let found = desk.intake(&["G-1"], &INTO);
    says(&found, 1, &["sheet ", "drawn from another record"]);
    let mut changed = sheet(&ours(1));
    changed.extend_from_slice(b"% a line more\n");
    fs::write(&file, changed).unwrap();
    let found = desk.intake(&["G-1"], &INTO);
    says(&found, 1, &["sheet ", "was changed after it was drawn"]);
    fs::write(&file, sheet(&ours(1))).unwrap();
    says(&desk.intake(&["G-1"], &INTO), 0, &["1 accepted"]);
    fs::remove_file(&file).unwrap();
    says(&desk.intake(&["G-1"], &INTO), 0, &["1 unchanged"]);
    // What is on file is not judged again.
    fs::write(&file, "%PDF-1.7 scanned").unwrap();
    says(&desk.intake(&["G-1"], &INTO), 0, &["1 unchanged"]);
}

#[test]
fn a_sheet_that_is_cut_off_or_foreign_is_refused() {
    let desk = Desk::new();
    let mut record = good(1);
    record.generator = format!("aslaid {}", env!("CARGO_PKG_VERSION"));
    let record = seal(record).unwrap();
    let whole = sheet(&record);
    let folder = desk.results("G-1", record);
    let file = folder.join("sheet.pdf");
    for bytes in [
        &whole[..whole.len() / 2],
        &whole[..whole.len() - 3],
        b"%PDF-1.7 scanned",
        b"",
    ] {
        fs::write(&file, bytes).unwrap();
        let found = desk.intake(&["G-1"], &INTO);
        says(
            &found,
            1,
            &["sheet ", "Send the folder as `build` wrote it"],
        );
    }
    fs::write(folder.join("signed.pdf"), "%PDF-1.7 scanned").unwrap();
    fs::write(&file, whole).unwrap();
    says(&desk.intake(&["G-1"], &INTO), 0, &["1 accepted"]);
}

/// A good record of a supplier.
fn of(supplier: &str, number: usize) -> AsBuilt {
    let mut record = good(number);
    record.job.supplier = Some(supplier.to_owned());
    record
}

#[test]
fn a_long_name_in_another_script_goes_on_file_like_any_other() {
    let desk = Desk::new();
    // 60 letters of two bytes each, the last of which tells them apart.
    let [one, other] = ["а", "б"].map(|last| "ж".repeat(59) + last);
    desk.results("G-1", of(&one, 1));
    desk.results("G-2", of(&other, 2));
    let mut long = good(3);
    long.job.id = "Ж".repeat(100);
    desk.results("G-3", long);
    desk.results("G-4", of("Ж. & Co", 4));
    let all = ["G-1", "G-2", "G-3", "G-4"];
    says(&desk.intake(&all, &INTO), 0, &["4 accepted"]);
    says(&desk.intake(&all, &INTO), 0, &["0 accepted, 4 unchanged"]);
    // A name that is short enough is spelt as ever.
    assert!(
        desk.at("on-file/_d0_96_2e_20_26_20Co/J-0004.json")
            .is_file()
    );
    assert_eq!(fs::read_dir(desk.at("on-file")).unwrap().count(), 4);
    let mut newer = of(&one, 1);
    newer.job.revision = Some(2);
    desk.results("G-1", newer);
    says(&desk.intake(&["G-1"], &INTO), 0, &["1 accepted"]);
    says(&desk.intake(&all, &INTO), 0, &["0 accepted, 4 unchanged"]);
}

#[test]
fn a_delivery_that_can_not_be_put_on_file_leaves_the_others() {
    let desk = Desk::new();
    for (name, number) in [("G-1", 1), ("G-2", 2), ("G-3", 3)] {
        desk.results(name, good(number));
    }
    fs::create_dir(desk.at("on-file")).unwrap();
    fs::write(desk.at("on-file/Birch"), "a file").unwrap();
    let more = ["--into", "on-file", "--report", "report.csv"];
    let found = desk.intake(&["G-1", "G-2", "G-3"], &more);
    says(
        &found,
        2,
        &[
            "failed G-1",
            "not-kept",
            "on-file/Birch: can't be written: a file stands where a folder is needed",
            "2 accepted, 0 unchanged, 0 refused, 1 failed",
        ],
    );
    let report = fs::read_to_string(desk.at("report.csv")).unwrap();
    assert_eq!(report.lines().count(), 4, "{report}");
    assert!(report.contains(",failed,not-kept,"), "{report}");
    fs::remove_file(desk.at("on-file/Birch")).unwrap();
    let found = desk.intake(&["G-1", "G-2", "G-3"], &more);
    says(&found, 0, &["1 accepted, 2 unchanged, 0 refused"]);
}

#[test]
fn a_report_that_can_not_be_written_is_told_before_anything_is_taken() {
    let desk = Desk::new();
    desk.results("G-1", good(1));
    let found = desk.intake(
        &["G-1"],
        &["--into", "on-file", "--report", "no/report.csv"],
    );
    says(
        &found,
        2,
        &["no/report.csv: can't be written: there is no such folder"],
    );
    assert!(
        Path::new(&desk.at("on-file"))
            .read_dir()
            .unwrap()
            .next()
            .is_none()
    );
    // A longer report of before is gone when the new one is there.
    fs::write(desk.at("report.csv"), "x".repeat(9999)).unwrap();
    let found = desk.intake(&["G-1"], &["--into", "on-file", "--report", "report.csv"]);
    says(&found, 0, &["1 accepted"]);
    let report = fs::read_to_string(desk.at("report.csv")).unwrap();
    assert!(
        report.starts_with("delivery,") && !report.contains('x'),
        "{report}"
    );
}

#[test]
fn a_folder_has_no_tables() {
    let desk = Desk::new();
    desk.results("G-1", good(1));
    for more in [["--table", "run=lateral"], ["--schema", "city"]] {
        let found = desk.intake(&["G-1"], &[&INTO[..], &more].concat());
        says(&found, 2, &["on-file is a folder"]);
    }
    let found = desk.intake(&["G-1"], &["--into", "fields.toml"]);
    says(
        &found,
        2,
        &["fields.toml: can't be written: a file stands where a folder is needed"],
    );
}

#[test]
fn a_draft_is_told_once_and_reasons_end_with_a_full_stop() {
    use aslaid::findings::{Code, Finding};
    let desk = Desk::new();
    let mut draft = good(1);
    draft.draft = Some(Draft { left_out: 0 });
    let wrong = Finding::new(Code::AboveGround, "the pipe lies above the ground at A2");
    draft.findings.push(wrong);
    let mut record = draft.clone();
    record.draft = None;
    record.job.id = "J-2".to_owned();
    desk.results("draft", draft);
    desk.results("wrong", record);
    let (status, said) = desk.intake(&["draft"], &INTO);
    assert_eq!(status, 1);
    assert!(
        said.contains("It is a draft: its job has errors.") && !said.contains("findings"),
        "{said}"
    );
    let found = desk.intake(&["wrong"], &INTO);
    says(&found, 1, &["above the ground at A2.\n"]);
}

#[test]
fn the_help_says_what_the_exit_status_means() {
    for (command, parts) in [
        (
            "intake",
            ["some delivery was refused", "keeps nothing of it"],
        ),
        ("load", ["every record is in", "nothing is in"]),
        (
            "verify",
            ["is drawn from this record", "is no sheet or no record"],
        ),
    ] {
        let output = Command::new(env!("CARGO_BIN_EXE_aslaid"))
            .args([command, "--help"])
            .output()
            .unwrap();
        let said = String::from_utf8(output.stdout).unwrap();
        for part in parts {
            assert!(said.contains(part), "{part} in {said}");
        }
    }
}

/// Exit status of a command.
fn status(desk: &Desk, arguments: &[&str]) -> i32 {
    let output = Command::new(env!("CARGO_BIN_EXE_aslaid"))
        .current_dir(desk.folder.path())
        .args(arguments)
        .output()
        .unwrap();
    output.status.code().unwrap()
}

#[test]
fn a_record_written_otherwise_is_altered_to_every_command() {
    let desk = Desk::new();
    let mut record = good(1);
    record.generator = format!("aslaid {}", env!("CARGO_PKG_VERSION"));
    let record = seal(record).unwrap();
    let folder = desk.results("G-1", record.clone());
    let file = folder.join("record.json");
    fs::write(folder.join("sheet.pdf"), sheet(&record)).unwrap();
    let built = fs::read_to_string(&file).unwrap();
    let verify = ["verify", "G-1/sheet.pdf", "G-1/record.json"];
    let value: serde_json::Value = serde_json::from_str(&built).unwrap();
    let further = built.replacen(
        "  \"generator\"",
        "  \"approved_by\": \"nobody\",\n  \"generator\"",
        1,
    );
    // With a hash of its own: the key is in the file, and no record has it.
    let hashed = further.replace(
        record.hash.as_deref().unwrap(),
        &aslaid::record::file_hash(further.as_bytes()),
    );
    assert!(hashed != further && further != built);
    for (what, text) in [
        ("one line", serde_json::to_string(&value).unwrap()),
        ("line ends", built.replace('\n', "\r\n")),
        ("indented", built.replace("\n  ", "\n    ")),
        ("a further key", further),
        ("a further key and its hash", hashed),
    ] {
        fs::write(&file, text).unwrap();
        let found = desk.intake(&["G-1"], &INTO);
        assert_eq!(found.0, 1, "{what}: {}", found.1);
        assert!(found.1.contains("altered"), "{what}: {}", found.1);
        assert_ne!(status(&desk, &verify), 0, "{what}");
        assert_ne!(
            status(&desk, &["load", "G-1", "--into", "a.gpkg"]),
            0,
            "{what}"
        );
    }
    fs::write(&file, &built).unwrap();
    says(&desk.intake(&["G-1"], &INTO), 0, &["1 accepted"]);
    assert_eq!(status(&desk, &verify), 0);
    assert_eq!(status(&desk, &["load", "G-1", "--into", "a.gpkg"]), 0);
    // What is on file is the record as it came, and can be sent on.
    let supplier = record.job.supplier.as_deref().unwrap();
    let kept = format!("on-file/{supplier}/{}.json", record.job.id);
    assert_eq!(fs::read_to_string(desk.at(&kept)).unwrap(), built);
}
