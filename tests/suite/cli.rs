//! The command as a person or a script uses it.
#![allow(clippy::unwrap_used, reason = "a test that can't go on has failed")]

use std::process::{Command, Output, Stdio};

mod batch;
mod books;
mod broken;
mod build;
mod cells;
mod new;
mod silence;
pub mod site;
mod slips;
mod unsaid;

fn aslaid(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_aslaid"))
        .args(arguments)
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

#[test]
fn help_has_examples_and_every_command() {
    let output = aslaid(&["--help"]);
    assert_eq!(output.status.code(), Some(0));
    for word in [
        "Examples:",
        "new",
        "check",
        "build",
        "schema",
        "completions",
        "man",
        "Exit status:",
        "--formats",
    ] {
        assert!(out(&output).contains(word), "{word}");
    }
    let build = out(&aslaid(&["build", "--help"]));
    for format in aslaid::export::FORMATS {
        assert!(build.contains(format.file()), "{}", format.file());
    }
}

#[test]
fn usage_errors_end_with_2_and_say_what_is_right() {
    for (arguments, word) in [
        (&["build"][..], "JOB"),
        (&["check", "x", "--unit", "yard"], "us-ft"),
        (&["check", "x", "--jobs", "0"], "--jobs"),
        (&["schema", "shape"], "geojson"),
        (
            &["build", "x", "--formats", "shape"],
            "no format is called \"shape\"",
        ),
        (&["build", "/no/such/job"], "/no/such/job"),
        (
            &["/no/such/job"],
            "/no/such/job: there is no such file or folder",
        ),
        (&["chekc"], "did you mean the command check?"),
        (&["man", "shape"], "no command is called \"shape\""),
    ] {
        let output = aslaid(arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(
            err(&output).contains(word),
            "{arguments:?}: {}",
            err(&output)
        );
        assert!(out(&output).is_empty(), "{arguments:?}: {}", out(&output));
    }
}

#[test]
fn schemas_are_json_and_the_same_as_the_committed_ones() {
    for name in aslaid::cli::SCHEMAS {
        let output = aslaid(&["schema", name]);
        assert_eq!(output.status.code(), Some(0));
        let committed = std::fs::read_to_string(format!(
            "{}/schemas/{name}.json",
            env!("CARGO_MANIFEST_DIR")
        ))
        .unwrap();
        assert_eq!(out(&output), committed);
    }
}

#[test]
fn completions_and_the_manual_page_come_out() {
    assert!(out(&aslaid(&["completions", "bash"])).contains("_aslaid"));
    assert!(out(&aslaid(&["completions", "fish"])).contains("complete -c aslaid"));
    let page = out(&aslaid(&["man"]));
    assert!(page.contains(".TH aslaid") && page.contains("Exit status"));
    let page = out(&aslaid(&["man", "build"]));
    assert!(page.contains(".TH aslaid-build") && page.contains("asbuilt.geojson"));
}

#[test]
fn a_reader_that_stops_reading_is_no_failure() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_aslaid"))
        .args(["schema", "record"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(err(&output).is_empty());
}

#[test]
fn a_full_standard_output_is_a_failure() {
    let full = std::fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_aslaid"))
        .args(["schema", "record"])
        .stdout(full)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(
        err(&output).contains("standard output can't be written"),
        "{}",
        err(&output)
    );
}
