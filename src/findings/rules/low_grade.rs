//! `low-grade`: below the minimum grade that the job gives.
//!
//! *Why*: a drain too flat does not clean itself; what is too flat is for local code to say, so that only a figure given, or a
//! table named, is checked ([`crate::sources::Source::Ipc704`]). *Limit*: a warning where the grade's upper bound (1.96 of
//! its one-sigma) lies under it; a note where the bare figure does, or where none was given. Legs only where a uniform
//! grade is rejected. Not what `adverse-grade` says to rise. *Example*: 0.6 ± 0.3 % against 1.04 %.

use super::adverse_grade;
use super::pipe::{Pipe, percent, slope};
use crate::findings::{Code, Finding, Level};
use crate::math::stats::NORMAL_95;
use crate::profile::{Figure, Leg, Profile, minimum};
use crate::run::Traced;
use crate::units::just;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    pipe.graded()
        .flat_map(|(traced, profile)| of_run(pipe, traced, profile))
        .collect()
}

fn of_run(pipe: &Pipe<'_>, traced: &Traced, profile: &Profile) -> Vec<Finding> {
    let Some(line) = &profile.line else {
        return Vec::new();
    };
    let least = pipe
        .inputs
        .job
        .runs
        .get(traced.run)
        .and_then(minimum::least_grade);
    let grade = Figure {
        value: line.grade,
        sigma: line.sigma,
    };
    let whole = format!("Run {}", pipe.run_name(traced.run));
    let Some(least) = least else {
        // That it rises is said.
        if adverse_grade::rises(pipe, line) {
            return Vec::new();
        }
        let message = format!(
            "{whole} {} ± {}; no minimum grade is given, so none was checked. Give `min_grade` (a figure, or \"IPC \
             704.1\" with the diameter) to have it checked; local code governs.",
            slope(grade.value),
            percent(NORMAL_95 * grade.sigma),
        );
        let finding = pipe.of_run(Code::LowGrade, traced, message);
        return vec![
            finding
                .level(Level::Note)
                .figures(100.0 * grade.value, None),
        ];
    };
    // What is told to rise need not be told to fall too little.
    let mut found: Vec<Finding> = (!adverse_grade::rises(pipe, line))
        .then(|| held(pipe, traced, &whole, grade, least, true))
        .flatten()
        .into_iter()
        .collect();
    if profile.uniform() == Some(false) {
        let legs = profile.legs.iter();
        let told = |leg: &&Leg| !adverse_grade::told(profile, leg.from, leg.to);
        found.extend(legs.filter(told).filter_map(|leg| {
            let (from, to) = (
                pipe.vertex_name(traced, leg.from),
                pipe.vertex_name(traced, leg.to),
            );
            let what = format!("{whole} from {from} to {to}");
            Some(held(pipe, traced, &what, leg.grade, least, false)?.mark(from))
        }));
    }
    found
}

/// A grade held against the least; the bare figure alone counts only if `bare`.
fn held(
    pipe: &Pipe<'_>,
    traced: &Traced,
    what: &str,
    grade: Figure,
    least: f64,
    bare: bool,
) -> Option<Finding> {
    let bound = NORMAL_95 * grade.sigma;
    let sure = grade.value + bound < least;
    if !(sure || bare && grade.value < least) {
        return None;
    }
    let (level, verdict, way_out) = if sure {
        let way_out = "What is to be done about it, local code says.";
        (Level::Warning, "certainly", way_out)
    } else {
        let way_out = "That is no proof; what would help most to settle it stands in the advice. Local code governs.";
        (Level::Note, "by the bare figure", way_out)
    };
    let least_text = percent(least);
    let message = format!(
        "{what} {} ± {}, {verdict} {}under the minimum of {least_text}. {way_out}",
        slope(grade.value),
        percent(bound),
        just(&percent(grade.value), &least_text),
    );
    let finding = pipe.of_run(Code::LowGrade, traced, message).level(level);
    Some(finding.figures(100.0 * grade.value, Some(100.0 * least)))
}
