//! `unchecked`: a mark's position has no redundancy.
//!
//! *Why*: a misread tape would go unseen. *Limit*: the redundancy numbers of its own measurements sum up to less than
//! 0.01 ([`crate::sources::Source::OurChoice`]: above nothing but what a shared shift or datum gives back).
//! *Example*: two tapes and nothing else.

use super::called;
use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::observe::{MarkPoints, PointId};

const LEAST: f64 = 0.01;

/// Sum of the redundancy numbers of each point's own measurements.
fn redundancy(survey: &Survey<'_>) -> Vec<f64> {
    let observations = &survey.observed.observations;
    let mut sums = vec![0.0; observations.points.len()];
    for (observation, residual) in observations.plane.iter().zip(&survey.adjusted.residuals) {
        for point in observation.kind.points().into_iter().flatten() {
            if let Some(sum) = sums.get_mut(point.0 as usize) {
                *sum += residual.redundancy;
            }
        }
    }
    sums
}

/// Whether the pipe was seen and measured where it was located too: the two places check each other (`exposure`).
fn compared(survey: &Survey<'_>, mark: &MarkPoints) -> bool {
    let (Some((_, located)), Some((_, seen))) = (mark.centre, mark.exposed) else {
        return false;
    };
    let placed = |point| survey.adjusted.coordinates(point).is_some();
    located != seen && placed(located) && placed(seen)
}

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let sums = redundancy(survey);
    let free = |point: PointId| {
        let sum = sums.get(point.0 as usize).copied().unwrap_or(1.0);
        sum < LEAST && survey.adjusted.coordinates(point).is_some()
    };
    let marks = survey.observed.observations.marks.iter();
    marks
        .filter_map(|mark| {
            let (row, point) = mark.centre.or(mark.exposed)?;
            if compared(survey, mark) {
                return None;
            }
            let source = &survey.job.marks.get(row)?.source;
            let message = format!(
                "Nothing checks the position of {}: a misread figure would go unseen. One more tape, or any other \
                 measurement, would check it.",
                called(&mark.name)
            );
            let finding = Finding::new(Code::Unchecked, message).at(source).mark(&*mark.name);
            free(point).then(|| survey.in_run(finding, Some(mark.run)))
        })
        .collect()
}
