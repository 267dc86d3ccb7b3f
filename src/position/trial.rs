//! What a measurement that was not taken would do: the adjustment's own covariance with the equation added, exactly.
//!
//! With Q the covariance of the unknowns and A the added equations with covariance Σ, the new covariance is
//! Q − QAᵀ(AQAᵀ + Σ)⁻¹AQ: what solving again would give, for values that fit.

use super::network::Network;
use super::{Adjusted, Block};
use crate::math::adjust::{Model, Row, Values};
use crate::math::dense::Dense;
use crate::observe::{Kind, Observations, PointId};

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
        let rows: Vec<Row> = trials
            .iter()
            .map(|trial| self.row(trial))
            .collect::<Option<_>>()?;
        let forms = self.adjusted.forms(point)?;
        let cov = |a: &[(u32, f64)], b: &[(u32, f64)]| self.adjusted.solution.form_covariance(a, b);
        let m = rows.len();
        let mut matrix = vec![0.0; m * m];
        for (i, a) in rows.iter().enumerate() {
            for (j, b) in rows.iter().enumerate() {
                matrix[i * m + j] =
                    cov(&a.terms, &b.terms) + if i == j { a.sigma * a.sigma } else { 0.0 };
            }
        }
        let factor = Dense::factor(m, matrix, 0.0);
        let cross = forms.each_ref().map(|form| {
            rows.iter()
                .map(|row| cov(form, &row.terms))
                .collect::<Vec<f64>>()
        });
        let mut block = Block::default();
        for i in 0..2 {
            let mut solved = cross[i].clone();
            factor.solve(&mut solved);
            for j in 0..2 {
                let gain: f64 = solved.iter().zip(&cross[j]).map(|(a, b)| a * b).sum();
                block[i][j] = cov(&forms[i], &forms[j]) - gain;
            }
        }
        Some(block)
    }
}
