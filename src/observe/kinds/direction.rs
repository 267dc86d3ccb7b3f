//! Clockwise angle at a point, and grid azimuth.

use super::{Equation, Locus, Plane, PointId, State, around, azimuth, azimuth_partials, unit};

pub(super) fn angle(at: PointId, from: PointId, to: PointId, state: &impl State) -> Equation {
    let (x, p, q) = (state.place(at), state.place(from), state.place(to));
    let ((pe, pn), (qe, qn)) = (azimuth_partials(x, p), azimuth_partials(x, q));
    Equation {
        computed: around(azimuth(x, q) - azimuth(x, p)),
        angular: true,
        points: [
            Some((from, -pe, -pn)),
            Some((to, qe, qn)),
            Some((at, pe - qe, pn - qn)),
        ],
        ..Equation::default()
    }
}

pub(super) fn azimuth_equation(from: PointId, to: PointId, state: &impl State) -> Equation {
    let (p, q) = (state.place(from), state.place(to));
    let (e, n) = azimuth_partials(p, q);
    Equation {
        computed: azimuth(p, q),
        angular: true,
        points: [Some((from, -e, -n)), Some((to, e, n)), None],
        ..Equation::default()
    }
}

/// From the instrument a ray; at the instrument the circle through both sighted points (inscribed angle).
pub(super) fn angle_locus(
    value: f64,
    point: PointId,
    (at, from, to): (PointId, PointId, PointId),
    known: &dyn Fn(PointId) -> Option<Plane>,
) -> Option<Locus> {
    if point == at {
        return inscribed(known(from)?, known(to)?, value);
    }
    let x = known(at)?;
    let azimuth = if point == to {
        azimuth(x, known(from)?) + value
    } else {
        azimuth(x, known(to)?) - value
    };
    Some(Locus::Line {
        through: x,
        azimuth,
        ray: true,
    })
}

/// Circle of the points that see p → q under a clockwise angle; a line where they see it under 0 or 180°.
fn inscribed(p: Plane, q: Plane, angle: f64) -> Option<Locus> {
    let chord = (q.0 - p.0).hypot(q.1 - p.1);
    let line = azimuth(p, q);
    if chord <= 0.0 {
        return None;
    }
    if angle.sin().abs() < 1e-9 {
        return Some(Locus::Line {
            through: p,
            azimuth: line,
            ray: false,
        });
    }
    // Seen clockwise by less than 180° from p to q, the point lies to the right of p → q.
    let (s, c) = unit(line);
    let across = 0.5 * chord / angle.tan();
    let centre = (
        0.5 * (p.0 + q.0) + across * c,
        0.5 * (p.1 + q.1) - across * s,
    );
    Some(Locus::Circle {
        centre,
        radius: 0.5 * chord / angle.sin().abs(),
    })
}

pub(super) fn azimuth_locus(
    value: f64,
    point: PointId,
    (from, to): (PointId, PointId),
    known: &dyn Fn(PointId) -> Option<Plane>,
) -> Option<Locus> {
    let (through, azimuth) = if point == to {
        (known(from)?, value)
    } else {
        (known(to)?, value + std::f64::consts::PI)
    };
    Some(Locus::Line {
        through,
        azimuth,
        ray: true,
    })
}
