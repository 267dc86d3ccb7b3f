//! Cholesky factor of a small symmetric matrix, with unknowns that nothing determines pinned to zero.

use smallvec::{SmallVec, smallvec};

/// A pivot of the scaled matrix below this is no information, only rounding: our choice. Two lines of position
/// would have to meet at less than 1e-6 radians to come near it.
pub const PIVOT: f64 = 1e-12;

/// Figures of a few unknowns, where no room is asked for: most parts of a large job are one point.
pub type Few = SmallVec<[f64; 4]>;

/// Lower Cholesky factor L of S·N·S, where S scales N's diagonal to one; row by row, n × n.
#[derive(Clone, Debug)]
pub struct Dense {
    n: usize,
    lower: Few,
    scale: Few,
    /// Unknowns whose pivot vanished: held at zero by an infinite pivot.
    pub pinned: Vec<usize>,
}

/// Scale of a diagonal entry; 0 for an unknown that no equation touches.
pub(super) fn scale_of(diagonal: f64) -> f64 {
    if diagonal > 0.0 && diagonal.is_finite() {
        diagonal.sqrt().recip()
    } else {
        0.0
    }
}

impl Dense {
    /// Factors a symmetric matrix, given row by row (only its lower triangle is read); `damping` is added to the
    /// scaled diagonal.
    #[must_use]
    pub fn factor(n: usize, matrix: impl Into<Few>, damping: f64) -> Self {
        let mut matrix = matrix.into();
        let scale: Few = (0..n).map(|i| scale_of(matrix[i * n + i])).collect();
        let mut pinned = Vec::new();
        for i in 0..n {
            for j in 0..=i {
                let mut sum = matrix[i * n + j] * scale[i] * scale[j];
                if i == j {
                    sum *= 1.0 + damping;
                }
                for k in 0..j {
                    sum -= matrix[i * n + k] * matrix[j * n + k];
                }
                matrix[i * n + j] = if i != j {
                    sum / matrix[j * n + j]
                } else if sum > PIVOT {
                    sum.sqrt()
                } else {
                    pinned.push(i);
                    f64::INFINITY
                };
            }
        }
        Self {
            n,
            lower: matrix,
            scale,
            pinned,
        }
    }

    /// Number of unknowns.
    #[must_use]
    pub fn len(&self) -> usize {
        self.n
    }

    /// No unknowns at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.n == 0
    }

    /// L⁻¹S·b in place: aN⁻¹bᵀ is the product of two such.
    pub(super) fn half(&self, b: &mut [f64]) {
        let n = self.n;
        for i in 0..n {
            let row = &self.lower[i * n..i * n + i];
            let sum: f64 = row.iter().zip(b.iter()).map(|(l, y)| l * y).sum();
            b[i] = (b[i] * self.scale[i] - sum) / self.lower[i * n + i];
        }
    }

    /// Solves N·x = b in place.
    pub fn solve(&self, b: &mut [f64]) {
        let n = self.n;
        self.half(b);
        for i in (0..n).rev() {
            let (head, tail) = b.split_at_mut(i + 1);
            let below = self.lower[i * n + i..].iter().step_by(n).skip(1);
            let sum: f64 = below.zip(tail.iter()).map(|(l, x)| l * x).sum();
            head[i] = (head[i] - sum) / self.lower[i * n + i];
        }
        for (x, s) in b.iter_mut().zip(&self.scale) {
            *x *= s;
        }
    }

    /// The inverse of N, row by row; zero in the rows of pinned unknowns.
    #[must_use]
    pub fn inverse(&self) -> Vec<f64> {
        let n = self.n;
        let mut inverse = vec![0.0; n * n];
        let mut column: Few = smallvec![0.0; n];
        for j in 0..n {
            column.fill(0.0);
            column[j] = 1.0;
            self.solve(&mut column);
            for i in j..n {
                inverse[i * n + j] = column[i];
                inverse[j * n + i] = column[i];
            }
        }
        inverse
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inverse_times_matrix_is_the_unit_matrix() {
        let n = 4;
        let a: Vec<f64> = (0..n * n).map(|i| ((i * 7919) % 13) as f64 - 6.0).collect();
        let mut matrix = vec![0.0; n * n];
        for i in 0..n {
            for j in 0..n {
                matrix[i * n + j] = (0..n).map(|k| a[i * n + k] * a[j * n + k]).sum::<f64>();
            }
        }
        let inverse = Dense::factor(n, matrix.clone(), 0.0).inverse();
        for i in 0..n {
            for j in 0..n {
                let got: f64 = (0..n).map(|k| inverse[i * n + k] * matrix[k * n + j]).sum();
                let want = if i == j { 1.0 } else { 0.0 };
                assert!((got - want).abs() < 1e-9, "{i} {j}: {got}");
            }
        }
    }

    #[test]
    fn what_nothing_determines_is_pinned_and_named() {
        // x + y is known, x - y is not.
        let factor = Dense::factor(3, vec![1.0, 1.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0, 4.0], 0.0);
        assert_eq!(factor.pinned, [1]);
        let mut b = vec![2.0, 2.0, 4.0];
        factor.solve(&mut b);
        assert_eq!(b, [2.0, 0.0, 1.0]);
        assert!(factor.inverse().iter().all(|x| x.is_finite()));
    }
}
