//! Sparse Cholesky with a fill-reducing order, and those entries of the inverse that lie in the factor's pattern.
//!
//! Columns of (almost) one pattern are eliminated together in a dense *front*, which hands what is left to the
//! front that meets it next: the multifrontal method (I. S. Duff and J. K. Reid, 1983). The selected inverse is Takahashi's
//! recursion (K. Takahashi and others, 1973) by the same fronts. Both from memory; the tests compare them with the
//! dense solution. No fused multiplication, and every sum
//! in one order whatever the number of threads: the same digits on every machine.

#![allow(
    clippy::inline_always,
    reason = "a processor's own instructions reach only what is inlined into where they were asked for"
)]

mod pattern;
mod product;

use std::ops::Range;
use std::sync::Arc;

use rayon::prelude::*;

use pattern::Front;
pub(super) use pattern::Pattern;
use product::{View, is_wide, subtract, subtract_wide};

use super::dense::{PIVOT, scale_of};

/// So many columns of a front are eliminated before the others hear of them.
const PANEL: usize = 8;
/// So many columns of a large front hear of it together.
const GROUP: usize = 16;

/// A numeric factor.
#[derive(Clone, Debug)]
pub(super) struct Sparse {
    pattern: Arc<Pattern>,
    /// Front by front, its columns of L: own unknowns and later ones, column after column.
    value: Vec<f64>,
    /// Scale of each unknown, in the order of elimination.
    scale: Vec<f64>,
    /// Unknowns whose pivot vanished.
    pub(super) pinned: Vec<usize>,
    /// Entries of the scaled inverse where the factor has its own, once asked for.
    inverse: Vec<f64>,
}

/// The matrix of a front while it is worked on: own and later unknowns, column after column, lower triangle.
#[derive(Default)]
struct Matrix {
    size: usize,
    value: Vec<f64>,
}

impl Matrix {
    /// All zeros, for the next front.
    fn renew(&mut self, size: usize) {
        self.size = size;
        cleared(&mut self.value, size * size);
    }

    /// Eliminates the first `own` columns; says by `pinned` which had no pivot left: nothing determines them, and an infinite one holds
    /// them at zero.
    fn eliminate(&mut self, own: usize, pinned: impl FnMut(usize)) {
        pulp::Arch::new().dispatch(|| self.eliminate_here(own, pinned));
    }

    #[inline(always)]
    fn eliminate_here(&mut self, own: usize, mut pinned: impl FnMut(usize)) {
        let m = self.size;
        for first in (0..own).step_by(PANEL) {
            let end = (first + PANEL).min(own);
            for p in first..end {
                let (before, rest) = self.value.split_at_mut(p * m);
                let column = &mut rest[p..m];
                for q in first..p {
                    let l = before[q * m + p];
                    for (c, b) in column.iter_mut().zip(&before[q * m + p..(q + 1) * m]) {
                        *c -= l * b;
                    }
                }
                let d = column[0];
                if d > PIVOT {
                    let pivot = d.sqrt();
                    column[0] = pivot;
                    column[1..].iter_mut().for_each(|c| *c /= pivot);
                } else {
                    pinned(p);
                    column.fill(0.0);
                    column[0] = f64::INFINITY;
                }
            }
            let (panel, rest) = self.value.split_at_mut(end * m);
            let panel = &panel[first * m..];
            if is_wide((m - end) * (m - end) * (end - first) / 2) {
                let groups = rest.par_chunks_mut(GROUP * m).enumerate();
                groups.for_each(|(group, columns)| {
                    let at = end + group * GROUP;
                    pulp::Arch::new().dispatch(|| hear(panel, m, at, columns));
                });
            } else {
                hear(panel, m, end, rest);
            }
        }
    }
}

/// Takes a panel of eliminated columns, each of `m`, from later columns that begin with the one numbered `at`.
#[inline(always)]
fn hear(panel: &[f64], m: usize, at: usize, columns: &mut [f64]) {
    for (pair, j) in columns.chunks_mut(2 * m).zip((at..m).step_by(2)) {
        let panel_below = &panel[j..];
        let across = View {
            values: panel_below,
            down: m,
            across: 1,
        };
        let size = (m - j, panel.len() / m, (m - j).min(2));
        subtract((&mut pair[j..], m), (panel_below, m), across, size);
    }
}

