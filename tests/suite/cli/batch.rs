//! Many jobs at once.

use std::fs;

use serde_json::Value;

use super::site::{Site, fixture};

#[test]
fn the_same_bytes_whatever_the_threads_and_however_often() {
    let site = Site::new();
    for number in 1..=6 {
        site.job(&format!("jobs/j{number}"), &format!("J{number}"), "4.30");
    }
    site.job("jobs/deeper/bad", "BAD", "6-Dec");
    let demo = fixture("demo");
    let build = |out: &str, threads: &str| {
        let said = site.ends(
            1,
            &["build", "jobs", &demo, "--out", out, "--jobs", threads],
        );
        (
            said.replace(&format!("written to {out}/"), ""),
            site.files(out),
        )
    };
    let first = build("a", "1");
    assert_eq!(site.names("a/BAD").len(), 3);
    assert!(site.at("a/FH-0117/record.json").exists());
    for (out, threads) in [("b", "2"), ("c", "8"), ("a", "2")] {
        let again = build(out, threads);
        assert_eq!(again.0, first.0, "what is printed, --jobs {threads}");
        assert_eq!(
            again.1.keys().collect::<Vec<_>>(),
            first.1.keys().collect::<Vec<_>>()
        );
        for (name, bytes) in &first.1 {
            assert!(again.1[name] == *bytes, "{name} --jobs {threads}");
        }
    }
    assert!(
        first.0.contains("8 jobs: 7 done, 1 with errors, 0 stopped"),
        "{}",
        first.0
    );
}

#[test]
fn a_broken_job_does_not_stop_the_others() {
    let site = Site::new();
    site.job("jobs/a", "A", "4.30");
    site.job("jobs/b", "B", "4.30");
    site.job("jobs/c", "C", "4.30");
    site.job("jobs/d", "D", "x");
    fs::write(site.at("jobs/e.xlsx"), "no workbook").unwrap();
    fs::write(site.at("jobs/b/job.toml"), b"\0\0").unwrap();
    let output = site.aslaid(&["build", "jobs", "--out", "out"]);
    assert_eq!(output.status.code(), Some(2));
    for job in ["A", "C"] {
        assert!(
            site.at("out").join(job).join("points.csv").exists(),
            "{job}"
        );
    }
    assert!(site.at("out/D/findings.csv").exists() && !site.at("out/D/points.csv").exists());
    let wrong = super::err(&output);
    for file in ["job.toml", "e.xlsx"] {
        assert!(wrong.contains(file), "{wrong}");
    }
    let said = super::out(&output);
    assert!(
        said.contains("5 jobs: 2 done, 1 with errors, 2 stopped"),
        "{said}"
    );
}

#[test]
fn two_jobs_of_one_id_are_told_apart() {
    let site = Site::new();
    site.job("jobs/a", "SAME", "4.30");
    site.job("jobs/b", "same", "4.35");
    site.job("jobs/c", "OTHER", "4.30");
    let output = site.aslaid(&["build", "jobs", "--out", "out"]);
    assert_eq!(output.status.code(), Some(2));
    let wrong = super::err(&output);
    assert!(
        wrong.contains("jobs/b") && wrong.contains("jobs/a") && wrong.contains("its own id"),
        "{wrong}"
    );
    let ids: Vec<String> = fs::read_dir(site.at("out"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    assert_eq!(ids.len(), 2, "{ids:?}");
    assert!(ids.contains(&"SAME".to_owned()) && ids.contains(&"OTHER".to_owned()));
}

#[test]
fn json_is_one_array_and_nothing_else() {
    let site = Site::new();
    site.job("jobs/a", "A", "4.30");
    site.job("jobs/b", "B", "6-Dec");
    fs::write(site.at("jobs/c.xlsx"), "no workbook").unwrap();
    for command in [&["check", "jobs"][..], &["build", "jobs", "--out", "out"]] {
        let output = site.aslaid(&[command, &["--json"]].concat());
        assert_eq!(output.status.code(), Some(2));
        let found: Value = serde_json::from_slice(&output.stdout).unwrap();
        let found = found.as_array().unwrap();
        assert!(!found.is_empty());
        for finding in found {
            for name in ["code", "level", "job", "message"] {
                assert!(finding[name].is_string(), "{finding}");
            }
            let known = [
                "code", "level", "job", "run", "mark", "source", "value", "limit", "message",
            ];
            for name in finding.as_object().unwrap().keys() {
                assert!(known.contains(&name.as_str()), "{name}");
            }
        }
        assert!(found.iter().any(|finding| finding["job"] == "B"));
        assert!(super::err(&output).contains("c.xlsx"));
    }
}

#[test]
fn jobs_come_from_standard_input() {
    use std::io::Write;
    use std::process::{Command, Stdio};
    let site = Site::new();
    site.job("a", "A", "4.30");
    site.job("b", "B", "4.30");
    let mut child = Command::new(env!("CARGO_BIN_EXE_aslaid"))
        .args(["check", "-"])
        .current_dir(site.at("."))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(b"b\n\na\n").unwrap();
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    let said = super::out(&output);
    assert!(
        said.find("B (b)").unwrap() < said.find("A (a)").unwrap(),
        "{said}"
    );
}
