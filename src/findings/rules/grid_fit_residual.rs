//! `grid-fit-residual`: a control point fits the site grid badly.
//!
//! *Why*: one point with a wrong coordinate turns the whole site. Named one at a time, as blunders are: a wrong point spoils its
//! neighbours' residuals too. *Limit*: |w| > 3.29 of its coordinates' standardised
//! residual ([`crate::sources::Source::Baarda1968`]). With two points nothing checks the fit, which is said once as a note.
//! *Example*: a northing mistyped by 0.20 m among four points.

use std::collections::BTreeMap;
use std::iter;

use super::survey::Survey;
use crate::findings::{Code, Finding, Level};
use crate::observe::PointId;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let Some(site) = &survey.adjusted.site else {
        return Vec::new();
    };
    let alarm = survey.job.limits.alarm;
    let observations = &survey.observed.observations;
    let both = |at: PointId| site.residuals.iter().any(|(point, ..)| *point == at);
    let mut worst: BTreeMap<PointId, (f64, usize)> = BTreeMap::new();
    for suspect in &survey.adjusted.suspects {
        let w = suspect.standardised.abs();
        for i in iter::once(suspect.observation).chain(suspect.equals.iter().copied()) {
            let point = observations
                .plane
                .get(i)
                .and_then(|o| o.kind.coordinate_of());
            if let Some(point) = point.filter(|point| both(*point)) {
                let entry = worst.entry(point).or_insert((w, i));
                if w > entry.0 {
                    *entry = (w, i);
                }
            }
        }
    }
    let mut findings: Vec<Finding> = worst
        .into_iter()
        .filter_map(|(point, (w, i))| {
            let (_, e, n) = site.residuals.iter().find(|(other, ..)| *other == point)?;
            let message = format!(
                "{} fits the site grid badly: the other points put it {} away from its coordinates (standardised \
                 residual {w:.1}, limit {alarm:.2}). Check its coordinates in both systems.",
                survey.name(point),
                survey.length(e.hypot(*n))
            );
            let finding = Finding::new(Code::GridFitResidual, message)
                .at(&observations.plane.get(i)?.source)
                .figures(w, Some(alarm));
            Some(survey.about(finding, point))
        })
        .collect();
    if site.residuals.len() == 2 {
        let message = "The site grid hangs on two points: nothing checks how it lies. A third point known in both systems would.";
        findings.push(
            Finding::new(Code::GridFitResidual, message)
                .level(Level::Note)
                .figures(2.0, Some(3.0)),
        );
    }
    findings
}
