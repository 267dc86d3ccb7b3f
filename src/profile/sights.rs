//! Inverts and depths where the camera saw something: on the line between the nearest known ones.

use super::Figure;
use super::inverts::{Invert, Levels, UNEVEN, to_nearer};
use crate::run::{EXTRAPOLATED, Inputs, Located, Spot, Traced, VertexKind};
use crate::transmitter::Depth;

/// Levels at a camera observation; metres.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SightLevel {
    /// Invert.
    pub invert: Option<Invert>,
    /// Ground to transmitter axis.
    pub depth: Option<Figure>,
    /// How far it lies beyond the last known depth, where its own continues the line there; metres.
    pub beyond: Option<f64>,
}

/// How the depth departs from a straight line between known ones, part of the distance to the nearer: the pipe's own
/// unevenness and a lawn's or a kerb's (our choice, as for each of them: 1 % and 2 %).
pub const DEPTH_UNEVEN: f64 = 2.24 * UNEVEN;

/// Levels at each of [`Traced::sights`].
pub(super) fn levels(
    inputs: Inputs<'_>,
    traced: &Traced,
    (inverts, depths): (&Levels, &[Option<Depth>]),
) -> Vec<SightLevel> {
    if traced.sights.is_empty() {
        return Vec::new();
    }
    let stations: Vec<f64> = inverts.known.iter().map(|level| level.station).collect();
    let depths: Vec<(f64, Depth)> = traced
        .vertices
        .iter()
        .zip(depths)
        .filter_map(|(vertex, depth)| Some((vertex.station, (*depth)?)))
        .collect();
    let of_depths: Vec<f64> = depths.iter().map(|(station, _)| *station).collect();
    let in_stack = |spot: &Spot| {
        let mark = spot.beyond.and_then(|(mark, _)| traced.marks.get(mark));
        mark.is_some_and(Located::upright)
    };
    // Between a stack and the last known level nobody knows where the pipe turns to lie.
    let stacks = || {
        let upright = |mark: usize| traced.marks.get(mark).is_some_and(Located::upright);
        let vertices = traced.vertices.iter();
        vertices
            .filter(move |vertex| matches!(vertex.kind, VertexKind::Mark(mark) if upright(mark)))
    };
    let first = of_depths
        .first()
        .filter(|first| stacks().any(|stack| stack.station < **first));
    let last = of_depths
        .last()
        .filter(|last| stacks().any(|stack| stack.station > **last));
    let turns = |station: f64| {
        first.is_some_and(|first| station < *first) || last.is_some_and(|last| station > *last)
    };
    let level = |spot: &Spot| {
        if in_stack(spot) || turns(spot.station) {
            return SightLevel::default();
        }
        let (by_inverts, by_depths) = (
            pair(&stations, spot.station),
            pair(&of_depths, spot.station),
        );
        SightLevel {
            invert: by_inverts.and_then(|(i, _)| invert(inputs, inverts, i, spot)),
            depth: by_depths.and_then(|(i, _)| depth(&depths, i, spot)),
            beyond: by_depths
                .map(|(_, beyond)| beyond)
                .filter(|beyond| *beyond > 0.0),
        }
    };
    let sights = traced.sights.iter();
    sights
        .map(|sight| sight.at.as_ref().map(level).unwrap_or_default())
        .collect()
}

/// The first of the two known stations that a line to this one goes through, and how far this one lies beyond them; none where that
/// is farther than they are apart, or than anything is extrapolated.
fn pair(stations: &[f64], station: f64) -> Option<(usize, f64)> {
    let last = stations.len().checked_sub(2)?;
    let i = stations
        .partition_point(|&known| known <= station)
        .saturating_sub(1)
        .min(last);
    let (from, to) = (*stations.get(i)?, *stations.get(i + 1)?);
    let beyond = (from - station).max(station - to);
    (beyond <= (to - from).min(EXTRAPOLATED)).then_some((i, beyond))
}

/// On a grade, an error of the place along the run is one of the invert.
fn invert(inputs: Inputs<'_>, inverts: &Levels, i: usize, spot: &Spot) -> Option<Invert> {
    let (a, b) = (inverts.known.get(i)?, inverts.known.get(i + 1)?);
    let found = inverts.between(inputs, i, spot.station)?;
    let grade = rate((a.station, a.z), (b.station, b.z));
    Some(Invert {
        variance: found.variance + (grade * spot.along).powi(2),
        ..found
    })
}

fn depth(depths: &[(f64, Depth)], i: usize, spot: &Spot) -> Option<Figure> {
    let ((from, a), (to, b)) = (depths.get(i)?, depths.get(i + 1)?);
    let length = to - from;
    let v = if length > 0.0 {
        (spot.station - from) / length
    } else {
        0.5
    };
    let w = 1.0 - v;
    let off = DEPTH_UNEVEN * to_nearer(v) * length;
    let rate = rate((*from, a.value), (*to, b.value));
    let variance = (w * a.sigma).powi(2)
        + (v * b.sigma).powi(2)
        + (w * a.common + v * b.common).powi(2)
        + off * off
        + (rate * spot.along).powi(2);
    Some(Figure {
        value: w * a.value + v * b.value,
        sigma: variance.sqrt(),
    })
}

fn rate((from, a): (f64, f64), (to, b): (f64, f64)) -> f64 {
    if to > from {
        (b - a) / (to - from)
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::block;
    use crate::transmitter::Basis;

    fn spot(station: f64, along: f64) -> Spot {
        Spot {
            e: 0.0,
            n: 0.0,
            covariance: block::ZERO,
            station,
            along,
            beyond: None,
        }
    }

    fn known(station: f64, value: f64) -> (f64, Depth) {
        let depth = Depth {
            value,
            sigma: 0.05,
            common: 0.02 * value,
            basis: Basis::Readings,
        };
        (station, depth)
    }

    #[test]
    fn neighbours_between_and_a_little_beyond() {
        let stations = [0.0, 2.0, 8.0];
        for (station, expected) in [
            (1.0, Some(0)),
            (2.0, Some(1)),
            (5.0, Some(1)),
            (-1.9, Some(0)),
            (-2.1, None),
            (10.9, Some(1)),
            (11.1, None),
        ] {
            assert_eq!(
                pair(&stations, station).map(|(i, _)| i),
                expected,
                "{station}"
            );
        }
        assert_eq!(pair(&[1.0], 1.0), None);
    }

    #[test]
    fn half_way_between_two_depths() {
        let depths = [known(0.0, 1.0), known(4.0, 2.0)];
        let found = depth(&depths, 0, &spot(2.0, 0.1)).unwrap();
        assert!((found.value - 1.5).abs() < 1e-12);
        // ½·0.05², the scale at 1.5 m, 2.24 % of 2 m, 0.1 m along on a fall of one in four.
        let expected = 0.5 * 0.0025 + 0.03_f64.powi(2) + 0.0448_f64.powi(2) + 0.025_f64.powi(2);
        assert!((found.sigma.powi(2) - expected).abs() < 1e-12);
        let beyond = depth(&depths, 0, &spot(5.0, 0.0)).unwrap();
        assert!((beyond.value - 2.25).abs() < 1e-12 && beyond.sigma > found.sigma);
    }
}
