//! In what order the marks lie: by path length; without counters by row.

use super::{Inputs, Path, openings};
use crate::job::model::{MarkRow, Stream};
use crate::math::block;
use crate::observe::PointId;
use crate::position::Place;
use crate::transmitter::{centre_row, exposed_row};

/// A row whose counter does not follow the row before it in the same push.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OrderIssue {
    /// Row index into `job.marks` of the earlier row.
    pub before: usize,
    /// Row index into `job.marks` of the row concerned.
    pub row: usize,
    /// Its counter is the same, at another place this far off (metres); else it went back.
    pub same_counter_apart: Option<f64>,
}

/// A mark on its way into a run.
#[derive(Clone, Debug)]
pub(super) struct Entry<'a> {
    /// Index into `Observations::marks`.
    pub mark: usize,
    /// The row over the transmitter, with its index.
    pub centre: Option<(usize, &'a MarkRow)>,
    /// The row of the exposed pipe.
    pub exposed: Option<&'a MarkRow>,
    /// Where the surface located it: paint.
    pub paint: Option<(PointId, Place)>,
    /// Where the exposed pipe was measured.
    pub seen: Option<(PointId, Place)>,
    pub path: Option<Path>,
    pub pushed: Stream,
}

impl Entry<'_> {
    /// The place for order and direction.
    pub fn place(&self) -> (PointId, Place) {
        // One of them is there: entries without a place are not made.
        self.paint.or(self.seen).unwrap_or((PointId(u32::MAX), Place { e: 0.0, n: 0.0, covariance: block::ZERO }))
    }

    /// The row that speaks for the mark.
    pub fn row(&self) -> Option<&MarkRow> {
        self.centre.map(|(_, row)| row).or(self.exposed)
    }
}

/// The marks of a run that have a place, in the direction of flow; those without; and the counter's faults.
pub(super) fn order<'a>(
    inputs: Inputs<'a>,
    run: usize,
    marks: &[usize],
) -> (Vec<Entry<'a>>, Vec<usize>, Vec<OrderIssue>) {
    let (mut entries, mut unplaced) = (Vec::with_capacity(marks.len()), Vec::new());
    for &mark in marks {
        match entry(inputs, run, mark) {
            Placed::At(entry) => entries.push(entry),
            Placed::Nowhere => unplaced.push(mark),
            Placed::NoPart => {}
        }
    }
    openings::set_paths(inputs, run, &mut entries);
    let issues = counter_issues(inputs, &entries);
    if inputs.job.runs.get(run).is_some_and(|run| run.pushed == Stream::Up) {
        // Rows follow the push, so the last row lies furthest upstream.
        entries.reverse();
    }
    if entries.iter().any(|entry| entry.path.is_some()) {
        sort_by_path(&mut entries);
    }
    (entries, unplaced, issues)
}

enum Placed<'a> {
    At(Entry<'a>),
    Nowhere,
    NoPart,
}

fn entry<'a>(inputs: Inputs<'a>, run: usize, mark: usize) -> Placed<'a> {
    let Some(points) = inputs.observations.marks.get(mark) else { return Placed::NoPart };
    let (job, places) = (inputs.job, inputs.places);
    let centre = centre_row(job, points);
    let exposed = exposed_row(job, points);
    if centre.is_none() && exposed.is_none() {
        // Kept out to be compared, or end points without a mark: the latter is undetermined.
        let kept_out = points.centre.or(points.exposed).is_some();
        return if kept_out { Placed::NoPart } else { Placed::Nowhere };
    }
    let at = |point: Option<(usize, PointId)>| point.and_then(|(_, id)| Some((id, places.place(id)?)));
    let paint = if centre.is_some() { at(points.centre) } else { None };
    let seen = if exposed.is_some() { at(points.exposed) } else { None };
    if paint.is_none() && seen.is_none() {
        return Placed::Nowhere;
    }
    let pushed = centre
        .or(exposed)
        .and_then(|row| job.pushes.get(row.push?))
        .map(|push| push.pushed)
        .or_else(|| job.runs.get(run).map(|run| run.pushed))
        .unwrap_or_default();
    let centre = centre.and_then(|row| points.centre.map(|(index, _)| (index, row)));
    Placed::At(Entry { mark, centre, exposed, paint, seen, path: None, pushed })
}

