//! The iterations: assemble, eliminate, step, until the steps vanish.

use rayon::prelude::*;
use smallvec::smallvec;

use super::adjust::{Effort, Model, Row, Values};
use super::dense::{Dense, Few};
use super::factor::{Factor, Normal};
use super::parts::{Part, Parts, split};
use super::solution::{Block, Solution};

/// Parts are worked off in bundles of this size, summed in order: the same sums whatever the number of threads.
const BUNDLE: usize = 256;
/// A step that would lower the sum of squares by less than this, in units of it plus one, is the last: steps of
/// 1e-6 σ. Our choice; far below anything that is printed.
pub(super) const DONE: f64 = 1e-12;
/// Damping of the first step when care is called for.
const CAREFUL: f64 = 1.0;
/// A large part's factor serves for further steps once a step lowers the sum of squares by less than this part of it and one: by then
/// directions hardly change. Such steps that gain no more than [`SHRINKING`] of the one before go on; else it is made anew. Our choice.
const NEAR: f64 = 1e-2;
pub(super) const SHRINKING: f64 = 1e-4;
/// A step is near the end where it lowers the sum of squares by less than this part of it and one: what overshoots there would do so again.
const OVERSHOOT: f64 = 1e-4;
/// Damping that is kept for what overshoots near the end is raised no further than by a step from here: our choice.
const FIRM: f64 = 1e3;
/// A step that gains less than this part of what the linear equations promised went too far: our choice.
const SHORT: f64 = 0.25;
/// The sum of squares may seem to grow by this part through rounding alone (coordinates of 100 km, sigmas of
/// 5 mm): no reason to damp.
const ROUNDING: f64 = 1e-7;

type Skip<'a> = &'a (dyn Fn(usize) -> bool + Sync);

/// A part's equations at the present values, eliminated.
pub(super) struct Eliminated {
    pub(super) factor: Factor,
    /// N⁻¹b.
    step: Few,
    /// b, right-hand side.
    right: Few,
    /// The shared unknowns that it holds.
    pub(super) shared: Vec<u32>,
    /// N⁻¹C, unknown by unknown, one column for each of `shared`.
    pub(super) coupling: Vec<f64>,
    /// Null vectors' nodes, if some unknown is not determined (only when asked for).
    pub(super) loose: Vec<u32>,
}

/// Sums over the shared unknowns.
#[derive(Clone)]
pub(super) struct SharedSums {
    pub(super) matrix: Vec<f64>,
    right: Vec<f64>,
    squares: f64,
}

impl SharedSums {
    fn new(k: usize) -> Self {
        Self {
            matrix: vec![0.0; k * k],
            right: vec![0.0; k],
            squares: 0.0,
        }
    }

    fn add(&mut self, other: &Self) {
        self.matrix
            .iter_mut()
            .zip(&other.matrix)
            .for_each(|(a, b)| *a += b);
        self.right
            .iter_mut()
            .zip(&other.right)
            .for_each(|(a, b)| *a += b);
        self.squares += other.squares;
    }

    /// Adds the terms of an equation in shared unknowns only; `column` maps an unknown to a column.
    fn add_row(&mut self, row: &Row, own: usize) {
        let k = self.right.len();
        let weight = (row.sigma * row.sigma).recip();
        for &(i, a) in row.terms.iter().filter(|(i, _)| *i as usize >= own) {
            self.right[i as usize - own] += a * weight * row.misclosure;
            for &(j, b) in row.terms.iter().filter(|(j, _)| *j as usize >= own) {
                self.matrix[(i as usize - own) * k + j as usize - own] += a * b * weight;
            }
        }
    }
}

/// Room for one equation after another.
#[derive(Default)]
struct Scratch {
    row: Row,
    coupled: Vec<(u32, u32, f64)>,
    terms: Vec<(usize, f64)>,
    global: Vec<(u32, f64)>,
    placed: Vec<(usize, f64)>,
}

