//! `blunder`: a measurement that does not fit the others.
//!
//! *Why*: a misread tape moves the mark and spoils its bounds. The largest standardised residual is named, left out, and
//! the rest looked at again. It stays in the stated result: whether it is wrong is the user's to say.
//! *Limit*: |w| > 3.29, α = 0.001 ([`crate::sources::Source::Baarda1968`]).
//! *Example*: a tie of 12.40 where the three others say 13.41.

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::observe::Observation;
use crate::position::Suspect;

/// Equally suspect measurements that are named in full; more would not be read.
const NAMED: usize = 4;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let plane = survey
        .adjusted
        .suspects
        .iter()
        .filter_map(|suspect| in_plane(survey, suspect));
    let heights = survey
        .heights
        .suspects
        .iter()
        .filter_map(|&i| in_height(survey, i));
    plane.chain(heights).collect()
}

/// What a measurement reads and what the others say it should, as the field book has it.
fn figures(survey: &Survey<'_>, observation: &Observation, predicted: f64) -> (String, String) {
    let off = observation.value - predicted;
    let ratio = if observation.value.abs() > 0.0 {
        observation.measured / observation.value
    } else {
        1.0
    };
    if observation.kind.is_angular() {
        let turn = crate::observe::kinds::around(off).to_degrees();
        (
            format!("{:.3}°", observation.measured.to_degrees()),
            format!("{:.3}°", (observation.measured.to_degrees() - turn)),
        )
    } else if matches!(
        observation.column,
        "easting" | "northing" | "longitude" | "latitude" | "from_time"
    ) {
        let unit = survey.crs.unit_metres();
        (
            format!("{:.3}", observation.value / unit),
            format!("{:.3}", predicted / unit),
        )
    } else {
        (
            survey.length(observation.measured),
            survey.length(predicted * ratio),
        )
    }
}

fn in_plane(survey: &Survey<'_>, suspect: &Suspect) -> Option<Finding> {
    let observations = &survey.observed.observations;
    let observation = observations.plane.get(suspect.observation)?;
    let (reads, others) = figures(survey, observation, suspect.predicted);
    let alarm = survey.job.limits.alarm;
    let mut message = format!(
        "The {} reads {reads}; the other measurements say {others}. Its standardised residual is {:.1}, over the limit \
         of {alarm:.2}.",
        survey.describe(observation),
        suspect.standardised.abs()
    );
    if suspect.equals.is_empty() {
        message.push_str(
            " It is still used: measure it again, mend it, or leave it out with `use = no`.",
        );
    } else {
        let names: Vec<String> = suspect
            .equals
            .iter()
            .take(NAMED)
            .filter_map(|&i| observations.plane.get(i))
            .map(|other| survey.describe(other))
            .collect();
        message.push_str(" But the measurements can't tell which is wrong; it can as well be the ");
        message.push_str(&names.join(", the "));
        message.push_str(". One more measurement would.");
    }
    let finding = Finding::new(Code::Blunder, message)
        .at(&observation.source)
        .column(observation.column)
        .figures(suspect.standardised.abs(), Some(alarm));
    Some(match survey.point_of(observation) {
        Some(point) => survey.about(finding, point),
        None => finding,
    })
}

fn in_height(survey: &Survey<'_>, i: usize) -> Option<Finding> {
    let row = survey.heights.residuals.get(i)?;
    let w = row.standardised?.abs();
    let names: Vec<&str> = row.points.iter().map(|name| &**name).collect();
    let alarm = survey.job.limits.alarm;
    let message = format!(
        "The {} of {} reads {}; the other heights say {}. Its standardised residual is {w:.1}, over the limit of \
         {alarm:.2}. It is still used: measure it again, mend it, or leave it out.",
        row.what.replace('_', " "),
        names.join(" to "),
        survey.length(row.value),
        survey.length(row.value + row.residual / row.redundancy),
    );
    let mut finding = Finding::new(Code::Blunder, message)
        .at(&row.source)
        .figures(w, Some(alarm));
    if let Some(name) = names.last() {
        finding = finding.mark(*name);
    }
    Some(finding)
}
