//! In what order the marks lie: by path length; without counters by row.

use std::collections::BTreeMap;

use super::locate::USUAL_DEPTH;
use super::openings::{self, Zero};
use super::{Inputs, Members, Path};
use crate::job::model::{MarkRow, Stream};
use crate::math::block;
use crate::observe::PointId;
use crate::position::Place;
use crate::transmitter::shift::{self, Expected};
use crate::transmitter::{Sensed, Tilt, TiltFrom, centre_row, exposed_row};

/// A row whose counter does not follow the row before it in the same push the way that the others do, beyond what counters scatter
/// by chance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OrderIssue {
    /// The earlier row: its index into `job.marks`.
    pub before: usize,
    /// The row concerned: its index into `job.marks`.
    pub row: usize,
    /// Their marks: indices into `Observations::marks`.
    pub marks: [usize; 2],
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
        self.paint.or(self.seen).unwrap_or((
            PointId(u32::MAX),
            Place {
                e: 0.0,
                n: 0.0,
                covariance: block::ZERO,
            },
        ))
    }

    /// The row that speaks for the mark.
    pub fn row(&self) -> Option<&MarkRow> {
        self.centre.map(|(_, row)| row).or(self.exposed)
    }
}

/// A run in order.
pub(super) struct Ordered<'a> {
    /// Marks that have a place, in the direction of flow.
    pub entries: Vec<Entry<'a>>,
    /// The counter's faults.
    pub issues: Vec<OrderIssue>,
    /// Where each push's counter starts.
    pub zeros: Vec<Zero>,
}

pub(super) fn order<'a>(
    inputs: Inputs<'a>,
    sensed: &[Sensed],
    members: Members<'_>,
) -> Ordered<'a> {
    let run = members.run;
    let marks = members.marks.iter();
    let mut entries: Vec<Entry<'_>> = marks.filter_map(|&mark| entry(inputs, run, mark)).collect();
    let zeros = openings::set_paths(inputs, members, &mut entries);
    let issues = counter_issues(inputs, sensed, &entries);
    if inputs
        .job
        .runs
        .get(run)
        .is_some_and(|run| run.pushed == Stream::Up)
    {
        // Rows follow the push, so the last row lies furthest upstream.
        entries.reverse();
    }
    if entries.iter().any(|entry| entry.path.is_some()) {
        sort_by_path(&mut entries);
    }
    Ordered {
        entries,
        issues,
        zeros,
    }
}

