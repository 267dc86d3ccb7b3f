//! Whole or not at all: kills, failures, leftovers, and what is not ours.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use aslaid::error::Error;
use aslaid::export::deliver::{Delivered, Delivery, deliver};
use aslaid::export::place::{Earlier, failed, place};
use aslaid::export::select;
use aslaid::findings::{Code, Finding};
use aslaid::record::AsBuilt;

use super::build;
use super::common::sample;

const ID: &str = "LAT-2031";

fn revision(number: u32) -> AsBuilt {
    let mut record = sample();
    record.job.revision = Some(number);
    record
}

fn with_errors(root: &Path) -> Delivered {
    let findings = [Finding::new(
        Code::Unreadable,
        "depth_1 \"1.7O\" is no length",
    )];
    let formats = select(&[]).unwrap();
    deliver(
        root,
        Delivery {
            id: ID,
            record: None,
            file: None,
            findings: &findings,
            corrections: None,
            formats: &formats,
            fields: None,
            sheet: &aslaid::sheet::SheetOptions::default(),
        },
    )
    .unwrap()
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// The revision that every file of a result folder states; they must agree.
fn whole(folder: &Path) -> u64 {
    let record: serde_json::Value =
        serde_json::from_slice(&fs::read(folder.join("record.json")).unwrap()).unwrap();
    let stated = record["job"]["revision"].as_u64().unwrap();
    let map: serde_json::Value =
        serde_json::from_slice(&fs::read(folder.join("asbuilt.geojson")).unwrap()).unwrap();
    for feature in map["features"].as_array().unwrap() {
        assert_eq!(feature["properties"]["revision"].as_u64(), Some(stated));
    }
    assert!(
        fs::read_to_string(folder.join("asbuilt.kml"))
            .unwrap()
            .ends_with("</kml>\n")
    );
    let points = fs::read_to_string(folder.join("points.csv")).unwrap();
    assert!(points.ends_with("\r\n") && points.contains(&format!("LAT-2031,{stated},m,")));
    assert!(folder.join("findings.csv").exists() && folder.join("findings.json").exists());
    stated
}

#[test]
fn a_second_build_replaces_the_whole_set_and_leaves_nothing_beside() {
    let root = tempfile::tempdir().unwrap();
    let first = build(root.path(), revision(1));
    fs::write(first.folder.join("photo.jpg"), "not ours").unwrap();
    fs::write(first.folder.join(".hidden"), "not ours").unwrap();
    let formats = select(&["record".to_owned()]).unwrap();
    let only = Delivery {
        id: ID,
        record: Some(revision(2)),
        file: None,
        findings: &[],
        corrections: None,
        formats: &formats,
        fields: None,
        sheet: &aslaid::sheet::SheetOptions::default(),
    };
    deliver(root.path(), only).unwrap();
    // Formats that were not asked for would be out of date; what is not ours stays.
    assert_eq!(
        names(&root.path().join(ID)),
        [
            ".hidden",
            "findings.csv",
            "findings.json",
            "photo.jpg",
            "record.json"
        ]
    );
    assert_eq!(names(root.path()), [ID]);
}

#[test]
fn a_job_with_errors_has_its_earlier_results_moved_whole() {
    let root = tempfile::tempdir().unwrap();
    let superseded = root.path().join(format!("{ID}.superseded"));
    build(root.path(), revision(1));
    with_errors(root.path());
    assert_eq!(
        names(&root.path().join(ID)),
        ["findings.csv", "findings.json"]
    );
    assert_eq!(whole(&superseded), 1);
    // Again: there is nothing current to supersede, and the earlier results must not be lost.
    with_errors(root.path());
    assert_eq!(whole(&superseded), 1);
    build(root.path(), revision(2));
    with_errors(root.path());
    assert_eq!(whole(&superseded), 2);
    assert_eq!(
        names(root.path()),
        [ID.to_owned(), format!("{ID}.superseded")]
    );
}

#[test]
fn a_failure_in_the_middle_changes_nothing() {
    let root = tempfile::tempdir().unwrap();
    build(root.path(), revision(1));
    let full = |folder: &Path| {
        fs::write(folder.join("record.json"), "half a").unwrap();
        Err(failed(
            folder,
            &std::io::Error::from(std::io::ErrorKind::StorageFull),
        ))
    };
    for earlier in [Earlier::Replace, Earlier::Supersede] {
        let error = place(root.path(), ID, earlier, &full).unwrap_err();
        assert!(error.to_string().contains("the disk is full"), "{error}");
        assert_eq!(whole(&root.path().join(ID)), 1);
        assert_eq!(names(root.path()), [ID]);
    }
}

#[test]
fn what_a_killed_run_left_is_mended_by_the_next() {
    let root = tempfile::tempdir().unwrap();
    let work = root.path().join(format!(".{ID}.aslaid"));
    // Killed between the two renames of a file system that can't exchange.
    build(root.path(), revision(1));
    fs::create_dir(&work).unwrap();
    fs::rename(root.path().join(ID), work.join("old")).unwrap();
    fs::create_dir(work.join("new")).unwrap();
    fs::write(work.join("new/record.json"), "half a").unwrap();
    let refuse = |folder: &Path| {
        Err(Error::Write {
            path: folder.to_owned(),
            why: "no".to_owned(),
        })
    };
    place(root.path(), ID, Earlier::Replace, &refuse).unwrap_err();
    assert_eq!(whole(&root.path().join(ID)), 1);
    // Killed after the exchange, before the user's own file was moved over.
    fs::create_dir_all(work.join("new")).unwrap();
    fs::write(work.join("new/photo.jpg"), "not ours").unwrap();
    build(root.path(), revision(2));
    assert_eq!(whole(&root.path().join(ID)), 2);
    assert!(root.path().join(ID).join("photo.jpg").exists());
    // Killed while superseding, with an older set moved aside.
    with_errors(root.path());
    fs::create_dir(&work).unwrap();
    fs::rename(
        root.path().join(format!("{ID}.superseded")),
        work.join("older"),
    )
    .unwrap();
    with_errors(root.path());
    assert_eq!(whole(&root.path().join(format!("{ID}.superseded"))), 2);
    assert_eq!(
        names(root.path()),
        [ID.to_owned(), format!("{ID}.superseded")]
    );
}

#[test]
fn nothing_of_the_user_is_replaced() {
    let root = tempfile::tempdir().unwrap();
    let target = root.path().join(ID);
    let refused = |why: &str| {
        let formats = select(&[]).unwrap();
        let delivery = Delivery {
            id: ID,
            record: Some(sample()),
            file: None,
            findings: &[],
            corrections: None,
            formats: &formats,
            fields: None,
            sheet: &aslaid::sheet::SheetOptions::default(),
        };
        let error = deliver(root.path(), delivery).unwrap_err().to_string();
        assert!(error.contains(why), "{error}");
        assert!(!root.path().join(format!(".{ID}.aslaid")).exists());
    };
    fs::create_dir(&target).unwrap();
    fs::write(target.join("job.toml"), "[job]").unwrap();
    refused("holds something else");
    fs::write(target.join("findings.json"), "[]").unwrap();
    refused("holds something else");
    fs::remove_dir_all(&target).unwrap();
    fs::write(&target, "a file").unwrap();
    refused("is a file");
    fs::remove_file(&target).unwrap();
    std::os::unix::fs::symlink("/nowhere", &target).unwrap();
    refused("is a link");
    assert_eq!(fs::read_link(&target).unwrap(), Path::new("/nowhere"));
}

#[test]
fn an_id_can_not_leave_its_folder() {
    let root = tempfile::tempdir().unwrap();
    let nothing = |_: &Path| Ok(());
    for id in [
        "",
        ".",
        "..",
        "../x",
        "a/b",
        ".hidden",
        "a\0b",
        "A.superseded",
        "é",
    ] {
        assert!(
            place(root.path(), id, Earlier::Replace, &nothing).is_err(),
            "{id}"
        );
    }
    assert!(names(root.path()).is_empty());
}

#[test]
fn a_folder_that_is_a_file_is_said_in_plain_words() {
    let root = tempfile::tempdir().unwrap();
    let file = root.path().join("out");
    fs::write(&file, "").unwrap();
    let error = place(&file.join("deeper"), ID, Earlier::Replace, &|_| Ok(())).unwrap_err();
    assert!(
        error
            .to_string()
            .contains("a file stands where a folder is needed"),
        "{error}"
    );
}

#[test]
fn a_second_run_at_the_same_time_is_refused() {
    let root = tempfile::tempdir().unwrap();
    let inner = |_: &Path| {
        let error = place(root.path(), ID, Earlier::Replace, &|_| Ok(())).unwrap_err();
        assert!(error.to_string().contains("another run"), "{error}");
        Ok(())
    };
    place(root.path(), ID, Earlier::Replace, &inner).unwrap();
    assert_eq!(names(root.path()), [ID]);
}

/// Not a test of its own: the process that is killed.
#[test]
fn builds_until_it_is_killed() {
    let Some(root) = std::env::var_os("ASLAID_BUILD_UNTIL_KILLED") else {
        return;
    };
    let root = Path::new(&root);
    for number in 1.. {
        build(root, revision(number));
        if number % 3 == 0 {
            with_errors(root);
        }
    }
}

#[test]
fn killed_at_any_moment_the_results_are_whole() {
    let root = tempfile::tempdir().unwrap();
    let elsewhere = tempfile::tempdir().unwrap();
    let begun = Instant::now();
    build(elsewhere.path(), revision(1));
    let whole_build = begun.elapsed();
    let mut seen = 0;
    for round in 0..40_u32 {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "export::placing::builds_until_it_is_killed"])
            .env("ASLAID_BUILD_UNTIL_KILLED", root.path())
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        // Spread over start and the first four builds; the steps share no factor with the loop's own rhythm.
        let part = f64::from((round * 37) % 101) / 101.0;
        std::thread::sleep(Duration::from_millis(20) + whole_build.mul_f64(4.0 * part));
        child.kill().unwrap();
        child.wait().unwrap();
        for folder in [ID.to_owned(), format!("{ID}.superseded")] {
            let folder = root.path().join(folder);
            if folder.join("record.json").exists() {
                whole(&folder);
                seen += 1;
            } else if folder.exists() {
                assert_eq!(names(&folder), ["findings.csv", "findings.json"]);
            }
        }
    }
    assert!(
        seen >= 20,
        "only {seen} of 40 kills found results to look at"
    );
    build(root.path(), revision(999));
    assert_eq!(whole(&root.path().join(ID)), 999);
    assert!(
        names(root.path()).iter().all(|name| !name.starts_with('.')),
        "{:?}",
        names(root.path())
    );
}
