//! Rows that are only compared (`use = check`), rows that are left out (`use = no`), and pipes that were seen: what they change, and
//! what is said of them.

use aslaid::findings::{Code, Finding, Level};
use aslaid::pipeline::Outcome;
use aslaid::record::model::{Check, Mark};

use crate::common::{computed, settings};

fn toml() -> String {
    settings("kept-out", "vertical = \"NHN\"\nheight = \"50 m\"", "")
}
const CONTROL: &str = "\
point,easting,northing,elevation,use
P1,500000,5700000,,
P2,500020,5700000,,
P3,500010,5700015,,
";
const HEADING: &str = "run,mark,counter,role,tie_1_ref,tie_1,tie_2_ref,tie_2,tie_3_ref,tie_3,easting,northing,ground,depth_1,depth_2,invert_depth,use\n";
/// At (4, 6) and (12, 6), 8 m apart; the grid's scale is 0.99959 here.
const MARKS: &str = "\
A,A1,1.0,,P1,7.214,P2,17.095,P3,10.821,,,50,1.50,1.52,,
A,A2,9.0,,P1,13.422,P2,10.004,P3,9.223,,,50,1.66,1.68,,
";

fn job_of(toml: &str, control: &str, marks: &[&str], others: &[(&str, &str)]) -> Outcome {
    let table = format!("{HEADING}{}", marks.concat());
    let mut files = vec![
        ("job.toml", toml),
        ("control.csv", control),
        ("marks.csv", &table),
    ];
    files.extend(others);
    computed(&files)
}

fn job(control: &str, marks: &[&str]) -> Outcome {
    job_of(&toml(), control, marks, &[])
}

fn of(outcome: &Outcome, code: Code) -> Vec<&Finding> {
    outcome.findings.iter().filter(|f| f.code == code).collect()
}

fn says(outcome: &Outcome, code: Code, parts: &[&str]) {
    let told = of(outcome, code);
    let said = |finding: &&Finding| parts.iter().all(|part| finding.message.contains(part));
    assert!(
        told.iter().any(said),
        "{parts:?} in {:#?}",
        outcome.findings
    );
}

fn checks(outcome: &Outcome) -> Vec<(&str, &str)> {
    let checks: &[Check] = &outcome.record.as_ref().expect("a record").checks;
    checks
        .iter()
        .map(|check| (&*check.point, &*check.what))
        .collect()
}

fn marks(outcome: &Outcome) -> &[Mark] {
    &outcome.record.as_ref().expect("a record").marks
}

/// The figures of places, heights and bounds, to the digit.
fn figures(outcome: &Outcome) -> Vec<(f64, f64, Option<f64>, Option<f64>)> {
    let figures = |mark: &Mark| (mark.easting, mark.northing, mark.invert, mark.invert_95);
    marks(outcome).iter().map(figures).collect()
}

/// A hole dug at the paint says how deep the pipe lies, and nothing of the paint's place: no place is compared, and the mark's ellipse
/// is what it was.
#[test]
fn an_exposure_without_a_place_is_no_test_of_one() {
    let located = job(CONTROL, &[MARKS]);
    let seen = "A,A1,,exposed,,,,,,,,,,,,1.60,\n";
    let exposed = job(CONTROL, &[MARKS, seen]);
    assert_eq!(checks(&exposed), [("A1", "depth")]);
    assert_eq!(of(&exposed, Code::Exposure).len(), 1);
    let (before, after) = (&marks(&located)[0], &marks(&exposed)[0]);
    let ellipse = |mark: &Mark| mark.ellipse.expect("an ellipse");
    assert!((ellipse(before).semi_major_95 - ellipse(after).semi_major_95).abs() < 0.01);
    assert!((after.transmitter_depth.expect("seen") - 1.55).abs() < 1e-9);
    // Measured, it is compared, and its own place stands.
    let measured = job(
        CONTROL,
        &[MARKS, "A,A1,,exposed,,,,,,,500004.03,5700006.02,,,,1.60,\n"],
    );
    assert_eq!(checks(&measured), [("A1", "horizontal"), ("A1", "depth")]);
    assert!((marks(&measured)[0].easting - 500_004.03).abs() < 1e-6);
}

/// Whatever is only compared changes no figure.
#[test]
fn what_is_compared_changes_nothing() {
    let plain = job(CONTROL, &[MARKS]);
    let rows = [
        "A,A1,,,,,,,,,500044,5700046,73,2.10,2.12,,check\n",
        "A,A2,,exposed,,,,,,,,,,,,1.90,check\n",
        "A,A2,,,P1,13.4,,,,,,,,,,,check\n",
    ];
    let control = format!("{CONTROL}P2,500020.1,5700000.1,77,check\n");
    let compared = job(&control, &[rows[0], MARKS, rows[1], rows[2]]);
    assert!(!compared.blocked(), "{:#?}", compared.findings);
    assert_eq!(figures(&plain), figures(&compared));
    let frame = |outcome: &Outcome| outcome.record.as_ref().map(|record| record.frame.clone());
    assert_eq!(frame(&plain), frame(&compared));
    let checked = checks(&compared);
    for check in [
        ("A1", "horizontal"),
        ("A1", "vertical"),
        ("A1", "depth"),
        ("A2", "depth"),
        ("A2", "distance"),
        ("P2", "horizontal"),
    ] {
        assert!(checked.contains(&check), "{check:?} of {checked:?}");
    }
    says(
        &compared,
        Code::CheckShot,
        &["distance P1 to A2 (tie_1, marks.csv:6)"],
    );
    // The pipe seen at 1.85 m against 1.67 read, and no error in the receiver's scale cancels.
    let depth = of(&compared, Code::CheckShot);
    let depth = depth
        .iter()
        .find(|f| f.message.starts_with("Check of the depth of A2"))
        .expect("a depth");
    assert!(depth.message.contains("0.180 m"), "{}", depth.message);
}

