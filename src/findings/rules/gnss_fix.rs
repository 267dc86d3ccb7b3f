//! `gnss-fix`: a GNSS position of poor quality.
//!
//! *Why*: a `single` fix is metres off, and a float one may be; a shift between datums that nothing models moves all
//! positions together; a correction network works in no datum of old. *Limit*: `gnss_sigma`, 0.1 m ([`crate::sources::Source::OurChoice`]: half a trench's width at
//! 95 %); `log_epochs` for a receiver log's window. *Example*: fix `float`, 0.25 m.

use super::survey::Survey;
use crate::crs::shift_sigma;
use crate::findings::{Code, Finding, Level};
use crate::job::model::{Fix, Source};
use crate::observe::window::Missed;
use crate::observe::{PointRole, Problem, Subject};
use crate::units::{counted, date_text};

fn word(fix: Option<Fix>) -> &'static str {
    match fix {
        Some(Fix::Rtk) => "fix rtk",
        Some(Fix::Float) => "fix float",
        Some(Fix::Dgnss) => "fix dgnss",
        Some(Fix::Single) => "fix single",
        None => "no fix given",
    }
}

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    survey
        .observed
        .problems
        .iter()
        .filter_map(|problem| one(survey, problem))
        .chain(out_of_the_grid(survey))
        .collect()
}

/// The places of the map, where no better operation leads from the grid to WGS 84 than one that leaves out the datums' difference.
fn out_of_the_grid(survey: &Survey<'_>) -> Option<Finding> {
    let by = survey.observed.frame.to_wgs84.as_ref();
    let sigma = shift_sigma(by.filter(|by| by.ballpark)?);
    let message = format!(
        "Only a ballpark operation from {} to WGS 84 is to be had: it leaves out the difference of the datums. Everything in \
         asbuilt.geojson and asbuilt.kml shares a shift with a one-sigma of {}, which no ellipse holds. Take grid coordinates from \
         the other files.",
        survey.crs.name(),
        survey.rough(sigma)
    );
    let limit = survey.job.limits.gnss_sigma;
    let (sigma, limit) = (survey.unit.of(sigma), survey.unit.of(limit));
    Some(Finding::new(Code::GnssFix, message).figures(sigma, Some(limit)))
}

fn one(survey: &Survey<'_>, problem: &Problem) -> Option<Finding> {
    let limit = survey.job.limits.gnss_sigma;
    match problem {
        Problem::PoorFix {
            subject,
            fix,
            sigma,
        } => {
            let over = *sigma > limit;
            let stated = survey.rough(*sigma);
            let why = if over {
                format!(
                    "one-sigma {stated}, over the limit of {}",
                    survey.rough(limit)
                )
            } else {
                format!(
                    "a kind that is metres off whatever one-sigma is given with it ({stated} here)"
                )
            };
            let message = format!(
                "{}: GNSS position with {}, {why}. Occupy the point again with a better fix, or tie it by tape.",
                subject.name,
                word(*fix),
            );
            let limit = over.then(|| survey.unit.of(limit));
            let finding = Finding::new(Code::GnssFix, message)
                .figures(survey.unit.of(*sigma), limit)
                .column("fix");
            Some(survey.subject(finding, subject))
        }
        Problem::Window {
            subject,
            epochs,
            missed,
        } => Some(too_few(survey, subject, *epochs, missed.as_ref())),
        Problem::Carried {
            subject,
            furthest,
            sigma,
        } => Some(carried(survey, subject, *furthest, *sigma)),
        Problem::Ballpark {
            from,
            positions,
            sigma,
        } => {
            let message = format!(
                "Only a ballpark operation from {from} to {} is to be had: it leaves out the difference of the datums, \
                 a shift with a one-sigma of {}. It concerns {}: give coordinates in the coordinate system's own datum.",
                survey.crs.name(),
                survey.rough(*sigma),
                counted(*positions, "position"),
            );
            Some(
                Finding::new(Code::GnssFix, message)
                    .figures(survey.unit.of(*sigma), Some(survey.unit.of(limit))),
            )
        }
        Problem::OldDatum {
            subject,
            positions,
            off,
        } => Some(of_old(survey, subject, (*positions, *off))),
        Problem::NoLog { subjects } => no_log(survey, subjects),
        _ => None,
    }
}

