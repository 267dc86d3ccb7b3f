//! Sparse Cholesky with a fill-reducing order, and those entries of the inverse that lie in the factor's pattern.
//!
//! Up-looking factorisation along the elimination tree, as in T. A. Davis, *Direct Methods for Sparse Linear Systems*
//! (2006, chapter 4), and the selected inverse by the recursion of K. Takahashi and others (1973), both
//! from memory; the tests compare them with the dense solution.

use faer::dyn_stack::{MemBuffer, MemStack};
use faer::sparse::SymbolicSparseColMatRef;
use faer::sparse::linalg::amd;

use super::dense::{PIVOT, scale_of};

const NONE: u32 = u32::MAX;

/// The pattern, worked out once for all iterations.
#[derive(Clone, Debug)]
pub(super) struct Pattern {
    n: usize,
    /// Unknown → its place in the elimination order.
    place: Vec<u32>,
    /// Upper triangle of the permuted matrix, column by column, rows ascending, diagonal last.
    upper_start: Vec<usize>,
    upper_row: Vec<u32>,
    parent: Vec<u32>,
    /// Columns of L.
    start: Vec<usize>,
}

/// Order of nodes that keeps the factor sparse: position in the order, by node. `links` are pairs of nodes.
fn fill_reducing_order(nodes: usize, links: &[(u32, u32)]) -> Vec<u32> {
    let mut start = vec![0_usize; nodes + 1];
    let mut row = Vec::with_capacity(links.len() + nodes);
    let mut by_column: Vec<(u32, u32)> = links
        .iter()
        .map(|&(a, b)| (a.max(b), a.min(b)))
        .chain((0..nodes as u32).map(|i| (i, i)))
        .collect();
    by_column.sort_unstable();
    by_column.dedup();
    for (column, r) in by_column {
        row.push(r as usize);
        start[column as usize + 1] = row.len();
    }
    let pattern = SymbolicSparseColMatRef::new_checked(nodes, nodes, &start, None, &row);
    let mut forward = vec![0_usize; nodes];
    let mut inverse = vec![0_usize; nodes];
    let mut memory = MemBuffer::new(amd::order_scratch::<usize>(nodes, row.len()));
    let done = amd::order(
        &mut forward,
        &mut inverse,
        pattern,
        amd::Control::default(),
        MemStack::new(&mut memory),
    );
    match done {
        Ok(_) => inverse.into_iter().map(|i| i as u32).collect(),
        Err(_) => (0..nodes as u32).collect(),
    }
}

impl Pattern {
    /// From pairs of nodes that share an equation; every node has `width` unknowns.
    pub(super) fn new(nodes: usize, width: usize, links: &[(u32, u32)]) -> Self {
        let order = fill_reducing_order(nodes, links);
        let n = nodes * width;
        let place: Vec<u32> = (0..n)
            .map(|u| order[u / width] * width as u32 + (u % width) as u32)
            .collect();
        let mut entries: Vec<(u32, u32)> =
            Vec::with_capacity((links.len() + nodes) * width * width);
        let pairs = links
            .iter()
            .copied()
            .chain((0..nodes as u32).map(|i| (i, i)));
        for (a, b) in pairs {
            for i in 0..width as u32 {
                for j in 0..width as u32 {
                    let (p, q) = (
                        order[a as usize] * width as u32 + i,
                        order[b as usize] * width as u32 + j,
                    );
                    entries.push((p.max(q), p.min(q)));
                }
            }
        }
        entries.sort_unstable();
        entries.dedup();
        let mut upper_start = vec![0; n + 1];
        let mut upper_row = Vec::with_capacity(entries.len());
        for (column, row) in entries {
            upper_row.push(row);
            upper_start[column as usize + 1] = upper_row.len();
        }
        let (parent, counts) = elimination_tree(n, &upper_start, &upper_row);
        let mut start = vec![0; n + 1];
        for j in 0..n {
            start[j + 1] = start[j] + counts[j];
        }
        Self {
            n,
            place,
            upper_start,
            upper_row,
            parent,
            start,
        }
    }