/// A height that is only compared, where nothing else gives one, is said to be alone; the job is built.
#[test]
fn a_height_that_is_compared_with_nothing() {
    let bare = MARKS.replace(",50,", ",,");
    let row = "A,A1,,,,,,,,,,,50.2,,,,check\n";
    let differences = "kind,from,to,value,use\nheight_difference,A1,A2,0.02,check\n";
    for (marks, others) in [
        (&[&*bare, row][..], &[][..]),
        (&[&*bare][..], &[("measures.csv", differences)][..]),
    ] {
        let compared = job_of(&toml(), CONTROL, marks, others);
        assert!(!compared.blocked(), "{:#?}", compared.findings);
        says(
            &compared,
            Code::CheckShot,
            &["height of A1", "nothing to compare"],
        );
    }
}

/// A reference with a second row that is compared, before or after its own; one that only such a row knows; one on the site's grid.
#[test]
fn references_are_compared() {
    let check = "P3,500010.1,5700015.1,,check\n";
    let after = format!("{CONTROL}{check}");
    let own = "P3,500010,5700015,,\n";
    let before = CONTROL.replace(own, &format!("{check}{own}"));
    for control in [after, before] {
        let compared = job(&control, &[MARKS]);
        assert!(
            of(&compared, Code::Duplicate).is_empty(),
            "{:#?}",
            compared.findings
        );
        assert_eq!(checks(&compared), [("P3", "horizontal")]);
        assert_eq!(figures(&compared), figures(&job(CONTROL, &[MARKS])));
    }
    let alone = job(&format!("{CONTROL}Q9,500003,5700003,,check\n"), &[MARKS]);
    says(
        &alone,
        Code::CheckShot,
        &["Q9 is kept out", "nothing to compare"],
    );

    let site = "\
point,x,y,easting,northing,use
P1,0,0,500000,5700000,
P2,20,0,500020,5700000,
P3,10,15,500010,5700015,
P4,5,20,500005.1,5700020.1,check
";
    let fitted = job(site, &[MARKS]);
    assert_eq!(checks(&fitted), [("P4", "horizontal")]);
    let off = fitted.record.expect("a record").checks[0].difference;
    assert!((off - f64::hypot(0.1, 0.1)).abs() < 0.02, "{off}");
}

/// A name whose row is left out is said to be, by everything that needs it.
#[test]
fn what_is_left_out_is_said_to_be() {
    let control = CONTROL.replace("5700015,,", "5700015,,no");
    let left = job(&control, &[MARKS]);
    says(
        &left,
        Code::UnknownReference,
        &["\"P3\"", "control.csv:4", "use = no"],
    );
    let runs = "id,diameter,use\nA,150 mm,no\n";
    let toml = toml();
    let toml = toml.split("[[run]]").next().expect("a job");
    let run = job_of(toml, CONTROL, &[MARKS], &[("runs.csv", runs)]);
    says(
        &run,
        Code::UnknownReference,
        &["run \"A\" is left out", "runs.csv:2"],
    );
    assert!(
        of(&run, Code::UnknownReference)
            .iter()
            .all(|f| f.level == Level::Warning)
    );
    // N is no.
    let idle = job(
        CONTROL,
        &[
            MARKS,
            "B,B1,1.0,,P1,7.214,P2,17.095,P3,10.821,,,50,1.50,1.52,,N\n",
        ],
    );
    assert!(
        of(&idle, Code::UnknownReference).is_empty(),
        "{:#?}",
        idle.findings
    );
}

/// The run that all join by default joins none.
#[test]
fn a_run_joins_not_itself() {
    let toml = toml().replace("[[run]]", "[run_default]\njoins = \"A\"\n[[run]]");
    let joined = job_of(&toml, CONTROL, &[MARKS], &[]);
    assert!(!joined.blocked(), "{:#?}", joined.findings);
}

/// Whoever reads depths at a check mark has located the transmitter again: two markings of it lie apart by more than the survey of one.
#[test]
fn a_mark_that_was_located_again_is_allowed_its_placing() {
    let bound = |depths: &str| {
        let row = format!("A,A1,,,,,,,,,500004.08,5700006.00,,{depths},,check\n");
        let outcome = job(CONTROL, &[MARKS, &row]);
        let checks = &outcome.record.as_ref().expect("a record").checks;
        let place = checks.iter().find(|check| check.what == "horizontal");
        place.expect("a place compared").bound
    };
    let (same, again) = (bound(","), bound("1.51,1.51"));
    // 2.4477 of the one-sigma of two markings: 0.05 m each, by default (`mark`), and a part of the depth.
    assert!(again > same + 0.05, "{same} {again}");
}
