//! The field against an independent library, run here, and against its figures on file.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use aslaid::transmitter::dipole;

const SCALE: f64 = 1e-7;

/// Every vector of the file: tilt, azimuth, depth, moment, place, field in tesla.
#[test]
fn vectors_on_file() {
    let text = include_str!("../../../fixtures/reference/dipole/dipole_field_grid.csv");
    let mut seen = 0;
    for line in text.lines().skip(1) {
        let c: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
        let (tilt, azimuth) = (c[0].to_radians(), c[1].to_radians());
        let (sin, cos) = azimuth.sin_cos();
        let (x, y, z) = (
            c[4] * cos + c[5] * sin,
            c[5] * cos - c[4] * sin,
            c[6] + c[2],
        );
        let [along, across, up] = dipole::field([x, y, z], tilt).map(|b| b * SCALE * c[3]);
        let found = [along * cos - across * sin, along * sin + across * cos, up];
        let size = found.iter().map(|b| b * b).sum::<f64>().sqrt();
        for (found, expected) in found.iter().zip(&c[7..10]) {
            assert!((found - expected).abs() < 1e-6 * size, "{line}: {found}");
        }
        seen += 1;
    }
    assert_eq!(seen, 294);
}

/// The closed forms against the library's field: there the field is vertical, level, strongest, from −45 to 45°; and 500 vectors.
#[test]
fn field_of_an_independent_library() {
    let python = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/venv/bin/python");
    assert!(
        python.exists(),
        "run scripts/setup first: the Python environment of the tests is missing"
    );
    let mut ask = String::new();
    let mut expected = Vec::new();
    for degrees in -45..=45 {
        let tilt = f64::from(degrees).to_radians();
        let (behind, ahead) = dipole::vertical_points(tilt);
        for x in [
            behind,
            ahead,
            dipole::crossline(tilt),
            dipole::peak(tilt),
            dipole::peak(tilt) + 0.01,
            dipole::peak(tilt) - 0.01,
        ] {
            ask.extend([format!("{tilt} {x} 0\n")]);
            expected.push((tilt, x, 0.0));
        }
    }
    for i in 0..500_i32 {
        let tilt = (f64::from(i * 37 % 91) - 45.0).to_radians();
        let (x, y) = (
            f64::from(i * 53 % 61) / 10.0 - 3.0,
            f64::from(i * 29 % 41) / 10.0 - 2.0,
        );
        ask.extend([format!("{tilt} {x} {y}\n")]);
        expected.push((tilt, x, y));
    }
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/suite/transmitter/field.py");
    let mut child = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child
        .stdin
        .take()
        .unwrap()
        .write_all(ask.as_bytes())
        .unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success());
    let fields: Vec<Vec<f64>> = String::from_utf8(output.stdout)
        .unwrap()
        .lines()
        .map(|line| line.split(' ').map(|cell| cell.parse().unwrap()).collect())
        .collect();
    assert_eq!(fields.len(), expected.len());
    for (field, &(tilt, x, y)) in fields.iter().zip(&expected) {
        let ours = dipole::field([x, y, 1.0], tilt);
        for (ours, theirs) in ours.iter().zip(field) {
            assert!(
                (ours - theirs).abs() < 1e-8,
                "{tilt} {x} {y}: {ours} {theirs}"
            );
        }
    }
    let size = |field: &[f64]| field.iter().map(|b| b * b).sum::<f64>().sqrt();
    for at in fields.chunks(6).take(91) {
        assert!(
            at[0][0].abs() < 1e-8 && at[1][0].abs() < 1e-8,
            "vertical at the ends"
        );
        assert!(at[2][2].abs() < 1e-8, "level at the crossline");
        assert!(
            size(&at[3]) >= size(&at[4]) && size(&at[3]) >= size(&at[5]),
            "strongest at the peak"
        );
    }
}