/// Positions through a correction network in a grid of an old datum.
fn of_old(survey: &Survey<'_>, subject: &Subject, (positions, off): (usize, f64)) -> Finding {
    let far = if off.is_finite() {
        format!("lies {} from WGS 84 here", survey.rough(off))
    } else {
        "is of the time before satellites and lies nobody says how far from WGS 84".to_owned()
    };
    let message = format!(
        "{} through a correction network {} no `datum`. That of {} {far}, and no network works in it: WGS 84 is taken. \
         Name the one that the network works in (as ETRS89 or NAD83(2011)), which may be known better.",
        counted(positions, "position"),
        if positions == 1 { "names" } else { "name" },
        survey.crs.name(),
    );
    let finding = Finding::new(Code::GnssFix, message).column("datum");
    let finding = finding.figures(survey.unit.of(off), None);
    survey.subject(finding, subject)
}

/// A window of a receiver log with too few epochs.
fn too_few(
    survey: &Survey<'_>,
    subject: &Subject,
    epochs: usize,
    missed: Option<&Missed>,
) -> Finding {
    let least = survey.job.limits.log_epochs;
    let message = format!(
        "{}: the receiver log has {epochs} usable epochs between from_time and to_time; at least {least:.0} are \
         wanted.{} Check both times, or give the position.",
        subject.name,
        missed.map_or_else(String::new, beside),
    );
    let finding = Finding::new(Code::GnssFix, message)
        .figures(epochs as f64, Some(least))
        .column("from_time");
    survey.subject(finding, subject)
}

/// A window in which the receiver was carried from one place to another.
fn carried(survey: &Survey<'_>, subject: &Subject, furthest: f64, sigma: f64) -> Finding {
    let message = format!(
        "{}: between from_time and to_time the receiver was carried: its positions lie up to {} from their mean, which is taken with a \
         one-sigma of {}. Narrow both times to those at which it stood over the mark (they are UTC).",
        subject.name,
        survey.rough(furthest),
        survey.rough(sigma),
    );
    let limit = survey.unit.of(survey.job.limits.gnss_sigma);
    let finding = Finding::new(Code::GnssFix, message)
        .figures(survey.unit.of(sigma), Some(limit))
        .column("from_time");
    survey.subject(finding, subject)
}

/// What lies beside a window without epochs.
fn beside(missed: &Missed) -> String {
    let time = |seconds: f64| {
        let (day, second) = (seconds.div_euclid(86_400.0), seconds.rem_euclid(86_400.0));
        let (hour, minute) = (second / 3600.0, second % 3600.0 / 60.0);
        let day = date_text(day as i64);
        format!(
            "{day} {:02}:{:02}:{:02}",
            hour as u32,
            minute as u32,
            (second % 60.0) as u32
        )
    };
    let [first, last] = [missed.log.0, missed.log.1].map(time);
    let hours = missed.hours.map_or_else(String::new, |hours| {
        let way = if hours > 0.0 { "later" } else { "earlier" };
        format!(
            " {} hours {way} it has enough: were they read off a clock that shows local time?",
            hours.abs()
        )
    });
    format!(" The log goes from {first} to {last} UTC, and the times are UTC.{hours}")
}

/// Times of a log that the job has not: said once, and an error where a mark has no place without it.
fn no_log(survey: &Survey<'_>, subjects: &[Subject]) -> Option<Finding> {
    let (first, further) = subjects.split_first()?;
    let others = match further.len() {
        0 => String::new(),
        1 => " and 1 more mark".to_owned(),
        more => format!(" and {more} more marks"),
    };
    let message = format!(
        "{}{others}: from_time and to_time are given, and there is no receiver log in the job. Put the .nmea file beside \
         job.toml (beside a workbook with the workbook's name), or give the position itself.",
        first.name
    );
    let finding = Finding::new(Code::GnssFix, message).column("from_time");
    let placeless = |source: &Source| {
        let points = &survey.observed.observations.points;
        let mut open = survey.adjusted.undetermined.iter();
        open.any(
            |open| match points.get(open.point.0 as usize).map(|point| point.role) {
                Some(PointRole::Mark(row)) => survey
                    .job
                    .marks
                    .get(row)
                    .is_some_and(|row| row.source == *source),
                _ => false,
            },
        )
    };
    let lost = subjects.iter().any(|subject| placeless(&subject.source));
    let level = if lost { Level::Error } else { Level::Warning };
    Some(survey.subject(finding.level(level), first))
}
