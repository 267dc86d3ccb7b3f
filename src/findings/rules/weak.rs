//! `weak`: an error ellipse larger than the limit, a place that hangs on measurements that only touch or run side by side, or one by a compass
//! whose declination is not known.
//!
//! *Why*: tapes that cross at a flat angle, a poor fix; a compass turns all that hangs on it by the declination, and no ellipse
//! holds that. *Limit*: `semi_major`, 0.5 m
//! ([`crate::sources::Source::OurChoice`]: about the half-width of a hand-dug hole). *Example*: a mark on the line between its
//! two references: its tapes say how far along, hardly how far beside it.

use std::cell::OnceCell;
use std::collections::BTreeMap;

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::job::model::MarkRow;
use crate::math::block;
use crate::math::stats::{ELLIPSE_95, NORMAL_95};
use crate::observe::{Kind, MarkPoints, PointId, PointRole, Problem, ShiftId};
use crate::position::{Places, Touch};
use crate::units::{fixed, just};

/// An ellipse whose paint's own reaches less than this share of it is not the measurements' (half of its square).
const MEASURED: f64 = std::f64::consts::FRAC_1_SQRT_2;
/// A bound beyond this, metres, is no figure that anyone could use (our choice: longer than a lateral).
const USELESS: f64 = 100.0;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    let limit = survey.job.limits.semi_major;
    let shifts = OnceCell::new();
    findings.extend(survey.adjusted.touches.iter().map(|t| touching(survey, t)));
    let problems = survey.observed.problems.iter();
    findings.extend(problems.filter_map(|problem| by_compass(survey, problem)));
    for (i, mark) in survey.observed.observations.marks.iter().enumerate() {
        let Some(size) = (survey.semi_major)(i).filter(|size| *size > limit) else {
            continue;
        };
        let row = mark
            .centre
            .or(mark.exposed)
            .and_then(|(row, _)| survey.job.marks.get(row));
        let shared = shifts.get_or_init(|| shared_shifts(survey));
        let (reach, over) = (survey.rough(size), survey.rough(limit));
        let message = format!(
            "The 95 % ellipse of {} reaches {reach}, {}over the limit of {over}. {}",
            mark.name,
            just(&reach, &over),
            help(survey, row, mark, size, shared),
        );
        let finding = Finding::new(Code::Weak, message)
            .mark(&*mark.name)
            .figures(survey.unit.of(size), Some(survey.unit.of(limit)));
        let finding = match row {
            Some(row) => finding.at(&row.source),
            None => finding,
        };
        findings.push(survey.in_run(finding, Some(mark.run)));
    }
    findings
}

/// A place that measurements hold along one line only.
fn touching(survey: &Survey<'_>, touch: &Touch) -> Finding {
    let (how, across) = if touch.values > 2 {
        let how = format!(
            "its {} measurements come from points nearly in line with it, and say where it lies along that line, hardly where across it",
            touch.values
        );
        (how, "across the line")
    } else {
        let how = if touch.gap > 0.0 {
            format!("miss each other by {}", survey.rough(touch.gap))
        } else {
            "only just meet".to_owned()
        };
        let how = format!("its two measurements {how}. They are taken as touching");
        (how, "along the touch")
    };
    let bound = NORMAL_95 * touch.sigma;
    let known = if bound > USELESS {
        format!(
            "its place {across} is not usefully known (to no better than {})",
            survey.rough(USELESS)
        )
    } else {
        format!("it is known to ± {} {across} (95 %)", survey.rough(bound))
    };
    let message = format!(
        "{}: {how}, so {known}. Add a measurement across it.",
        survey.called(touch.at),
    );
    let finding = Finding::new(Code::Weak, message).figures(survey.unit.of(touch.gap.abs()), None);
    let point = survey.observed.observations.points.get(touch.at.0 as usize);
    let row = point.and_then(|point| match point.role {
        PointRole::Mark(row) => survey.job.marks.get(row),
        _ => None,
    });
    let finding = survey.about(finding, touch.at);
    match row {
        Some(row) => finding.at(&row.source),
        None => finding,
    }
}

