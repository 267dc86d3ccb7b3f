//! A uniform grade raises no alarm; a belly does.

use aslaid::findings::{Code, Level};
use aslaid::pipeline::Outcome;

use crate::simulation::run::{jobs, run_each};
use crate::simulation::scenario::{Belly, Scenario};

/// Whether a job has a warning of one of the codes. Fails where there is no record.
fn warned(outcome: &Result<Outcome, String>, codes: &[Code]) -> bool {
    let outcome = outcome.as_ref().expect("the job is computed");
    assert!(
        outcome.record.is_some() && !outcome.blocked(),
        "{:?}",
        outcome.findings.first()
    );
    outcome
        .findings
        .iter()
        .any(|finding| finding.level == Level::Warning && codes.contains(&finding.code))
}

#[test]
fn a_uniform_grade_raises_no_alarm_at_any_depth() {
    for (seed, depth) in (5..).zip([0.5, 1.0, 2.0, 3.0, 4.0, 5.0]) {
        let uniform = Scenario::default()
            .depth((depth, depth))
            .grade((0.005, 0.05))
            .marks((8, 12));
        let uniform = uniform.ground_follows(true);
        let scenarios = [uniform.clone(), uniform.upstream(true)];
        let codes = [Code::Sag, Code::AdverseGrade];
        let warnings = run_each(&scenarios, seed, jobs(400), |outcome, _| {
            warned(outcome, &codes)
        });
        let quiet = warnings.iter().filter(|warned| !**warned).count();
        println!(
            "{depth} m deep: {quiet} of {} jobs without a warning",
            warnings.len()
        );
        assert!(
            quiet as f64 >= 0.95 * warnings.len() as f64,
            "{depth} m: only {quiet} of {}",
            warnings.len()
        );
    }
}

#[test]
fn a_belly_is_found() {
    let straight = Scenario::default()
        .depth((1.0, 1.0))
        .grade((0.01, 0.01))
        .ground_follows(true);
    let straight = straight.marks((13, 13)).leg((1.0, 1.0));
    let bellied = straight.belly(Some(Belly {
        depth: 0.2,
        length: 4.0,
    }));
    let share = |scenario| {
        let found = run_each(&[scenario], 11, jobs(200), |outcome, _| {
            warned(outcome, &[Code::Sag])
        });
        found.iter().filter(|found| **found).count() as f64 / found.len() as f64
    };
    let (found, cried) = (100.0 * share(bellied), 100.0 * share(straight));
    println!(
        "a belly is found in {found:.1} % of jobs, and in {cried:.1} % of their straight twins"
    );
    assert!(found >= 75.0, "{found} %");
    assert!(cried <= 5.0, "{cried} %");
}
