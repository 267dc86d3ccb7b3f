//! Which depth readings are accepted, and how sure the depth is.
//!
//! The pair rule is common practice, spoken of for readings over a tilted transmitter
//! ([`crate::sources::Source::CommonPractice`]); applying it to level ones is our choice: a receiver turned half round that
//! disagrees with itself is disturbed, whatever the tilt.

use super::{Tilt, TiltFrom};
use crate::limits::Accuracy;

/// How a depth was accepted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Accepted {
    /// Mean of the readings as first turned and half a turn on.
    FirstPair,
    /// Mean of the readings at a quarter and three quarters.
    SecondPair,
    /// Mean of all readings: no pair agreed, or the others contradict it.
    All,
    /// The only reading.
    Single,
}

impl Accepted {
    /// The words of the record.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::FirstPair => "first pair",
            Self::SecondPair => "second pair",
            Self::All => "all",
            Self::Single => "single",
        }
    }
}

/// Readings and what became of them; metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Readings {
    /// Readings less lift: as first turned, half a turn on, a quarter, three quarters.
    pub depths: [Option<f64>; 4],
    /// Accepted depth below the ground.
    pub depth: f64,
    /// One-sigma of this mark alone, before any widening for tilt.
    pub sigma: f64,
    /// How.
    pub accepted: Accepted,
    /// Difference of the readings that decided, part of their mean.
    pub spread: Option<f64>,
    /// No readings agreed.
    pub disagree: bool,
}

/// Applies the pair rule. `None` without readings.
///
/// `pair` is the largest difference of a pair, part of its mean. Readings a quarter turn on that differ by more from a first pair that agrees
/// with itself contradict it: one of the two orientations is disturbed, and nothing says which. A first pair that contradicts itself has
/// nothing to say against the second.
#[must_use]
pub fn accept(
    raw: [Option<f64>; 4],
    lift: f64,
    accuracy: &Accuracy,
    pair: f64,
) -> Option<Readings> {
    let depths = raw.map(|reading| reading.map(|reading| reading - lift));
    let mean_of = |a: f64, b: f64| {
        let mean = f64::midpoint(a, b);
        let spread = (a - b).abs() / mean.abs().max(f64::MIN_POSITIVE);
        // Rounding of the subtraction must not turn an exact 10 % into 10.000000000000002 %.
        (
            mean,
            spread,
            (a - b).abs() <= pair * mean.abs() * (1.0 + 1e-12),
        )
    };
    let pairs = [
        (depths[0], depths[1], Accepted::FirstPair),
        (depths[2], depths[3], Accepted::SecondPair),
    ];
    let quarter = || depths[2..].iter().flatten();
    let turned = quarter().sum::<f64>() / quarter().count() as f64;
    for (a, b, accepted) in pairs {
        let (Some(a), Some(b)) = (a, b) else { continue };
        let (depth, spread, agrees) = mean_of(a, b);
        let contradicted =
            accepted == Accepted::FirstPair && turned.is_finite() && !mean_of(depth, turned).2;
        if agrees && contradicted {
            break;
        }
        if agrees {
            let sigma = sigma_of(accuracy, depth);
            return Some(Readings {
                depths,
                depth,
                sigma,
                accepted,
                spread: Some(spread),
                disagree: false,
            });
        }
    }
    all_of(depths, accuracy, pair)
}

fn sigma_of(accuracy: &Accuracy, depth: f64) -> f64 {
    f64::hypot(accuracy.depth, accuracy.depth_fraction * depth)
}

/// No pair agreed, or the readings beside it contradict it: the mean of all, its sigma no less than half their range.
fn all_of(depths: [Option<f64>; 4], accuracy: &Accuracy, pair: f64) -> Option<Readings> {
    let present = depths.iter().flatten();
    let count = present.clone().count();
    if count == 0 {
        return None;
    }
    let depth = present.clone().sum::<f64>() / count as f64;
    let (low, high) = present.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &d| {
        (low.min(d), high.max(d))
    });
    let range = high - low;
    let whole_pair = (depths[0].is_some() && depths[1].is_some())
        || (depths[2].is_some() && depths[3].is_some());
    Some(Readings {
        depths,
        depth,
        sigma: sigma_of(accuracy, depth).max(range / 2.0),
        accepted: if count == 1 {
            Accepted::Single
        } else {
            Accepted::All
        },
        spread: (count > 1 && depth != 0.0).then(|| range / depth.abs()),
        // Readings of different pairs that happen to agree confirm each other, though no pair is whole.
        disagree: whole_pair || range > pair * depth.abs(),
    })
}

