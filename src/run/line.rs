//! A straight grade line through inverts, by generalised least squares.

use nalgebra::{Cholesky, DMatrix, DVector};

use crate::math::stats::chi_square_probability;

/// An invert on a run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// Horizontal distance along the run, metres.
    pub station: f64,
    /// Elevation, metres.
    pub z: f64,
    /// Variance of its own, m².
    pub own: f64,
    /// What one sigma of the job's shared depth scale does to it, metres.
    pub common: f64,
}

/// The line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Fall over horizontal distance, falling with growing station positive.
    pub grade: f64,
    /// One-sigma of the grade.
    pub sigma: f64,
    /// Elevation at station 0.
    pub z: f64,
    /// Weighted sum of squared residuals.
    pub chi_square: f64,
    /// Inverts less two.
    pub degrees: usize,
}

impl Line {
    /// Whether a uniform grade fits at 95 %; `None` where nothing is left to test.
    #[must_use]
    pub fn uniform(&self) -> Option<bool> {
        (self.degrees > 0)
            .then(|| chi_square_probability(self.chi_square, self.degrees as f64) <= 0.95)
    }
}

/// Above this many inverts in one run, covariances of different inverts other than the shared scale are left out: the matrix
/// grows with the square, and so long a run is none of a lateral's.
pub const DENSE: usize = 1024;

/// Smallest variance of an invert (0.1 mm squared): figures said to be exact must not make the equations singular.
const LEAST: f64 = 1e-8;

/// Fits the line. `joint(i, j)` is the covariance of two inverts beyond `own` and `common` (for i = j, the variance
/// beyond them); `None` where there is none.
#[must_use]
pub fn fit(levels: &[Level], joint: Option<&dyn Fn(usize, usize) -> f64>) -> Option<Line> {
    let (first, last) = (levels.first()?, levels.last()?);
    let (near, far) = levels
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), level| {
            (low.min(level.station), high.max(level.station))
        });
    if levels.len() < 2 || far - near < 1e-6 {
        return None;
    }
    // Stations and elevations from the middle: state-plane figures would cost digits.
    let (mid, base) = (f64::midpoint(near, far), f64::midpoint(first.z, last.z));
    let ones = vec![1.0; levels.len()];
    let along: Vec<f64> = levels.iter().map(|level| level.station - mid).collect();
    let z: Vec<f64> = levels.iter().map(|level| level.z - base).collect();
    let weight = Weight::of(levels, joint)?;
    let (w_ones, w_along) = (weight.times(&ones), weight.times(&along));
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let (n00, n01, n11) = (
        dot(&ones, &w_ones),
        dot(&along, &w_ones),
        dot(&along, &w_along),
    );
    let determinant = n00 * n11 - n01 * n01;
    if determinant.is_nan() || determinant <= 0.0 {
        return None;
    }
    let (r0, r1) = (dot(&z, &w_ones), dot(&z, &w_along));
    let (height, slope) = (
        (n11 * r0 - n01 * r1) / determinant,
        (n00 * r1 - n01 * r0) / determinant,
    );
    let residuals: Vec<f64> = z
        .iter()
        .zip(&along)
        .map(|(z, s)| z - height - slope * s)
        .collect();
    let chi_square = dot(&residuals, &weight.times(&residuals));
    Some(Line {
        grade: -slope,
        sigma: (n00 / determinant).sqrt(),
        z: base + height - slope * mid,
        chi_square,
        degrees: levels.len() - 2,
    })
}

/// The line of least squares with all inverts of one weight: grade, and elevation at station 0. Worse than [`fit`]'s, but how much an invert
/// counts for does not hang on its own error.
#[must_use]
pub fn even(levels: &[Level]) -> Option<(f64, f64)> {
    let count = levels.len() as f64;
    let mean = |of: fn(&Level) -> f64| levels.iter().map(of).sum::<f64>() / count;
    let (station, z) = (mean(|level| level.station), mean(|level| level.z));
    let (mut square, mut product) = (0.0, 0.0);
    for level in levels {
        let away = level.station - station;
        square += away * away;
        product += away * (level.z - z);
    }
    (square > 0.0).then(|| {
        let grade = -product / square;
        (grade, z + grade * station)
    })
}

/// The inverse covariance, as something to multiply by.
enum Weight {
    Dense(Cholesky<f64, nalgebra::Dyn>),
    /// Diagonal plus one shared unknown, by the formula of Sherman and Morrison.
    Shared {
        inverse: Vec<f64>,
        common: Vec<f64>,
        factor: f64,
    },
}