/// Counters of one push, in row order, must go on; a repeat is a fault only at another place.
fn counter_issues(inputs: Inputs<'_>, entries: &[Entry<'_>]) -> Vec<OrderIssue> {
    let mut last: Vec<(Option<usize>, usize, f64, (PointId, Place))> = Vec::new();
    let mut issues = Vec::new();
    for entry in entries {
        let Some((row, counter, push)) =
            entry.centre.and_then(|(index, row)| Some((index, row.counter?, row.push)))
        else {
            continue;
        };
        let (id, place) = entry.place();
        if let Some((_, before, earlier, (other_id, other))) = last.iter().rev().find(|(other, ..)| *other == push) {
            let apart = f64::hypot(place.e - other.e, place.n - other.n);
            if counter < *earlier {
                issues.push(OrderIssue { before: *before, row, same_counter_apart: None });
            } else if (counter - earlier).abs() < 1e-9 && *before != row {
                let joint = inputs.places.covariance(id, *other_id);
                let c = block::difference(place.covariance, other.covariance, joint);
                let placing = 2.0 * inputs.job.accuracy.mark.powi(2) + inputs.job.accuracy.counter.powi(2);
                let (sigma, _, _) = block::axes(block::add(c, block::isotropic(placing)));
                if apart > inputs.job.limits.alarm * sigma {
                    issues.push(OrderIssue { before: *before, row, same_counter_apart: Some(apart) });
                }
            }
        }
        match last.iter_mut().find(|(other, ..)| *other == push) {
            Some(known) => *known = (push, row, counter, (id, place)),
            None => last.push((push, row, counter, (id, place))),
        }
    }
    issues
}

/// By path; a mark without one goes where it lengthens the line through the others least.
fn sort_by_path(entries: &mut Vec<Entry<'_>>) {
    let (mut line, loose): (Vec<_>, Vec<_>) = std::mem::take(entries).into_iter().partition(|entry| entry.path.is_some());
    let at = |entry: &Entry<'_>| entry.path.map_or(f64::NAN, |path| path.at);
    line.sort_by(|a, b| at(a).total_cmp(&at(b)));
    // Each loose mark is weighed against the counted ones only, so that their order among themselves is that of the rows.
    let mut slots: Vec<(usize, Entry<'_>)> = loose.into_iter().map(|entry| (slot(&line, &entry), entry)).collect();
    slots.sort_by_key(|(slot, _)| *slot);
    let mut slots = slots.into_iter().peekable();
    entries.reserve(line.len());
    for (index, entry) in line.into_iter().enumerate() {
        while let Some((_, loose)) = slots.next_if(|(slot, _)| *slot <= index) {
            entries.push(loose);
        }
        entries.push(entry);
    }
    entries.extend(slots.map(|(_, loose)| loose));
}

/// Largest number of counted marks that a loose one is weighed against one by one; beyond, it goes to the end.
const WEIGHED: usize = 2000;

fn slot(line: &[Entry<'_>], loose: &Entry<'_>) -> usize {
    let (_, at) = loose.place();
    let to = |entry: &Entry<'_>| {
        let (_, place) = entry.place();
        f64::hypot(place.e - at.e, place.n - at.n)
    };
    let (Some(first), Some(last)) = (line.first(), line.last()) else { return 0 };
    if line.len() > WEIGHED {
        return line.len();
    }
    let mut best = (to(first), 0);
    for (index, pair) in line.windows(2).enumerate() {
        let [a, b] = pair else { continue };
        let ((_, pa), (_, pb)) = (a.place(), b.place());
        let longer = to(a) + to(b) - f64::hypot(pa.e - pb.e, pa.n - pb.n);
        if longer < best.0 {
            best = (longer, index + 1);
        }
    }
    if to(last) < best.0 { line.len() } else { best.1 }
}
