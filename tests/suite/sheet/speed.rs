//! How long a sheet takes.

use std::fmt::Write;
use std::time::Instant;

use aslaid::sheet::{self, SheetOptions};

use crate::sheet::outside::run;
use crate::sheet::sample;

/// A job of twenty marks in grid coordinates, two metres apart.
fn twenty() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("job");
    std::fs::create_dir(&job).unwrap();
    let head = "[job]\nid = \"TWENTY\"\nlocated_on = 2026-05-14\n[grid]\ncrs = \"EPSG:25832\"\nunit = \"m\"\nvertical = \"DHHN2016\"\nheight = 210\n\
                [equipment]\nlens_to_transmitter = 0.3\naxis_above_invert = 0.04\n[[run]]\nid = \"A\"\ndiameter = 0.1\npushed = \"downstream\"\n";
    std::fs::write(job.join("job.toml"), head).unwrap();
    let mut marks = "run,mark,counter,easting,northing,sigma,ground,depth_1,depth_2\n".to_owned();
    for i in 0..20 {
        let along = f64::from(i) * 2.0;
        writeln!(
            marks,
            "A,A{},{:.2},{:.3},{:.3},0.02,{:.3},{:.2},{:.2}",
            i + 1,
            along + 0.3,
            567_890.0 + along,
            5_934_120.0 + 0.8 * (along / 9.0).sin(),
            210.0 - 0.01 * along,
            1.20 + 0.01 * along,
            1.21 + 0.01 * along,
        )
        .unwrap();
    }
    std::fs::write(job.join("marks.csv"), marks).unwrap();
    folder
}

/// Processor time, least of three: what the machine does besides is not counted.
#[test]
fn a_sheet_of_twenty_marks_takes_less_than_half_a_second() {
    let folder = twenty();
    let (job, out) = (folder.path().join("job"), folder.path().join("out"));
    let script = "TIMEFORMAT='%U %S'; { time \"$@\" >/dev/null 2>&1; } 2>&1";
    let least = (0..3)
        .map(|_| {
            let said = run(
                "bash",
                &[
                    "-c",
                    script,
                    "bash",
                    env!("CARGO_BIN_EXE_aslaid"),
                    "build",
                    job.to_str().unwrap(),
                    "--out",
                    out.to_str().unwrap(),
                    "--formats",
                    "sheet",
                ],
            );
            said.split_whitespace()
                .map(|s| s.parse::<f64>().unwrap())
                .sum::<f64>()
        })
        .fold(f64::INFINITY, f64::min);
    assert!(out.join("TWENTY/sheet.pdf").exists());
    println!("the sheet of twenty marks: {least:.2} s");
    assert!(least < 0.5, "{least} s");
}

#[test]
#[ignore = "a measurement of speed"]
fn two_thousand_marks() {
    let record = sample::many();
    let begun = Instant::now();
    let sheet = sheet::pdf(&record, &SheetOptions::default()).unwrap();
    println!(
        "sheet: {:.1} s, {} bytes",
        begun.elapsed().as_secs_f64(),
        sheet.len()
    );
    let begun = Instant::now();
    let page = sheet::html(&record).unwrap();
    println!(
        "page: {:.1} s, {} bytes",
        begun.elapsed().as_secs_f64(),
        page.len()
    );
}
