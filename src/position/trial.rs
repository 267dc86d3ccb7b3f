//! What a measurement that was not taken would do: the adjustment's own covariance with the equation added, exactly.
//!
//! With Q the covariance of the unknowns and A the added equations with covariance Σ, the new covariance is
//! Q − QAᵀ(AQAᵀ + Σ)⁻¹AQ: what solving again would give, for values that fit.

use super::network::{Network, Slot};
use super::{Adjusted, Block};
use crate::math::adjust::{Model, Row, Values};
use crate::math::dense::Dense;
use crate::observe::{Kind, Observation, Observations, PointId};

/// A measurement to be tried.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trial {
    /// Equation.
    pub kind: Kind,
    /// One-sigma, metres or radians.
    pub sigma: f64,
}

/// An adjustment made ready for trials.
pub struct Trials<'a> {
    adjusted: &'a Adjusted,
    network: Network<'a>,
}

impl<'a> Trials<'a> {
    /// For the adjustment of these observations.
    #[must_use]
    pub fn new(adjusted: &'a Adjusted, observations: &'a Observations) -> Self {
        let network = Network::at(
            observations,
            &adjusted.slots,
            adjusted.origin,
            adjusted.site_at.as_ref(),
        );
        Self { adjusted, network }
    }

    /// A measurement as an equation at the adjusted places; `None` if a point of it is not determined.
    pub(super) fn written(&self, kind: &Kind, value: f64, sigma: f64) -> Option<Row> {
        let values = Values::whole(&self.adjusted.solution.values, 2 * self.network.nodes());
        let mut row = Row::default();
        row.clear();
        self.network
            .write(kind, value, sigma, &values, &mut row)
            .then_some(row)
    }

    pub(super) fn form_covariance(&self, a: &[(u32, f64)], b: &[(u32, f64)]) -> f64 {
        self.adjusted.solution.form_covariance(a, b)
    }

    fn row(&self, trial: &Trial) -> Option<Row> {
        self.written(&trial.kind, 0.0, trial.sigma)
    }

    /// Variance of a measurement's value as the adjustment knows it, metres² or radians²; `None` if a point of it
    /// is not determined.
    #[must_use]
    pub fn variance(&self, trial: &Trial) -> Option<f64> {
        Some(self.adjusted.solution.variance(&self.row(trial)?.terms))
    }

    /// Covariance of a point with trial measurements added, metres²; `None` if the point or a point of a trial is not
    /// determined.
    #[must_use]
    pub fn covariance(&self, point: PointId, trials: &[Trial]) -> Option<Block> {
        self.with(trials)?.covariance(point)
    }

    /// The adjustment with trial measurements added; `None` if a point of one is not determined.
    #[must_use]
    pub fn with(&self, trials: &[Trial]) -> Option<Tried<'_, 'a>> {
        let rows: Vec<Row> = trials
            .iter()
            .map(|trial| self.row(trial))
            .collect::<Option<_>>()?;
        let m = rows.len();
        let mut matrix = vec![0.0; m * m];
        for (i, a) in rows.iter().enumerate() {
            for (j, b) in rows.iter().enumerate() {
                let own = if i == j { a.sigma * a.sigma } else { 0.0 };
                matrix[i * m + j] = self.form_covariance(&a.terms, &b.terms) + own;
            }
        }
        let factor = Dense::factor(m, matrix, 0.0);
        Some(Tried {
            trials: self,
            rows,
            factor,
        })
    }
}

/// An adjustment with trial measurements added.
pub struct Tried<'t, 'a> {
    trials: &'t Trials<'a>,
    rows: Vec<Row>,
    factor: Dense,
}

/// How well a measurement is checked by the others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Checked {
    /// Redundancy number, 0 to 1.
    pub redundancy: f64,
    /// How far an error of one one-sigma in the measurement reaches at the point, metres: the one-sigma itself for a
    /// length, the arc for an angle.
    pub reach: f64,
}

impl Tried<'_, '_> {
    fn cross(&self, form: &[(u32, f64)]) -> Vec<f64> {
        let with = |row: &Row| self.trials.form_covariance(form, &row.terms);
        self.rows.iter().map(with).collect()
    }

    fn form_covariance(&self, a: &[(u32, f64)], b: &[(u32, f64)]) -> f64 {
        let mut solved = self.cross(a);
        self.factor.solve(&mut solved);
        let gain: f64 = solved.iter().zip(self.cross(b)).map(|(a, b)| a * b).sum();
        self.trials.form_covariance(a, b) - gain
    }

    /// Covariance of a point, metres²; `None` if it is not determined.
    #[must_use]
    pub fn covariance(&self, point: PointId) -> Option<Block> {
        let forms = self.trials.adjusted.forms(point)?;
        let entry = |i: usize, j: usize| self.form_covariance(&forms[i], &forms[j]);
        Some([[entry(0, 0), entry(0, 1)], [entry(1, 0), entry(1, 1)]])
    }

    /// How well a measurement of the adjustment is checked, as seen from one of its points; `None` if it took no part.
    #[must_use]
    pub fn checked(&self, observation: &Observation, point: PointId) -> Option<Checked> {
        let row = self
            .trials
            .written(&observation.kind, 0.0, observation.sigma)?;
        Some(self.checked_row(&row, point))
    }

    /// How well each added measurement is checked.
    pub fn added(&self, point: PointId) -> impl Iterator<Item = Checked> + '_ {
        self.rows
            .iter()
            .map(move |row| self.checked_row(row, point))
    }

    fn checked_row(&self, row: &Row, point: PointId) -> Checked {
        let variance = self.form_covariance(&row.terms, &row.terms);
        let lever = match self.trials.adjusted.slots.get(point.0 as usize) {
            Some(Slot::Node(node)) => row
                .terms
                .iter()
                .filter(|(unknown, _)| unknown / 2 == *node)
                .fold(0.0, |sum: f64, (_, a)| sum.hypot(*a)),
            _ => 1.0,
        };
        Checked {
            redundancy: (1.0 - variance / (row.sigma * row.sigma)).clamp(0.0, 1.0),
            reach: row.sigma / lever.max(f64::MIN_POSITIVE),
        }
    }
}
