//! From the paint to the transmitter: how far along the pipe, and how sure.

use super::dipole;
use super::{Tilt, TiltFrom};
use crate::job::model::FoundBy;
use crate::limits::Accuracy;

/// The move from a mark to the transmitter, along the push direction, ahead positive; metres on the ground.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shift {
    /// Transmitter less paint.
    pub along: f64,
    /// One-sigma along the pipe of this mark alone: unseen tilt and depth.
    pub sigma: f64,
    /// What one sigma of the expected tilt that all marks of the run share does to `along`.
    pub shared: f64,
    /// The tilt it was computed with.
    pub tilt: Tilt,
}

/// One-sigma of placing a mark, each axis, over a transmitter at this depth.
#[must_use]
pub fn placing(accuracy: &Accuracy, depth: f64) -> f64 {
    f64::hypot(accuracy.mark, accuracy.mark_fraction * depth)
}

/// The tilt to correct for, and the doubts about it that this mark has alone and shares with its run; radians.
#[derive(Clone, Copy, Debug)]
pub struct Expected {
    /// The tilt.
    pub tilt: Tilt,
    /// One-sigma of this mark alone.
    pub own: f64,
    /// One-sigma shared by the run.
    pub shared: f64,
}

impl Expected {
    /// A tilt known at the mark itself: nothing shared.
    #[must_use]
    pub const fn of(tilt: Tilt) -> Self {
        Self {
            tilt,
            own: tilt.sigma,
            shared: 0.0,
        }
    }
}

/// The move for a mark found this way over a transmitter `sensing` below the receiver's sensing point (one-sigma
/// `sensing_sigma`).
///
/// The spot lies at `sensing · x(tilt)` from the transmitter, so the transmitter lies as far the other way from the spot.
/// A peak's doubt is the whole scatter of its place, two-humped: no Gaussian fits it well.
#[must_use]
pub fn shift(found_by: FoundBy, sensing: f64, sensing_sigma: f64, expected: &Expected) -> Shift {
    let tilt = expected.tilt;
    let depth = sensing.max(0.0);
    if tilt.from == TiltFrom::Vertical {
        // The peak, with which one end coincides, stands over an upright transmitter.
        return Shift {
            along: 0.0,
            sigma: 0.0,
            shared: 0.0,
            tilt,
        };
    }
    match found_by {
        FoundBy::Crossline => {
            let (x, rate) = (
                dipole::crossline(tilt.angle),
                dipole::crossline_rate(tilt.angle),
            );
            let sigma = f64::hypot(rate * depth * expected.own, x * sensing_sigma);
            Shift {
                along: -x * depth,
                sigma,
                shared: -rate * depth * expected.shared,
                tilt,
            }
        }
        FoundBy::Peak => {
            let (x, scatter) =
                dipole::peak_over(tilt.angle, f64::hypot(expected.own, expected.shared));
            Shift {
                along: -x * depth,
                sigma: f64::hypot(scatter * depth, x * sensing_sigma),
                shared: 0.0,
                tilt,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn expected(degrees: f64, own: f64) -> Expected {
        Expected::of(Tilt {
            angle: degrees.to_radians(),
            sigma: own.to_radians(),
            from: TiltFrom::Slope,
        })
    }

    /// Lens end up: the crossline runs off behind the transmitter, so the transmitter lies ahead of the mark.
    #[test]
    fn ahead_of_the_mark_with_the_lens_end_up() {
        let found = shift(FoundBy::Crossline, 2.0, 0.0, &expected(10.0, 3.0));
        assert!((found.along - 2.0 * 0.116_750_173).abs() < 1e-8);
        // ⅔·d·tan 3° at level, a little more at 10°.
        assert!((found.sigma / (2.0 * 2.0 / 3.0 * 3.0_f64.to_radians().tan()) - 1.0).abs() < 0.03);
    }

    #[test]
    fn peak_scatters_by_a_fifth_of_the_depth() {
        let found = shift(FoundBy::Peak, 2.0, 0.0, &expected(0.0, 3.0));
        assert!(
            found.along.abs() < 1e-12 && (found.sigma / 2.0 - 0.18).abs() < 0.01,
            "{found:?}"
        );
    }

    #[test]
    fn upright_stays() {
        let tilt = Tilt {
            angle: 1.57,
            sigma: 0.02,
            from: TiltFrom::Vertical,
        };
        let found = shift(FoundBy::Peak, 2.0, 0.1, &Expected::of(tilt));
        assert!(found.along.abs() < f64::EPSILON && found.sigma.abs() < f64::EPSILON);
    }
}