    /// Number of entries of the upper triangle.
    pub(super) fn entries(&self) -> usize {
        self.upper_row.len()
    }

    /// Where the entry of two unknowns lies among the upper triangle's values.
    pub(super) fn entry(&self, a: usize, b: usize) -> Option<usize> {
        let (p, q) = (self.place[a], self.place[b]);
        let (column, row) = (p.max(q) as usize, p.min(q));
        let range = self.upper_start[column]..self.upper_start[column + 1];
        let first = range.start;
        self.upper_row[range]
            .binary_search(&row)
            .ok()
            .map(|i| first + i)
    }
}

/// Elimination tree, and the number of entries of each column of L.
fn elimination_tree(n: usize, upper_start: &[usize], upper_row: &[u32]) -> (Vec<u32>, Vec<usize>) {
    let mut parent = vec![NONE; n];
    let mut counts = vec![1; n];
    let mut mark = vec![NONE; n];
    for k in 0..n {
        mark[k] = k as u32;
        for &row in &upper_row[upper_start[k]..upper_start[k + 1]] {
            let mut i = row;
            while mark[i as usize] != k as u32 {
                mark[i as usize] = k as u32;
                counts[i as usize] += 1;
                if parent[i as usize] == NONE {
                    parent[i as usize] = k as u32;
                }
                i = parent[i as usize];
            }
        }
    }
    (parent, counts)
}

/// A numeric factor.
#[derive(Clone, Debug)]
pub(super) struct Sparse {
    pattern: std::sync::Arc<Pattern>,
    row: Vec<u32>,
    value: Vec<f64>,
    /// Scale of each permuted unknown.
    scale: Vec<f64>,
    /// Unknowns whose pivot vanished.
    pub(super) pinned: Vec<usize>,
    /// Entries of the scaled inverse in the factor's pattern, once asked for.
    inverse: Vec<f64>,
}

impl Sparse {
    /// Factors the matrix whose upper triangle's values stand in the pattern's order.
    pub(super) fn factor(pattern: std::sync::Arc<Pattern>, upper: &[f64], damping: f64) -> Self {
        let n = pattern.n;
        let scale: Vec<f64> = (0..n)
            .map(|k| scale_of(upper[pattern.upper_start[k + 1] - 1]))
            .collect();
        let size = pattern.start[n];
        let mut this = Self {
            pattern,
            row: vec![0; size],
            value: vec![0.0; size],
            scale,
            pinned: vec![],
            inverse: vec![],
        };
        let mut pinned = Vec::new();
        let mut next: Vec<usize> = this.pattern.start[..n].to_vec();
        let mut x = vec![0.0; n];
        let mut mark = vec![NONE; n];
        let mut reach: Vec<u32> = Vec::new();
        for k in 0..n {
            this.reach(k, upper, &mut x, &mut mark, &mut reach);
            let mut d = x[k] * (1.0 + damping);
            x[k] = 0.0;
            for &i in &reach {
                let i = i as usize;
                let first = this.pattern.start[i];
                let l = x[i] / this.value[first];
                x[i] = 0.0;
                for p in first + 1..next[i] {
                    x[this.row[p] as usize] -= this.value[p] * l;
                }
                d -= l * l;
                this.row[next[i]] = k as u32;
                this.value[next[i]] = l;
                next[i] += 1;
            }
            let first = next[k];
            this.row[first] = k as u32;
            this.value[first] = if d > PIVOT {
                d.sqrt()
            } else {
                pinned.push(k as u32);
                f64::INFINITY
            };
            next[k] += 1;
        }
        let back: Vec<usize> = (0..n)
            .filter(|&u| pinned.binary_search(&this.pattern.place[u]).is_ok())
            .collect();
        this.pinned = back;
        this
    }

