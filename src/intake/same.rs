//! Whether two laterals are one: the same place within the joint 95 % bound.
//!
//! Each vertex of the shorter lies off the other's line by d, with one-sigma σ of both square to it; if the two are one pipe, Σ(d/σ)²
//! over the n vertices is chi-square of n degrees of freedom (errors that vertices share make the sum scatter more, not larger on the
//! average). Within its 95 % quantile they can't be told apart, and count as one.
//!
//! A shift that one operation between coordinate systems leaves in both does not part them: it is in the bound of each, and not in σ.

use geo::Coord;

use super::lateral::Lateral;
use crate::math::stats::chi_square_quantile;
use crate::plan::far::gap;

/// One-sigma below which a place without a stated bound is not taken, metres (our choice: two surveys of one mark are never nearer).
const LEAST: f64 = 0.01;

/// Whether two laterals can't be told apart.
#[must_use]
pub fn same(a: &Lateral, b: &Lateral) -> bool {
    if apart(a, b) {
        return false;
    }
    let (short, long) = if length(a) <= length(b) {
        (a, b)
    } else {
        (b, a)
    };
    let shared = if a.by == b.by { a.shift() } else { 0.0 };
    let (own, theirs) = (short.shift(), long.shift());
    let squares: f64 = short
        .spots
        .iter()
        .map(|spot| {
            let (off, other) = nearest(long, spot.at);
            let distance = off.x.hypot(off.y);
            if distance <= 0.0 {
                return 0.0;
            }
            let direction = off / distance;
            // A vertex without a bound of its own has the shift all the same.
            let (own, theirs) = (spot.sigma(direction).max(own), other(direction).max(theirs));
            let square = own * own + theirs * theirs - 2.0 * shared * shared;
            distance * distance / square.max(LEAST * LEAST)
        })
        .sum();
    squares <= chi_square_quantile(0.95, short.spots.len() as f64)
}

/// Quickly: farther from each other than any bound. Ten sigmas of both: the sum of squares passes its quantile far before.
fn apart(a: &Lateral, b: &Lateral) -> bool {
    gap(&a.extent, &b.extent) > 10.0 * (a.reach + b.reach).max(LEAST)
}

fn length(lateral: &Lateral) -> f64 {
    lateral
        .spots
        .windows(2)
        .map(|pair| match pair {
            [a, b] => (b.at - a.at).x.hypot((b.at - a.at).y),
            _ => 0.0,
        })
        .sum()
}

/// From the nearest place on a lateral to a place, and the lateral's one-sigma there by direction.
fn nearest(lateral: &Lateral, at: Coord<f64>) -> (Coord<f64>, impl Fn(Coord<f64>) -> f64 + '_) {
    let mut best = (
        Coord {
            x: f64::INFINITY,
            y: 0.0,
        },
        0,
        0.0,
    );
    let far = |off: Coord<f64>| off.x.hypot(off.y);
    for (index, spot) in lateral.spots.iter().enumerate() {
        let next = lateral.spots.get(index + 1).unwrap_or(spot);
        let (delta, away) = (next.at - spot.at, at - spot.at);
        let square = delta.x * delta.x + delta.y * delta.y;
        let part = if square > 0.0 {
            ((delta.x * away.x + delta.y * away.y) / square).clamp(0.0, 1.0)
        } else {
            0.0
        };
        let off = away - delta * part;
        if far(off) < far(best.0) {
            best = (off, index, part);
        }
    }
    let (off, index, part) = best;
    let sigma = move |direction: Coord<f64>| {
        let here = lateral
            .spots
            .get(index)
            .map_or(0.0, |spot| spot.sigma(direction));
        let next = lateral
            .spots
            .get(index + 1)
            .map_or(here, |spot| spot.sigma(direction));
        // The wider that the two can combine to.
        (1.0 - part) * here + part * next
    };
    (off, sigma)
}

#[cfg(test)]
mod tests {
    use super::super::lateral::Spot;
    use super::*;
    use geo::Rect;

    /// A straight lateral of five vertices, 12 m long due north, with this one-sigma on both axes.
    fn lateral(east: f64, sigma: f64) -> Lateral {
        let spot = |number: i32| Spot {
            at: Coord {
                x: east,
                y: 3.0 * f64::from(number),
            },
            covariance: Some([[sigma * sigma, 0.0], [0.0, sigma * sigma]]),
            depth: None,
            invert: None,
        };
        Lateral {
            run: "A".to_owned(),
            joins: false,
            spots: (0..5).map(spot).collect(),
            diameter: None,
            extent: Rect::new((east, 0.0), (east, 12.0)),
            reach: sigma,
            by: Vec::new(),
        }
    }

    #[test]
    fn one_within_the_joint_bound_and_two_just_beyond_it() {
        // Five vertices off by d each: 5 (d/σ)² at the 95 % quantile of chi-square with 5 degrees of freedom, 11.0705 (tables).
        let limit = 0.1 * 2.0_f64.sqrt() * (11.0705_f64 / 5.0).sqrt();
        assert!(same(&lateral(0.0, 0.1), &lateral(limit * 0.999, 0.1)));
        assert!(!same(&lateral(0.0, 0.1), &lateral(limit * 1.001, 0.1)));
        assert!(!same(&lateral(0.0, 0.1), &lateral(500.0, 0.1)));
        assert!(same(&lateral(0.0, 0.1), &lateral(0.0, 0.0)));
    }
}