/// Makes room for so many zeros, where there is none already.
fn cleared(values: &mut Vec<f64>, size: usize) -> &mut [f64] {
    values.clear();
    values.resize(size, 0.0);
    values
}

/// A matrix to be factored.
#[derive(Clone, Copy)]
struct Given<'a> {
    pattern: &'a Pattern,
    lower: &'a [f64],
    scale: &'a [f64],
    damping: f64,
}

/// Some fronts being factored.
struct Factored<'a> {
    first: usize,
    /// Their columns of L.
    value: &'a mut [f64],
    /// What they leave for their parents, each until it is taken.
    left: Vec<Vec<f64>>,
    pinned: Vec<usize>,
}

impl Given<'_> {
    /// Factors fronts that follow each other, of which all children are among them or in `others`.
    fn factor<'v>(
        &self,
        fronts: Range<usize>,
        value: &'v mut [f64],
        others: &mut [Vec<f64>],
    ) -> Factored<'v> {
        let w = self.pattern.width;
        let mut this = Factored {
            first: fronts.start,
            value,
            left: vec![Vec::new(); fronts.len()],
            pinned: Vec::new(),
        };
        let base = self.pattern.values(fronts.clone()).start;
        let mut matrix = Matrix::default();
        for f in fronts {
            let front = &self.pattern.fronts[f];
            let (own, m) = (front.nodes * w, front.height() * w);
            matrix.renew(m);
            self.gather(front, &mut matrix);
            for &child in &front.children {
                let part = match (child as usize).checked_sub(this.first) {
                    Some(inside) => std::mem::take(&mut this.left[inside]),
                    None => std::mem::take(&mut others[child as usize]),
                };
                let map = &self.pattern.fronts[child as usize].in_parent;
                add_lower(&part, map, w, &mut matrix);
            }
            matrix.eliminate(own, |p| this.pinned.push(front.first * w + p));
            this.value[front.value - base..][..m * own].copy_from_slice(&matrix.value[..m * own]);
            let mut rest = Vec::with_capacity((m - own) * (m - own));
            for column in matrix.value[m * own..].chunks_exact(m) {
                rest.extend_from_slice(&column[own..]);
            }
            this.left[f - this.first] = rest;
        }
        this
    }

    /// A front's own columns of the scaled matrix.
    fn gather(&self, front: &Front, matrix: &mut Matrix) {
        let (w, m) = (self.pattern.width, matrix.size);
        for column in 0..front.nodes {
            for (row, at) in self.pattern.column(front.first + column) {
                let Some(to) = front.local(row).map(|local| local * w) else {
                    continue;
                };
                for j in 0..w {
                    let by = self.scale[(front.first + column) * w + j];
                    for i in 0..w {
                        matrix.value[(column * w + j) * m + to + i] =
                            self.lower[at + j * w + i] * self.scale[row as usize * w + i] * by;
                    }
                }
            }
            for j in column * w..(column + 1) * w {
                matrix.value[j * m + j] *= 1.0 + self.damping;
            }
        }
    }
}

impl Sparse {
    /// Factors the matrix whose lower triangle's values stand in the pattern's order.
    pub(super) fn factor(pattern: Arc<Pattern>, lower: &[f64], damping: f64) -> Self {
        let w = pattern.width;
        let mut scale = Vec::with_capacity(pattern.nodes() * w);
        for node in 0..pattern.nodes() {
            if let Some((_, at)) = pattern.column(node).next() {
                scale.extend((0..w).map(|i| scale_of(lower[at + i * w + i])));
            }
        }
        let mut value = vec![0.0; pattern.size];
        let given = Given {
            pattern: &pattern,
            lower,
            scale: &scale,
            damping,
        };
        let mut pinned = Vec::new();
        // What each front leaves for its parent.
        let mut left: Vec<Vec<f64>> = vec![Vec::new(); pattern.fronts.len()];
        let done: Vec<Factored<'_>> = slices(&pattern, &mut value)
            .into_par_iter()
            .map(|(fronts, value)| given.factor(fronts, value, &mut []))
            .collect();
        for mut some in done {
            if let Some(last) = some.left.pop() {
                left[some.first + some.left.len()] = last;
            }
            pinned.append(&mut some.pinned);
        }
        for fronts in pattern.above() {
            let value = &mut value[pattern.values(fronts.clone())];
            let mut some = given.factor(fronts, value, &mut left);
            for (at, part) in some.left.into_iter().enumerate() {
                left[some.first + at] = part;
            }
            pinned.append(&mut some.pinned);
        }
        pinned.sort_unstable();
        // By the caller's numbers.
        let pinned: Vec<usize> = (0..scale.len())
            .filter(|&u| pinned.binary_search(&pattern.unknown(u)).is_ok())
            .collect();
        Self {
            pattern,
            value,
            scale,
            pinned,
            inverse: Vec::new(),
        }
    }

