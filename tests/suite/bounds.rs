//! Bounds that simulations once found untrue: long runs, tapes that just cross, and gross errors that kept a place from being found.

use std::fs;

use aslaid::findings::Code;
use aslaid::pipeline::{Options, Outcome, run};

use crate::shows::coverage::assert_share;
use crate::simulation::run::{jobs, run_each, run_many};
use crate::simulation::scenario::Scenario;

/// Sixty marks on one grade. Where each invert counts by the depth that was read there, four in five of these grades are within their
/// bound, and all too flat.
#[test]
fn the_grade_of_a_long_run_holds_the_truth() {
    let long = Scenario::default()
        .marks((60, 60))
        .leg((2.5, 3.5))
        .grade((0.02, 0.03))
        .depth((1.2, 1.4));
    let coverage = run_many(&[long], 31, jobs(120));
    println!("{coverage}");
    assert_share(&coverage, "run grade", (0.89, 0.99), 115);
}

/// What readings scatter up and down is no pipe.
#[test]
fn the_length_in_space_is_not_longer_for_its_readings() {
    let flat = Scenario::default()
        .marks((30, 30))
        .leg((1.5, 2.5))
        .grade((0.01, 0.02));
    let over = run_each(&[flat], 32, jobs(40), |outcome, _| {
        let record = outcome.as_ref().unwrap().record.as_ref().unwrap();
        let run = &record.runs[0];
        let (length, plan) = (run.length.unwrap(), run.length_plan.unwrap());
        assert!(length >= plan - 1e-9);
        (length - plan) / plan
    });
    let mean = over.iter().sum::<f64>() / over.len() as f64;
    // A grade of 2 % makes 0.02 %; the scatter of 30 pairs of readings would make ten times that.
    assert!(mean < 0.0006, "{mean}");
}

/// Marks taped from points of a site grid.
fn taped(marks: &str) -> Outcome {
    let folder = tempfile::tempdir().unwrap();
    let toml = "[job]\nid = \"J\"\nsupplier = \"Example Survey\"\nlocated_on = 2026-05-14\n[grid]\ncrs = \"local\"\nunit = \"m\"\nheight = \"0 m\"\n";
    let control = "point,easting,northing\nP1,0,0\nP2,20,0\nP3,20,15\nP4,0,15\nP5,40,5\n";
    for (name, text) in [
        ("job.toml", toml),
        ("control.csv", control),
        ("marks.csv", marks),
    ] {
        fs::write(folder.path().join(name), text).unwrap();
    }
    run(folder.path(), &Options::default()).unwrap()
}

/// Two corners of one wall, and a mark beyond it: the tapes cross a little off the wall's line, and `side` says where. They are not taken
/// as touching on the line once they cross beyond doubt; where they don't, the bound reaches as far.
#[test]
fn two_tapes_nearly_in_line_with_the_wall() {
    for (off, on_line) in [(0.3, true), (1.0, true), (1.6, false), (3.0, false)] {
        let (e, n) = (26.0, off);
        let tape = |to: f64| f64::hypot(e - to, n);
        let marks = format!(
            "run,mark,tie_1_ref,tie_1,tie_2_ref,tie_2,side\nA,A1,P1,{},P2,{},left\n",
            tape(0.0),
            tape(20.0)
        );
        let outcome = taped(&marks);
        let mark = &outcome.record.as_ref().unwrap().marks[0];
        let ellipse = mark.paint.ellipse.unwrap();
        let miss = f64::hypot(mark.paint.easting - e, mark.paint.northing - n);
        if on_line {
            // Its long axis points off the line; what the mark leaves that axis by, sliding so far, is in the short one.
            assert!(
                mark.paint.northing.abs() < 0.02
                    && ellipse.azimuth_95.min(180.0 - ellipse.azimuth_95) < 1.0
            );
            let along = (mark.paint.northing - n) / ellipse.semi_major_95;
            let across = (mark.paint.easting - e) / ellipse.semi_minor_95;
            assert!(along.hypot(across) < 1.0, "{off}: {along} {across}");
        } else {
            assert!(miss < 0.001, "{off}: {miss}");
        }
    }
}

/// Three tapes fit one place to the millimetre, and one was taken from another corner: the mark has its place, and that tape is named.
#[test]
fn a_tape_from_the_wrong_corner_is_named() {
    let marks = "run,mark,tie_1_ref,tie_1,tie_2_ref,tie_2,tie_3_ref,tie_3,tie_4_ref,tie_4\n\
                 A,M3,P1,23.00,P5,3.00,P3,15.30,P4,27.46\nB,M16,P1,20.22,P5,3.00,P3,12.00,P4,23.32\n";
    let outcome = taped(marks);
    assert_eq!(outcome.record.as_ref().unwrap().marks.len(), 2);
    let blunders = outcome
        .findings
        .iter()
        .filter(|finding| finding.code == Code::Blunder);
    let named: Vec<bool> = blunders
        .map(|finding| finding.message.contains("(tie_2, marks.csv:"))
        .collect();
    assert_eq!(named, [true, true]);
}
