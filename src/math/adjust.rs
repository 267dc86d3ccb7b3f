//! Weighted non-linear least squares: Gauss–Newton, damped where it would diverge.
//!
//! The unknowns are those of *nodes* (a point's two coordinates, a height, …), `width` each, and some *shared*
//! ones that many equations hold (a shift of a datum, the parameters of a similarity). Nodes that no equation joins are
//! solved apart; the shared unknowns are eliminated exactly: with a part's normal matrix N, its coupling C to
//! the shared unknowns and theirs S, the reduced matrix is S − Σ CᵀN⁻¹C over the parts. A million parts
//! with one shared shift therefore cost what a million parts cost.

use super::iterate;
use super::parts::{Parts, split};
use super::solution::Solution;

/// One linearised equation. Unknown numbers: `node * width + i`, then the shared ones.
#[derive(Clone, Debug, Default)]
pub struct Row {
    /// Observed less computed.
    pub misclosure: f64,
    /// One-sigma of the observed value, above zero.
    pub sigma: f64,
    /// Unknown and partial derivative; an unknown may appear more than once.
    pub terms: Vec<(u32, f64)>,
}

impl Row {
    /// Empties the row for the next equation.
    pub fn clear(&mut self) {
        self.terms.clear();
        self.misclosure = 0.0;
        self.sigma = 1.0;
    }
}

/// The current values of the unknowns that an equation may ask for.
#[derive(Clone, Copy)]
pub struct Values<'a> {
    local: &'a [f64],
    /// Node → place, empty for the identity.
    place: &'a [u32],
    base: usize,
    width: usize,
    own: usize,
    shared: &'a [f64],
}

impl<'a> Values<'a> {
    /// All unknowns in their own order; `own` of them belong to nodes.
    #[must_use]
    pub fn whole(values: &'a [f64], own: usize) -> Self {
        let (local, shared) = values.split_at(own);
        Self {
            local,
            place: &[],
            base: 0,
            width: 1,
            own,
            shared,
        }
    }

    pub(super) fn part(parts: &'a Parts, base: usize, local: &'a [f64], shared: &'a [f64]) -> Self {
        let own = parts.place.len() * parts.width;
        Self {
            local,
            place: &parts.place,
            base,
            width: parts.width,
            own,
            shared,
        }
    }

    /// Value of an unknown.
    #[must_use]
    pub fn get(&self, unknown: u32) -> f64 {
        let unknown = unknown as usize;
        if unknown >= self.own {
            self.shared[unknown - self.own]
        } else if self.place.is_empty() {
            self.local[unknown]
        } else {
            let (node, within) = split(unknown, self.width);
            self.local[self.place[node] as usize * self.width + within - self.base]
        }
    }
}

/// A problem to be solved.
pub trait Model: Sync {
    /// Number of nodes.
    fn nodes(&self) -> usize;
    /// Unknowns of each node.
    fn width(&self) -> usize;
    /// Shared unknowns.
    fn shared(&self) -> usize;
    /// Equations.
    fn rows(&self) -> usize;
    /// Writes equation `i`, linearised at `values`, into an empty row. The unknowns it names must not depend on the
    /// values.
    fn row(&self, i: usize, values: &Values<'_>, row: &mut Row);
}

/// How long an end is looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effort {
    /// As long as there may be one: for what is stated.
    Whole,
    /// For one of many that are compared: what ends at all mostly does within 20 iterations, and what determines nothing never does
    /// (measured).
    Trial,
}

impl Effort {
    /// No more of them are made. Our choice.
    pub(super) const fn iterations(self) -> usize {
        match self {
            Self::Whole => 200,
            Self::Trial => 30,
        }
    }
}

/// Solves a problem from starting values (nodes' unknowns, then shared ones). Equations for which `skip` says true
/// are left out.
///
/// Never fails: what the equations don't determine is listed in the solution and kept near its start.
pub fn adjust<M: Model>(
    model: &M,
    start: &[f64],
    skip: &(dyn Fn(usize) -> bool + Sync),
) -> Solution {
    adjust_with(model, start, skip, Effort::Whole)
}

/// The same with so much effort.
pub fn adjust_with<M: Model>(
    model: &M,
    start: &[f64],
    skip: &(dyn Fn(usize) -> bool + Sync),
    effort: Effort,
) -> Solution {
    let parts = Parts::new(model, start);
    iterate::solve(model, parts, start, (skip, effort))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// y = a + b·x by one node of two unknowns, and a shared offset with its own equation.
    struct Line {
        points: Vec<(f64, f64)>,
        shared: bool,
    }

    impl Model for Line {
        fn nodes(&self) -> usize {
            1
        }
        fn width(&self) -> usize {
            2
        }
        fn shared(&self) -> usize {
            usize::from(self.shared)
        }
        fn rows(&self) -> usize {
            self.points.len() + usize::from(self.shared)
        }
        fn row(&self, i: usize, values: &Values<'_>, row: &mut Row) {
            row.sigma = 0.1;
            if let Some(&(x, y)) = self.points.get(i) {
                row.terms.extend([(0, 1.0), (1, x)]);
                row.misclosure = y - values.get(0) - values.get(1) * x;
                if self.shared {
                    row.terms.push((2, 1.0));
                    row.misclosure -= values.get(2);
                }
            } else {
                row.terms.push((2, 1.0));
                row.misclosure = -values.get(2);
            }
        }
    }

    fn line(shared: bool) -> Line {
        Line {
            points: vec![(0.0, 1.0), (1.0, 3.1), (2.0, 4.9), (3.0, 7.0)],
            shared,
        }
    }

    #[test]
    fn a_line_and_its_covariance() {
        let solution = adjust(&line(false), &[0.0, 0.0], &|_| false);
        assert!(
            (solution.values[0] - 1.03).abs() < 1e-12 && (solution.values[1] - 1.98).abs() < 1e-12
        );
        // σ²·(1/n + x̄²/Sxx), σ²/Sxx
        assert!((solution.covariance(0, 0) - 0.01 * (0.25 + 2.25 / 5.0)).abs() < 1e-15);
        assert!((solution.covariance(1, 1) - 0.01 / 5.0).abs() < 1e-15);
    }

    #[test]
    fn a_shared_offset_widens_what_it_moves_and_nothing_else() {
        let solution = adjust(&line(true), &[0.0, 0.0, 0.0], &|_| false);
        assert!((solution.values[0] - 1.03).abs() < 1e-12);
        assert!((solution.covariance(0, 0) - 0.01 * (0.25 + 2.25 / 5.0) - 0.01).abs() < 1e-12);
        assert!((solution.covariance(1, 1) - 0.01 / 5.0).abs() < 1e-12);
        assert!((solution.covariance(0, 2) + 0.01).abs() < 1e-12);
    }

    #[test]
    fn what_is_not_determined_is_named() {
        let two = Line {
            points: vec![(1.0, 1.0), (1.0, 1.1)],
            shared: false,
        };
        assert_eq!(adjust(&two, &[0.0, 0.0], &|_| false).loose, [0]);
        assert_eq!(adjust(&line(false), &[0.0, 0.0], &|i| i > 0).loose, [0]);
    }
}
