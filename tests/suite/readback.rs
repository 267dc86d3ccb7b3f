//! GeoPackage, GeoParquet, DXF and tables in databases, read back by other people's programs.
#![allow(clippy::unwrap_used, reason = "a test that can't go on has failed")]
#![allow(clippy::print_stdout, reason = "figures for whoever looks")]

use crate::common;
mod fields;
mod formats;
mod jobs;
mod load;
pub mod server;
use crate::simulation;

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use aslaid::export::deliver::{Delivered, Delivery, deliver};
use aslaid::export::select;
use aslaid::record::AsBuilt;

fn here(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// Every format of a record, in `root`.
fn build(root: &Path, record: AsBuilt) -> Delivered {
    let id = record.job.id.clone();
    let findings = record.findings.clone();
    let delivery = Delivery {
        sheet: &aslaid::sheet::SheetOptions::default(),
        id: &id,
        record: Some(record),
        file: None,
        findings: &findings,
        corrections: None,
        formats: &select(&[]).unwrap(),
        fields: None,
    };
    deliver(root, delivery).unwrap()
}

fn run(program: &Path, arguments: &[&str]) -> Output {
    Command::new(program)
        .args(arguments)
        .output()
        .unwrap_or_else(|e| panic!("{}: {e}; scripts/setup test installs it", program.display()))
}

/// Runs an outside program, which must be there and must succeed; gives what it printed.
fn outside(program: &str, arguments: &[&str]) -> String {
    let output = run(Path::new(program), arguments);
    let shown = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    assert!(
        output.status.success(),
        "{program} {arguments:?}\n{}\n{}",
        shown(&output.stdout),
        shown(&output.stderr)
    );
    shown(&output.stdout) + &shown(&output.stderr)
}

fn python(arguments: &[&str]) -> String {
    outside(here("target/venv/bin/python").to_str().unwrap(), arguments)
}
