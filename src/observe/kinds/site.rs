//! x and y on the site grid: the inverse of the similarity, with the similarity's parameters as unknowns.
//!
//! From E − e = a·x' + b·y' and N − n = −b·x' + a·y' follows x' = (a(E−e) − b(N−n))/s², y' = (b(E−e) + a(N−n))/s²
//! with s² = a² + b² and x' = x − x₀, y' = y − y₀.

use super::{Equation, Locus, PointId, State};
use crate::math::similarity::Similarity;

struct Inverse {
    a: f64,
    b: f64,
    square: f64,
    /// East and north less the image of the origin.
    delta: (f64, f64),
    /// x', y'.
    local: (f64, f64),
    grid: Similarity,
}

fn inverse(at: PointId, state: &impl State) -> Inverse {
    let grid = state.site();
    let [a, b, e, n] = grid.parameters;
    let place = state.place(at);
    let delta = (place.0 - e, place.1 - n);
    let square = a * a + b * b;
    let local = grid.local(place);
    Inverse {
        a,
        b,
        square,
        delta,
        local,
        grid,
    }
}

pub(super) fn x(at: PointId, state: &impl State) -> Equation {
    let Inverse {
        a,
        b,
        square,
        delta,
        local,
        grid,
    } = inverse(at, state);
    Equation {
        computed: grid.origin.0 + local.0,
        points: [Some((at, a / square, -b / square)), None, None],
        site: Some([
            (delta.0 - 2.0 * a * local.0) / square,
            (-delta.1 - 2.0 * b * local.0) / square,
            -a / square,
            b / square,
        ]),
        ..Equation::default()
    }
}

pub(super) fn y(at: PointId, state: &impl State) -> Equation {
    let Inverse {
        a,
        b,
        square,
        delta,
        local,
        grid,
    } = inverse(at, state);
    Equation {
        computed: grid.origin.1 + local.1,
        points: [Some((at, b / square, a / square)), None, None],
        site: Some([
            (delta.1 - 2.0 * a * local.1) / square,
            (delta.0 - 2.0 * b * local.1) / square,
            -b / square,
            -a / square,
        ]),
        ..Equation::default()
    }
}

/// The image of a line of equal x.
pub(super) fn x_locus(value: f64, grid: &Similarity) -> Locus {
    Locus::Line {
        through: grid.apply((value, grid.origin.1)),
        azimuth: grid.rotation(),
        ray: false,
    }
}

/// The image of a line of equal y.
pub(super) fn y_locus(value: f64, grid: &Similarity) -> Locus {
    let azimuth = grid.rotation() + std::f64::consts::FRAC_PI_2;
    Locus::Line {
        through: grid.apply((grid.origin.0, value)),
        azimuth,
        ray: false,
    }
}
