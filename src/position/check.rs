//! Measurements kept out of the adjustment, held against its result.

use std::collections::BTreeMap;

use super::Adjusted;
use super::trial::Trials;
use crate::job::model::Source;
use crate::math::stats::{ELLIPSE_95, NORMAL_95};
use crate::observe::kinds::around;
use crate::observe::{Kind, Observation, Observations, PointId};

/// A comparison.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckShot {
    /// The point that it is about.
    pub point: PointId,
    /// Its measurement, the first of two: index into [`Observations::checks`].
    pub observation: usize,
    /// `horizontal` for a place, else the kind of measurement.
    pub what: &'static str,
    /// Check less result: metres or radians; the distance for `horizontal`.
    pub difference: f64,
    /// 95 % bound of the difference from both covariances, same unit; for `horizontal` the ellipse's radius in the direction
    /// of the difference.
    pub bound: f64,
    /// Whether it lies inside.
    pub inside: bool,
    /// East and north parts of the difference of a place, metres.
    pub parts: Option<(f64, f64)>,
    /// `difference` and `bound` are radians.
    pub angular: bool,
    /// Row.
    pub source: Source,
}

/// Compares every measurement kept out; those whose points are not determined are left out.
#[must_use]
pub fn checks(adjusted: &Adjusted, observations: &Observations) -> Vec<CheckShot> {
    let mut shots = Vec::new();
    if observations.checks.is_empty() {
        return shots;
    }
    let trials = Trials::new(adjusted, observations);
    let mut rest = observations.checks.as_slice();
    while let Some((first, others)) = rest.split_first() {
        let index = observations.checks.len() - rest.len();
        match (first.kind, others.first()) {
            (Kind::East { at, .. }, Some(second)) if matches!(second.kind, Kind::North { at: b, .. } if b == at) =>
            {
                shots.extend(horizontal(&trials, at, (index, [first, second])));
                rest = others.get(1..).unwrap_or_default();
            }
            _ => {
                shots.extend(single(&trials, (index, first)));
                rest = others;
            }
        }
    }
    shots
}

/// Points of which nothing says where they lie but what is kept out, each with the first such row.
#[must_use]
pub fn lonely(adjusted: &Adjusted, observations: &Observations) -> BTreeMap<PointId, Source> {
    let mut lonely = BTreeMap::new();
    if observations.checks.is_empty() {
        return lonely;
    }
    let trials = Trials::new(adjusted, observations);
    for observation in &observations.checks {
        if trials.compare(observation).is_none()
            && let Some(point) = observation.kind.points().into_iter().flatten().last()
        {
            lonely
                .entry(point)
                .or_insert_with(|| observation.source.clone());
        }
    }
    lonely
}

fn single(trials: &Trials<'_>, (index, observation): (usize, &Observation)) -> Option<CheckShot> {
    let (misclosure, variance) = trials.compare(observation)?;
    let bound = NORMAL_95 * (variance + observation.sigma.powi(2)).sqrt();
    let point = observation.kind.points().into_iter().flatten().last()?;
    Some(CheckShot {
        point,
        observation: index,
        what: observation.kind.word(),
        difference: misclosure,
        bound,
        inside: misclosure.abs() <= bound,
        parts: None,
        angular: observation.kind.is_angular(),
        source: observation.source.clone(),
    })
}

fn horizontal(
    trials: &Trials<'_>,
    at: PointId,
    (index, [east, north]): (usize, [&Observation; 2]),
) -> Option<CheckShot> {
    let ((e, _), (n, _)) = (trials.compare(east)?, trials.compare(north)?);
    let mut covariance = trials.pair(east, north)?;
    covariance[0][0] += east.sigma.powi(2);
    covariance[1][1] += north.sigma.powi(2);
    let [[a, b], [_, d]] = covariance;
    let difference = e.hypot(n);
    // Square of the difference in units of its own covariance.
    let square = (d * e * e - 2.0 * b * e * n + a * n * n) / (a * d - b * b);
    let bound = if square > 0.0 {
        difference * ELLIPSE_95 / square.sqrt()
    } else {
        ELLIPSE_95 * a.max(d).sqrt()
    };
    Some(CheckShot {
        point: at,
        observation: index,
        what: "horizontal",
        difference,
        bound,
        inside: difference <= bound,
        parts: Some((e, n)),
        angular: false,
        source: east.source.clone(),
    })
}

impl Trials<'_> {
    /// Measured less computed, and the variance of the computed value.
    fn compare(&self, observation: &Observation) -> Option<(f64, f64)> {
        let row = self.written(&observation.kind, observation.value, observation.sigma)?;
        let misclosure = if observation.kind.is_angular() {
            around(row.misclosure)
        } else {
            row.misclosure
        };
        Some((misclosure, self.form_covariance(&row.terms, &row.terms)))
    }

    /// Joint covariance of two computed values.
    fn pair(&self, a: &Observation, b: &Observation) -> Option<[[f64; 2]; 2]> {
        let a = self.written(&a.kind, a.value, a.sigma)?;
        let b = self.written(&b.kind, b.value, b.sigma)?;
        let cov = |x: &[(u32, f64)], y: &[(u32, f64)]| self.form_covariance(x, y);
        let cross = cov(&a.terms, &b.terms);
        Some([
            [cov(&a.terms, &a.terms), cross],
            [cross, cov(&b.terms, &b.terms)],
        ])
    }
}
