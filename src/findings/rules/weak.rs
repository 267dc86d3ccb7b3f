//! `weak`: an error ellipse larger than the limit, or a place that hangs on two measurements that only touch.
//!
//! *Why*: tapes that cross at a flat angle, a poor fix. *Limit*: `semi_major`, 0.5 m
//! ([`crate::sources::Source::OurChoice`]: about the half-width of a hand-dug hole). *Example*: a mark on the line between its
//! two references: its tapes say how far along, hardly how far beside it.

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::observe::PointRole;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    let limit = survey.job.limits.semi_major;
    for touch in &survey.adjusted.touches {
        let how = if touch.gap > 0.0 {
            format!("miss each other by {}", survey.rough(touch.gap))
        } else {
            "only just meet".to_owned()
        };
        let message = format!(
            "{}: its two measurements {how}. They are taken as touching, so it is known to ± {} along the touch (95 %). \
             Add a measurement across it.",
            survey.called(touch.at),
            survey.rough(crate::math::stats::NORMAL_95 * touch.sigma)
        );
        let finding =
            Finding::new(Code::Weak, message).figures(survey.unit.of(touch.gap.abs()), None);
        let point = survey.observed.observations.points.get(touch.at.0 as usize);
        let row = point.and_then(|point| match point.role {
            PointRole::Mark(row) => survey.job.marks.get(row),
            _ => None,
        });
        let finding = survey.about(finding, touch.at);
        findings.push(match row {
            Some(row) => finding.at(&row.source),
            None => finding,
        });
    }
    for (i, mark) in survey.observed.observations.marks.iter().enumerate() {
        let Some(size) = (survey.semi_major)(i).filter(|size| *size > limit) else {
            continue;
        };
        let message = format!(
            "The 95 % ellipse of {} reaches {}, over the limit of {}. A measurement across its long axis would help most.",
            mark.name,
            survey.rough(size),
            survey.rough(limit)
        );
        let finding = Finding::new(Code::Weak, message)
            .mark(&*mark.name)
            .figures(survey.unit.of(size), Some(survey.unit.of(limit)));
        let row = mark
            .centre
            .or(mark.exposed)
            .and_then(|(row, _)| survey.job.marks.get(row));
        let finding = match row {
            Some(row) => finding.at(&row.source),
            None => finding,
        };
        findings.push(survey.in_run(finding, Some(mark.run)));
    }
    findings
}
