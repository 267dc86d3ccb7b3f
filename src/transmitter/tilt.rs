//! The transmitter's tilt, where it is known better than from the pipe's slope.

use super::depth::STEEP;
use super::dipole;
use super::{Accepted, Sensed};
use crate::job::model::{Attitude, FoundBy, Job, MarkRow, Stream};

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
    /// How much of it follows the paint: radians for each depth (below the sensing point) that the mark was placed too far
    /// ahead. 0 where the tilt was found without the paint.
    pub by_paint: f64,
    /// Origin.
    pub from: TiltFrom,
}

impl Tilt {
    /// Known at the mark, other than from the run's slope, and so steep that readings over the crossline come out deep.
    #[must_use]
    pub fn known_steep(&self) -> bool {
        self.from != TiltFrom::Slope && self.angle.abs() > STEEP
    }
}

/// The transmitter is known to lie tilted: the row says so, or a tilt known at the mark is steep. Whoever reads depths by hand
/// over it reads them at its peak; a receiver that works them out by itself reads deep ([`Source::CommonPractice`]).
///
/// [`Source::CommonPractice`]: crate::sources::Source::CommonPractice
#[must_use]
pub fn lies_tilted(row: &MarkRow, tilt: Option<&Tilt>) -> bool {
    row.attitude != Attitude::Level || tilt.is_some_and(Tilt::known_steep)
}

/// One-sigma of a signal reading, part of it: a figure read off a swinging display (our choice).
pub const SIGNAL_FRACTION: f64 = 0.03;
/// Tilts are looked for up to here; beyond, a mark is as good as upright.
pub const RANGE: f64 = 60.0 * std::f64::consts::PI / 180.0;