impl Weight {
    fn of(levels: &[Level], joint: Option<&dyn Fn(usize, usize) -> f64>) -> Option<Self> {
        let variance = |i: usize, level: &Level| {
            level.own.max(LEAST) + joint.map_or(0.0, |joint| joint(i, i).max(0.0))
        };
        if let Some(joint) = joint.filter(|_| levels.len() <= DENSE) {
            let mut c = DMatrix::zeros(levels.len(), levels.len());
            for (i, a) in levels.iter().enumerate() {
                for (j, b) in levels.iter().enumerate().take(i) {
                    let value = joint(i, j) + a.common * b.common;
                    c[(i, j)] = value;
                    c[(j, i)] = value;
                }
                c[(i, i)] = variance(i, a) + a.common * a.common;
            }
            return Cholesky::new(c).map(Self::Dense);
        }
        let inverse: Vec<f64> = levels
            .iter()
            .enumerate()
            .map(|(i, level)| 1.0 / variance(i, level))
            .collect();
        let common: Vec<f64> = levels.iter().map(|level| level.common).collect();
        let sum: f64 = inverse.iter().zip(&common).map(|(w, c)| w * c * c).sum();
        Some(Self::Shared {
            inverse,
            common,
            factor: 1.0 / (1.0 + sum),
        })
    }

    fn times(&self, x: &[f64]) -> Vec<f64> {
        match self {
            Self::Dense(cholesky) => cholesky
                .solve(&DVector::from_column_slice(x))
                .as_slice()
                .to_vec(),
            Self::Shared {
                inverse,
                common,
                factor,
            } => {
                let weighted = || inverse.iter().zip(x).map(|(w, x)| w * x);
                let shared: f64 = weighted().zip(common).map(|(wx, c)| wx * c).sum();
                weighted()
                    .zip(inverse.iter().zip(common))
                    .map(|(wx, (w, c))| wx - w * c * shared * factor)
                    .collect()
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn levels(points: &[(f64, f64, f64, f64)]) -> Vec<Level> {
        points
            .iter()
            .map(|&(station, z, own, common)| Level {
                station,
                z,
                own,
                common,
            })
            .collect()
    }

    /// Equal weights: the line of textbook regression. NIST StRD Norris is held by the adjustment's tests; here a small one by
    /// hand: (0, 10), (1, 9.7), (2, 9.7), (3, 9.2): slope −0.24, variance σ²/5.
    #[test]
    fn plain_regression() {
        let line = fit(
            &levels(&[
                (0.0, 10.0, 0.01, 0.0),
                (1.0, 9.7, 0.01, 0.0),
                (2.0, 9.7, 0.01, 0.0),
                (3.0, 9.2, 0.01, 0.0),
            ]),
            None,
        )
        .unwrap();
        assert!(
            (line.grade - 0.24).abs() < 1e-12
                && (line.sigma - (0.01_f64 / 5.0).sqrt()).abs() < 1e-12
        );
        assert!((line.z - 10.01).abs() < 1e-12 && line.degrees == 2);
        let by_hand = [-0.01, -0.07, 0.17, -0.09]
            .iter()
            .map(|v: &f64| v * v / 0.01)
            .sum::<f64>();
        assert!(
            (line.chi_square - by_hand).abs() < 1e-9,
            "{}",
            line.chi_square
        );
    }

    /// The quick way for one shared unknown equals the full matrix.
    #[test]
    fn shared_scale_equals_the_full_matrix() {
        let levels = levels(&[
            (0.0, 5.0, 0.002, 0.02),
            (2.0, 4.9, 0.003, 0.03),
            (5.0, 4.8, 0.001, 0.035),
            (9.0, 4.5, 0.004, 0.05),
        ]);
        let (quick, full) = (
            fit(&levels, None).unwrap(),
            fit(&levels, Some(&|_, _| 0.0)).unwrap(),
        );
        assert!(
            (quick.grade - full.grade).abs() < 1e-12 && (quick.sigma - full.sigma).abs() < 1e-12
        );
        assert!((quick.chi_square - full.chi_square).abs() < 1e-9);
    }

    /// A scale error shared by equal depths moves the line, not its grade.
    #[test]
    fn shared_part_cancels_in_the_grade() {
        let without = levels(&[
            (0.0, 5.0, 0.002, 0.0),
            (4.0, 4.9, 0.002, 0.0),
            (8.0, 4.8, 0.002, 0.0),
        ]);
        let with = levels(&[
            (0.0, 5.0, 0.002, 0.2),
            (4.0, 4.9, 0.002, 0.2),
            (8.0, 4.8, 0.002, 0.2),
        ]);
        assert!(
            (fit(&without, None).unwrap().sigma - fit(&with, None).unwrap().sigma).abs() < 1e-9
        );
    }

    #[test]
    fn refuses_what_has_no_slope() {
        assert!(fit(&[], None).is_none());
        assert!(fit(&levels(&[(1.0, 5.0, 0.01, 0.0)]), None).is_none());
        assert!(
            fit(
                &levels(&[(1.0, 5.0, 0.01, 0.0), (1.0, 4.0, 0.01, 0.0)]),
                None
            )
            .is_none()
        );
    }

    #[test]
    fn two_inverts_give_their_fall() {
        let line = fit(
            &levels(&[(0.0, 5.0, 0.0, 0.0), (10.0, 4.8, 0.0, 0.0)]),
            None,
        )
        .unwrap();
        assert!((line.grade - 0.02).abs() < 1e-12 && line.uniform().is_none());
    }
}