    /// Solves N·x = b in place, in the caller's order.
    pub(super) fn solve(&self, b: &mut [f64]) {
        let w = self.pattern.width;
        let mut x = vec![0.0; b.len()];
        for (u, value) in b.iter().enumerate() {
            let p = self.pattern.unknown(u);
            x[p] = value * self.scale[p];
        }
        let mut later = Vec::new();
        for front in &self.pattern.fronts {
            self.forward(front, &mut x, &mut later);
        }
        for front in self.pattern.fronts.iter().rev() {
            let own = front.nodes * w;
            let first = front.first * w;
            later.clear();
            for &place in &front.later {
                later.extend_from_slice(&x[place as usize * w..][..w]);
            }
            for (j, column) in self.columns(front).rev() {
                let among: f64 = column[j + 1..own]
                    .iter()
                    .zip(&x[first + j + 1..])
                    .map(|(l, x)| l * x)
                    .sum();
                let after: f64 = column[own..].iter().zip(&later).map(|(l, x)| l * x).sum();
                x[first + j] = (x[first + j] - among - after) / column[j];
            }
        }
        for (u, value) in b.iter_mut().enumerate() {
            let p = self.pattern.unknown(u);
            *value = x[p] * self.scale[p];
        }
    }

    /// Takes a front's own unknowns from those that it meets later, as far as L⁻¹ goes.
    fn forward(&self, front: &Front, x: &mut [f64], later: &mut Vec<f64>) {
        let w = self.pattern.width;
        let (own, m) = (front.nodes * w, front.height() * w);
        let first = front.first * w;
        cleared(later, m - own);
        for (j, column) in self.columns(front) {
            let xj = x[first + j] / column[j];
            x[first + j] = xj;
            for (x, l) in x[first + j + 1..].iter_mut().zip(&column[j + 1..own]) {
                *x -= l * xj;
            }
            for (y, l) in later.iter_mut().zip(&column[own..]) {
                *y += l * xj;
            }
        }
        for (place, y) in front.later.iter().zip(later.chunks_exact(w)) {
            for (x, y) in x[*place as usize * w..].iter_mut().zip(y) {
                *x -= y;
            }
        }
    }

    /// L⁻¹ times a form of few unknowns: with Q = N⁻¹, aQbᵀ is the product of two such. Only the fronts from the unknowns up to the root
    /// have a part in it, which is far less than a solution.
    pub(super) fn half(&self, form: &[(usize, f64)]) -> Vec<f64> {
        let pattern = &*self.pattern;
        let mut x = vec![0.0; self.scale.len()];
        let mut met = vec![false; pattern.fronts.len()];
        for &(unknown, a) in form {
            let p = pattern.unknown(unknown);
            x[p] += a * self.scale[p];
            let mut front = Some(pattern.front_at(p));
            while let Some(f) = front.filter(|f| !met[*f]) {
                met[f] = true;
                front = pattern.fronts[f].parent.map(|up| up as usize);
            }
        }
        let mut later = Vec::new();
        for (front, _) in pattern.fronts.iter().zip(met).filter(|(_, met)| *met) {
            self.forward(front, &mut x, &mut later);
        }
        x
    }

    fn columns(&self, front: &Front) -> impl DoubleEndedIterator<Item = (usize, &[f64])> {
        let w = self.pattern.width;
        let (own, m) = (front.nodes * w, front.height() * w);
        self.value[front.value..][..m * own]
            .chunks_exact(m)
            .enumerate()
    }

