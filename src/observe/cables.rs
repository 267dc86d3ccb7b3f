//! Neighbours on the runs, from the cable counter: they can't lie farther apart than the cable between them.

use std::collections::BTreeMap;

use super::{CableHint, MarkPoints, PointId};
use crate::job::model::{Job, Role, Use};

/// Hints for each run and push, in the order of the counter.
pub(super) fn hints(job: &Job, marks: &[MarkPoints], ground_to_grid: f64) -> Vec<CableHint> {
    let mut pushes: BTreeMap<(usize, Option<usize>), Vec<(f64, PointId)>> = BTreeMap::new();
    for (row, point) in marks.iter().filter_map(|mark| mark.centre) {
        let Some(row) = job
            .marks
            .get(row)
            .filter(|row| row.role == Role::Centre && row.usage == Use::Yes)
        else {
            continue;
        };
        if let Some(counter) = row.counter {
            pushes
                .entry((row.run, row.push))
                .or_default()
                .push((counter, point));
        }
    }
    let a = &job.accuracy;
    let mut hints = Vec::new();
    for mut push in pushes.into_values() {
        push.sort_by(|x, y| x.0.total_cmp(&y.0));
        for pair in push.windows(2) {
            let length = (pair[1].0 - pair[0].0) * ground_to_grid;
            // Both marks' own placing besides the counter.
            let sigma = a
                .counter
                .hypot(a.counter_fraction * length)
                .hypot(std::f64::consts::SQRT_2 * a.mark);
            hints.push(CableHint {
                a: pair[0].1,
                b: pair[1].1,
                length,
                sigma,
            });
        }
    }
    hints
}
