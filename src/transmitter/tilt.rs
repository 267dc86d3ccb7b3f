//! The transmitter's tilt, where it is known better than from the pipe's slope.

use super::dipole;
use super::{Accepted, Sensed};
use crate::job::model::{Attitude, FoundBy, Job, MarkRow};

/// Where a tilt came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TiltFrom {
    /// The run's own slope.
    Slope,
    /// The row says it.
    Given,
    /// Linear signals ahead and behind.
    Signals,
    /// The distance between crossline and peak.
    Peak,
    /// The transmitter stands upright.
    Vertical,
}

impl TiltFrom {
    /// The word of the record.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Slope => "slope",
            Self::Given => "given",
            Self::Signals => "signals",
            Self::Peak => "peak",
            Self::Vertical => "vertical",
        }
    }
}

/// A tilt, radians, lens end up positive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tilt {
    /// Angle.
    pub angle: f64,
    /// One-sigma.
    pub sigma: f64,
    /// Origin.
    pub from: TiltFrom,
}

/// One-sigma of a signal reading, part of it: a figure read off a swinging display (our choice).
const SIGNAL_FRACTION: f64 = 0.03;
/// Tilts are looked for up to here; beyond, a mark is as good as upright.
const RANGE: f64 = 60.0 * std::f64::consts::PI / 180.0;

/// The tilt that the row itself gives: upright, said, or by linear signals that say it better than the slope would.
pub(super) fn known(job: &Job, row: &MarkRow, sensed: &Sensed) -> Option<Tilt> {
    if row.attitude == Attitude::Vertical {
        let angle = std::f64::consts::FRAC_PI_2.copysign(row.tilt.unwrap_or(1.0));
        return Some(Tilt {
            angle,
            sigma: job.accuracy.tilt_given,
            from: TiltFrom::Vertical,
        });
    }
    if let Some(angle) = row.tilt {
        return Some(Tilt {
            angle,
            sigma: job.accuracy.tilt_given,
            from: TiltFrom::Given,
        });
    }
    by_signals(job, row, sensed).filter(|tilt| tilt.sigma < job.accuracy.tilt)
}

/// Tilt from the ratio of linear signals ahead and behind: at the end points if the mark has both, else a step away from the
/// crossline. The ratio does not depend on the receiver's gain.
fn by_signals(job: &Job, row: &MarkRow, sensed: &Sensed) -> Option<Tilt> {
    let signals = row.signals.as_deref()?;
    let (ahead, behind) = (
        signals.ahead.filter(|&s| s > 0.0)?,
        signals.behind.filter(|&s| s > 0.0)?,
    );
    if !job.equipment.signal_is_linear {
        return None;
    }
    let sensing = sensed.rough_depth()? + job.equipment.sensor_height;
    let at_ends = sensed
        .ends
        .as_ref()
        .is_some_and(|ends| ends.separation.is_some());
    let step = if at_ends {
        None
    } else {
        if row.found_by != FoundBy::Crossline {
            return None;
        }
        Some(signals.step.filter(|&step| step > 0.0)? / sensing)
    };
    let measured = (ahead / behind).ln();
    let angle = solve(|tilt| log_ratio(tilt, step), measured)?;
    // Two readings, two spots; the strength falls off about as 3x/(1 + x²) in logarithm.
    let x = step.unwrap_or(std::f64::consts::FRAC_1_SQRT_2);
    let placing = super::ends::placing(&job.accuracy, sensing) / sensing * 3.0 * x / (1.0 + x * x);
    let sigma = std::f64::consts::SQRT_2 * f64::hypot(SIGNAL_FRACTION, placing);
    // A step's ratio depends on the depth too: doubt about it counts.
    let by_depth = step.map_or(0.0, |step| {
        let single = sensed
            .readings
            .is_none_or(|readings| readings.accepted == Accepted::Single);
        let doubt = if single { 0.10 } else { 0.05 };
        log_ratio(angle, Some(step * (1.0 + doubt))) - log_ratio(angle, Some(step))
    });
    let rate = (log_ratio(angle + 1e-4, step) - log_ratio(angle - 1e-4, step)) / 2e-4;
    Some(Tilt {
        angle,
        sigma: f64::hypot(sigma, by_depth) / rate.abs(),
        from: TiltFrom::Signals,
    })
}