/// The shift that the position of each point shares.
fn shared_shifts(survey: &Survey<'_>) -> BTreeMap<PointId, ShiftId> {
    let rows = survey.observed.observations.plane.iter();
    let shift = rows.filter_map(|row| match row.kind {
        Kind::East { at, shift } => Some((at, shift?)),
        _ => None,
    });
    shift.collect()
}

/// What would make a mark's ellipse smaller.
fn help(
    survey: &Survey<'_>,
    row: Option<&MarkRow>,
    mark: &MarkPoints,
    size: f64,
    shifts: &BTreeMap<PointId, ShiftId>,
) -> String {
    let along = "A tape along its long axis would help most.";
    let observations = &survey.observed.observations;
    let point = mark.centre.or(mark.exposed).map(|(_, point)| point);
    let place = point.and_then(|point| survey.adjusted.place(point));
    let measured = place.map_or(0.0, |place| ELLIPSE_95 * block::axes(place.covariance).0);
    if measured < MEASURED * size {
        return "Most of it is how the transmitter may lie at that depth and how well the mark was set, which no measurement of the mark makes \
                less. A known `tilt`, signals at both end points (`signal_is_linear`) or the pipe exposed would."
            .to_owned();
    }
    let gnss = row.is_some_and(|row| {
        let placing = &row.placing;
        (placing.gnss.is_some() || placing.window.is_some())
            && placing.ties.is_empty()
            && placing.baseline.is_none()
            && placing.polar.is_none()
    });
    if !gnss {
        return along.to_owned();
    }
    let shift = point.and_then(|point| {
        let shift = usize::from(shifts.get(&point)?.0);
        Some((
            observations.shift_names.get(shift)?,
            *observations.shifts.get(shift)?,
        ))
    });
    match shift.filter(|(_, sigma)| 2.0 * ELLIPSE_95 * sigma > size) {
        Some((name, sigma)) => format!(
            "Most of it is the step from {name} into {}, whose one-sigma of {} all such positions share: a `fix` that says that they came \
             through a correction service, `datum`, or tapes from known points would help.",
            survey.crs.name(),
            survey.rough(sigma),
        ),
        None => "A better GNSS solution, or measurements from known points, would help.".to_owned(),
    }
}

/// Compass bearings without a declination, or with one that the magnetic model contradicts.
fn by_compass(survey: &Survey<'_>, problem: &Problem) -> Option<Finding> {
    if let Problem::Declination {
        subject,
        column,
        given,
        model,
    } = problem
    {
        let degrees = |radians: f64| format!("{}°", fixed(radians.to_degrees(), 1));
        let sign = if (given + model).abs() < 0.5 * (given - model).abs() {
            " Is its sign wrong? East is positive."
        } else {
            ""
        };
        let message = format!(
            "`declination` in [grid] is {}, and the World Magnetic Model has {} here on that day: every mark by compass is turned by the \
             difference, which no bound holds.{sign} Left out, the model's is taken.",
            degrees(*given),
            degrees(*model),
        );
        let finding = Finding::new(Code::Weak, message).column(*column);
        let finding = finding.figures(given.to_degrees(), Some(model.to_degrees()));
        return Some(survey.subject(finding, subject));
    }
    let Problem::NoDeclination {
        subject,
        column,
        bearings,
        why,
    } = problem
    else {
        return None;
    };
    let north = if survey.crs.is_local() {
        "grid"
    } else {
        "true"
    };
    let first = if *bearings > 1 {
        format!(" (the first of {bearings})")
    } else {
        String::new()
    };
    let message = format!(
        "The compass bearing of {}{first} is taken as one from {north} north: the declination is not known, because {why}. It is up \
         to 20° over most inhabited land and more near the poles; every degree moves a mark by 1.7 % of the distance, which \
         is not in any bound. If the bearing was not taken by compass, say so in `bearing_from`.",
        super::called(&subject.name),
    );
    let finding = Finding::new(Code::Weak, message).column(*column);
    Some(survey.subject(finding, subject))
}
