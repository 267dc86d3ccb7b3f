//! Comparisons with what was seen or measured again: exposures, and depth readings that were kept out.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::{Inputs, Located, Traced};
use crate::job::model::{Role, Source};
use crate::math::block::{self, Block};
use crate::math::stats::{ELLIPSE_95, NORMAL_95};
use crate::observe::PointId;
use crate::transmitter::{Basis, depth};

/// What was compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compared {
    /// The place, in plan.
    Place,
    /// The depth, ground to transmitter axis.
    Depth,
}

impl Compared {
    /// The word of a message.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Place => "place",
            Self::Depth => "depth",
        }
    }
}

/// A difference and its bound, metres.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Mark.
    pub name: Arc<str>,
    /// Index into `job.runs`.
    pub run: usize,
    /// What was compared.
    pub what: Compared,
    /// Found less stated; the distance for a place.
    pub difference: f64,
    /// East and north parts of the difference of a place.
    pub parts: Option<(f64, f64)>,
    /// 95 % bound of the difference from both covariances; for a place the ellipse's radius towards what was found.
    pub bound: f64,
    /// Row of what was found.
    pub source: Source,
}

impl Comparison {
    /// Whether the difference lies inside its bound.
    #[must_use]
    pub fn inside(&self) -> bool {
        self.difference.abs() <= self.bound
    }
}

/// Every exposed mark that was located too: the surface's depth against what was seen, and its place where that was measured.
#[must_use]
pub fn exposures(inputs: Inputs<'_>, traced: &[Traced]) -> Vec<Comparison> {
    let marks = traced
        .iter()
        .flat_map(|traced| traced.marks.iter().map(move |located| (traced, located)));
    marks
        .flat_map(|(traced, located)| exposure(inputs, traced, located))
        .collect()
}

fn exposure(inputs: Inputs<'_>, traced: &Traced, located: &Located) -> Vec<Comparison> {
    let points = inputs.observations.marks.get(located.mark);
    let row = points
        .and_then(|points| points.exposed)
        .and_then(|(row, _)| inputs.job.marks.get(row));
    let (Some(predicted), Some(points), Some(row)) = (&located.predicted, points, row) else {
        return Vec::new();
    };
    let of = |what, difference, bound| Comparison {
        name: points.name.clone(),
        run: traced.run,
        what,
        difference,
        parts: None,
        bound,
        source: row.source.clone(),
    };
    let mut found = Vec::new();
    let place = |of: Option<(usize, PointId)>| of.map(|(_, id)| id);
    if let (Some(seen), Some(painted)) = (place(points.exposed), place(points.centre))
        && seen != painted
    {
        let step = (located.e - predicted.e, located.n - predicted.n);
        // What both were measured from cancels.
        let joint = inputs.places.covariance(seen, painted);
        let covariance = block::difference(located.covariance(), predicted.covariance, joint);
        let place = of(
            Compared::Place,
            step.0.hypot(step.1),
            radius_towards(covariance, step),
        );
        found.push(Comparison {
            parts: Some(step),
            ..place
        });
    }
    if let (Some(seen), Some(stated)) = (&located.depth, &predicted.depth) {
        let sigma = (seen.variance() + stated.variance()).sqrt();
        found.push(of(
            Compared::Depth,
            seen.value - stated.value,
            NORMAL_95 * sigma,
        ));
    }
    found
}

/// Radius of the 95 % ellipse in a direction, metres.
fn radius_towards([[ee, en], [_, nn]]: Block, (e, n): (f64, f64)) -> f64 {
    let length = e.hypot(n).max(f64::MIN_POSITIVE);
    let (ue, un) = (e / length, n / length);
    let determinant = ee * nn - en * en;
    let form = (ue * ue * nn - 2.0 * ue * un * en + un * un * ee) / determinant;
    if determinant > 0.0 && form > 0.0 {
        ELLIPSE_95 / form.sqrt()
    } else {
        0.0
    }
}

/// Rows with `use = check` against the depth of their mark: readings, and pipes seen. What is read with the receiver that the mark was
/// read with shares its scale, which cancels.
#[must_use]
pub fn depth_checks(inputs: Inputs<'_>, traced: &[Traced]) -> Vec<Comparison> {
    let job = inputs.job;
    let compared = &inputs.observations.compared;
    if compared.is_empty() {
        return Vec::new();
    }
    let marks = traced.iter().flat_map(|traced| &traced.marks);
    let located: BTreeMap<usize, &Located> = marks.map(|mark| (mark.mark, mark)).collect();
    compared
        .iter()
        .filter_map(|(row, mark)| {
            let (row, located) = (job.marks.get(*row)?, located.get(mark)?);
            let stated = located.depth.as_ref()?;
            let (depth, variance) = match row.role {
                Role::Centre => {
                    let accuracy = &job.accuracy;
                    let read = depth::accept(row.readings, row.lift, accuracy, job.limits.pair)?;
                    let shared = match stated.basis {
                        Basis::Readings => -stated.common.powi(2),
                        _ => (accuracy.depth_common * read.depth).powi(2),
                    };
                    (read.depth, read.sigma.powi(2) + shared)
                }
                Role::Exposed => {
                    let axis = row.invert_depth? - inputs.axis_above_invert(row.run);
                    (axis, job.accuracy.exposed.powi(2))
                }
                Role::EndAhead | Role::EndBehind | Role::Peak => return None,
            };
            Some(Comparison {
                name: inputs.mark_name(*mark).into(),
                run: row.run,
                what: Compared::Depth,
                difference: depth - stated.value,
                parts: None,
                bound: NORMAL_95 * (variance + stated.variance()).sqrt(),
                source: row.source.clone(),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_radius_follows_the_ellipse() {
        let block = [[4.0, 0.0], [0.0, 1.0]];
        assert!((radius_towards(block, (3.0, 0.0)) - 2.0 * ELLIPSE_95).abs() < 1e-12);
        assert!((radius_towards(block, (0.0, -0.1)) - ELLIPSE_95).abs() < 1e-12);
        assert_eq!(radius_towards([[0.0; 2]; 2], (1.0, 0.0)), 0.0);
    }
}
