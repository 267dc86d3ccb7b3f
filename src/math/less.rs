//! A large part solved again without a few of its equations.
//!
//! With Q the inverse of the normal matrix of all equations, R those left out and P their weights, that of the others is
//! Q + QRᵀ(P⁻¹ − RQRᵀ)⁻¹RQ (J. Sherman and W. J. Morrison, 1950; M. A. Woodbury, 1950; from memory, the tests compare it with
//! solving anew). So an equation left out costs one solution, where the factor and the inverse of all the others cost what the
//! first adjustment did.

use rayon::prelude::*;

use super::adjust::{Model, Row, Values};
use super::dense::Dense;
use super::iterate::{DONE, SHRINKING};
use super::solution::{Covariances, Estimate, Form, Solution, product};
use super::sparse::Sparse;

/// Most equations left out: our choice, by when solving anew is as cheap.
const MOST: usize = 64;
const MOST_STEPS: usize = 10;
/// An equation whose residual has less than this part of its variance is determined by no others: our choice, far above rounding.
const LEAST_LEFT: f64 = 1e-8;

/// A solution of which one large part is without some equations. Their directions, and those of the others, are taken where `whole`
/// ends: covariances are good to about the part in a hundred by which steps must get shorter each time.
pub struct Less<'a> {
    whole: &'a Solution,
    /// Of the part, all others as they were.
    values: Vec<f64>,
    part: usize,
    factor: &'a Sparse,
    out: Vec<Row>,
    /// The part's equations that stay.
    staying: Vec<u32>,
    /// QRᵀ: all the part's unknowns, for each equation left out.
    moved: Vec<Vec<f64>>,
    /// The same times the transposed inverse of P⁻¹ − RQRᵀ's factor, unknown after unknown.
    halves: Vec<f64>,
}

impl<'a> Less<'a> {
    /// Leaves nothing out yet of the part that an equation is in, if that is a large one without shared unknowns.
    pub fn begin<M: Model>(model: &M, whole: &'a Solution, equation: u32) -> Option<Self> {
        let row = row_at(model, equation, &whole.values);
        let (part, factor) = whole.sparse_part(&row.terms)?;
        let parts = whole.parts();
        Some(Self {
            whole,
            values: whole.values.clone(),
            part,
            factor,
            out: Vec::new(),
            staying: parts.rows_of(&parts.list[part]).to_vec(),
            moved: Vec::new(),
            halves: Vec::new(),
        })
    }

    /// Leaves out further equations of the part. `None` where solving anew serves better: too many are left out, the others don't
    /// determine everything, or the end is too far from that of all.
    #[must_use]
    pub fn without<M: Model>(mut self, model: &M, equations: &[u32]) -> Option<Self> {
        if self.out.len() + equations.len() > MOST {
            return None;
        }
        let rows = equations
            .iter()
            .map(|&i| row_at(model, i, &self.whole.values));
        let rows: Vec<Row> = rows.collect();
        let moved = rows.par_iter().map(|row| {
            let mut column = vec![0.0; self.unknowns().len()];
            for term in &row.terms {
                let (local, a) = self.whole.local(self.part, term)?;
                column[local] += a;
            }
            self.factor.solve(&mut column);
            Some(column)
        });
        let moved: Vec<Vec<f64>> = moved.collect::<Option<_>>()?;
        self.out.extend(rows);
        self.moved.extend(moved);
        self.staying.retain(|row| !equations.contains(row));
        self.halve()?;
        self.settle(model)?;
        Some(self)
    }

    fn unknowns(&self) -> std::ops::Range<usize> {
        let parts = self.whole.parts();
        parts.range(&parts.list[self.part])
    }

    /// `None` where the equations that stay don't determine everything.
    fn halve(&mut self) -> Option<()> {
        let k = self.out.len();
        let mut between = vec![0.0; k * k];
        for (i, row) in self.out.iter().enumerate() {
            for (j, column) in self.moved.iter().enumerate() {
                let covariance: Option<f64> = row
                    .terms
                    .iter()
                    .map(|term| self.whole.local(self.part, term))
                    .map(|term| term.map(|(local, a)| a * column[local]))
                    .sum();
                let own = if i == j { row.sigma * row.sigma } else { 0.0 };
                between[i * k + j] = own - covariance?;
            }
            if between[i * k + i] < LEAST_LEFT * row.sigma * row.sigma {
                return None;
            }
        }
        let between = Dense::factor(k, between, 0.0);
        if !between.pinned.is_empty() {
            return None;
        }
        let n = self.unknowns().len();
        self.halves.clear();
        self.halves.reserve(n * k);
        for unknown in 0..n {
            let first = self.halves.len();
            self.halves
                .extend(self.moved.iter().map(|column| column[unknown]));
            between.half(&mut self.halves[first..]);
        }
        Some(())
    }

