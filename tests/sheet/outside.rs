//! Other programs, and the sheets that they are given.

use std::path::{Path, PathBuf};
use std::process::Command;

use aslaid::record::AsBuilt;
use aslaid::sheet::{self, Dig, Paper, SheetOptions};

use crate::sample;

/// Where sheets are written for outside programs, and left for whoever wants to look.
pub fn out(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/documents");
    std::fs::create_dir_all(&folder).unwrap();
    folder.join(name)
}

/// Standard output of a program that must succeed.
pub fn run(program: &str, arguments: &[&str]) -> String {
    let output = Command::new(program)
        .args(arguments)
        .output()
        .unwrap_or_else(|error| panic!("{program}: {error}; run scripts/setup test"));
    assert!(
        output.status.success(),
        "{program} {arguments:?}: {}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout).unwrap()
}

/// A script of this folder in the checkers' Python.
pub fn python(script: &str, arguments: &[&str]) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let script = root.join("tests/sheet").join(script);
    let python = root.join("target/venv/bin/python");
    let arguments: Vec<&str> = std::iter::once(script.to_str().unwrap())
        .chain(arguments.iter().copied())
        .collect();
    run(python.to_str().unwrap(), &arguments)
}

/// A sheet as a file.
pub fn written(name: &str, record: &AsBuilt, size: Paper) -> PathBuf {
    let options = SheetOptions {
        size: Some(size),
        dig: Dig::Marked,
    };
    let path = out(&format!("{name}-{}.pdf", size.word()));
    std::fs::write(&path, sheet::pdf(record, &options).unwrap()).unwrap();
    path
}

/// Text page by page, as `pdftotext` reads it.
pub fn pages(path: &Path) -> Vec<String> {
    let text = run("pdftotext", &["-layout", path.to_str().unwrap(), "-"]);
    let mut pages: Vec<String> = text.split('\u{c}').map(str::to_owned).collect();
    pages.pop();
    pages
}

/// White space of any length as one blank.
pub fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The records that the sheets are judged on.
pub fn records() -> Vec<(&'static str, AsBuilt)> {
    vec![
        ("short", sample::short()),
        ("long", sample::long()),
        ("dense", sample::dense()),
        ("local", sample::local()),
        ("troubled", sample::troubled()),
        ("hostile", sample::hostile()),
        ("bare", sample::bare()),
        ("demo", demo()),
    ]
}

/// The demo, computed.
pub fn demo() -> AsBuilt {
    let job = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/fern-hollow");
    let outcome = aslaid::pipeline::run(&job, &aslaid::pipeline::Options::default()).unwrap();
    aslaid::export::record::seal(outcome.record.unwrap()).unwrap()
}