/// What is fixed during a solution.
pub(super) struct Setting<'a, M> {
    pub(super) model: &'a M,
    pub(super) parts: &'a Parts,
    skip: Skip<'a>,
    pub(super) effort: Effort,
    pub(super) own: usize,
    /// Where the slice of unknowns that the methods are given begins.
    pub(super) offset: usize,
}

impl<M: Model> Setting<'_, M> {
    /// Where a part's unknowns stand in the slice that the methods are given.
    pub(super) fn range(&self, part: &Part) -> std::ops::Range<usize> {
        let range = self.parts.range(part);
        range.start - self.offset..range.end - self.offset
    }

    /// Those of some equations that take part.
    pub(super) fn used<'r>(&'r self, rows: &'r [u32]) -> impl Iterator<Item = usize> + 'r {
        rows.iter()
            .map(|i| *i as usize)
            .filter(|i| !(self.skip)(*i))
    }

    fn squares(&self, rows: &[u32], values: &Values<'_>, row: &mut Row) -> f64 {
        let mut sum = 0.0;
        for i in self.used(rows) {
            row.clear();
            self.model.row(i, values, row);
            sum += (row.misclosure / row.sigma).powi(2);
        }
        sum
    }

    pub(super) fn values<'v>(&'v self, part: &Part, x: &'v [f64], shared: &'v [f64]) -> Values<'v> {
        Values::part(
            self.parts,
            self.parts.range(part).start,
            &x[self.range(part)],
            shared,
        )
    }

    /// Assembles and eliminates a part, adding its share to `sums`.
    fn eliminate(
        &self,
        part: &Part,
        x: &[f64],
        shared: &[f64],
        (damping, last): (f64, bool),
        sums: &mut SharedSums,
        scratch: &mut Scratch,
    ) -> Eliminated {
        let n = self.parts.range(part).len();
        let (base, width) = (self.parts.range(part).start, self.parts.width);
        let values = self.values(part, x, shared);
        let mut normal = Normal::new(n, part.pattern.as_ref());
        let mut right: Few = smallvec![0.0; n];
        let Scratch {
            row,
            coupled,
            terms,
            global,
            placed,
        } = scratch;
        coupled.clear();
        for i in self.used(self.parts.rows_of(part)) {
            row.clear();
            self.model.row(i, &values, row);
            let weight = (row.sigma * row.sigma).recip();
            sums.squares += row.misclosure * row.misclosure * weight;
            sums.add_row(row, self.own);
            terms.clear();
            global.clear();
            for &(unknown, a) in &row.terms {
                if (unknown as usize) < self.own {
                    terms.push((self.local(unknown, base, width), a));
                } else {
                    global.push((unknown, a));
                }
            }
            normal.add(terms, weight, placed);
            for &(p, a) in terms.iter() {
                right[p] += a * weight * row.misclosure;
                coupled.extend(
                    global
                        .iter()
                        .map(|&(g, b)| (g - self.own as u32, p as u32, a * b * weight)),
                );
            }
        }
        self.finish(&normal, right, coupled, (damping, last), sums)
    }

    /// A part's equations at other values, with the factor that it has: [`Self::eliminate`] without what costs most.
    fn again(
        &self,
        part: &Part,
        x: &[f64],
        shared: &[f64],
        done: &mut Eliminated,
        sums: &mut SharedSums,
    ) {
        let (base, width) = (self.parts.range(part).start, self.parts.width);
        let values = self.values(part, x, shared);
        let mut row = Row::default();
        done.right.fill(0.0);
        for i in self.used(self.parts.rows_of(part)) {
            row.clear();
            self.model.row(i, &values, &mut row);
            let weight = (row.sigma * row.sigma).recip();
            sums.squares += row.misclosure * row.misclosure * weight;
            for &(unknown, a) in &row.terms {
                done.right[self.local(unknown, base, width)] += a * weight * row.misclosure;
            }
        }
        done.step.copy_from_slice(&done.right);
        done.factor.solve(&mut done.step);
    }

    fn local(&self, unknown: u32, base: usize, width: usize) -> usize {
        let (node, within) = split(unknown as usize, width);
        self.parts.place[node] as usize * width + within - base
    }

    fn finish(
        &self,
        normal: &Normal<'_>,
        right: Few,
        coupled: &[(u32, u32, f64)],
        (damping, last): (f64, bool),
        sums: &mut SharedSums,
    ) -> Eliminated {
        let n = right.len();
        let mut shared: Vec<u32> = coupled.iter().map(|c| c.0).collect();
        shared.sort_unstable();
        shared.dedup();
        let k = shared.len();
        let mut raw = vec![vec![0.0; n]; k];
        for &(g, p, value) in coupled {
            if let Ok(column) = shared.binary_search(&g) {
                raw[column][p as usize] += value;
            }
        }
        let factor = normal.factor(damping);
        let mut step = right.clone();
        factor.solve(&mut step);
        let mut coupling = vec![0.0; n * k];
        let all = self.parts.shared;
        for (c, column) in raw.iter().enumerate() {
            let mut solved = column.clone();
            factor.solve(&mut solved);
            for (r, other) in raw.iter().enumerate() {
                let sum: f64 = other.iter().zip(&solved).map(|(a, b)| a * b).sum();
                sums.matrix[shared[r] as usize * all + shared[c] as usize] -= sum;
            }
            let along: f64 = column.iter().zip(&step).map(|(a, b)| a * b).sum();
            sums.right[shared[c] as usize] -= along;
            for (p, value) in solved.into_iter().enumerate() {
                coupling[p * k + c] = value;
            }
        }
        let loose = if last {
            loose(&factor, normal, n)
        } else {
            Vec::new()
        };
        Eliminated {
            factor,
            step,
            right,
            shared,
            coupling,
            loose,
        }
    }

    /// One pass over a set of parts: each eliminated, and the sums over the shared unknowns.
    fn pass(
        &self,
        set: &[u32],
        x: &[f64],
        shared: &[f64],
        how: (f64, bool),
        scratch: &mut Scratch,
    ) -> (Vec<Eliminated>, SharedSums) {
        let bundle = |bundle: &[u32], scratch: &mut Scratch| {
            let mut sums = SharedSums::new(self.parts.shared);
            let done = bundle.iter().map(|&p| {
                let part = &self.parts.list[p as usize];
                self.eliminate(part, x, shared, how, &mut sums, scratch)
            });
            (done.collect::<Vec<_>>(), sums)
        };
        if set.len() <= BUNDLE {
            return bundle(set, scratch);
        }
        let bundles: Vec<(Vec<Eliminated>, SharedSums)> = set
            .par_chunks(BUNDLE)
            .map_init(Scratch::default, |scratch, set| bundle(set, scratch))
            .collect();
        let mut all = Vec::with_capacity(set.len());
        let mut sums = SharedSums::new(self.parts.shared);
        for (done, part) in bundles {
            all.extend(done);
            sums.add(&part);
        }
        (all, sums)
    }

    /// The last pass, at the adjusted values: what each part leaves behind, and the sums over the shared unknowns.
    fn covariances(&self, set: &[u32], x: &[f64], shared: &[f64]) -> (Vec<Block>, SharedSums) {
        let mut blocks: Vec<Block> = Vec::with_capacity(set.len());
        let mut sums = SharedSums::new(self.parts.shared);
        let mut scratch = Scratch::default();
        // Bundle by bundle, so that a million factors never exist at once.
        for group in set.chunks(BUNDLE * 64) {
            let (done, part) = self.pass(group, x, shared, (0.0, true), &mut scratch);
            sums.add(&part);
            blocks.par_extend(done.into_par_iter().map(Block::new));
        }
        self.shared_rows(shared, &mut sums);
        (blocks, sums)
    }

    /// Equations of shared unknowns only.
    fn shared_rows(&self, shared: &[f64], sums: &mut SharedSums) {
        let values = Values::part(self.parts, 0, &[], shared);
        let mut row = Row::default();
        for i in self.used(&self.parts.shared_rows) {
            row.clear();
            self.model.row(i, &values, &mut row);
            sums.squares += (row.misclosure / row.sigma).powi(2);
            sums.add_row(&row, self.own);
        }
    }

    fn total(
        &self,
        set: &[u32],
        x: &[f64],
        shared: &[f64],
        with_shared: bool,
        scratch: &mut Scratch,
    ) -> f64 {
        let bundle = |bundle: &[u32], row: &mut Row| -> f64 {
            let each = bundle.iter().map(|&p| {
                let part = &self.parts.list[p as usize];
                let values = self.values(part, x, shared);
                self.squares(self.parts.rows_of(part), &values, row)
            });
            each.sum()
        };
        let mut sum: f64 = if set.len() <= BUNDLE {
            bundle(set, &mut scratch.row)
        } else {
            let bundles: Vec<f64> = set
                .par_chunks(BUNDLE)
                .map_init(Row::default, |row, set| bundle(set, row))
                .collect();
            bundles.iter().sum()
        };
        if with_shared {
            let mut sums = SharedSums::new(self.parts.shared);
            self.shared_rows(shared, &mut sums);
            sum += sums.squares;
        }
        sum
    }

    /// Iterates a set of parts, and the shared unknowns with it if `with_shared`; how it ended. Where the first way ends nowhere or
    /// leaves an unknown free, it is tried again from the start with care; where that ends nowhere either, with the bends of the equations.
    fn settle(
        &self,
        set: &[u32],
        x: &mut [f64],
        shared: &mut [f64],
        with_shared: bool,
        scratch: &mut Scratch,
    ) -> End {
        let (mut other_x, mut other_shared) = (Few::from_slice(x), Few::from_slice(shared));
        let first = self.iterate(set, x, shared, with_shared, 0.0, scratch);
        if first.ended && !first.pinned {
            return first;
        }
        let second = self.iterate(
            set,
            &mut other_x,
            &mut other_shared,
            with_shared,
            CAREFUL,
            scratch,
        );
        let better = second.squares < first.squares * (1.0 - ROUNDING);
        let neither = !first.ended && !second.ended;
        if better && neither || second.ended && (better || !first.ended) {
            x.copy_from_slice(&other_x);
            shared.copy_from_slice(&other_shared);
        }
        if neither && let Some(squares) = self.newton(set, (x, shared), with_shared) {
            return End {
                ended: true,
                pinned: false,
                squares,
                last: None,
            };
        }
        End {
            ended: first.ended || second.ended,
            last: None,
            ..second
        }
    }

    /// Solves a part that holds no shared unknowns, from its values among all of them.
    fn alone(&self, p: u32, x: &[f64], shared: &[f64], scratch: &mut Scratch) -> Settled {
        let mut values = Few::from_slice(&x[self.parts.range(&self.parts.list[p as usize])]);
        let mut still = Few::from_slice(shared);
        let end = self.settle(&[p], &mut values, &mut still, false, scratch);
        // What determines everything leaves its covariances at once.
        let last = end
            .last
            .filter(|_| !end.pinned)
            .and_then(|mut parts| parts.pop());
        Settled {
            values,
            ended: end.ended,
            block: last.map(|done| (Block::new(done), end.squares)),
        }
    }

    fn iterate(
        &self,
        set: &[u32],
        x: &mut [f64],
        shared: &mut [f64],
        with_shared: bool,
        damping: f64,
        scratch: &mut Scratch,
    ) -> End {
        let mut damping = damping;
        // Damping without which the steps near the end overshoot: residuals so large that they bend the equations.
        let mut floor: f64 = 0.0;
        let mut kept: Option<Vec<Eliminated>> = None;
        let (mut last_gain, mut creeping) = (f64::INFINITY, false);
        let mut end = End {
            ended: false,
            pinned: false,
            squares: f64::INFINITY,
            last: None,
        };
        for _ in 0..self.effort.iterations() {
            let again = kept.is_some();
            let step = self.step(set, x, shared, with_shared, (damping, kept.take()), scratch);
            end.pinned = step.pinned;
            let squares = self.total(set, &step.x, &step.shared, with_shared, scratch);
            let scale = step.squares + 1.0;
            if squares.is_finite() && squares <= step.squares + ROUNDING * scale {
                x.copy_from_slice(&step.x);
                shared.copy_from_slice(&step.shared);
                end.squares = squares;
                if step.gain <= DONE * scale
                    && damping <= floor
                    && (damping == 0.0 || self.stands(set, x, shared, with_shared, scratch))
                {
                    end.ended = true;
                    end.last = (!again && damping == 0.0).then_some(step.parts);
                    return end;
                }
                if !again && damping <= FIRM && step.overshoots(squares, last_gain) {
                    damping = harder(damping);
                    floor = damping;
                } else if step.squares - squares > SHORT * step.gain
                    || step.gain <= ROUNDING * scale
                {
                    let less = if damping < 1e-4 { 0.0 } else { damping * 0.1 };
                    damping = less.max(floor);
                }
                let serves = step.parts.iter().all(|part| part.factor.is_sparse())
                    && !with_shared
                    && !step.pinned
                    && damping == 0.0
                    && step.gain <= NEAR * scale
                    && (!again || step.gain <= SHRINKING * last_gain);
                last_gain = step.gain;
                creeping = step.gain <= ROUNDING * scale;
                kept = serves.then_some(step.parts);
            } else if damping > 1e12 {
                return end;
            } else {
                damping = harder(damping);
                if step.gain <= OVERSHOOT * scale && damping <= FIRM {
                    floor = damping;
                }
                creeping = false;
                last_gain = f64::INFINITY;
            }
        }
        // Creeping, but by so little that it is there.
        end.ended = creeping && self.stands(set, x, shared, with_shared, scratch);
        end
    }

    /// Whether an undamped step from the present values would gain next to nothing: damping makes any step look small.
    fn stands(
        &self,
        set: &[u32],
        x: &[f64],
        shared: &[f64],
        with_shared: bool,
        scratch: &mut Scratch,
    ) -> bool {
        let step = self.step(set, x, shared, with_shared, (0.0, None), scratch);
        !step.pinned && step.gain <= ROUNDING * (step.squares + 1.0)
    }

    /// One step from the present values, not yet judged; with the factors of an earlier one, if they are given.
    fn step(
        &self,
        set: &[u32],
        x: &[f64],
        shared: &[f64],
        with_shared: bool,
        (damping, kept): (f64, Option<Vec<Eliminated>>),
        scratch: &mut Scratch,
    ) -> Step {
        let (parts, mut sums) = match kept {
            None => self.pass(set, x, shared, (damping, false), scratch),
            Some(mut parts) => {
                let mut sums = SharedSums::new(self.parts.shared);
                for (&p, done) in set.iter().zip(&mut parts) {
                    let part = &self.parts.list[p as usize];
                    self.again(part, x, shared, done, &mut sums);
                }
                (parts, sums)
            }
        };
        if with_shared {
            self.shared_rows(shared, &mut sums);
        }
        let k = if with_shared { shared.len() } else { 0 };
        let factor = Dense::factor(k, sums.matrix[..k * k].to_vec(), damping);
        let mut move_shared = sums.right.clone();
        factor.solve(&mut move_shared[..k]);
        let mut gain: f64 = move_shared[..k]
            .iter()
            .zip(&sums.right)
            .map(|(a, b)| a * b)
            .sum();
        let mut pinned = !factor.pinned.is_empty();
        let mut trial = Few::from_slice(x);
        for (&p, done) in set.iter().zip(&parts) {
            pinned |= !done.factor.pinned().is_empty();
            let range = self.range(&self.parts.list[p as usize]);
            for (i, target) in trial[range].iter_mut().enumerate() {
                gain += done.step[i] * done.right[i];
                let shift: f64 = done
                    .columns(i)
                    .map(|(g, c)| c * move_shared[g as usize])
                    .sum();
                *target += done.step[i] - if with_shared { shift } else { 0.0 };
            }
        }
        let shared = shared
            .iter()
            .enumerate()
            .map(|(i, g)| g + if i < k { move_shared[i] } else { 0.0 })
            .collect();
        Step {
            x: trial,
            parts,
            shared,
            gain,
            squares: sums.squares,
            pinned,
        }
    }
}

