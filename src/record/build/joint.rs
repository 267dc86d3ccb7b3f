//! How the errors of two neighbouring vertices go together: what a place between them is interpolated with.

use super::View;
use crate::record::model::Joint;
use crate::run::{Gap, Traced, VertexKind};

/// The joint of a vertex with the next; only between two marks, which alone have places of their own.
pub(super) fn joint(view: &View<'_>, traced: &Traced, index: usize) -> Option<Joint> {
    let (here, next) = (traced.vertices.get(index)?, traced.vertices.get(index + 1)?);
    let (VertexKind::Mark(a), VertexKind::Mark(b)) = (here.kind, next.kind) else {
        return None;
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
    Some(Joint {
        place: traced
            .covariance(view.inputs.places, a, b)
            .map(|row| row.map(|cell| cell / square)),
        depth: depth.map(|cell| cell / square),
        invert: invert.map(|cell| cell / square),
        bulge: traced
            .gaps
            .get(a)
            .copied()
            .flatten()
            .map(|gap| view.scale.length(bulge(gap))),
    })
}

/// Semi-minor axis of the ellipse that a cable of length l spans over a chord c: ½√(l² − c²), with the longest l.
fn bulge(gap: Gap) -> f64 {
    let chord = gap.straight;
    let cable = gap.longest().max(chord);
    0.5 * (cable * cable - chord * chord).max(0.0).sqrt()
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
        assert!((bulge(gap(5.0)) - 1.5).abs() < 1e-12);
        assert_eq!((bulge(gap(4.0)), bulge(gap(3.0))), (0.0, 0.0));
    }
}
