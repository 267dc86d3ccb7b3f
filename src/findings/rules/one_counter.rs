//! One counter of a run that would fit if its decimal point stood elsewhere, or in another unit.
//!
//! *Why*: the run is drawn in the order of the counter, so that such a mark lies at its end, with a bend or too little cable to the
//! next: what is told of that is a consequence. *Limit*: the gap at an end of the run is beyond [`GROSS`] times an alarm's bound, and within that bound as the
//! figure would then be, which goes on as the rows beside it do. Told where its gap or its order is. *Example*: 82 for 8.2, after 5.1 and before 11.3.

use super::called;
use super::pipe::Pipe;
use crate::job::model::{Job, MarkRow, Role, Use};
use crate::run::Traced;

/// A decimal point makes more than this many times an alarm's bound of it; what is less may have any other cause. Our choice.
const GROSS: f64 = 3.0;

/// A counter, and what it may be.
pub(super) struct OneCounter {
    /// Index into `job.marks`.
    pub(super) row: usize,
    /// Index into the run's gaps of the one that it spoils.
    pub(super) gap: usize,
    /// What to say.
    pub(super) hint: String,
}

/// The counter of a run that would fit as another figure, if one would.
pub(super) fn find(pipe: &Pipe<'_>, traced: &Traced) -> Option<OneCounter> {
    let last = traced.marks.len().checked_sub(1)?;
    let ends = [(last, last.checked_sub(1)?, last - 1), (0, 1, 0)];
    ends.into_iter()
        .find_map(|(own, other, gap)| fits(pipe, traced, [own, other], gap))
}

/// The counters of the rows of one push beside one of them: two before it and two after it, the nearest first.
struct Order {
    before: Vec<f64>,
    after: Vec<f64>,
}

impl Order {
    fn of(job: &Job, index: usize, own: &MarkRow) -> Self {
        let counter = |row: &MarkRow| {
            let same = row.run == own.run && row.push == own.push && row.role == Role::Centre;
            row.counter.filter(|_| same && row.usage == Use::Yes)
        };
        let (before, after) = job.marks.split_at(index.min(job.marks.len()));
        Self {
            before: before.iter().rev().filter_map(counter).take(2).collect(),
            after: after.iter().skip(1).filter_map(counter).take(2).collect(),
        }
    }

    /// Whether a figure would go on as the rows beside it do.
    fn keeps(&self, figure: f64) -> bool {
        let goes_on = |from: f64, over: f64, to: f64| (over - from) * (to - over) > 0.0;
        match (&self.before[..], &self.after[..]) {
            ([before, ..], [after, ..]) => goes_on(*before, figure, *after),
            ([near, far], []) | ([], [near, far]) => goes_on(*far, *near, figure),
            _ => false,
        }
    }
}

fn fits(pipe: &Pipe<'_>, traced: &Traced, marks: [usize; 2], gap: usize) -> Option<OneCounter> {
    let job = pipe.inputs.job;
    let row = |mark: usize| -> Option<(usize, &MarkRow)> {
        let points = pipe
            .inputs
            .observations
            .marks
            .get(traced.marks.get(mark)?.mark)?;
        let (index, _) = points.centre?;
        Some((index, job.marks.get(index)?))
    };
    let ((index, own), (_, other)) = (row(marks[0])?, row(marks[1])?);
    let (counter, beside) = (own.counter?, other.counter?);
    let seen = traced.gaps.get(gap)?.as_ref()?;
    let (excess, sigma) = seen.excess();
    let alarm = job.limits.alarm;
    if own.push != other.push || excess.abs() <= GROSS * alarm * sigma {
        return None;
    }
    let fits = |times: f64| {
        let cable = (counter * times - beside).abs();
        let sigma = job.accuracy.cable(cable);
        let off = seen.straight - seen.straight_bias - cable;
        off.abs() <= alarm * sigma.hypot(seen.straight_sigma)
    };
    let other_unit = job.grid.unit.others().first()?;
    let ways = [
        (0.1, "With its decimal point one place off"),
        (10.0, "With its decimal point one place off"),
        (other_unit.times, "In the other unit"),
    ];
    let order = Order::of(job, index, own);
    let (times, way) = ways
        .into_iter()
        .find(|(times, _)| fits(*times) && order.keeps(counter * times))?;
    let hint = format!(
        " {way} the counter of {} would fit: {} for {}. Look at it first ({}).",
        called(pipe.inputs.mark_name(traced.marks.get(marks[0])?.mark)),
        pipe.length(counter * times),
        pipe.length(counter),
        own.source,
    );
    Some(OneCounter {
        row: index,
        gap,
        hint,
    })
}