    /// Works out the entries of the inverse in the factor's pattern.
    ///
    /// With L₁₁ a front's own triangle, L₂₁ what stands below it, and Z₂₂ the inverse between the later unknowns, which the parent
    /// knows: Y = L₂₁L₁₁⁻¹, Z₂₁ = −Z₂₂Y and Z₁₁ = L₁₁⁻ᵀL₁₁⁻¹ − YᵀZ₂₁.
    pub(super) fn invert(&mut self) {
        let pattern = &*self.pattern;
        let mut inverse = vec![0.0; self.value.len()];
        // Whole inverses of the fronts above all subtrees, where children ask for them.
        let mut whole: Vec<Vec<f64>> = vec![Vec::new(); pattern.fronts.len()];
        for fronts in pattern.above().into_iter().rev() {
            let z = &mut inverse[pattern.values(fronts.clone())];
            let done = self.invert_fronts(fronts.clone(), z, &whole);
            whole.splice(fronts, done);
        }
        slices(pattern, &mut inverse)
            .into_par_iter()
            .for_each(|(fronts, z)| drop(self.invert_fronts(fronts, z, &whole)));
        self.inverse = inverse;
    }

    /// Inverts fronts that follow each other, of which all parents are among them or in `others`; the whole inverses of those that have
    /// children elsewhere.
    fn invert_fronts(
        &self,
        fronts: Range<usize>,
        z: &mut [f64],
        others: &[Vec<f64>],
    ) -> Vec<Vec<f64>> {
        let (w, all) = (self.pattern.width, &self.pattern.fronts);
        let base = self.pattern.values(fronts.clone()).start;
        let mut whole: Vec<Vec<f64>> = vec![Vec::new(); fronts.len()];
        let mut room = Room::default();
        let mut later = Vec::new();
        let mut waiting: Vec<usize> = all[fronts.clone()]
            .iter()
            .map(|front| front.children.len())
            .collect();
        for f in fronts.clone().rev() {
            let front = &all[f];
            let (own, m) = (front.nodes * w, front.height() * w);
            later.clear();
            if let Some(up) = front.parent.map(|up| up as usize) {
                let size = all[up].height() * w;
                if fronts.contains(&up) {
                    let up = up - fronts.start;
                    selected(&whole[up], size, &front.in_parent, w, &mut later);
                    waiting[up] -= 1;
                    if waiting[up] == 0 {
                        whole[up] = Vec::new();
                    }
                } else {
                    selected(&others[up], size, &front.in_parent, w, &mut later);
                }
            }
            let z = &mut z[front.value - base..][..m * own];
            let l = &self.value[front.value..][..m * own];
            room.invert(l, (own, m), &later, z);
            if !front.children.is_empty() {
                let mut inverse = vec![0.0; m * m];
                inverse[..m * own].copy_from_slice(z);
                let rest = inverse[m * own..].chunks_exact_mut(m);
                for (to, from) in rest.zip(later.chunks_exact((m - own).max(1))) {
                    to[own..].copy_from_slice(from);
                }
                whole[f - fronts.start] = inverse;
            }
        }
        whole
    }

    /// aQaᵀ of a form of few unknowns, if all entries of the inverse that it asks for lie in the factor's pattern and [`Self::invert`] has
    /// run.
    pub(super) fn variance(&self, form: &[(usize, f64)]) -> Option<f64> {
        if self.inverse.is_empty() {
            return None;
        }
        let (mut sum, mut last) = (0.0, None);
        for (k, &(u, a)) in form.iter().enumerate() {
            let p = self.pattern.unknown(u);
            for (l, &(v, b)) in form[k..].iter().enumerate() {
                let q = self.pattern.unknown(v);
                let at = self
                    .pattern
                    .factor_entry_at(p.max(q), p.min(q), &mut last)?;
                let times = if l > 0 { 2.0 } else { 1.0 };
                sum += times * a * b * (self.inverse[at] * self.scale[p] * self.scale[q]);
            }
        }
        Some(sum)
    }

    /// An entry of the inverse, if it lies in the factor's pattern and [`Self::invert`] has run.
    pub(super) fn inverse_entry(&self, a: usize, b: usize) -> Option<f64> {
        if self.inverse.is_empty() {
            return None;
        }
        let at = self.pattern.factor_entry(a, b)?;
        let (p, q) = (self.pattern.unknown(a), self.pattern.unknown(b));
        Some(self.inverse[at] * self.scale[p] * self.scale[q])
    }
}

