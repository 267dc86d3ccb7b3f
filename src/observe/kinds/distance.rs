//! Distance: √(ΔE² + ΔN²).

use super::{Equation, Locus, Plane, PointId, State};

pub(super) fn equation(from: PointId, to: PointId, state: &impl State) -> Equation {
    let (a, b) = (state.place(from), state.place(to));
    let (e, n) = (b.0 - a.0, b.1 - a.1);
    // Lengths of a job are far from what a square could lose; `hypot` takes several times as long to be sure.
    let length = (e * e + n * n).sqrt();
    let (e, n) = if length > 0.0 {
        (e / length, n / length)
    } else {
        (0.0, 0.0)
    };
    Equation {
        computed: length,
        points: [Some((from, -e, -n)), Some((to, e, n)), None],
        ..Equation::default()
    }
}

pub(super) fn locus(
    value: f64,
    point: PointId,
    (from, to): (PointId, PointId),
    known: &dyn Fn(PointId) -> Option<Plane>,
) -> Option<Locus> {
    let centre = known(if point == to { from } else { to })?;
    Some(Locus::Circle {
        centre,
        radius: value,
    })
}
