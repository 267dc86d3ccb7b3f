//! Tapes in feet and inches with a point between, read as decimals of a foot: 12.6 for 12'6".
//!
//! Each is off by its own little, a tenth of a foot or two, so that no factor mends them and the worst are blamed one by one. Where a job in feet
//! fails its test, every tape of it could be read so, and all fit when they are, that is what is wrong.

use super::solve::{self, Look};
use super::{Adjusted, Fit};
use crate::limits::Limits;
use crate::observe::{Kind, Observation, Observations};
use crate::units::LengthUnit;

/// Tapes with inches that it takes to tell; the variance factor falls by so much at least. Our choice, both.
const LEAST: usize = 6;
const FALLS: f64 = 4.0;

/// Tapes that fit as feet and inches, and not as decimals.
#[derive(Clone, Debug, PartialEq)]
pub struct Inches {
    /// Indices into [`Observations::plane`].
    pub observations: Vec<usize>,
    /// How the job fits as it was read.
    pub read: Fit,
    /// How it fits when they are meant so.
    pub meant: Fit,
}

/// Such tapes, and the observations as they were meant.
pub(super) fn find(
    observations: &Observations,
    adjusted: &Adjusted,
    limits: &Limits,
) -> Option<(Inches, Observations)> {
    let unit = observations.unit.filter(|unit| unit.is_foot())?;
    let read = adjusted.summary.fit;
    let (before, upper) = (read.factor()?, read.bounds()?.1);
    if before <= upper {
        return None;
    }
    let tapes = observations.plane.iter().enumerate();
    let tapes: Vec<(usize, [Observation; 2])> = tapes
        .filter(|(_, row)| matches!(row.kind, Kind::Distance { .. }))
        .map(|(i, row)| Some((i, meant(row, unit)?)))
        .collect::<Option<_>>()?;
    let changed = tapes.iter().filter(|(i, [one, _])| {
        observations
            .plane
            .get(*i)
            .is_some_and(|row| row.value != one.value)
    });
    if changed.count() < LEAST {
        return None;
    }
    let with = |chosen: &dyn Fn(&[Observation; 2]) -> Observation| {
        let mut all = observations.clone();
        for (i, both) in &tapes {
            if let Some(slot) = all.plane.get_mut(*i) {
                *slot = chosen(both);
            }
        }
        all
    };
    // A tenth is one inch, or ten whose 0 a spreadsheet has dropped: the rest of the job says which.
    let without = with(&|[one, ten]| {
        let open = if one.value < ten.value { OPEN } else { 1.0 };
        Observation {
            sigma: one.sigma * open,
            ..one.clone()
        }
    });
    let first = solve::adjust(&without, limits, Look::Nowhere);
    let all = with(&|both| nearer(&first, both));
    let second = solve::adjust(&all, limits, Look::Nowhere);
    let fit = second.summary.fit;
    let (after, allowed) = (fit.factor()?, fit.bounds()?.1);
    let fits = after <= allowed && FALLS * after <= before;
    fits.then(|| {
        let inches = Inches {
            observations: tapes.iter().map(|(i, _)| *i).collect(),
            read,
            meant: fit,
        };
        (inches, all)
    })
}

/// What weighs as good as nothing.
const OPEN: f64 = 1000.0;

/// The one of two readings that the adjusted places are nearer to.
fn nearer(adjusted: &Adjusted, [one, ten]: &[Observation; 2]) -> Observation {
    let Kind::Distance { from, to } = one.kind else {
        return one.clone();
    };
    let apart = || {
        let (a, b) = (adjusted.coordinates(from)?, adjusted.coordinates(to)?);
        Some((a.0 - b.0).hypot(a.1 - b.1))
    };
    let off = |row: &Observation| apart().map_or(0.0, |apart| (apart - row.value).abs());
    if off(ten) < off(one) {
        ten.clone()
    } else {
        one.clone()
    }
}

/// A tape as feet and inches, with a tenth read as one inch and as ten; `None` where its decimals are none.
fn meant(row: &Observation, unit: LengthUnit) -> Option<[Observation; 2]> {
    let figure = unit.of(row.measured);
    let hundredths = (figure * 100.0).round();
    let (feet, rest) = ((hundredths / 100.0).floor(), hundredths.rem_euclid(100.0));
    if (figure * 100.0 - hundredths).abs() > 1e-3 {
        return None;
    }
    let inches = match rest {
        10.0 => [1.0, 10.0],
        11.0 => [11.0; 2],
        rest if rest % 10.0 == 0.0 => [rest / 10.0; 2],
        _ => return None,
    };
    Some(inches.map(|inches| {
        let times = (feet + inches / 12.0) / figure.max(f64::MIN_POSITIVE);
        Observation {
            value: row.value * times,
            measured: row.measured * times,
            ..row.clone()
        }
    }))
}