    /// Steps from the present values to where the equations that stay end.
    fn settle<M: Model>(&mut self, model: &M) -> Option<()> {
        let n = self.unknowns().len();
        let own = self.whole.own_unknowns();
        let mut last = f64::INFINITY;
        for _ in 0..MOST_STEPS {
            let mut right = vec![0.0; n];
            let mut squares = 0.0;
            let mut row = Row::default();
            for &i in &self.staying {
                row.clear();
                model.row(i as usize, &Values::whole(&self.values, own), &mut row);
                let weight = (row.sigma * row.sigma).recip();
                squares += row.misclosure * row.misclosure * weight;
                for term in &row.terms {
                    let (local, a) = self.whole.local(self.part, term)?;
                    right[local] += a * weight * row.misclosure;
                }
            }
            let mut step = right.clone();
            self.factor.solve(&mut step);
            let terms = right.iter().enumerate();
            let half = self.half(terms.map(|(local, b)| (local, *b)));
            for (step, halves) in step
                .iter_mut()
                .zip(self.halves.chunks_exact(half.len().max(1)))
            {
                *step += product(halves, &half);
            }
            let gain = product(&step, &right);
            let done = gain <= DONE * (squares + 1.0);
            let shrinks = gain < SHRINKING * last;
            if !done && !shrinks {
                return None;
            }
            for (local, step) in step.into_iter().enumerate() {
                self.values[self.whole.unknown(self.part, local)] += step;
            }
            if done {
                return Some(());
            }
            last = gain;
        }
        None
    }

    /// A form of the part's unknowns times [`Self::halves`].
    fn half(&self, form: impl Iterator<Item = (usize, f64)>) -> Vec<f64> {
        let k = self.out.len();
        let mut half = vec![0.0; k];
        for (local, a) in form {
            for (sum, value) in half.iter_mut().zip(&self.halves[local * k..]) {
                *sum += a * value;
            }
        }
        half
    }

    /// The same of the unknowns of all parts, zero of any other's.
    fn half_of(&self, form: &Form) -> Vec<f64> {
        let local = |term| self.whole.local(self.part, term);
        self.half(form.iter().filter_map(local))
    }
}

impl Estimate for Less<'_> {
    fn values(&self) -> &[f64] {
        &self.values
    }

    fn variance(&self, form: &Form) -> f64 {
        let half = self.half_of(form);
        self.whole.variance(form) + product(&half, &half)
    }

    fn covariances<'s>(&'s self, form: &'s Form) -> Covariances<'s> {
        let (of_whole, half) = (self.whole.covariances(form), self.half_of(form));
        Box::new(move |other| of_whole(other) + product(&half, &self.half_of(other)))
    }
}

fn row_at<M: Model>(model: &M, equation: u32, values: &[f64]) -> Row {
    let mut row = Row::default();
    row.clear();
    let own = model.nodes() * model.width();
    model.row(equation as usize, &Values::whole(values, own), &mut row);
    row
}

#[cfg(test)]
mod tests {
    use super::super::adjust::adjust;
    use super::*;

    /// Distances between the points of a lattice of 20 m, and the coordinates of its corners.
    struct Web {
        side: usize,
        /// From, to, length, whether it is wrong.
        tapes: Vec<(usize, usize, f64, bool)>,
    }

    impl Web {
        fn place(&self, i: usize) -> [f64; 2] {
            [20.0 * (i % self.side) as f64, 20.0 * (i / self.side) as f64]
        }

        fn new(side: usize, wrong: f64) -> Self {
            let mut this = Self {
                side,
                tapes: Vec::new(),
            };
            for i in 0..side * side {
                for step in [1, side, side + 1, 2 * side + 1] {
                    let (from, to) = (this.place(i), this.place(i + step));
                    let length = (to[0] - from[0]).hypot(to[1] - from[1]);
                    if i + step < side * side && length < 50.0 {
                        // A millimetre or two, and a blunder here and there.
                        let noise = ((i * 37 + step * 11) % 17) as f64 * 2e-4 - 1.6e-3;
                        let is_wrong = (i * 7 + step) % 101 == 3;
                        let blunder = if is_wrong { wrong } else { 0.0 };
                        this.tapes
                            .push((i, i + step, length + noise + blunder, is_wrong));
                    }
                }
            }
            this
        }

        fn corner(&self, row: usize) -> Option<usize> {
            let k = row.checked_sub(self.tapes.len())? / 2;
            Some(
                [
                    0,
                    self.side - 1,
                    self.side * (self.side - 1),
                    self.side * self.side - 1,
                ][k],
            )
        }
    }

