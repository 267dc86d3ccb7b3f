//! How the errors of two neighbouring vertices go together: what a place between them is interpolated with.

use super::View;
use crate::math::stats::NORMAL_95;
use crate::record::model::Joint;
use crate::run::{Gap, Traced, Vertex, VertexKind, bulge};

/// The joint of a vertex with the next: whole between two marks, which alone have places of their own; between others on the straight from
/// one mark to the next, what the cable allows beyond it.
pub(super) fn joint(view: &View<'_>, traced: &Traced, index: usize) -> Option<Joint> {
    let (here, next) = (traced.vertices.get(index)?, traced.vertices.get(index + 1)?);
    let bulge = part_bulge(traced, index).map(|bulge| view.scale.length(bulge));
    let (VertexKind::Mark(a), VertexKind::Mark(b)) = (here.kind, next.kind) else {
        let alone = Joint {
            bulge,
            ..Joint::default()
        };
        return bulge.map(|_| alone);
    };
    let (one, other) = (traced.marks.get(a)?, traced.marks.get(b)?);
    let square = view.scale.unit.metres().powi(2);
    let depth = one
        .depth
        .zip(other.depth)
        .map(|(one, other)| one.common * other.common);
    let grounds = one.ground.as_ref().zip(other.ground.as_ref());
    let invert = depth
        .zip(grounds)
        .map(|(depth, (one, other))| depth + one.covariance(other, view.inputs.grounds));
    let place = traced.covariance(view.inputs.places, a, b);
    Some(Joint {
        place: Some(place.map(|row| row.map(|cell| cell / square))),
        depth: depth.map(|cell| cell / square),
        invert: invert.map(|cell| cell / square),
        bulge,
    })
}

/// Semi-minor axis of what the cable allows beyond a stretch of the straight between two marks, as 95 %, metres; `None` where no cable
/// tells, or the straight has a bend in it.
///
/// Where its ends' own bulges count in their covariances, a stretch of the share s has √s of the whole: 2b√(U(1 − U)) is the spread of a
/// bridge, and a part of one is a bridge.
fn part_bulge(traced: &Traced, index: usize) -> Option<f64> {
    let is_junction = |vertex: &&Vertex| matches!(vertex.kind, VertexKind::Junction(_));
    let (before, after) = traced.vertices.split_at_checked(index + 1)?;
    let from = before.iter().rev().find(|vertex| !is_junction(vertex))?;
    let to = after.iter().find(|vertex| !is_junction(vertex))?;
    let (VertexKind::Mark(a), VertexKind::Mark(_)) = (from.kind, to.kind) else {
        return None;
    };
    let gap = traced.gaps.get(a).copied().flatten()?;
    let leg = f64::hypot(to.e - from.e, to.n - from.n);
    let part = after.first()?.station - before.last()?.station;
    let share = if leg > 0.0 { part / leg } else { 0.0 };
    Some(whole_bulge(&gap, leg) * share.clamp(0.0, 1.0).sqrt())
}

/// The same over a whole leg: half-way it bulges by all of its axis.
fn whole_bulge(gap: &Gap, leg: f64) -> f64 {
    let straight = (gap.straight, gap.straight_sigma);
    NORMAL_95 * bulge((gap.cable, gap.cable_sigma), straight, leg, 0.5)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bulge_is_what_the_cable_has_to_spare() {
        let gap = |cable: f64| Gap {
            cable,
            cable_sigma: 0.0,
            straight: 4.0,
            straight_sigma: 0.0,
            straight_bias: 0.0,
            rise: 0.0,
        };
        assert!((whole_bulge(&gap(5.0), 4.0) - 1.5).abs() < 1e-12);
        assert_eq!(
            (whole_bulge(&gap(4.0), 4.0), whole_bulge(&gap(3.0), 4.0)),
            (0.0, 0.0)
        );
    }
}