/// The values of each subtree.
fn slices<'a>(pattern: &Pattern, values: &'a mut [f64]) -> Vec<(Range<usize>, &'a mut [f64])> {
    let mut rest = values;
    let mut at = 0;
    let mut all = Vec::with_capacity(pattern.subtrees.len());
    for fronts in &pattern.subtrees {
        let range = pattern.values(fronts.clone());
        let (_, from) = rest.split_at_mut(range.start - at);
        let (own, after) = from.split_at_mut(range.len());
        all.push((fronts.clone(), own));
        (rest, at) = (after, range.end);
    }
    all
}

/// Adds a lower triangle of nodes to those of a matrix that `map` tells.
fn add_lower(part: &[f64], map: &[u32], w: usize, matrix: &mut Matrix) {
    let m = matrix.size;
    let mut columns = part.chunks_exact((map.len() * w).max(1));
    for (j, &to_column) in map.iter().enumerate() {
        for (within, column) in columns.by_ref().take(w).enumerate() {
            let target = &mut matrix.value[(to_column as usize * w + within) * m..][..m];
            for (from, &to) in column[j * w..].chunks_exact(w).zip(&map[j..]) {
                for (t, f) in target[to as usize * w..].iter_mut().zip(from) {
                    *t += f;
                }
            }
        }
    }
}

/// The nodes of a symmetric matrix, given by its lower triangle, that `map` tells; both triangles.
fn selected(matrix: &[f64], m: usize, map: &[u32], w: usize, out: &mut Vec<f64>) {
    let size = map.len() * w;
    let out = cleared(out, size * size);
    for (j, &column) in map.iter().enumerate() {
        for within in 0..w {
            let from = &matrix[(column as usize * w + within) * m..][..m];
            for (i, &row) in map.iter().enumerate().skip(j) {
                out[(j * w + within) * size + i * w..][..w]
                    .copy_from_slice(&from[row as usize * w..][..w]);
            }
        }
    }
    for j in 0..size {
        for i in j + 1..size {
            out[i * size + j] = out[j * size + i];
        }
    }
}

/// A block as it stands in memory.
fn by_column(values: &[f64], stride: usize) -> View<'_> {
    View {
        values,
        down: 1,
        across: stride,
    }
}

/// Room for the inversion of one front after another.
#[derive(Default)]
struct Room {
    /// −L₁₁⁻¹.
    negative: Vec<f64>,
    /// L₁₁⁻ᵀ.
    transposed: Vec<f64>,
    /// −Y.
    y: Vec<f64>,
    /// Its rows as columns.
    turned: Vec<f64>,
    /// Z₂₁.
    outer: Vec<f64>,
}

impl Room {
    /// A front's columns of the inverse from those of the factor and the inverse between its later unknowns.
    fn invert(&mut self, l: &[f64], (own, m): (usize, usize), later: &[f64], z: &mut [f64]) {
        let below = m - own;
        let negative = cleared(&mut self.negative, own * own);
        let transposed = cleared(&mut self.transposed, own * own);
        pulp::Arch::new().dispatch(|| invert_triangle(l, (own, m), negative, transposed));
        let inner = by_column(negative, own);
        if below > 0 {
            let y = cleared(&mut self.y, below * own);
            subtract_wide((y, below), (&l[own..], m), inner, (below, own, own));
            let outer = by_column(y, below);
            subtract_wide(
                (&mut z[own..], m),
                (later, below),
                outer,
                (below, below, own),
            );
            let turned = cleared(&mut self.turned, below * own);
            for (j, column) in y.chunks_exact(below).enumerate() {
                for (i, value) in column.iter().enumerate() {
                    turned[i * own + j] = *value;
                }
            }
            self.outer.clear();
            let columns = z.chunks_exact(m).flat_map(|column| &column[own..]);
            self.outer.extend(columns);
            subtract_wide(
                (z, m),
                (turned, own),
                by_column(&self.outer, below),
                (own, below, own),
            );
        }
        subtract_wide((z, m), (transposed, own), inner, (own, own, own));
    }
}