/// What an accepted depth rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// Readings of the receiver.
    Readings,
    /// The distance of the end points.
    Ends,
    /// The pipe was seen and measured.
    Exposed,
    /// Nothing at the place itself: the ground there, and the line between the inverts on either side.
    Between,
}

/// An accepted depth, ground to transmitter axis, or one that follows from those beside it; metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Depth {
    /// Depth.
    pub value: f64,
    /// One-sigma of this mark alone.
    pub sigma: f64,
    /// What one sigma of the depth scale that the run's readings share does to this depth: the receiver's, shared by the whole
    /// job, and that of readings over a steep run.
    pub common: f64,
    /// Basis.
    pub basis: Basis,
}

impl Depth {
    /// Whether it was accepted where it is.
    #[must_use]
    pub fn is_measured(&self) -> bool {
        self.basis != Basis::Between
    }

    /// Variance with everything in it, m².
    #[must_use]
    pub fn variance(&self) -> f64 {
        self.sigma * self.sigma + self.common * self.common
    }
}

/// Tilt from which readings over the crossline come out noticeably deep ([`crate::sources::Source::OurChoice`]: where that reaches
/// the 2 % of the shared depth scale).
pub const STEEP: f64 = 10.0 * std::f64::consts::PI / 180.0;

/// How much deeper than true readings over the crossline may come out, as a one-sigma: by the field 2, 8 and 19 % at 10, 20
/// and 30° (the strength at two heights over the crossline); 1.5 sin²θ covers that about twice over (our choice: the amount
/// depends on how a receiver forms its depth).
#[must_use]
pub fn deep_by_tilt(depth: f64, tilt: f64) -> f64 {
    if tilt.abs() > STEEP {
        1.5 * tilt.sin().powi(2) * depth.abs()
    } else {
        0.0
    }
}

