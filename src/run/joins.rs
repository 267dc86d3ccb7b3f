//! Branches: where they meet the run that they join.
//!
//! A branch's lowest mark is the junction. The vertex on the other run is that mark's foot on its line: along the line it is as
//! sure as the mark, across it as the line. A mark farther off the line than an alarm (3.29 sigma, with all that the line may bulge) is
//! no place on it, and no junction is drawn: one of the two runs lies wrong, or the branch joins another.

use std::collections::BTreeMap;

use super::rests::Rests;
use super::{Inputs, Traced, Vertex, VertexKind, chain};
use crate::math::block;

/// How a branch meets the run that it joins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Join {
    /// Index into `job.runs` of the run that is joined.
    pub run: usize,
    /// Where.
    pub meets: Meets,
}

/// Where a branch meets a run; metres on the grid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Meets {
    /// On the run.
    At {
        /// Station on the run.
        station: f64,
        /// The branch's mark lies this far off the run's line.
        off: f64,
    },
    /// Certainly off the run's line.
    Off {
        /// How far.
        by: f64,
        /// As far as chance goes.
        bound: f64,
    },
    /// Beyond the run's first or last mark, where the run has no place.
    Beyond {
        /// How far.
        by: f64,
    },
    /// One of the two has no mark with a place, or the run no more than one.
    Unplaced,
}

/// A branch that ends farther than this beyond the marks of the run that it joins, metres, is doubted: our choice, a few gaps between marks.
pub const FAR_BEYOND: f64 = 10.0;

/// Sets every branch's [`Traced::join`] and puts the junctions' vertices on the runs. `traced` is in the order of `job.runs`.
pub(super) fn join(inputs: Inputs<'_>, traced: &mut [Traced]) {
    let runs: BTreeMap<&str, usize> = inputs
        .job
        .runs
        .iter()
        .enumerate()
        .map(|(index, run)| (&*run.id, index))
        .collect();
    let mut joins = Vec::new();
    for (branch, run) in inputs.job.runs.iter().enumerate() {
        let Some(&other) = run.joins.as_deref().and_then(|id| runs.get(id)) else {
            continue;
        };
        let (Some(from), Some(onto)) = (traced.get(branch), traced.get(other)) else {
            continue;
        };
        joins.push((branch, other, foot(inputs, from, onto)));
    }
    for (branch, run, found) in joins {
        if let Some(from) = traced.get_mut(branch) {
            let meets = found.map_or(Meets::Unplaced, |(meets, _)| meets);
            from.join = Some(Join { run, meets });
        }
        if let (Some((_, Some(vertex))), Some(onto)) = (found, traced.get_mut(run)) {
            let kind = VertexKind::Junction(branch);
            let after = onto
                .vertices
                .partition_point(|known| known.station <= vertex.station);
            // At an end, between its mark and the next: the run's ends are marks.
            let after = after.min(onto.vertices.len().saturating_sub(1));
            onto.vertices.insert(after, Vertex { kind, ..vertex });
        }
    }
}

/// The foot of the branch's lowest mark on a run, with its vertex if the branch meets the run there.
fn foot(inputs: Inputs<'_>, from: &Traced, onto: &Traced) -> Option<(Meets, Option<Vertex>)> {
    let mark = from.marks.last()?;
    let (leg, along) = nearest_leg(onto, [mark.e, mark.n])?;
    let (a, b) = (onto.vertices.get(leg)?, onto.vertices.get(leg + 1)?);
    let length = f64::hypot(b.e - a.e, b.n - a.n);
    let unit = [(b.e - a.e) / length, (b.n - a.n) / length];
    let right = [unit[1], -unit[0]];
    let part = along.clamp(0.0, 1.0);
    let beyond = (along - part).abs() * length;
    let end = if along < 0.0 { a } else { b };
    let by_marks = f64::hypot(
        block::along(mark.covariance(), unit).sqrt(),
        block::along(end.covariance, unit).sqrt(),
    );
    if beyond > inputs.job.limits.alarm * by_marks {
        return Some((Meets::Beyond { by: beyond }, None));
    }
    // Square off the line but outside a corner, where the foot is the corner itself. What lies beyond the run's ends was looked at above.
    let off = [
        mark.e - a.e - along * length * unit[0],
        mark.n - a.n - along * length * unit[1],
    ];
    let apart = f64::hypot(off[0], off[1]);
    let away = if apart > 0.0 {
        [off[0] / apart, off[1] / apart]
    } else {
        right
    };
    let mut rests = Rests::default();
    for (vertex, share) in [(a, 1.0 - part), (b, part)] {
        rests.add(
            block::scale(block::IDENTITY, share),
            &onto.rests(vertex.kind)?,
        );
    }
    let line = rests.variance(&|i, j| onto.covariance(inputs.places, i, j));
    let bulge = match (a.kind, b.kind) {
        (VertexKind::Mark(first), VertexKind::Mark(_)) => {
            let gap = onto.gaps.get(first).copied().flatten();
            gap.map_or(0.0, |gap| {
                let straight = (gap.straight, gap.straight_sigma);
                chain::bulge((gap.cable, gap.cable_sigma), straight, length, part)
            })
        }
        _ => 0.0,
    };
    let off_variance =
        block::along(line, away) + bulge * bulge + block::along(mark.covariance(), away);
    let bound = inputs.job.limits.alarm * off_variance.sqrt();
    if apart > bound {
        return Some((Meets::Off { by: apart, bound }, None));
    }
    let across = block::along(line, right) + bulge * bulge;
    let along = block::along(mark.covariance(), unit);
    let meets = Meets::At {
        station: a.station + part * length,
        off: apart,
    };
    let vertex = Vertex {
        kind: VertexKind::Junction(from.run),
        e: a.e + part * length * unit[0],
        n: a.n + part * length * unit[1],
        covariance: block::add(
            block::scale(block::outer(unit, unit), along),
            block::scale(block::outer(right, right), across),
        ),
        station: a.station + part * length,
    };
    Some((meets, Some(vertex)))
}

/// The leg (index of its first vertex) nearest to a place, and how far along it the foot lies, as part of its length: beyond
/// 0 to 1 only past the run's ends.
fn nearest_leg(onto: &Traced, [e, n]: [f64; 2]) -> Option<(usize, f64)> {
    let last = onto.vertices.len().checked_sub(2)?;
    let mut best: Option<(f64, usize, f64)> = None;
    for (leg, pair) in onto.vertices.windows(2).enumerate() {
        let [a, b] = pair else { continue };
        let (de, dn) = (b.e - a.e, b.n - a.n);
        let square = de * de + dn * dn;
        if square <= 0.0 {
            continue;
        }
        let along = ((e - a.e) * de + (n - a.n) * dn) / square;
        let part = along.clamp(0.0, 1.0);
        let apart = f64::hypot(e - a.e - part * de, n - a.n - part * dn);
        if best.is_none_or(|(least, ..)| apart < least) {
            let free = (along < 0.0 && leg == 0) || (along > 1.0 && leg == last);
            best = Some((apart, leg, if free { along } else { part }));
        }
    }
    best.map(|(_, leg, along)| (leg, along))
}