/// Logarithm of the strength ahead over that behind: at the ends (`None`), or `step` depths from the crossline.
fn log_ratio(tilt: f64, step: Option<f64>) -> f64 {
    let (behind, ahead) = match step {
        None => dipole::vertical_points(tilt),
        Some(step) => (
            dipole::crossline(tilt) - step,
            dipole::crossline(tilt) + step,
        ),
    };
    (dipole::strength(ahead, 0.0, tilt) / dipole::strength(behind, 0.0, tilt)).ln()
}

/// The distance from crossline to peak, ahead positive, in depths below the sensing point.
#[must_use]
pub fn peak_distance(tilt: f64) -> f64 {
    dipole::peak(tilt) - dipole::crossline(tilt)
}

/// Tilt from the distance between a crossline mark and the peak marked beside it, ahead positive, with its one-sigma, both in
/// depths below the sensing point. `None` where it is larger than any tilt explains.
#[must_use]
pub fn by_peak(distance: f64, sigma: f64) -> Option<Tilt> {
    let angle = solve(peak_distance, distance)?;
    // The curve is steep at level and flat at 20°: the sigma is half the span of tilts within one sigma either way.
    let edge = |at: f64| solve(peak_distance, at).unwrap_or(RANGE.copysign(at));
    let sigma = (edge(distance + sigma) - edge(distance - sigma)) / 2.0;
    Some(Tilt {
        angle,
        sigma,
        from: TiltFrom::Peak,
    })
}

/// The tilt at which a rising function of it takes a value, by bisection.
fn solve(f: impl Fn(f64) -> f64, value: f64) -> Option<f64> {
    let (mut low, mut high) = (-RANGE, RANGE);
    if !(f(low)..=f(high)).contains(&value) {
        return None;
    }
    for _ in 0..60 {
        let mid = f64::midpoint(low, high);
        if f(mid) < value {
            low = mid;
        } else {
            high = mid;
        }
    }
    Some(f64::midpoint(low, high))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each function that is solved by bisection rises all the way.
    #[test]
    fn solved_functions_rise() {
        for step in [None, Some(0.2), Some(0.5), Some(1.0), Some(1.5)] {
            let mut last = f64::NEG_INFINITY;
            for degree in -60..=60 {
                let value = log_ratio(f64::from(degree).to_radians(), step);
                assert!(value > last, "{step:?} {degree}");
                last = value;
            }
        }
        let mut last = f64::NEG_INFINITY;
        for degree in -60..=60 {
            let value = peak_distance(f64::from(degree).to_radians());
            assert!(value > last, "{degree}");
            last = value;
        }
    }

    /// 2° puts crossline and peak 0.21 of the depth apart, 10° 0.365.
    #[test]
    fn peak_beside_the_crossline() {
        assert!((peak_distance(2.0_f64.to_radians()) - 0.21).abs() < 5e-3);
        assert!((peak_distance(10.0_f64.to_radians()) - 0.365).abs() < 5e-3);
        let tilt = by_peak(-0.365, 0.03).unwrap();
        assert!((tilt.angle.to_degrees() + 10.0).abs() < 0.5 && tilt.sigma > 0.0);
        assert!(by_peak(3.0, 0.1).is_none());
    }

    #[test]
    fn signals_give_back_the_tilt() {
        for degrees in [-25.0_f64, -4.0, 0.0, 12.0] {
            let tilt = degrees.to_radians();
            let found = solve(
                |tilt| log_ratio(tilt, Some(0.6)),
                log_ratio(tilt, Some(0.6)),
            )
            .unwrap();
            assert!((found - tilt).abs() < 1e-9);
        }
    }
}
