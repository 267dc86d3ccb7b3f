//! `counter-order` of a run without a counter: in the order of its rows it doubles back.
//!
//! *Why*: without a counter the rows are all that says in what order the marks lie, and a field book is not always written in that order; the
//! length would be of a line that no pipe has. *Limit*: a turn of more than [`SHARPEST`] between two legs, both longer than 3.29 of the one-sigma of
//! the step back ([`crate::sources::Source::Baarda1968`]); no fitting turns by more than 90°, so this is our choice. *Example*: A1, A4, A3, A2, A5 on
//! a straight pipe.

use super::called;
use super::pipe::Pipe;
use crate::findings::{Code, Finding};
use crate::math::block;
use crate::run::{Located, Traced};
use crate::units::listed;

/// Cosine of a turn by 120°.
const SHARPEST: f64 = -0.5;
/// Names that a sentence gives.
const NAMED: usize = 12;
/// Another order is worth a word where it makes the run shorter than this share.
const SHORTER: f64 = 0.9;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let by_rows = |traced: &&Traced| traced.marks.iter().all(|mark| mark.path.is_none());
    let runs = pipe.traced.iter().filter(by_rows);
    runs.filter_map(|traced| of_run(pipe, traced)).collect()
}

fn of_run(pipe: &Pipe<'_>, traced: &Traced) -> Option<Finding> {
    let turns = 1..traced.marks.len().saturating_sub(1);
    let back: Vec<&Located> = turns
        .filter(|at| doubles_back(pipe, traced, *at))
        .filter_map(|at| traced.marks.get(at))
        .collect();
    let first = *back.first()?;
    let name = |mark: &&Located| pipe.inputs.mark_name(mark.mark);
    let names: Vec<_> = back.iter().map(|mark| called(name(mark))).collect();
    let run = pipe.run_name(traced.run);
    let message = format!(
        "Run {run} doubles back at {}, which no pipe does. Without a counter its marks are taken in the order of their rows: put the rows in \
         the order in which the marks lie along the pipe, or give the counter.{}",
        listed(&names, NAMED),
        in_line(pipe, traced).unwrap_or_default(),
    );
    let finding = Finding::new(Code::CounterOrder, message)
        .run(run)
        .mark(name(&first));
    Some(pipe.at_row(finding, first))
}

/// Whether the line turns back at a mark beyond what chance does to marks close together.
fn doubles_back(pipe: &Pipe<'_>, traced: &Traced, at: usize) -> bool {
    let [Some(before), Some(here), Some(after)] =
        [at - 1, at, at + 1].map(|at| traced.marks.get(at))
    else {
        return false;
    };
    let (come, go) = (step(before, here), step(here, after));
    let (came, goes) = (come[0].hypot(come[1]), go[0].hypot(go[1]));
    let along = (come[0] * go[0] + come[1] * go[1]) / (came * goes);
    // Not a number where two marks lie on one spot.
    if along.is_nan() || along > SHARPEST {
        return false;
    }
    let sure = |one: &Located, other: &Located, [e, n]: [f64; 2], length: f64| {
        let apart = block::add(one.covariance(), other.covariance());
        let sigma = block::along(apart, [e / length, n / length]).sqrt();
        -along * length > pipe.inputs.job.limits.alarm * sigma
    };
    sure(before, here, come, came) && sure(here, after, go, goes)
}

fn step(from: &Located, to: &Located) -> [f64; 2] {
    [to.e - from.e, to.n - from.n]
}

/// How long the run would be in the order in which its marks lie along the line from end to end.
fn in_line(pipe: &Pipe<'_>, traced: &Traced) -> Option<String> {
    let far = |a: &Located, b: &Located| {
        let [e, n] = step(a, b);
        e.hypot(n)
    };
    let marks = &traced.marks;
    let first = marks.first()?;
    // The end of the line is the mark farthest from any; the other end, the farthest from that.
    let end = marks
        .iter()
        .max_by(|a, b| far(first, a).total_cmp(&far(first, b)))?;
    let other = marks
        .iter()
        .max_by(|a, b| far(end, a).total_cmp(&far(end, b)))?;
    let axis = step(end, other);
    let along = |mark: &Located| {
        let [e, n] = step(end, mark);
        e * axis[0] + n * axis[1]
    };
    let mut sorted: Vec<&Located> = marks.iter().collect();
    sorted.sort_by(|a, b| along(a).total_cmp(&along(b)));
    // As it was written, where either way does.
    let at = |mark: &Located| marks.iter().position(|other| other.mark == mark.mark);
    if sorted.first().and_then(|mark| at(mark)) > sorted.last().and_then(|mark| at(mark)) {
        sorted.reverse();
    }
    let length =
        |all: &[&Located]| -> f64 { all.windows(2).map(|pair| far(pair[0], pair[1])).sum() };
    let written: Vec<&Located> = marks.iter().collect();
    let (now, then) = (length(&written), length(&sorted));
    if then > SHORTER * now {
        return None;
    }
    let names: Vec<&str> = sorted
        .iter()
        .map(|mark| pipe.inputs.mark_name(mark.mark))
        .collect();
    Some(format!(
        " In the order {} it would be {} long, not {}.",
        listed(&names, NAMED),
        pipe.length(then),
        pipe.length(now),
    ))
}