/// A mark that has a place; `None` too of one whose rows are kept out to be compared, or that has end points alone.
fn entry(inputs: Inputs<'_>, run: usize, mark: usize) -> Option<Entry<'_>> {
    let points = inputs.observations.marks.get(mark)?;
    let (job, places) = (inputs.job, inputs.places);
    let centre = centre_row(job, points);
    let exposed = exposed_row(job, points);
    if centre.is_none() && exposed.is_none() {
        return None;
    }
    let at =
        |point: Option<(usize, PointId)>| point.and_then(|(_, id)| Some((id, places.place(id)?)));
    let paint = if centre.is_some() {
        at(points.centre)
    } else {
        None
    };
    let seen = if exposed.is_some() {
        at(points.exposed)
    } else {
        None
    };
    if paint.is_none() && seen.is_none() {
        return None;
    }
    let pushed = centre
        .or(exposed)
        .and_then(|row| job.pushes.get(row.push?))
        .map(|push| push.pushed)
        .or_else(|| job.runs.get(run).map(|run| run.pushed))
        .unwrap_or_default();
    let centre = centre.and_then(|row| points.centre.map(|(index, _)| (index, row)));
    Some(Entry {
        mark,
        centre,
        exposed,
        paint,
        seen,
        path: None,
        pushed,
    })
}

/// Counters of one push, in row order, must go on; or go back throughout, where the marks were made while the camera was pulled
/// out. Two marks on one spot have counters that come out in either order: the wrong way is a fault beyond what counters scatter
/// by chance, and anything short of the right one is a fault at another place.
fn counter_issues(inputs: Inputs<'_>, sensed: &[Sensed], entries: &[Entry<'_>]) -> Vec<OrderIssue> {
    let chance = inputs.job.limits.alarm * inputs.job.accuracy.counter;
    let mut pushes: BTreeMap<Option<usize>, Vec<(usize, f64, &Entry<'_>)>> = BTreeMap::new();
    for entry in entries {
        let Some((index, row)) = entry.centre else {
            continue;
        };
        if let Some(counter) = row.counter {
            let rows = pushes.entry(row.push).or_default();
            rows.push((index, counter, entry));
        }
    }
    let mut issues = Vec::new();
    for rows in pushes.values() {
        let steps: Vec<f64> = rows.windows(2).map(|pair| pair[1].1 - pair[0].1).collect();
        let way = if pulled_out(&steps, chance) {
            -1.0
        } else {
            1.0
        };
        for (pair, step) in rows.windows(2).zip(&steps) {
            let ((before, _, one), (row, _, other)) = (pair[0], pair[1]);
            let on = way * step;
            let apart = (on < SAME)
                .then(|| apart(inputs, sensed, (one, other)))
                .flatten();
            if on < -chance || apart.is_some() {
                issues.push(OrderIssue {
                    before,
                    row,
                    marks: [one.mark, other.mark],
                    same_counter_apart: apart.filter(|_| on > -SAME),
                });
            }
        }
    }
    issues.sort_by_key(|issue| issue.row);
    issues
}

/// Whether the steps from counter to counter are those of a camera on its way out: at least two go back, and more than twice as many
/// as go on, so that one misread counter doesn't tell.
fn pulled_out(steps: &[f64], chance: f64) -> bool {
    let back = steps.iter().filter(|step| **step < -chance).count();
    let on = steps.iter().filter(|step| **step > chance).count();
    back >= 2 && back > 2 * on
}

/// Metres; counters closer than this are the same figure.
const SAME: f64 = 1e-9;

/// The distance of two marks, if it is more than measuring, placing, unseen tilt and the counter explain.
fn apart(
    inputs: Inputs<'_>,
    sensed: &[Sensed],
    (one, other): (&Entry<'_>, &Entry<'_>),
) -> Option<f64> {
    let ((a_id, a), (b_id, b)) = (one.place(), other.place());
    let distance = f64::hypot(a.e - b.e, a.n - b.n);
    let c = block::difference(
        a.covariance,
        b.covariance,
        inputs.places.covariance(a_id, b_id),
    );
    let accuracy = &inputs.job.accuracy;
    let level = Tilt {
        angle: 0.0,
        sigma: accuracy.tilt,
        by_paint: 0.0,
        from: TiltFrom::Slope,
    };
    let placed = |entry: &Entry<'_>| {
        let depth = sensed.get(entry.mark).and_then(Sensed::rough_depth);
        let depth = depth.unwrap_or(USUAL_DEPTH) + inputs.job.equipment.sensor_height;
        let found_by = entry.row().map(|row| row.found_by).unwrap_or_default();
        let tilted = shift::shift(found_by, depth, 0.0, &Expected::of(level, 0.0)).sigma;
        accuracy.placing(depth).powi(2) + tilted.powi(2)
    };
    let placing = placed(one) + placed(other) + accuracy.counter.powi(2);
    let (sigma, _, _) = block::axes(block::add(c, block::isotropic(placing)));
    (distance > inputs.job.limits.alarm * sigma).then_some(distance)
}

/// By path; a mark without one goes where it lengthens the line through the others least.
fn sort_by_path(entries: &mut Vec<Entry<'_>>) {
    let (mut line, loose): (Vec<_>, Vec<_>) = std::mem::take(entries)
        .into_iter()
        .partition(|entry| entry.path.is_some());
    let at = |entry: &Entry<'_>| entry.path.map_or(f64::NAN, |path| path.at);
    line.sort_by(|a, b| at(a).total_cmp(&at(b)));
    // Each loose mark is weighed against the counted ones only, so that their order among themselves is that of the rows.
    let mut slots: Vec<(usize, Entry<'_>)> = loose
        .into_iter()
        .map(|entry| (slot(&line, &entry), entry))
        .collect();
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
    let (Some(first), Some(last)) = (line.first(), line.last()) else {
        return 0;
    };
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
    if to(last) < best.0 {
        line.len()
    } else {
        best.1
    }
}
