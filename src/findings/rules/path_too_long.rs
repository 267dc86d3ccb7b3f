//! `path-too-long`: marks farther apart than the cable between them allows.
//!
//! *Why*: a straight line is the shortest way, so a mark or the counter is wrong. *Limit*: 3.29 of the difference's one-sigma
//! ([`crate::sources::Source::Baarda1968`]). *Example*: 20.0 ft apart on 16.5 ft of cable.

use super::path_scale;
use super::pipe::Pipe;
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
        "{} and {} lie {} apart on {} of cable: a difference of {}, where {} is allowed. {what}{}",
        super::called(from),
        super::called(name),
        pipe.length(gap.straight),
        pipe.length(gap.cable),
        pipe.length(difference.abs()),
        pipe.length(allowed),
        by_height(pipe, gap),
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

/// Every gap with cable, with its run and index.
pub(super) fn gaps<'a>(
    pipe: &Pipe<'a>,
) -> impl Iterator<Item = (&'a Traced, usize, &'a Gap)> + use<'a> {
    pipe.traced.iter().flat_map(|traced| {
        let gaps = traced.gaps.iter().enumerate();
        gaps.filter_map(move |(index, gap)| Some((traced, index, gap.as_ref()?)))
    })
}

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let alarm = pipe.inputs.job.limits.alarm;
    let scaled = path_scale::scaled(pipe);
    let of_runs = scaled.values().filter(|scale| scale.ratio < 1.0);
    let of_runs = of_runs.map(|scale| scale.finding(pipe, Code::PathTooLong));
    let of_gaps = gaps(pipe)
        .filter(|(traced, _, gap)| {
            let (excess, sigma) = gap.excess();
            excess > alarm * sigma && !scaled.contains_key(&traced.run)
        })
        .filter_map(|(traced, index, gap)| {
            let what = "A straight line is the shortest way: one of the two marks, or the counter at one, is wrong.";
            about(pipe, Code::PathTooLong, traced, index, gap, what)
        });
    of_runs.chain(of_gaps).collect()
}
