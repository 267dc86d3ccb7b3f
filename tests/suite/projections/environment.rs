//! Nothing outside the program changes a result: no variable, no file beside it.

use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

use aslaid::crs::{Crs, Datum, Factors};
use aslaid::units::LengthUnit;

use crate::projections::support::crs;

/// What the child prints, so that it can be told from the harness's own lines.
const MARK: &str = "@ ";

fn conversions() -> String {
    let mut out = String::new();
    // The last one is 20° from its central meridian, where the two Transverse Mercators of PROJ differ.
    for (code, lon, lat) in [
        ("EPSG:2264", -80.8, 35.2),
        ("EPSG:27700", -1.5, 52.5),
        ("EPSG:26915", -93.0, 45.0),
        ("EPSG:26915", -73.0, 45.0),
    ] {
        let crs = crs(code);
        for datum in [Datum::OfCrs, Datum::Wgs84, Datum::Named("NAD27".to_owned())] {
            let place = (f64::to_radians(lon), f64::to_radians(lat));
            let result = crs.to_grid(&datum, &[place]);
            let factors: Option<Factors> = result
                .as_ref()
                .ok()
                .and_then(|(en, _)| crs.factors(en[0].0, en[0].1).ok());
            writeln!(out, "{MARK}{code} {datum:?} {result:?} {factors:?}").unwrap();
        }
    }
    out
}

#[test]
fn child_prints_conversions() {
    print!("{}", conversions());
}

#[test]
fn child_prints_errors() {
    for code in ["EPSG:2264", "EPSG:999999", "EPSG:4326"] {
        match Crs::new(code, LengthUnit::Metre) {
            Ok(crs) => println!("{MARK}{}", crs.name()),
            Err(error) => println!("{MARK}{error}"),
        }
    }
}

fn child(test: &str, folder: &Path, variables: &[(&str, &str)]) -> String {
    let output = Command::new(std::env::current_exe().unwrap())
        .args([
            &format!("projections::environment::{test}"),
            "--exact",
            "--nocapture",
        ])
        .current_dir(folder)
        .envs(variables.iter().copied())
        .output()
        .unwrap();
    let errors = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{variables:?}: {errors}");
    assert!(errors.trim().is_empty(), "PROJ speaks: {errors}");
    let text = String::from_utf8(output.stdout).unwrap();
    let mut lines = String::new();
    for line in text.lines() {
        if let Some((_, rest)) = line.split_once(MARK) {
            writeln!(lines, "{MARK}{rest}").unwrap();
        }
    }
    lines
}

fn python() -> PathBuf {
    let python = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/venv/bin/python");
    assert!(
        python.exists(),
        "{} is missing: run scripts/setup",
        python.display()
    );
    python
}

/// A `proj.db` in which every projection has its sixth parameter (the false northing of most) 1000 units off, from
/// the copy that PyPI's pyproj carries. Returns how far pyproj itself is led astray by it.
fn poison(folder: &Path) -> f64 {
    let script = r#"
import os, shutil, sqlite3, sys
import pyproj
folder = sys.argv[1]
def northing():
    return pyproj.Transformer.from_crs("EPSG:4269", "EPSG:2264", always_xy=True).transform(-80.8, 35.2)[1]
sound = northing()
shutil.copy(os.path.join(pyproj.datadir.get_data_dir(), "proj.db"), folder)
db = sqlite3.connect(os.path.join(folder, "proj.db"))
for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
    db.execute("DROP TRIGGER " + name)
db.execute("UPDATE conversion_table SET param6_value = param6_value + 1000")
db.commit()
db.close()
pyproj.datadir.set_data_dir(folder)
print(northing() - sound)
"#;
    let output = Command::new(python())
        .args(["-c", script])
        .arg(folder)
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8_lossy(&output.stdout)
        .trim()
        .parse()
        .unwrap()
}

/// A folder with a `proj.db` and a `proj.ini` that lead astray, there and where PROJ looks for downloads.
fn poisoned() -> tempfile::TempDir {
    let bad = tempfile::tempdir().unwrap();
    let astray = poison(bad.path());
    assert!(
        (astray - 1000.0).abs() < 1e-6,
        "the poison works on others: {astray}"
    );
    let settings = "[general]\ntmerc_default_algo = evenden_snyder\nnetwork = on\n";
    std::fs::write(bad.path().join("proj.ini"), settings).unwrap();
    std::fs::create_dir(bad.path().join("proj")).unwrap();
    for name in ["proj.db", "proj.ini"] {
        std::fs::copy(bad.path().join(name), bad.path().join("proj").join(name)).unwrap();
    }
    bad
}

#[test]
fn no_variable_and_no_file_changes_a_result() {
    let home = tempfile::tempdir().unwrap();
    let clean = child("child_prints_conversions", home.path(), &[]);
    assert_eq!(clean, conversions());
    assert_eq!(clean.lines().count(), 12, "{clean}");

    let bad = poisoned();
    let folder = bad.path().to_str().unwrap();
    let garbage = tempfile::tempdir().unwrap();
    std::fs::write(garbage.path().join("proj.db"), "not a database").unwrap();
    let rubbish = garbage.path().to_str().unwrap();

    let here = home.path();
    for (at, variables) in [
        (bad.path(), vec![]),
        (garbage.path(), vec![]),
        (here, vec![("PROJ_DATA", folder)]),
        (here, vec![("PROJ_LIB", folder)]),
        (here, vec![("PROJ_DATA", rubbish), ("PROJ_LIB", rubbish)]),
        (here, vec![("PROJ_DATA", "/nowhere/at/all")]),
        (here, vec![("XDG_DATA_HOME", folder)]),
        (here, vec![("PROJ_USER_WRITABLE_DIRECTORY", folder)]),
        (
            here,
            vec![
                ("PROJ_NETWORK", "ON"),
                ("PROJ_NETWORK_ENDPOINT", "http://127.0.0.1:9"),
            ],
        ),
        (
            here,
            vec![
                ("PROJ_DEBUG", "3"),
                ("PROJ_ONLY_BEST_DEFAULT", "YES"),
                ("PROJ_USE_PROJ4_INIT_RULES", "YES"),
            ],
        ),
        (
            bad.path(),
            vec![
                ("PROJ_DATA", folder),
                ("PROJ_LIB", rubbish),
                ("XDG_DATA_HOME", folder),
            ],
        ),
    ] {
        assert_eq!(
            child("child_prints_conversions", at, &variables),
            clean,
            "in {}: {variables:?}",
            at.display()
        );
    }
}

#[test]
fn errors_come_back_and_are_not_printed() {
    let home = tempfile::tempdir().unwrap();
    for variables in [vec![], vec![("PROJ_DEBUG", "3")]] {
        let said = child("child_prints_errors", home.path(), &variables);
        let lines: Vec<&str> = said.lines().collect();
        assert!(
            lines[0].ends_with("NAD83 / North Carolina (ftUS)"),
            "{said}"
        );
        assert!(
            lines[1].contains("not in the EPSG registry") && lines[2].contains("geographic"),
            "{said}"
        );
    }
    // Other definitions can't be shut out, so they are refused.
    let said = child(
        "child_prints_errors",
        home.path(),
        &[("PROJ_AUX_DB", "/nowhere/else.db")],
    );
    assert_eq!(
        said.lines()
            .filter(|line| line.contains("unset it"))
            .count(),
        3,
        "{said}"
    );
}
