//! Station along a line P→Q and offset square off it, right positive looking from P to Q.

use super::{Equation, Locus, Plane, PointId, State, azimuth, azimuth_partials, unit};

/// Unit vector along the line, and the vector from its start to the point.
fn frame(from: PointId, to: PointId, at: PointId, state: &impl State) -> (Plane, Plane, Plane) {
    let (p, q, x) = (state.place(from), state.place(to), state.place(at));
    (
        unit(azimuth(p, q)),
        (x.0 - p.0, x.1 - p.1),
        azimuth_partials(p, q),
    )
}

/// Along: s = Δ·u. Turning the line by δα changes it by the offset: ∂s/∂α = Δ·(cos α, −sin α).
pub(super) fn station(from: PointId, to: PointId, at: PointId, state: &impl State) -> Equation {
    let ((s, c), (e, n), (qe, qn)) = frame(from, to, at, state);
    let turn = e * c - n * s;
    Equation {
        computed: e * s + n * c,
        points: [
            Some((from, -s - turn * qe, -c - turn * qn)),
            Some((to, turn * qe, turn * qn)),
            Some((at, s, c)),
        ],
        ..Equation::default()
    }
}

/// Square off, right: o = ΔE cos α − ΔN sin α; ∂o/∂α = −s.
pub(super) fn offset(from: PointId, to: PointId, at: PointId, state: &impl State) -> Equation {
    let ((s, c), (e, n), (qe, qn)) = frame(from, to, at, state);
    let turn = -(e * s + n * c);
    Equation {
        computed: e * c - n * s,
        points: [
            Some((from, -c - turn * qe, s - turn * qn)),
            Some((to, turn * qe, turn * qn)),
            Some((at, c, -s)),
        ],
        ..Equation::default()
    }
}

pub(super) fn station_locus(
    value: f64,
    point: PointId,
    (from, to, at): (PointId, PointId, PointId),
    known: &dyn Fn(PointId) -> Option<Plane>,
) -> Option<Locus> {
    let (p, q) = (known(from)?, known(to)?);
    let line = azimuth(p, q);
    let (s, c) = unit(line);
    (point == at).then_some(Locus::Line {
        through: (p.0 + value * s, p.1 + value * c),
        azimuth: line + std::f64::consts::FRAC_PI_2,
        ray: false,
    })
}

pub(super) fn offset_locus(
    value: f64,
    point: PointId,
    (from, to, at): (PointId, PointId, PointId),
    known: &dyn Fn(PointId) -> Option<Plane>,
) -> Option<Locus> {
    let (p, q) = (known(from)?, known(to)?);
    let line = azimuth(p, q);
    let (s, c) = unit(line);
    (point == at).then_some(Locus::Line {
        through: (p.0 + value * c, p.1 - value * s),
        azimuth: line,
        ray: false,
    })
}