/// A step to be judged.
struct Step {
    x: Few,
    parts: Vec<Eliminated>,
    shared: Few,
    /// By how much the linear equations say that the sum of squares falls.
    gain: f64,
    /// Sum of squares before it.
    squares: f64,
    pinned: bool,
}

impl Step {
    /// Whether it went too far, near the end, where the next would do the same: it gained little, or, where rounding hides what it
    /// gained, it promises more than the one before.
    fn overshoots(&self, squares: f64, last_gain: f64) -> bool {
        let scale = self.squares + 1.0;
        if self.gain > OVERSHOOT * scale {
            false
        } else if self.gain > ROUNDING * scale {
            self.squares - squares < SHORT * self.gain
        } else {
            self.gain > DONE * scale && self.gain > last_gain
        }
    }
}

pub(super) const fn harder(damping: f64) -> f64 {
    (damping * 10.0).max(1e-3)
}

/// How iterations ended.
struct End {
    /// The steps vanished.
    ended: bool,
    /// Some unknown is not determined there.
    pinned: bool,
    squares: f64,
    /// The parts as eliminated for the last step, which moved nothing; unless an earlier factor served for it.
    last: Option<Vec<Eliminated>>,
}

impl Eliminated {
    /// Shared unknowns and N⁻¹C of a local unknown.
    fn columns(&self, unknown: usize) -> impl Iterator<Item = (u32, f64)> + '_ {
        let k = self.shared.len();
        self.shared.iter().copied().zip(
            self.coupling[unknown * k..(unknown + 1) * k]
                .iter()
                .copied(),
        )
    }
}

