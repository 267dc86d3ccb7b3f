//! Newton's method with the bends of the equations: for small parts that Gauss–Newton brings to no end.
//!
//! Gauss–Newton takes the equations for straight. Where a residual times its equation's bend outweighs what holds a direction (a poor fix
//! beside a good tape: the tape's residual pushes along its arc more than the fix holds), undamped steps cross the lowest place again and
//! again, and damped ones creep. Here the second derivatives are taken in as well, by differences of the first ones.

use super::adjust::{Effort, Model, Row, Values};
use super::dense::Dense;
use super::iterate::{DONE, Setting, harder};
use super::parts::split;

/// Of more unknowns, differences would take too long: our choice.
const MOST: usize = 300;
/// No more steps are made: our choice; a handful does from where Gauss–Newton creeps.
const STEPS: usize = 60;
/// A mean square of the residuals beyond this is of gross errors, whose bends lead anywhere: our choice.
const GROSS: f64 = 25.0;
/// The sum of squares may seem to grow by this part at the end through rounding alone: of coordinates of 100 m, not of 100 km.
const STILL: f64 = 1e-13;
/// Over so much of its one-sigma, were all else known, an unknown is moved for the differences: our choice.
const PART: f64 = 0.01;

/// Where the unknowns of a set stand: by their place in the slice of values, then the shared ones.
struct Unknowns {
    at: Vec<usize>,
    /// The other way round.
    number: Vec<usize>,
    shared: usize,
}

impl Unknowns {
    fn len(&self) -> usize {
        self.at.len() + self.shared
    }

    fn value<'v>(&self, i: usize, (x, shared): (&'v mut [f64], &'v mut [f64])) -> &'v mut f64 {
        match self.at.get(i) {
            Some(at) => &mut x[*at],
            None => &mut shared[i - self.at.len()],
        }
    }
}

/// Half the fall of the sum of squares along each unknown, how strongly each is held, and the sum.
struct Slope {
    fall: Vec<f64>,
    held: Vec<f64>,
    squares: f64,
    /// Equations.
    rows: usize,
}

impl<M: Model> Setting<'_, M> {
    /// Brings a set to where its sum of squares is least; the sum there, or `None`, and nothing moved, where it gets nowhere.
    pub(super) fn newton(
        &self,
        set: &[u32],
        (x, shared): (&mut [f64], &mut [f64]),
        with_shared: bool,
    ) -> Option<f64> {
        if self.effort != Effort::Whole {
            return None;
        }
        let at: Vec<usize> = set
            .iter()
            .flat_map(|p| self.range(&self.parts.list[*p as usize]))
            .collect();
        let mut number = vec![usize::MAX; x.len()];
        for (i, at) in at.iter().enumerate() {
            number[*at] = i;
        }
        let unknowns = Unknowns {
            at,
            number,
            shared: if with_shared { shared.len() } else { 0 },
        };
        let n = unknowns.len();
        if n > MOST {
            return None;
        }
        let (mut here_x, mut here_shared) = (x.to_vec(), shared.to_vec());
        let mut slope = self.slope(set, (&here_x, &here_shared), &unknowns);
        let mut damping = 0.0;
        for _ in 0..STEPS {
            let bent = self.bent(set, (&mut here_x, &mut here_shared), &unknowns, &slope)?;
            let scale = slope.squares + 1.0;
            loop {
                let mut matrix = bent.clone();
                for (i, held) in slope.held.iter().enumerate() {
                    matrix[i * n + i] += damping * held;
                }
                let factor = Dense::factor(n, matrix, 0.0);
                let mut step = slope.fall.clone();
                factor.solve(&mut step);
                let gain: f64 = step.iter().zip(&slope.fall).map(|(a, b)| a * b).sum();
                let mut there = (here_x.clone(), here_shared.clone());
                for (i, by) in step.iter().enumerate() {
                    *unknowns.value(i, (&mut there.0, &mut there.1)) += by;
                }
                let next = self.slope(set, (&there.0, &there.1), &unknowns);
                let lower = next.squares <= slope.squares + STILL * scale;
                if factor.pinned.is_empty() && lower {
                    (here_x, here_shared) = there;
                    slope = next;
                    if damping == 0.0 && gain <= DONE * scale {
                        if slope.squares > GROSS * slope.rows as f64 {
                            return None;
                        }
                        x.copy_from_slice(&here_x);
                        shared.copy_from_slice(&here_shared);
                        return Some(slope.squares);
                    }
                    damping = if damping < 1e-3 { 0.0 } else { damping * 0.1 };
                    break;
                }
                damping = harder(damping);
                if damping > 1e12 {
                    return None;
                }
            }
        }
        None
    }

    /// The slope at some values.
    fn slope(&self, set: &[u32], (x, shared): (&[f64], &[f64]), unknowns: &Unknowns) -> Slope {
        let mut slope = Slope {
            fall: vec![0.0; unknowns.len()],
            held: vec![0.0; unknowns.len()],
            squares: 0.0,
            rows: 0,
        };
        let mut row = Row::default();
        let mut add = |rows: &[u32], values: &Values<'_>| {
            for i in self.used(rows) {
                row.clear();
                self.model.row(i, values, &mut row);
                let weight = (row.sigma * row.sigma).recip();
                slope.rows += 1;
                slope.squares += row.misclosure * row.misclosure * weight;
                for &(unknown, a) in &row.terms {
                    if let Some(i) = self.number(unknown, unknowns) {
                        slope.fall[i] += a * weight * row.misclosure;
                        slope.held[i] += a * a * weight;
                    }
                }
            }
        };
        for p in set {
            let part = &self.parts.list[*p as usize];
            add(self.parts.rows_of(part), &self.values(part, x, shared));
        }
        if unknowns.shared > 0 {
            let values = Values::part(self.parts, 0, &[], shared);
            add(&self.parts.shared_rows, &values);
        }
        slope
    }

    /// The number of an unknown of the model among those of the set.
    fn number(&self, unknown: u32, unknowns: &Unknowns) -> Option<usize> {
        let unknown = unknown as usize;
        if unknown >= self.own {
            let shared = unknown - self.own;
            return (shared < unknowns.shared).then_some(unknowns.at.len() + shared);
        }
        let width = self.parts.width;
        let (node, within) = split(unknown, width);
        let at = self.parts.place[node] as usize * width + within - self.offset;
        unknowns.number.get(at).copied().filter(|i| *i < usize::MAX)
    }

    /// Half the second derivatives of the sum of squares; `None` where something is held by nothing.
    fn bent(
        &self,
        set: &[u32],
        (x, shared): (&mut [f64], &mut [f64]),
        unknowns: &Unknowns,
        slope: &Slope,
    ) -> Option<Vec<f64>> {
        let n = unknowns.len();
        let mut matrix = vec![0.0; n * n];
        for i in 0..n {
            let by = PART / slope.held[i].sqrt();
            if !by.is_finite() {
                return None;
            }
            let was = *unknowns.value(i, (x, shared));
            let mut fall = |value: f64| {
                *unknowns.value(i, (x, shared)) = value;
                self.slope(set, (x, shared), unknowns).fall
            };
            let (before, after) = (fall(was - by), fall(was + by));
            *unknowns.value(i, (x, shared)) = was;
            for (j, (before, after)) in before.iter().zip(&after).enumerate() {
                // Each pair is met from both sides: their mean.
                let half = (before - after) / (4.0 * by);
                matrix[i * n + j] += half;
                matrix[j * n + i] += half;
            }
        }
        Some(matrix)
    }
}