    impl Model for Web {
        fn nodes(&self) -> usize {
            self.side * self.side
        }
        fn width(&self) -> usize {
            2
        }
        fn shared(&self) -> usize {
            0
        }
        fn rows(&self) -> usize {
            self.tapes.len() + 8
        }
        fn row(&self, i: usize, values: &Values<'_>, row: &mut Row) {
            row.sigma = 0.002;
            if let Some(node) = self.corner(i) {
                let unknown = (2 * node + i % 2) as u32;
                row.terms.push((unknown, 1.0));
                row.misclosure = self.place(node)[i % 2] - values.get(unknown);
                return;
            }
            let (a, b, length, _) = self.tapes[i];
            let [p, q] = [a, b].map(|i| [2 * i as u32, 2 * i as u32 + 1]);
            let (x, y) = (
                values.get(q[0]) - values.get(p[0]),
                values.get(q[1]) - values.get(p[1]),
            );
            let now = x.hypot(y);
            row.misclosure = length - now;
            let (x, y) = (x / now, y / now);
            row.terms
                .extend([(p[0], -x), (p[1], -y), (q[0], x), (q[1], y)]);
        }
    }

    fn start(web: &Web) -> Vec<f64> {
        let places = (0..web.nodes()).flat_map(|i| web.place(i));
        places
            .enumerate()
            .map(|(i, x)| x + (i % 5) as f64 * 0.1)
            .collect()
    }

    fn blundered(web: &Web) -> Vec<u32> {
        let rows = 0..web.tapes.len() as u32;
        rows.filter(|i| web.tapes[*i as usize].3).collect()
    }

    /// In two rounds: as solved from the beginning, and its covariances as closely as is said.
    #[test]
    fn less_is_as_from_the_beginning() {
        let web = Web::new(12, 0.03);
        let out = blundered(&web);
        let (first, later) = out.split_at(out.len() / 2);
        assert!(first.len() >= 2);
        let whole = adjust(&web, &start(&web), &|_| false);
        let less = Less::begin(&web, &whole, first[0]).unwrap();
        let less = less
            .without(&web, first)
            .and_then(|less| less.without(&web, later));
        let less = less.unwrap();
        let anew = adjust(&web, &start(&web), &|i| out.contains(&(i as u32)));
        let (mut moved, mut differ) = (0.0_f64, false);
        for (i, (a, b)) in less.values().iter().zip(&anew.values).enumerate() {
            assert!((a - b).abs() < 1e-7, "{a} {b}");
            moved = moved.max((a - whole.values[i]).abs());
        }
        assert!(moved > 0.005, "{moved}");
        let row = |i| row_at(&web, i, &anew.values).terms;
        for i in 0..web.rows() as u32 {
            let (a, b) = (less.variance(&row(i)), anew.variance(&row(i)));
            assert!((a - b).abs() < 0.01 * b, "{i}: {a} {b}");
            differ |= (a - whole.variance(&row(i))).abs() > 0.05 * a;
            // Near and far.
            let form = row((i + i * i) % web.rows() as u32);
            let (a, c) = (
                less.covariances(&row(i))(&form),
                anew.covariances(&row(i))(&form),
            );
            assert!((a - c).abs() < 0.01 * b, "{i}: {a} {c}");
        }
        // What is left out is missed: the comparison is about something.
        assert!(differ);
    }

    #[test]
    fn what_is_better_solved_anew_is_refused() {
        // Metres wrong: directions are others without it.
        let web = Web::new(12, 4.0);
        let out = blundered(&web);
        let whole = adjust(&web, &start(&web), &|_| false);
        let begin = || Less::begin(&web, &whole, out[0]).unwrap();
        assert!(begin().without(&web, &out).is_none());
        // All that reaches a point, and more than pays.
        let web = Web::new(12, 0.0);
        let whole = adjust(&web, &start(&web), &|_| false);
        let begin = || Less::begin(&web, &whole, 0).unwrap();
        let at = |i: &u32| [web.tapes[*i as usize].0, web.tapes[*i as usize].1].contains(&65);
        let of_point: Vec<u32> = (0..web.tapes.len() as u32).filter(at).collect();
        assert!(begin().without(&web, &of_point).is_none());
        assert!(begin().without(&web, &of_point[2..]).is_some());
        let many: Vec<u32> = (0..=MOST as u32).map(|i| 3 * i).collect();
        assert!(begin().without(&web, &many).is_none());
        // A small part has its whole inverse.
        let web = Web::new(5, 0.0);
        let whole = adjust(&web, &start(&web), &|_| false);
        assert!(Less::begin(&web, &whole, 0).is_none());
    }
}
