//! East or north given directly, with a shift that positions of one datum may share.

use super::{Equation, Locus, PointId, ShiftId, State};

pub(super) fn east(at: PointId, shift: Option<ShiftId>, state: &impl State) -> Equation {
    Equation {
        computed: state.place(at).0 + shift.map_or(0.0, |shift| state.shift(shift).0),
        points: [Some((at, 1.0, 0.0)), None, None],
        shift: shift.map(|shift| (shift, 1.0, 0.0)),
        ..Equation::default()
    }
}

pub(super) fn north(at: PointId, shift: Option<ShiftId>, state: &impl State) -> Equation {
    Equation {
        computed: state.place(at).1 + shift.map_or(0.0, |shift| state.shift(shift).1),
        points: [Some((at, 0.0, 1.0)), None, None],
        shift: shift.map(|shift| (shift, 0.0, 1.0)),
        ..Equation::default()
    }
}

/// A line north to south.
pub(super) fn east_locus(value: f64) -> Locus {
    Locus::Line {
        through: (value, 0.0),
        azimuth: 0.0,
        ray: false,
    }
}

/// A line east to west.
pub(super) fn north_locus(value: f64) -> Locus {
    Locus::Line {
        through: (0.0, value),
        azimuth: std::f64::consts::FRAC_PI_2,
        ray: false,
    }
}
