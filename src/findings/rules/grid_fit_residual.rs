//! `grid-fit-residual`: a control point fits the site grid badly.
//!
//! *Why*: one point with a wrong coordinate turns the whole site. *Limit*: |w| > 3.29 of its coordinates' standardised
//! residual ([`crate::sources::Source::Baarda1968`]). With two points nothing checks the fit, which is said once as a note.
//! *Example*: a northing mistyped by 0.20 m among four points.

use std::collections::BTreeMap;

use super::survey::Survey;
use crate::findings::{Code, Finding, Level};
use crate::observe::{Kind, PointId};

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let Some(site) = &survey.adjusted.site else {
        return Vec::new();
    };
    let alarm = survey.job.limits.alarm;
    let observations = &survey.observed.observations;
    let mut worst: BTreeMap<PointId, (f64, usize)> = BTreeMap::new();
    for (i, (observation, residual)) in observations
        .plane
        .iter()
        .zip(&survey.adjusted.residuals)
        .enumerate()
    {
        let (Kind::East { at, .. }
        | Kind::North { at, .. }
        | Kind::SiteX { at }
        | Kind::SiteY { at }) = observation.kind
        else {
            continue;
        };
        let both = site.residuals.iter().any(|(point, ..)| *point == at);
        if let Some(w) = residual
            .standardised
            .map(f64::abs)
            .filter(|w| both && *w > alarm)
        {
            let entry = worst.entry(at).or_insert((w, i));
            if w > entry.0 {
                *entry = (w, i);
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
