//! Standard scales and round steps.

use crate::units::LengthUnit;

/// Scales of metric drawings: the series of ISO 5455 with the 2.5 that site plans use
/// ([`crate::sources::Source::Iso5455`]).
const METRIC: &[f64] = &[
    20.0, 50.0, 100.0, 200.0, 250.0, 500.0, 1000.0, 2000.0, 2500.0, 5000.0, 10_000.0,
];
/// Feet in one inch of paper: the divisions of an engineer's scale ([`crate::sources::Source::CommonPractice`]).
const PER_INCH: &[f64] = &[
    2.0, 4.0, 5.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 100.0, 200.0, 400.0, 500.0, 1000.0,
];

/// How far the series goes on: the Earth fits on a sheet.
const DECADES: usize = 6;

/// The coarsest plan that a run is still read from: beyond it the plan is cut into sheets (our choice).
const COARSEST_METRIC: f64 = 500.0;
const COARSEST_PER_INCH: f64 = 50.0;

/// A drawing scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Metres on the ground in one metre on paper.
    pub ratio: f64,
    /// Feet to the inch, for feet jobs.
    pub per_inch: Option<f64>,
}

impl Scale {
    /// Millimetres on paper for one metre.
    #[must_use]
    pub fn per_metre(self) -> f64 {
        1000.0 / self.ratio
    }

    /// As printed: `1:100`, or `1 in = 10 ft`.
    #[must_use]
    pub fn text(self) -> String {
        match self.per_inch {
            Some(feet) => format!("1 in = {feet} ft"),
            None => format!("1:{}", self.ratio),
        }
    }

    fn coarser(self, times: f64) -> Self {
        Self {
            ratio: self.ratio * times,
            per_inch: self.per_inch.map(|feet| feet * times),
        }
    }

    /// A scale that is not a standard one, for the page.
    #[must_use]
    pub const fn free(ratio: f64) -> Self {
        Self {
            ratio,
            per_inch: None,
        }
    }
}

/// Standard scales in a unit, largest first.
#[must_use]
pub fn standard(unit: LengthUnit) -> Vec<Scale> {
    if unit.is_foot() {
        // An inch of paper is 25.4 mm whatever foot the ground is in.
        PER_INCH
            .iter()
            .map(|&ft| Scale {
                ratio: ft * unit.metres() / 0.0254,
                per_inch: Some(ft),
            })
            .collect()
    } else {
        METRIC
            .iter()
            .map(|&ratio| Scale {
                ratio,
                per_inch: None,
            })
            .collect()
    }
}

/// The largest standard scale at which `width` by `height` metres fit into `room` (millimetres). Beyond the series
/// it goes on in steps of 2, 5 and 10, so that nothing is ever off the drawing.
#[must_use]
pub fn largest(unit: LengthUnit, width: f64, height: f64, room: (f64, f64)) -> Scale {
    let fits = |s: &Scale| width * s.per_metre() <= room.0 && height * s.per_metre() <= room.1;
    let all = standard(unit);
    if let Some(scale) = all.iter().find(|s| fits(s)) {
        return *scale;
    }
    let mut scale = all.last().copied().unwrap_or(Scale::free(10_000.0));
    for step in (0..DECADES).flat_map(|_| [2.0, 2.5, 2.0]) {
        scale = scale.coarser(step);
        if fits(&scale) {
            break;
        }
    }
    scale
}

/// The coarsest scale of a plan on one sheet.
#[must_use]
pub fn coarsest(unit: LengthUnit) -> Scale {
    let limit = |s: &Scale| {
        s.per_inch
            .map_or(s.ratio <= COARSEST_METRIC, |ft| ft <= COARSEST_PER_INCH)
    };
    standard(unit)
        .into_iter()
        .rfind(limit)
        .unwrap_or(Scale::free(COARSEST_METRIC))
}

/// The largest 1, 2 or 5 times a power of ten that is not above `value`; 1 if `value` isn't positive.
#[must_use]
pub fn round_step(value: f64) -> f64 {
    if !(value.is_finite() && value > 0.0) {
        return 1.0;
    }
    let power = 10f64.powf(value.log10().floor());
    // A hair of slack: 10^log10 may come out just above a power itself.
    let digit = value / power + 1e-9;
    let step = if digit >= 5.0 {
        5.0
    } else if digit >= 2.0 {
        2.0
    } else {
        1.0
    };
    step * power
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_scale_that_fits_is_taken_at_the_limit_and_past_it() {
        let room = (200.0, 100.0);
        assert_eq!(largest(LengthUnit::Metre, 20.0, 10.0, room).text(), "1:100");
        assert_eq!(
            largest(LengthUnit::Metre, 20.001, 10.0, room).text(),
            "1:200"
        );
        assert_eq!(largest(LengthUnit::Metre, 1.0, 10.1, room).text(), "1:200");
        assert_eq!(
            largest(LengthUnit::Foot, 25.0, 1.0, (200.0, 100.0)).text(),
            "1 in = 20 ft"
        );
    }

    #[test]
    fn what_is_too_large_for_the_series_still_fits() {
        let room = (200.0, 100.0);
        let of = |unit, width| largest(unit, width, 0.0, room).text();
        assert_eq!(of(LengthUnit::Metre, 2000.0), "1:10000");
        assert_eq!(of(LengthUnit::Metre, 2001.0), "1:20000");
        assert_eq!(of(LengthUnit::Metre, 9000.0), "1:50000");
        assert_eq!(of(LengthUnit::Metre, 39_000_000.0), "1:200000000");
        assert_eq!(of(LengthUnit::Foot, 4000.0), "1 in = 2000 ft");
    }

    #[test]
    fn one_inch_is_so_many_feet() {
        let ten = standard(LengthUnit::Foot)
            .into_iter()
            .find(|s| s.per_inch == Some(10.0))
            .unwrap();
        // 10 ft = 3.048 m are 25.4 mm.
        assert!((ten.per_metre() * 3.048 - 25.4).abs() < 1e-12);
        assert!((ten.ratio - 120.0).abs() < 1e-12);
    }

    #[test]
    fn steps_are_one_two_or_five() {
        for (value, step) in [
            (0.7, 0.5),
            (1.0, 1.0),
            (1.99, 1.0),
            (2.0, 2.0),
            (49.0, 20.0),
            (1000.0, 1000.0),
        ] {
            assert!((round_step(value) - step).abs() < 1e-12, "{value}");
        }
        assert!((round_step(f64::NAN) - 1.0).abs() < f64::EPSILON);
    }
}