    /// Row k of the permuted, scaled matrix into `x`, and the pattern of row k of L in an order that can be eliminated.
    fn reach(
        &self,
        k: usize,
        upper: &[f64],
        x: &mut [f64],
        mark: &mut [u32],
        reach: &mut Vec<u32>,
    ) {
        reach.clear();
        mark[k] = k as u32;
        let mut path = Vec::new();
        let column = self.pattern.upper_start[k]..self.pattern.upper_start[k + 1];
        for (&row, value) in self.pattern.upper_row[column.clone()]
            .iter()
            .zip(&upper[column])
        {
            let row = row as usize;
            x[row] = value * self.scale[row] * self.scale[k];
            let mut i = row as u32;
            path.clear();
            while mark[i as usize] != k as u32 {
                mark[i as usize] = k as u32;
                path.push(i);
                i = self.pattern.parent[i as usize];
            }
            reach.extend_from_slice(&path);
        }
        // Ascending is an elimination order: every column comes before its ancestors.
        reach.sort_unstable();
    }

    /// Solves N·x = b in place, in the caller's order.
    pub(super) fn solve(&self, b: &mut [f64]) {
        let n = self.pattern.n;
        let mut x = vec![0.0; n];
        for (u, value) in b.iter().enumerate() {
            let p = self.pattern.place[u] as usize;
            x[p] = value * self.scale[p];
        }
        for j in 0..n {
            let (first, end) = (self.pattern.start[j], self.pattern.start[j + 1]);
            x[j] /= self.value[first];
            let xj = x[j];
            for p in first + 1..end {
                x[self.row[p] as usize] -= self.value[p] * xj;
            }
        }
        for j in (0..n).rev() {
            let (first, end) = (self.pattern.start[j], self.pattern.start[j + 1]);
            let mut sum = x[j];
            for p in first + 1..end {
                sum -= self.value[p] * x[self.row[p] as usize];
            }
            x[j] = sum / self.value[first];
        }
        for (u, value) in b.iter_mut().enumerate() {
            let p = self.pattern.place[u] as usize;
            *value = x[p] * self.scale[p];
        }
    }

    /// Works out the entries of the inverse in the factor's pattern.
    pub(super) fn invert(&mut self) {
        let n = self.pattern.n;
        let mut z = vec![0.0; self.value.len()];
        let mut sum = vec![0.0; n];
        let mut mark = vec![NONE; n];
        let mut coefficient = vec![0.0; n];
        for j in (0..n).rev() {
            let (first, end) = (self.pattern.start[j], self.pattern.start[j + 1]);
            for p in first + 1..end {
                let row = self.row[p] as usize;
                mark[row] = j as u32;
                sum[row] = 0.0;
                coefficient[row] = self.value[p];
            }
            for p in first + 1..end {
                let a = self.row[p] as usize;
                let own = self.pattern.start[a];
                sum[a] += coefficient[a] * z[own];
                let column = own + 1..self.pattern.start[a + 1];
                for (&r, entry) in self.row[column.clone()].iter().zip(&z[column]) {
                    let r = r as usize;
                    if mark[r] == j as u32 {
                        sum[a] += coefficient[r] * entry;
                        sum[r] += coefficient[a] * entry;
                    }
                }
            }
            let reciprocal = self.value[first].recip();
            let mut diagonal = reciprocal;
            for p in first + 1..end {
                z[p] = -reciprocal * sum[self.row[p] as usize];
                diagonal -= self.value[p] * z[p];
            }
            z[first] = reciprocal * diagonal;
        }
        self.inverse = z;
    }

    /// An entry of the inverse, if it lies in the factor's pattern and [`Self::invert`] has run.
    pub(super) fn inverse_entry(&self, a: usize, b: usize) -> Option<f64> {
        if self.inverse.is_empty() {
            return None;
        }
        let (p, q) = (self.pattern.place[a], self.pattern.place[b]);
        let (row, column) = (p.max(q), p.min(q) as usize);
        let first = self.pattern.start[column];
        let found = self.row[first..self.pattern.start[column + 1]]
            .binary_search(&row)
            .ok()?;
        Some(self.inverse[first + found] * self.scale[row as usize] * self.scale[column])
    }
}