/// −L₁₁⁻¹ and L₁₁⁻ᵀ.
#[inline(always)]
fn invert_triangle(
    l: &[f64],
    (own, m): (usize, usize),
    negative: &mut [f64],
    transposed: &mut [f64],
) {
    for j in 0..own {
        let x = &mut negative[j * own..][..own];
        x[j] = -1.0;
        for p in j..own {
            x[p] /= l[p * m + p];
            let xp = x[p];
            for (x, l) in x[p + 1..].iter_mut().zip(&l[p * m + p + 1..]) {
                *x -= l * xp;
            }
            transposed[p * own + j] = -xp;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::dense::Dense;
    use super::*;

    /// Numbers in 0 to 1 that look random.
    fn numbers(mut seed: u64) -> impl FnMut() -> f64 {
        move || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (seed >> 11) as f64 / (1_u64 << 53) as f64
        }
    }

    /// A network's normal matrix: links of a lattice with some long ones, every node held a little but `free`.
    fn network(side: u32, width: usize, free: &[u32]) -> (Arc<Pattern>, Vec<f64>, Vec<f64>) {
        let nodes = (side * side) as usize;
        let mut next = numbers(u64::from(side) * 10 + width as u64);
        let mut links: Vec<(u32, u32)> = Vec::new();
        for i in 0..nodes as u32 {
            let steps = [1, side, side + 1, 3 * side + 2];
            links.extend(steps.iter().map(|step| (i, i + step)).filter(|(_, to)| {
                (*to as usize) < nodes && !free.contains(&i) && !free.contains(to) && next() < 0.8
            }));
        }
        let n = nodes * width;
        let mut dense = vec![0.0; n * n];
        for &(a, b) in &links {
            let row: Vec<(usize, f64)> = (0..width)
                .flat_map(|i| {
                    [
                        (a as usize * width + i, next() - 0.5),
                        (b as usize * width + i, next() - 0.5),
                    ]
                })
                .collect();
            for (p, x) in &row {
                for (q, y) in &row {
                    dense[p * n + q] += x * y;
                }
            }
        }
        for node in (0..nodes).filter(|node| !free.contains(&(*node as u32))) {
            for i in 0..width {
                dense[(node * width + i) * (n + 1)] += 0.05 + next() * 0.1;
            }
        }
        let pattern = Pattern::new(nodes, width, &links);
        let mut lower = vec![0.0; pattern.entries()];
        for i in 0..n {
            for j in 0..=i {
                match pattern.entry(i, j) {
                    Some(at) => lower[at] = dense[i * n + j],
                    None => assert_eq!(dense[i * n + j], 0.0),
                }
            }
        }
        (Arc::new(pattern), lower, dense)
    }

    #[test]
    fn fronts_give_what_the_dense_factor_gives() {
        for (side, width, damping) in [
            (1, 1, 0.0),
            (2, 3, 0.0),
            (7, 1, 0.1),
            (12, 2, 0.0),
            (9, 3, 1e-3),
        ] {
            let (pattern, lower, dense) = network(side, width, &[]);
            let n = (side * side) as usize * width;
            let mut sparse = Sparse::factor(pattern, &lower, damping);
            let known = Dense::factor(n, dense, damping);
            assert_eq!(sparse.pinned, known.pinned);
            let mut next = numbers(7);
            let mut a: Vec<f64> = (0..n).map(|_| next() - 0.5).collect();
            let mut b = a.clone();
            sparse.solve(&mut a);
            known.solve(&mut b);
            let size = b.iter().fold(0.0, |most: f64, x| most.max(x.abs()));
            for (a, b) in a.iter().zip(&b) {
                assert!((a - b).abs() < 1e-10 * size, "{side} {width}: {a} {b}");
            }
            sparse.invert();
            let inverse = known.inverse();
            let mut told = 0;
            for i in 0..n {
                for j in 0..n {
                    let want = inverse[i * n + j];
                    let scale = (inverse[i * n + i] * inverse[j * n + j]).sqrt();
                    if let Some(got) = sparse.inverse_entry(i, j) {
                        assert!((got - want).abs() < 1e-10 * scale, "{i} {j}: {got} {want}");
                        told += 1;
                    }
                }
            }
            let form_covariance = |a: &[(usize, f64)], b: &[(usize, f64)]| -> f64 {
                let pairs = a
                    .iter()
                    .flat_map(|(i, p)| b.iter().map(move |(j, q)| (i, j, p * q)));
                pairs.map(|(i, j, pq)| pq * inverse[i * n + j]).sum()
            };
            let size = inverse.iter().fold(0.0, |most: f64, z| most.max(z.abs()));
            // Any entry, and that of any two forms, is a product of two halves.
            for _ in 0..20 {
                let mut some = || ((next() * n as f64) as usize, next() - 0.5);
                let (a, b) = ([some(), some()], [some(), some(), some()]);
                let (x, y) = (sparse.half(&a), sparse.half(&b));
                let got: f64 = x.iter().zip(&y).map(|(x, y)| x * y).sum();
                let want = form_covariance(&a, &b);
                assert!(
                    (got - want).abs() < 1e-10 * size,
                    "{a:?} {b:?}: {got} {want}"
                );
            }
            // Forms of an unknown named twice and of two nodes, most of which share an equation.
            let mut variances = 0;
            for i in 0..n {
                let form: Vec<(usize, f64)> = [i, i, (i + 1) % n, (i + width) % n]
                    .into_iter()
                    .map(|unknown| (unknown, next() - 0.5))
                    .collect();
                if let Some(got) = sparse.variance(&form) {
                    let want = form_covariance(&form, &form);
                    assert!((got - want).abs() < 1e-10 * size, "{form:?}: {got} {want}");
                    variances += 1;
                }
            }
            assert!(2 * variances >= n, "{side} {width}: {variances} of {n}");
            // Every entry of the matrix lies in the pattern.
            assert!(
                told >= 2 * lower.len() - n * width,
                "{side} {width}: {told}"
            );
        }
    }

    /// A full matrix is one front, wide enough for all threads: the same digits as on one.
    #[test]
    fn wide_fronts_have_the_digits_of_one_thread() {
        let nodes = 150;
        let links: Vec<(u32, u32)> = (0..nodes)
            .flat_map(|a| (a + 1..nodes).map(move |b| (a, b)))
            .collect();
        let pattern = Arc::new(Pattern::new(nodes as usize, 2, &links));
        let mut next = numbers(3);
        let mut lower: Vec<f64> = (0..pattern.entries()).map(|_| next() - 0.5).collect();
        for i in 0..2 * nodes as usize {
            lower[pattern.entry(i, i).unwrap()] = 300.0 + next();
        }
        let rest = 2 * nodes as usize - PANEL;
        assert!(is_wide(rest * rest * PANEL / 2));
        let all = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
            pool.build().unwrap().install(|| {
                let mut sparse = Sparse::factor(Arc::clone(&pattern), &lower, 0.0);
                sparse.invert();
                (sparse.value, sparse.inverse)
            })
        };
        let one = all(1);
        assert!(one == all(3));
        // N·Q = 1.
        let sparse = Sparse::factor(Arc::clone(&pattern), &lower, 0.0);
        let mut b: Vec<f64> = (0..2 * nodes as usize).map(|_| next()).collect();
        let given = b.clone();
        sparse.solve(&mut b);
        for (i, given) in given.iter().enumerate() {
            let row = b.iter().enumerate();
            let sum: f64 = row
                .map(|(j, x)| pattern.entry(i, j).map_or(0.0, |at| lower[at]) * x)
                .sum();
            assert!((sum - given).abs() < 1e-12, "{i}: {sum} {given}");
        }
    }

    #[test]
    fn what_nothing_determines_is_pinned_and_the_rest_stands() {
        let free = [5, 17, 40];
        let (pattern, lower, dense) = network(8, 2, &free);
        let n = 128;
        let mut sparse = Sparse::factor(pattern, &lower, 0.0);
        assert_eq!(sparse.pinned, [10, 11, 34, 35, 80, 81]);
        let known = Dense::factor(n, dense, 0.0);
        let mut b = vec![1.0; n];
        let mut want = b.clone();
        sparse.solve(&mut b);
        known.solve(&mut want);
        assert!(
            b.iter()
                .zip(&want)
                .all(|(a, b)| (a - b).abs() < 1e-9 * (1.0 + b.abs()))
        );
        assert_eq!([b[10], b[35]], [0.0, 0.0]);
        sparse.invert();
        let inverse = known.inverse();
        for i in 0..n {
            let got = sparse.inverse_entry(i, i).unwrap();
            assert!((got - inverse[i * n + i]).abs() <= 1e-10 * inverse[i * n + i]);
        }
        assert_eq!(sparse.inverse_entry(10, 10), Some(0.0));
    }
}
