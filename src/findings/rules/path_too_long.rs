//! `path-too-long`: marks farther apart than the cable between them allows.
//!
//! *Why*: a straight line is the shortest way, so a mark or the counter is wrong. *Limit*: 3.29 of the difference's one-sigma
//! ([`crate::sources::Source::Baarda1968`]). *Example*: 20.0 ft apart on 16.5 ft of cable.

use super::pipe::Pipe;
use super::{one_counter, other_way, path_scale};
use crate::findings::{Code, Finding};
use crate::run::{Gap, Traced};
use crate::units::{length_digits, round_to};

/// A gap whose straight distance and cable disagree, said of the mark downstream of it.
pub(super) fn about(
    pipe: &Pipe<'_>,
    code: Code,
    traced: &Traced,
    index: usize,
    gap: &Gap,
    what: &str,
) -> Option<Finding> {
    let (from, to) = (traced.marks.get(index)?, traced.marks.get(index + 1)?);
    let (difference, allowed) = figures(pipe, gap);
    let (from, name) = (
        pipe.inputs.mark_name(from.mark),
        pipe.inputs.mark_name(to.mark),
    );
    let message = format!(
        "{} and {} lie {} apart on {} of cable: a difference of {}, where {} is allowed. {what}{}{}",
        super::called(from),
        super::called(name),
        pipe.length(gap.straight),
        pipe.length(gap.cable),
        pipe.length(difference.abs()),
        pipe.length(allowed),
        by_height(pipe, gap),
        one_counter::find(pipe, traced)
            .filter(|one| one.gap == index)
            .map_or_else(String::new, |one| one.hint),
    );
    let points = pipe.inputs.observations.marks.get(to.mark)?;
    let (row, _) = points.centre.or(points.exposed)?;
    let row = pipe.inputs.job.marks.get(row)?;
    let finding = Finding::new(code, message)
        .at(&row.source)
        .run(pipe.run_name(traced.run))
        .mark(name)
        .column("counter");
    Some(pipe.figures(finding, difference, Some(allowed)))
}

/// Distance less cable as both are printed, so that the sentence's figures add up, and how much of that is allowed: what scatter
/// across the line adds to a distance on the average is allowed on one side and missing on the other.
fn figures(pipe: &Pipe<'_>, gap: &Gap) -> (f64, f64) {
    let (excess, sigma) = gap.excess();
    let bound = pipe.inputs.job.limits.alarm * sigma;
    let digits = i32::try_from(length_digits(pipe.unit)).unwrap_or(3);
    let step = pipe.unit.metres() / 10_f64.powi(digits);
    let difference = round_to(gap.straight, step) - round_to(gap.cable, step);
    let allowed = bound + gap.straight_bias.copysign(excess);
    (difference, allowed.max(0.0))
}

/// What to look at besides, where it is the heights that put the marks so far apart: in plan the cable would reach.
fn by_height(pipe: &Pipe<'_>, gap: &Gap) -> String {
    let (excess, sigma) = gap.excess();
    let bound = pipe.inputs.job.limits.alarm * sigma;
    let plan = (gap.straight.powi(2) - gap.rise.powi(2)).max(0.0).sqrt();
    if excess <= bound || excess - gap.straight + plan > bound {
        return String::new();
    }
    format!(
        " {} of the distance is height: look first at the ground heights of both (`ground`, the levels, `elevation`), then \
         at their depths.",
        pipe.length(gap.rise.abs())
    )
}

/// Every gap with cable of a run, with its index.
pub(super) fn gaps(traced: &Traced) -> impl Iterator<Item = (usize, &Gap)> {
    let gaps = traced.gaps.iter().enumerate();
    gaps.filter_map(|(index, gap)| Some((index, gap.as_ref()?)))
}

/// Run by run: what its cable's scale says of it, or what each gap does.
pub(super) fn by_run<'a>(
    pipe: &Pipe<'a>,
    code: Code,
    of_scale: impl Fn(f64) -> bool,
    of_gap: impl Fn(&'a Traced, usize, &'a Gap) -> Option<Finding>,
) -> Vec<Finding> {
    let mut found = Vec::new();
    for traced in pipe.traced {
        if let Some(finding) = other_way::find(pipe, traced) {
            found.extend((code == Code::PathTooLong).then_some(finding));
            continue;
        }
        match path_scale::scaled(pipe, traced) {
            Some(scale) if of_scale(scale.ratio) => found.push(scale.finding(pipe, code)),
            Some(_) => {}
            None => {
                let of_gaps = gaps(traced);
                found.extend(of_gaps.filter_map(|(index, gap)| of_gap(traced, index, gap)));
            }
        }
    }
    found
}

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let alarm = pipe.inputs.job.limits.alarm;
    let too_long = |traced, index, gap: &Gap| {
        let what = "A straight line is the shortest way: one of the two marks, or the counter at one, is wrong.";
        gap.is_too_long(alarm)
            .then(|| about(pipe, Code::PathTooLong, traced, index, gap, what))
            .flatten()
    };
    by_run(pipe, Code::PathTooLong, |ratio| ratio < 1.0, too_long)
}
