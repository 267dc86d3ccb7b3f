//! 500 mutations of valid jobs: each ends with 0, 1 or 2, says where, in 5 seconds and 500 MB.

use std::path::Path;
use std::process::Command;

#[test]
fn five_hundred_spoilt_jobs() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let output = Command::new(root.join("target/venv/bin/python"))
        .arg(root.join("tests/suite/faults/spoil.py"))
        .arg(env!("CARGO_BIN_EXE_aslaid"))
        .arg(root.join("fixtures"))
        .args(["500", "20261125"])
        .output()
        .expect("target/venv/bin/python, which scripts/setup makes");
    println!("{}", String::from_utf8_lossy(&output.stdout));
    assert!(
        output.status.success(),
        "{}\n{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
}