/// The tilt that the row itself gives: upright, said, or by linear signals that say it better than the slope would.
pub(super) fn known(job: &Job, row: &MarkRow, sensed: &Sensed) -> Option<Tilt> {
    if row.attitude == Attitude::Vertical {
        // As the pipe lies in the stack: pushed downstream, the lens goes down it.
        let push = row.push.and_then(|push| job.pushes.get(push));
        let run = || job.runs.get(row.run).map(|run| run.pushed);
        let pushed = push.map(|push| push.pushed).or_else(run);
        let as_pushed = if pushed == Some(Stream::Up) {
            1.0
        } else {
            -1.0
        };
        let angle = std::f64::consts::FRAC_PI_2.copysign(row.tilt.unwrap_or(as_pushed));
        return Some(Tilt {
            angle,
            sigma: job.accuracy.tilt_given,
            by_paint: 0.0,
            from: TiltFrom::Vertical,
        });
    }
    if let Some(angle) = row.tilt {
        return Some(Tilt {
            angle,
            sigma: job.accuracy.tilt_given,
            by_paint: 0.0,
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
    let rate = (log_ratio(angle + 1e-4, step) - log_ratio(angle - 1e-4, step)) / 2e-4;
    let (behind, ahead) = spots(angle, step);
    let (fall_behind, fall_ahead) = (falling_off(behind, angle), falling_off(ahead, angle));
    // Two readings at two spots: each end is placed by itself, a step is taped from the paint and moves with it.
    let (placed, by_paint) = match step {
        None => (super::ends::placing(&job.accuracy, sensing), 0.0),
        Some(_) => (job.accuracy.tape, (fall_ahead - fall_behind) / rate),
    };
    let by_placing = placed / sensing * f64::hypot(fall_ahead, fall_behind);
    // A step's ratio depends on the depth too: doubt about it counts.
    let by_depth = step.map_or(0.0, |step| {
        let single = sensed
            .readings
            .is_none_or(|readings| readings.accepted == Accepted::Single);
        let doubt = if single { 0.10 } else { 0.05 };
        log_ratio(angle, Some(step * (1.0 + doubt))) - log_ratio(angle, Some(step))
    });
    let by_reading = std::f64::consts::SQRT_2 * SIGNAL_FRACTION;
    let apart = by_reading.hypot(by_placing).hypot(by_depth) / rate.abs();
    let paint = job.accuracy.placing(sensing) / sensing;
    Some(Tilt {
        angle,
        sigma: apart.hypot(by_paint * paint),
        by_paint,
        from: TiltFrom::Signals,
    })
}

/// Where the signals are read, depths along the pipe, behind and ahead: at the ends (`None`), or `step` depths from the crossline.
fn spots(tilt: f64, step: Option<f64>) -> (f64, f64) {
    match step {
        None => dipole::vertical_points(tilt),
        Some(step) => (
            dipole::crossline(tilt) - step,
            dipole::crossline(tilt) + step,
        ),
    }
}

/// Logarithm of the strength ahead over that behind.
fn log_ratio(tilt: f64, step: Option<f64>) -> f64 {
    let (behind, ahead) = spots(tilt, step);
    (dipole::strength(ahead, 0.0, tilt) / dipole::strength(behind, 0.0, tilt)).ln()
}

/// How the logarithm of the strength changes along the pipe, a depth.
fn falling_off(x: f64, tilt: f64) -> f64 {
    const STEP: f64 = 1e-4;
    let ratio = dipole::strength(x + STEP, 0.0, tilt) / dipole::strength(x - STEP, 0.0, tilt);
    ratio.ln() / (2.0 * STEP)
}

/// The distance from crossline to peak, ahead positive, in depths below the sensing point.
#[must_use]
pub fn peak_distance(tilt: f64) -> f64 {
    dipole::peak(tilt) - dipole::crossline(tilt)
}

/// Tilt from the distance between a crossline mark and the peak marked beside it, ahead positive, with its one-sigma, both in
/// depths below the sensing point, and from what the pipe's slope lets `expect`: angle and one-sigma. `None` where the distance is
/// larger than any tilt explains.
///
/// Level, the least tilt moves the peak far; at 10° it hardly moves, and the distance alone says little. So the two are weighed
/// against each other, tilt by tilt. Where they contradict each other by more than `alarm` sigmas the transmitter lies as the pipe
/// does not, and the distance has it alone.
#[must_use]
pub fn by_peak(distance: f64, sigma: f64, expect: (f64, f64), alarm: f64) -> Option<Tilt> {
    let alone = by_peak_alone(distance, sigma)?;
    let apart = (alone.angle - expect.0).abs();
    if sigma <= 0.0 || expect.1 <= 0.0 || apart > alarm * alone.sigma.hypot(expect.1) {
        return Some(alone);
    }
    let step = sigma / 10.0;
    let [(before, _), (angle, spread), (after, _)] =
        weighed([distance - step, distance, distance + step], sigma, expect)?;
    Some(Tilt {
        angle,
        sigma: spread,
        // A mark placed too far ahead brings the peak nearer to it.
        by_paint: -(after - before) / (2.0 * step),
        from: TiltFrom::Peak,
    })
}

fn by_peak_alone(distance: f64, sigma: f64) -> Option<Tilt> {
    let angle = solve(peak_distance, distance)?;
    // The curve is steep at level and flat at 20°: the sigma is half the span of tilts within one sigma either way.
    let edge = |at: f64| solve(peak_distance, at).unwrap_or(RANGE.copysign(at));
    let span = (edge(distance + sigma) - edge(distance - sigma)) / 2.0;
    Some(Tilt {
        angle,
        sigma: span,
        by_paint: if sigma > 0.0 { -span / sigma } else { 0.0 },
        from: TiltFrom::Peak,
    })
}

/// Mean and one-sigma of the tilt after each of the distances was seen, over equal steps of tilts to five sigmas about the expected one.
fn weighed(distances: [f64; 3], sigma: f64, expect: (f64, f64)) -> Option<[(f64, f64); 3]> {
    const STEPS: i32 = 100;
    let mut sums = [[0.0; 3]; 3];
    for step in -STEPS..=STEPS {
        let u = 5.0 * f64::from(step) / f64::from(STEPS);
        let tilt = u * expect.1;
        let far = peak_distance(expect.0 + tilt);
        for (sum, distance) in sums.iter_mut().zip(distances) {
            let off = (distance - far) / sigma;
            let weight = (-f64::midpoint(u * u, off * off)).exp();
            for (sum, term) in sum.iter_mut().zip([1.0, tilt, tilt * tilt]) {
                *sum += weight * term;
            }
        }
    }
    let grain = (5.0 * expect.1 / f64::from(STEPS)).powi(2) / 12.0;
    let moments = sums.map(|[weight, first, second]| {
        let mean = first / weight;
        let variance = (second / weight - mean * mean).max(0.0) + grain;
        (expect.0 + mean, variance.sqrt())
    });
    let usable = moments
        .iter()
        .all(|(mean, spread)| mean.is_finite() && spread.is_finite());
    usable.then_some(moments)
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
        let tilt = by_peak_alone(-0.365, 0.03).unwrap();
        assert!((tilt.angle.to_degrees() + 10.0).abs() < 0.5 && tilt.sigma > 0.0);
        assert!(by_peak(3.0, 0.1, (0.0, 0.05), 3.29).is_none());
    }

    /// Drawn tilts and distances: the mean is unbiased and the spread is as large as the errors; a tilt far from the slope's is found
    /// by the distance alone.
    #[test]
    fn distance_and_slope_are_weighed() {
        let degree = std::f64::consts::PI / 180.0;
        let (mut squares, mut count) = (0.0, 0);
        for i in -30..=30 {
            for j in -30..=30 {
                // Normal scores of both, weighted by how often they come.
                let (u, v) = (f64::from(i) / 10.0, f64::from(j) / 10.0);
                let (tilt, sigma) = (3.0 * degree * u, 0.06);
                let found = by_peak(
                    peak_distance(tilt) + sigma * v,
                    sigma,
                    (0.0, 3.0 * degree),
                    3.29,
                );
                let found = found.unwrap();
                let often = (-f64::midpoint(u * u, v * v)).exp();
                squares += often * ((found.angle - tilt) / found.sigma).powi(2);
                count += 1;
                assert!(found.by_paint <= 0.0, "{u} {v}");
            }
        }
        let all: f64 = (-30..=30).map(|i| (-f64::from(i * i) / 200.0).exp()).sum();
        let mean_square = squares / (all * all);
        assert!(
            count == 3721 && (mean_square - 1.0).abs() < 0.1,
            "{mean_square}"
        );
        let steep = by_peak(
            peak_distance(40.0 * degree),
            0.05,
            (0.0, 3.0 * degree),
            3.29,
        );
        assert!((steep.unwrap().angle - 40.0 * degree).abs() < 1e-6);
    }

    /// Level, at the ends: x = ± 1/√2, where 4x/(4x² + 1) − 4x/(x² + 1) of a level dipole is ∓ 0.9428.
    #[test]
    fn strength_falls_off_as_its_derivative_says() {
        let x = std::f64::consts::FRAC_1_SQRT_2;
        let derivative = 4.0 * x / (4.0 * x * x + 1.0) - 4.0 * x / (x * x + 1.0);
        assert!((falling_off(x, 0.0) - derivative).abs() < 1e-7);
        assert!((falling_off(-x, 0.0) + derivative).abs() < 1e-7);
        assert!((derivative + 0.942_809).abs() < 1e-6);
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
