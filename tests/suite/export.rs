//! The deliverables, read back by programs that aren't ours, and put in place under kills and failures.
#![allow(clippy::unwrap_used, reason = "a test that can't go on has failed")]

use crate::common;
mod formats;
mod outside;
mod placing;
mod schemas;

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use aslaid::export::deliver::{Delivered, Delivery, deliver};
use aslaid::export::select;
use aslaid::record::AsBuilt;

/// Every format of a record, in `root`.
fn build(root: &Path, record: AsBuilt) -> Delivered {
    let findings = record.findings.clone();
    let formats = select(&[]).unwrap();
    let id = record.job.id.clone();
    let delivery = Delivery {
        id: &id,
        record: Some(record),
        file: None,
        findings: &findings,
        corrections: None,
        formats: &formats,
        fields: None,
        sheet: &aslaid::sheet::SheetOptions::default(),
    };
    deliver(root, delivery).unwrap()
}

fn here(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// Runs an outside program, which must be there and must succeed.
fn outside(program: &str, arguments: &[&str]) -> Output {
    let output = Command::new(program)
        .args(arguments)
        .output()
        .unwrap_or_else(|e| panic!("{program}: {e}"));
    let shown = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    assert!(
        output.status.success(),
        "{program} {arguments:?}\n{}\n{}",
        shown(&output.stdout),
        shown(&output.stderr)
    );
    output
}

fn python(script: &str, arguments: &[&str]) -> String {
    let program = here("target/venv/bin/python");
    assert!(
        program.exists(),
        "scripts/setup test makes {}",
        program.display()
    );
    let script = here(script);
    let all: Vec<&str> = std::iter::once(script.to_str().unwrap())
        .chain(arguments.iter().copied())
        .collect();
    String::from_utf8(outside(program.to_str().unwrap(), &all).stdout).unwrap()
}