/// The depth by readings, widened for the tilt where they were taken over the crossline.
///
/// A tilt that is the run's own slope makes all its readings deep in the same proportion: that part is shared, like the
/// receiver's scale, and cancels in a fall as far. A tilt of this mark's own widens its own sigma.
#[must_use]
pub fn by_readings(
    readings: &Readings,
    over_crossline: bool,
    tilt: Option<&Tilt>,
    accuracy: &Accuracy,
) -> Depth {
    let deep = tilt
        .filter(|_| over_crossline)
        .map_or(0.0, |tilt| deep_by_tilt(readings.depth, tilt.angle));
    let of_slope = tilt.is_some_and(|tilt| tilt.from == TiltFrom::Slope);
    let (own, shared) = if of_slope { (0.0, deep) } else { (deep, 0.0) };
    let common = f64::hypot(accuracy.depth_common * readings.depth, shared);
    Depth {
        value: readings.depth,
        sigma: f64::hypot(readings.sigma, own),
        common,
        basis: Basis::Readings,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(raw: [Option<f64>; 4], lift: f64) -> Readings {
        accept(raw, lift, &Accuracy::default(), 0.10).unwrap()
    }

    #[test]
    fn first_pair() {
        let found = run([Some(2.0), Some(2.1), Some(2.2), None], 0.1);
        assert_eq!(
            (found.accepted, found.disagree),
            (Accepted::FirstPair, false)
        );
        assert!((found.depth - 1.95).abs() < 1e-12);
        assert!((found.sigma - f64::hypot(0.03, 0.04 * 1.95)).abs() < 1e-12);
    }

    /// Exactly 10 % of the mean still agrees; a hair more does not.
    #[test]
    fn the_limit_itself() {
        assert_eq!(
            run([Some(1.9), Some(2.1), None, None], 0.0).accepted,
            Accepted::FirstPair
        );
        let found = run([Some(1.899), Some(2.1), None, None], 0.0);
        assert_eq!((found.accepted, found.disagree), (Accepted::All, true));
    }

    #[test]
    fn second_pair_when_the_first_disagrees() {
        let found = run([Some(1.5), Some(2.1), Some(2.0), Some(2.05)], 0.0);
        assert_eq!(
            (found.accepted, found.disagree),
            (Accepted::SecondPair, false)
        );
        assert!((found.depth - 2.025).abs() < 1e-12);
    }

    /// A pair that agrees, and readings a quarter turn on that contradict it: 1.6 and 2.6 are 48 % of 2.1 apart.
    #[test]
    fn all_when_the_quarter_turn_contradicts_the_first_pair() {
        let contradicted = [
            [Some(1.6), Some(1.6), Some(2.6), Some(2.6)],
            [Some(1.6), Some(1.6), Some(2.6), None],
            [Some(1.6), Some(1.6), None, Some(2.6)],
        ];
        for (raw, depth) in contradicted.into_iter().zip([2.1, 5.8 / 3.0, 5.8 / 3.0]) {
            let found = run(raw, 0.0);
            assert_eq!((found.accepted, found.disagree), (Accepted::All, true));
            assert!((found.depth - depth).abs() < 1e-12);
            assert!((found.sigma - 0.5).abs() < 1e-12, "half the range");
        }
        // Within 10 % of their mean it confirms the first, though it disagrees with itself.
        let found = run([Some(1.9), Some(1.9), Some(1.9), Some(2.29)], 0.0);
        assert_eq!(
            (found.accepted, found.disagree),
            (Accepted::FirstPair, false)
        );
        assert!((found.depth - 1.9).abs() < 1e-12);
    }

    #[test]
    fn all_when_neither_agrees() {
        let found = run([Some(1.0), Some(2.0), Some(1.5), Some(2.5)], 0.0);
        assert_eq!((found.accepted, found.disagree), (Accepted::All, true));
        assert!((found.depth - 1.75).abs() < 1e-12);
        assert!((found.sigma - 0.75).abs() < 1e-12, "half the range");
    }

    #[test]
    fn single_and_none() {
        let found = run([None, Some(1.2), None, None], 0.2);
        assert_eq!(
            (found.accepted, found.disagree, found.spread),
            (Accepted::Single, false, None)
        );
        assert!(accept([None; 4], 0.0, &Accuracy::default(), 0.1).is_none());
    }

    /// Two readings a quarter turn apart form no pair; they confirm each other if they agree.
    #[test]
    fn quarter_turn_apart() {
        assert!(!run([Some(2.0), None, Some(2.1), None], 0.0).disagree);
        assert!(run([Some(2.0), None, Some(2.6), None], 0.0).disagree);
    }

    #[test]
    fn lift_above_the_reading_is_negative_and_finite() {
        let found = run([Some(0.05), Some(0.06), None, None], 0.3);
        assert!(found.depth < 0.0 && found.sigma.is_finite());
        let zero = run([Some(0.2), Some(-0.2), None, None], 0.0);
        assert!(zero.sigma.is_finite() && zero.disagree);
    }

    #[test]
    fn widened_only_beyond_ten_degrees() {
        let (readings, accuracy) = (
            run([Some(2.0), Some(2.0), None, None], 0.0),
            Accuracy::default(),
        );
        let widened = |degrees: f64, from| {
            let tilt = Tilt {
                angle: degrees.to_radians(),
                sigma: 0.02,
                by_paint: 0.0,
                from,
            };
            let depth = by_readings(&readings, true, Some(&tilt), &accuracy);
            (
                depth.sigma,
                depth.common,
                by_readings(&readings, false, Some(&tilt), &accuracy),
            )
        };
        let plain = widened(9.9, TiltFrom::Given);
        assert!((plain.0 - readings.sigma).abs() < 1e-15 && (plain.1 - 0.04).abs() < 1e-15);
        let deep = 3.0 * 20.0_f64.to_radians().sin().powi(2);
        let own = widened(20.0, TiltFrom::Given);
        assert!(
            (own.0 - f64::hypot(readings.sigma, deep)).abs() < 1e-12
                && (own.1 - 0.04).abs() < 1e-15
        );
        let shared = widened(-20.0, TiltFrom::Slope);
        assert!(
            (shared.0 - readings.sigma).abs() < 1e-12
                && (shared.1 - f64::hypot(0.04, deep)).abs() < 1e-12
        );
        assert!(
            (own.2.sigma - readings.sigma).abs() < 1e-15,
            "not over the crossline"
        );
    }
}
