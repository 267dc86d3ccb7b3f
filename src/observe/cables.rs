//! Neighbours: marks can't lie farther apart than the cable between them, end points and the exposed pipe not far from their mark.

use std::collections::BTreeMap;

use super::{CableHint, MarkPoints, PointId};
use crate::job::model::{Job, Role, Use};

/// End points lie within 1.8 depths of the transmitter up to a tilt of 45°, and the crossline within 0.6 on the other side
/// ([`crate::sources::Source::Griffiths`], field of a dipole).
const REACH: f64 = 2.4;

/// The greatest depth reading of a row, metres; the limit of depths where there is none.
fn depth(job: &Job, row: usize) -> f64 {
    let readings = job
        .marks
        .get(row)
        .map(|row| row.readings)
        .unwrap_or_default();
    readings
        .into_iter()
        .flatten()
        .reduce(f64::max)
        .unwrap_or(job.limits.max_depth)
        .abs()
}

/// One-sigma of a mark's paint along the pipe about its transmitter: placing it, and a tilt that nobody sees.
fn along(job: &Job, row: usize) -> f64 {
    let (a, depth) = (&job.accuracy, depth(job, row));
    let placing = a.mark.hypot(a.mark_fraction * depth);
    placing.hypot(2.0 / 3.0 * depth * a.tilt.tan())
}

/// Hints for each run and push, in the order of the counter; then those of end points, peaks and exposed pipes.
pub(super) fn hints(job: &Job, marks: &[MarkPoints], ground_to_grid: f64) -> Vec<CableHint> {
    let mut pushes: BTreeMap<_, Vec<(f64, usize, PointId)>> = BTreeMap::new();
    for (index, point) in marks.iter().filter_map(|mark| mark.centre) {
        let Some(row) = job
            .marks
            .get(index)
            .filter(|row| row.role == Role::Centre && row.usage == Use::Yes)
        else {
            continue;
        };
        if let Some(counter) = row.counter {
            pushes
                .entry((row.run, row.push))
                .or_default()
                .push((counter, index, point));
        }
    }
    let a = &job.accuracy;
    let mut hints = Vec::new();
    for mut push in pushes.into_values() {
        push.sort_by(|x, y| x.0.total_cmp(&y.0));
        for pair in push.windows(2) {
            let length = (pair[1].0 - pair[0].0) * ground_to_grid;
            let counted = a.cable(length);
            let sigma = counted
                .hypot(along(job, pair[0].1))
                .hypot(along(job, pair[1].1));
            hints.push(CableHint {
                a: pair[0].2,
                b: pair[1].2,
                length,
                sigma,
                along: true,
            });
        }
    }
    hints.extend(
        marks
            .iter()
            .flat_map(|mark| ends(job, mark, ground_to_grid)),
    );
    hints
}

/// End points, peaks and the exposed pipe lie within [`REACH`] depths of their mark.
fn ends(job: &Job, mark: &MarkPoints, ground_to_grid: f64) -> Vec<CableHint> {
    let others = [mark.ahead, mark.behind, mark.peak, mark.exposed];
    let Some((row, centre)) = mark.centre.filter(|_| others.iter().any(Option::is_some)) else {
        return Vec::new();
    };
    let depth = depth(job, row);
    let others = others.into_iter().flatten();
    let length = REACH * depth * ground_to_grid;
    let sigma = job.accuracy.end.hypot(job.accuracy.end_fraction * depth);
    others
        .map(|(_, point)| CableHint {
            a: centre,
            b: point,
            length,
            sigma,
            along: false,
        })
        .collect()
}