/// Local unknowns that can move without any equation noticing: the null vectors of the pinned ones.
fn loose(factor: &Factor, normal: &Normal<'_>, n: usize) -> Vec<u32> {
    let pinned = factor.pinned();
    if pinned.is_empty() {
        return Vec::new();
    }
    let diagonal = |i: usize| normal.get(i, i).max(f64::MIN_POSITIVE).sqrt();
    let mut found: Vec<u32> = Vec::new();
    for &p in pinned {
        let mut z: Vec<f64> = (0..n).map(|i| -normal.get(i, p)).collect();
        factor.solve(&mut z);
        z[p] = 1.0;
        // Scaled as the factor is; 1e-4 stands far above the rounding of a null vector.
        found.extend(
            (0..n)
                .filter(|&i| i == p || z[i].abs() * diagonal(i) > 1e-4 * diagonal(p))
                .map(|i| i as u32),
        );
    }
    found.sort_unstable();
    found.dedup();
    found
}

/// A part without shared unknowns, solved.
struct Settled {
    values: Few,
    ended: bool,
    /// What it leaves behind and its sum of squares, where that is known already.
    block: Option<(Block, f64)>,
}

/// Solves: parts without shared unknowns each by itself, the coupled ones together.
pub(super) fn solve<M: Model>(
    model: &M,
    parts: Parts,
    start: &[f64],
    (skip, effort): (Skip<'_>, Effort),
) -> Solution {
    let own = model.nodes() * model.width();
    let setting = Setting {
        model,
        parts: &parts,
        skip,
        effort,
        own,
        offset: 0,
    };
    let width = parts.width;
    let mut x: Vec<f64> = parts
        .order
        .iter()
        .flat_map(|&n| &start[n as usize * width..][..width])
        .copied()
        .collect();
    let mut shared = start[own..].to_vec();
    let (coupled, alone): (Vec<u32>, Vec<u32>) =
        (0..parts.list.len() as u32).partition(|&p| parts.list[p as usize].coupled);
    let mut failed: Vec<u32> = Vec::new();

    let one = |scratch: &mut Scratch, p: &u32| {
        let offset = parts.range(&parts.list[*p as usize]).start;
        let setting = Setting {
            model,
            parts: &parts,
            skip,
            effort,
            own,
            offset,
        };
        setting.alone(*p, &x, &shared, scratch)
    };
    let done: Vec<Settled> = alone.par_iter().map_init(Scratch::default, one).collect();
    let mut blocks: Vec<Option<Block>> = vec![None; parts.list.len()];
    let mut squares = 0.0;
    for (&p, settled) in alone.iter().zip(done) {
        let range = parts.range(&parts.list[p as usize]);
        x[range].copy_from_slice(&settled.values);
        if !settled.ended {
            failed.push(p);
        }
        if let Some((block, own)) = settled.block {
            blocks[p as usize] = Some(block);
            squares += own;
        }
    }
    if !shared.is_empty() {
        let mut scratch = Scratch::default();
        let end = setting.settle(&coupled, &mut x, &mut shared, true, &mut scratch);
        if !end.ended {
            failed.extend(&coupled);
        }
    }

    let missing: Vec<u32> = (0..parts.list.len() as u32)
        .filter(|&p| blocks[p as usize].is_none())
        .collect();
    let (found, sums) = setting.covariances(&missing, &x, &shared);
    for (p, block) in missing.into_iter().zip(found) {
        blocks[p as usize] = Some(block);
    }
    squares += sums.squares;
    let blocks = blocks.into_iter().flatten().collect();
    let factor = Dense::factor(shared.len(), sums.matrix.clone(), 0.0);
    Solution::assemble(
        parts,
        &x,
        shared,
        blocks,
        (&factor, &sums.matrix),
        squares,
        &failed,
    )
}

#[cfg(test)]
mod tests {
    use super::super::adjust::adjust;
    use super::*;

    /// One point by lengths from known ones: place, length; one-sigma 20 mm.
    struct Taped(Vec<([f64; 2], f64)>);

    impl Model for Taped {
        fn nodes(&self) -> usize {
            1
        }
        fn width(&self) -> usize {
            2
        }
        fn shared(&self) -> usize {
            0
        }
        fn rows(&self) -> usize {
            self.0.len()
        }
        fn row(&self, i: usize, values: &Values<'_>, row: &mut Row) {
            let (from, length) = self.0[i];
            let (e, n) = (values.get(0) - from[0], values.get(1) - from[1]);
            let far = e.hypot(n);
            row.sigma = 0.02;
            row.misclosure = length - far;
            row.terms.extend([(0, e / far), (1, n / far)]);
        }
    }

    /// Residuals of metres bend the equations so far that undamped steps, and somewhat damped ones, cross the lowest place again and again.
    #[test]
    fn gross_errors_end() {
        let tapes = vec![
            ([2.74, 20.33], 3.207),
            ([16.22, -3.25], 11.785),
            ([11.23, 3.69], 3.219),
        ];
        let solution = adjust(&Taped(tapes.clone()), &[9.48, 6.39], &|_| false);
        assert!(solution.failed.is_empty() && solution.loose.is_empty());
        let lower = |by: [f64; 2]| {
            let at: Vec<f64> = solution.values.iter().zip(by).map(|(a, b)| a + b).collect();
            let squares = |&([e, n], length): &([f64; 2], f64)| {
                ((length - (at[0] - e).hypot(at[1] - n)) / 0.02).powi(2)
            };
            tapes.iter().map(squares).sum::<f64>() < solution.squares - 1e-3
        };
        let steps = [[0.01, 0.0], [-0.01, 0.0], [0.0, 0.01], [0.0, -0.01]];
        assert!(!steps.into_iter().any(lower), "{:?}", solution.values);
    }
}
