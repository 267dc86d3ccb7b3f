//! Pushes of a run that are said to go the same way, while their marks lie on either side of where they began.
//!
//! *Why*: rows of pushes are copied down, and `pushed` with them; told leg by leg, it reads as a wrong mark in each. *Limit*: with one of two
//! pushes the other way, what the marks lie farther apart than the cable falls to less than [`LEFT`] of what it was, which was beyond an alarm's
//! bound on a leg (our choice). Told once, as `path-too-long`, in place of the legs. *Example*: from a cleanout in the middle, to the street and to
//! the house, both `downstream`.

use super::path_too_long::gaps;
use super::pipe::Pipe;
use crate::findings::{Code, Finding};
use crate::run::{Located, Traced, Zero};

/// Share of the excess that may be left.
const LEFT: f64 = 0.1;

pub(super) fn find(pipe: &Pipe<'_>, traced: &Traced) -> Option<Finding> {
    let job = pipe.inputs.job;
    let alarm = pipe.inputs.job.limits.alarm;
    if !gaps(traced).any(|(_, gap)| gap.is_too_long(alarm)) || traced.zeros.len() < 2 {
        return None;
    }
    let now = excess(pipe, traced, None);
    // Of two that began at one opening either may be the wrong one; of several, it is the one that mends all.
    let pushes = || traced.zeros.iter().filter(|zero| zero.push.is_some());
    let wrong = pushes()
        .rev()
        .find(|zero| excess(pipe, traced, Some(zero)) < LEFT * now)?;
    let same = |zero: &&Zero| {
        zero.push != wrong.push
            && zero.pushed == wrong.pushed
            && zero.opening.line == wrong.opening.line
    };
    let other = pushes().find(same)?;
    let (one, other) = (job.pushes.get(other.push?)?, job.pushes.get(wrong.push?)?);
    let way = wrong.pushed.word();
    let message = format!(
        "Pushes {} and {} of run {} both go {way} by their rows, and their marks lie on either side of where they began: with one of them the \
         other way, all marks agree with the cable. Mend `pushed` of the one that did not go {way} ({}, {}).",
        one.id,
        other.id,
        pipe.run_name(traced.run),
        one.source,
        other.source,
    );
    let finding = Finding::new(Code::PathTooLong, message)
        .at(&other.source)
        .run(pipe.run_name(traced.run))
        .column("pushed");
    Some(pipe.figures(finding, now, Some(LEFT * now)))
}

/// By how much marks that follow each other along the cable lie farther apart than it, all together, metres; with the marks of one push on the
/// other side of its opening.
fn excess(pipe: &Pipe<'_>, traced: &Traced, turned: Option<&Zero>) -> f64 {
    let mut marks: Vec<(u32, f64, &Located)> = traced
        .marks
        .iter()
        .filter_map(|mark| {
            let path = mark.path?;
            let turned = turned.filter(|zero| pipe.row(mark).and_then(|row| row.push) == zero.push);
            let at = turned.map_or(path.at, |zero| 2.0 * zero.opening.at - path.at);
            Some((path.line, at, mark))
        })
        .collect();
    marks.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let pairs = marks.windows(2).filter(|pair| pair[0].0 == pair[1].0);
    pairs
        .map(|pair| {
            let ((_, from, a), (_, to, b)) = (pair[0], pair[1]);
            let apart = (a.e - b.e).hypot(a.n - b.n) / pipe.inputs.ground_to_grid();
            (apart - (to - from)).max(0.0)
        })
        .sum()
}
