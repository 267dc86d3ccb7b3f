//! From the paint to the transmitter: how far along the pipe, and how sure.

use std::f64::consts::FRAC_PI_2;

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
    /// How much of an error in placing the mark along the pipe is left: 1, but where the tilt was found from the paint and its
    /// error goes partly into the tilt.
    pub placed: f64,
    /// What one sigma of the expected tilt that all marks of the run share does to `along`.
    pub shared: f64,
    /// The tilt it was computed with.
    pub tilt: Tilt,
}

/// How far to the side the strongest signal stands over an upright transmitter `sensing` below the sensing point that leans as
/// transmitters do in lying pipes (our choice: nobody has measured it); one-sigma, each axis, metres.
#[must_use]
pub fn leaning(accuracy: &Accuracy, sensing: f64) -> f64 {
    dipole::peak(FRAC_PI_2 - accuracy.tilt).abs() * sensing.max(0.0)
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
    /// A tilt known at the mark itself: nothing shared. The part of its doubt that follows the paint, placed with a one-sigma of
    /// `placing` depths, is left to [`Shift::placed`].
    #[must_use]
    pub fn of(tilt: Tilt, placing: f64) -> Self {
        let apart = tilt.sigma.powi(2) - (tilt.by_paint * placing).powi(2);
        Self {
            tilt,
            own: apart.max(0.0).sqrt(),
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
            placed: 1.0,
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
                placed: 1.0 - rate * tilt.by_paint,
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
                placed: 1.0,
                shared: 0.0,
                tilt,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::tilt;
    use super::*;

    fn expected(degrees: f64, own: f64) -> Expected {
        let tilt = Tilt {
            angle: degrees.to_radians(),
            sigma: own.to_radians(),
            by_paint: 0.0,
            from: TiltFrom::Slope,
        };
        Expected::of(tilt, 0.03)
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
            by_paint: 0.0,
            from: TiltFrom::Vertical,
        };
        let found = shift(FoundBy::Peak, 2.0, 0.1, &Expected::of(tilt, 0.03));
        assert!(found.along.abs() < f64::EPSILON && found.sigma.abs() < f64::EPSILON);
    }

    /// A fifth of the lean: near upright 6a x³ + 7b x² + (8c − 2a) x − b is 30 x − 6 ε.
    #[test]
    fn a_leaning_transmitter_is_a_little_beside_its_peak() {
        let accuracy = Accuracy::default();
        let expected = 2.0 * 0.2 * accuracy.tilt;
        assert!((leaning(&accuracy, 2.0) / expected - 1.0).abs() < 0.01);
        assert!(leaning(&accuracy, -1.0).abs() < f64::EPSILON);
    }

    /// At 10° the peak itself hardly moves with the tilt: a crossline placed wrongly is put right by the peak beside it, most of it.
    #[test]
    fn what_a_tilt_takes_from_the_paint_it_gives_back() {
        let (distance, error) = (tilt::peak_distance(10.0_f64.to_radians()), 0.01);
        let by_peak = |distance| tilt::by_peak(distance, 1e-3, (0.0, 1e-3), 3.29).unwrap();
        let (right, wrong) = (by_peak(distance), by_peak(distance - error));
        let moved = |tilt| shift(FoundBy::Crossline, 2.0, 0.0, &Expected::of(tilt, 1e-3));
        let left = (2.0 * error + moved(wrong).along - moved(right).along) / (2.0 * error);
        assert!((moved(right).placed - left).abs() < 0.02, "{left}");
        assert!((0.1..0.4).contains(&left), "{left}");
        assert!(moved(right).sigma < 1e-9, "all of its doubt is the paint's");
    }
}
