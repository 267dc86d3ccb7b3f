//! Normal equations of one part, assembled and factored: dense while small, sparse when large.

use std::sync::Arc;

use smallvec::smallvec;

use super::dense::{Dense, Few};
use super::sparse::{Pattern, Sparse};

/// Up to here a dense factor is faster than a sparse one and its whole inverse costs little memory: our choice.
pub(super) const DENSE: usize = 160;

/// The normal matrix while it is being summed up.
pub(super) enum Normal<'a> {
    /// n × n, lower triangle.
    Dense(usize, Few),
    /// Upper triangle in the pattern's order.
    Sparse(&'a Arc<Pattern>, Vec<f64>),
}

impl<'a> Normal<'a> {
    pub(super) fn new(n: usize, pattern: Option<&'a Arc<Pattern>>) -> Self {
        match pattern {
            None => Self::Dense(n, smallvec![0.0; n * n]),
            Some(pattern) => Self::Sparse(pattern, vec![0.0; pattern.entries()]),
        }
    }

    /// Adds weight · aᵀa of an equation's unknowns and partial derivatives; `room` is anything.
    pub(super) fn add(
        &mut self,
        terms: &[(usize, f64)],
        weight: f64,
        room: &mut Vec<(usize, f64)>,
    ) {
        match self {
            Self::Dense(n, matrix) => {
                for (k, &(p, a)) in terms.iter().enumerate() {
                    matrix[p * *n + p] += a * a * weight;
                    for &(q, b) in &terms[k + 1..] {
                        // An unknown named twice meets itself on the diagonal twice.
                        let times = if p == q { 2.0 } else { 1.0 };
                        matrix[p.max(q) * *n + p.min(q)] += times * a * b * weight;
                    }
                }
            }
            Self::Sparse(pattern, lower) => pattern.add(lower, terms, weight, room),
        }
    }

    /// Entry of unknowns i and j.
    pub(super) fn get(&self, i: usize, j: usize) -> f64 {
        match self {
            Self::Dense(n, matrix) => matrix[i.max(j) * n + i.min(j)],
            Self::Sparse(pattern, upper) => pattern.entry(i, j).map_or(0.0, |at| upper[at]),
        }
    }

    pub(super) fn factor(&self, damping: f64) -> Factor {
        match self {
            Self::Dense(n, matrix) => Factor::Dense(Dense::factor(*n, matrix.clone(), damping)),
            Self::Sparse(pattern, upper) => {
                Factor::Sparse(Sparse::factor(Arc::clone(pattern), upper, damping))
            }
        }
    }
}

/// The factored normal matrix.
pub(super) enum Factor {
    Dense(Dense),
    Sparse(Sparse),
}

impl Factor {
    pub(super) fn solve(&self, b: &mut [f64]) {
        match self {
            Self::Dense(factor) => factor.solve(b),
            Self::Sparse(factor) => factor.solve(b),
        }
    }

    pub(super) fn is_sparse(&self) -> bool {
        matches!(self, Self::Sparse(_))
    }

    pub(super) fn pinned(&self) -> &[usize] {
        match self {
            Self::Dense(factor) => &factor.pinned,
            Self::Sparse(factor) => &factor.pinned,
        }
    }
}
