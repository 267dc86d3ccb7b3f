//! The adjusted unknowns and their joint covariance.

use super::dense::Dense;
use super::factor::Factor;
use super::iterate::Eliminated;
use super::parts::{Parts, split};
use super::sparse::Sparse;

/// Inverse of a part's normal matrix.
#[derive(Clone, Debug)]
enum Inverse {
    /// n × n.
    Dense(Box<[f64]>),
    /// The factor with the entries in its pattern.
    Sparse(Box<Sparse>),
}

/// What a part leaves behind.
#[derive(Clone, Debug)]
pub(super) struct Block {
    inverse: Inverse,
    shared: Box<[u32]>,
    coupling: Box<[f64]>,
    loose: Box<[u32]>,
}

impl Block {
    pub(super) fn new(done: Eliminated) -> Self {
        let inverse = match done.factor {
            Factor::Dense(factor) => Inverse::Dense(factor.inverse().into()),
            Factor::Sparse(mut factor) => {
                factor.invert();
                Inverse::Sparse(Box::new(factor))
            }
        };
        Self {
            inverse,
            shared: done.shared.into(),
            coupling: done.coupling.into(),
            loose: done.loose.into(),
        }
    }

    fn entry(&self, n: usize, i: usize, j: usize) -> f64 {
        match &self.inverse {
            Inverse::Dense(inverse) => inverse[i * n + j],
            Inverse::Sparse(factor) => factor.inverse_entry(i, j).unwrap_or_else(|| {
                let half = |unknown| factor.half(&[(unknown, 1.0)]);
                product(&half(i), &half(j))
            }),
        }
    }

    fn coupling(&self, i: usize) -> impl Iterator<Item = (usize, f64)> + '_ {
        let k = self.shared.len();
        self.shared
            .iter()
            .map(|g| *g as usize)
            .zip(self.coupling[i * k..(i + 1) * k].iter().copied())
    }
}

/// A linear form of the unknowns: unknown and factor.
pub type Form = [(u32, f64)];

/// The covariance of one form with others.
pub type Covariances<'s> = Box<dyn Fn(&Form) -> f64 + 's>;

/// Adjusted unknowns with their covariances.
pub trait Estimate: Sync {
    /// Adjusted unknowns: nodes' in their own order, then the shared ones.
    fn values(&self) -> &[f64];
    /// Variance of a form, such as an equation's.
    fn variance(&self, form: &Form) -> f64;
    /// Covariance of a form with each of others.
    fn covariances<'s>(&'s self, form: &'s Form) -> Covariances<'s>;
}

/// The result of an adjustment.
#[derive(Clone, Debug)]
pub struct Solution {
    /// Adjusted unknowns: nodes' in their own order, then the shared ones.
    pub values: Vec<f64>,
    /// Σ (v/σ)² over the equations used.
    pub squares: f64,
    /// Nodes that the equations don't determine, ascending.
    pub loose: Vec<u32>,
    /// Shared unknowns that the equations don't determine.
    pub loose_shared: Vec<u32>,
    /// Nodes of parts whose iterations did not end, ascending.
    pub failed: Vec<u32>,
    /// Number of parts.
    pub part_count: usize,
    parts: Parts,
    blocks: Vec<Block>,
    /// Covariance of the shared unknowns.
    shared: Vec<f64>,
}

/// An unknown as the solution stores it.
enum At {
    Own { part: usize, local: usize },
    Shared(usize),
}

impl Solution {
    pub(super) fn assemble(
        parts: Parts,
        x: &[f64],
        shared: Vec<f64>,
        blocks: Vec<Block>,
        (factor, matrix): (&Dense, &[f64]),
        squares: f64,
        failed: &[u32],
    ) -> Self {
        let width = parts.width;
        let mut values = vec![0.0; x.len()];
        for (place, &node) in parts.order.iter().enumerate() {
            let node = node as usize;
            values[node * width..(node + 1) * width]
                .copy_from_slice(&x[place * width..(place + 1) * width]);
        }
        values.extend(shared);
        let node_of = |part: usize, local: u32| {
            parts.order[parts.list[part].first as usize + local as usize / width]
        };
        let mut loose: Vec<u32> = blocks
            .iter()
            .enumerate()
            .flat_map(|(p, block)| block.loose.iter().map(move |&local| (p, local)))
            .map(|(p, local)| node_of(p, local))
            .collect();
        let mut failed: Vec<u32> = failed
            .iter()
            .flat_map(|&p| {
                let part = &parts.list[p as usize];
                parts.order[part.first as usize..][..part.nodes as usize]
                    .iter()
                    .copied()
            })
            .collect();
        let null = null_vectors(factor, matrix);
        let loose_shared = null.iter().map(|(p, _)| *p as u32).collect();
        for (p, block) in blocks.iter().enumerate().filter(|_| !null.is_empty()) {
            for local in 0..parts.range(&parts.list[p]).len() {
                let moves = |z: &Vec<f64>| {
                    block
                        .coupling(local)
                        .map(|(g, c)| c * z[g])
                        .sum::<f64>()
                        .abs()
                        > 1e-9
                };
                if null.iter().any(|(_, z)| moves(z)) {
                    loose.push(node_of(p, local as u32));
                }
            }
        }
        loose.sort_unstable();
        loose.dedup();
        failed.sort_unstable();
        Self {
            values,
            squares,
            loose,
            loose_shared,
            failed,
            part_count: parts.list.len(),
            shared: factor.inverse(),
            parts,
            blocks,
        }
    }

    pub(super) fn parts(&self) -> &Parts {
        &self.parts
    }

    fn at(&self, unknown: u32) -> At {
        let width = self.parts.width;
        let (unknown, own) = (unknown as usize, self.own_unknowns());
        if unknown >= own {
            return At::Shared(unknown - own);
        }
        let (node, within) = split(unknown, width);
        let part = self.parts.part_of[node] as usize;
        let local = (self.parts.place[node] - self.parts.list[part].first) as usize * width;
        At::Own {
            part,
            local: local + within,
        }
    }

    /// Number of the part that a node belongs to.
    #[must_use]
    pub fn part_of(&self, node: u32) -> u32 {
        self.parts.part_of[node as usize]
    }

    /// Whether a part holds shared unknowns.
    #[must_use]
    pub fn is_coupled(&self, part: u32) -> bool {
        self.parts.list[part as usize].coupled
    }

    /// Whether two nodes share nothing: every covariance between them is zero.
    #[must_use]
    pub fn apart(&self, a: u32, b: u32) -> bool {
        self.parts.shared == 0 && self.part_of(a) != self.part_of(b)
    }

    /// Covariance of two unknowns; zero where one is not determined.
    #[must_use]
    pub fn covariance(&self, u: u32, v: u32) -> f64 {
        if self.parts.shared > 0 {
            return self.form_covariance(&[(u, 1.0)], &[(v, 1.0)]);
        }
        // Never −0, as a sum is not.
        0.0 + self.own(u, v)
    }

    /// Covariance of two unknowns of one part while the shared ones stand still; zero for any others.
    fn own(&self, u: u32, v: u32) -> f64 {
        match (self.at(u), self.at(v)) {
            (
                At::Own { part, local },
                At::Own {
                    part: other,
                    local: with,
                },
            ) if part == other => {
                let n = self.parts.range(&self.parts.list[part]).len();
                self.blocks[part].entry(n, local, with)
            }
            _ => 0.0,
        }
    }

    /// Number of the nodes' unknowns.
    pub(super) fn own_unknowns(&self) -> usize {
        self.parts.place.len() * self.parts.width
    }

    /// The unknown that has a place in a part.
    pub(super) fn unknown(&self, part: usize, local: usize) -> usize {
        let width = self.parts.width;
        let (node, within) = split(local, width);
        let first = self.parts.list[part].first as usize;
        self.parts.order[first + node] as usize * width + within
    }

    /// Variance of a linear form in the unknowns, such as an equation's.
    #[must_use]
    pub fn variance(&self, terms: &Form) -> f64 {
        let sparse = self.sparse_variance(terms);
        sparse.unwrap_or_else(|| self.form_covariance(terms, terms))
    }

    /// That of a form of one large part's unknowns.
    fn sparse_variance(&self, terms: &Form) -> Option<f64> {
        let (part, factor) = self.sparse_part(terms)?;
        let mut form = [(0, 0.0); 8];
        let form = form.get_mut(..terms.len())?;
        for (local, term) in form.iter_mut().zip(terms) {
            *local = self.local(part, term)?;
        }
        factor.variance(form)
    }

    /// The part that a form begins in, and its factor, if it is a large one and no unknown is shared.
    pub(super) fn sparse_part(&self, form: &Form) -> Option<(usize, &Sparse)> {
        let At::Own { part, .. } = self.at(form.first()?.0) else {
            return None;
        };
        match &self.blocks.get(part)?.inverse {
            Inverse::Sparse(factor) if self.parts.shared == 0 => Some((part, factor)),
            _ => None,
        }
    }

    /// A term by its unknown's place in a part, if it is of that.
    pub(super) fn local(&self, part: usize, &(unknown, a): &(u32, f64)) -> Option<(usize, f64)> {
        match self.at(unknown) {
            At::Own { part: of, local } if of == part => Some((local, a)),
            _ => None,
        }
    }

    /// Covariance of two linear forms.
    #[must_use]
    pub fn form_covariance(&self, left: &Form, right: &Form) -> f64 {
        let mut sum = 0.0;
        for &(u, a) in left {
            for &(v, b) in right {
                sum += a * b * self.own(u, v);
            }
        }
        let k = self.parts.shared;
        if k > 0 {
            let (l, r) = (self.shared_form(left), self.shared_form(right));
            for (i, a) in &l {
                for (j, b) in &r {
                    sum += a * b * self.shared[i * k + j];
                }
            }
        }
        sum
    }

    /// A linear form as it moves with the shared unknowns.
    fn shared_form(&self, terms: &Form) -> Vec<(usize, f64)> {
        let mut form = Vec::new();
        for &(u, a) in terms {
            match self.at(u) {
                At::Shared(g) => form.push((g, a)),
                At::Own { part, local } => {
                    form.extend(self.blocks[part].coupling(local).map(|(g, c)| (g, -a * c)));
                }
            }
        }
        form
    }
}

impl Estimate for Solution {
    fn values(&self) -> &[f64] {
        &self.values
    }

    fn variance(&self, form: &Form) -> f64 {
        Self::variance(self, form)
    }

    fn covariances<'s>(&'s self, form: &'s Form) -> Covariances<'s> {
        let Some((part, factor)) = self.sparse_part(form) else {
            return Box::new(|other| self.form_covariance(form, other));
        };
        // Carried half the way to the inverse: what covariances are then products of.
        let half = move |form: &Form| {
            let local = form.iter().map(|term| self.local(part, term));
            local
                .collect::<Option<Vec<_>>>()
                .map(|form| factor.half(&form))
        };
        let own = half(form);
        Box::new(move |other| match (&own, half(other)) {
            (Some(own), Some(other)) => product(own, &other),
            // One that is not of the same part alone.
            _ => 0.0,
        })
    }
}

pub(super) fn product(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// For each shared unknown that nothing determines, how the shared unknowns move with it.
fn null_vectors(factor: &Dense, matrix: &[f64]) -> Vec<(usize, Vec<f64>)> {
    let n = factor.len();
    let vector = |&p: &usize| {
        let mut z: Vec<f64> = (0..n).map(|i| -matrix[i * n + p]).collect();
        factor.solve(&mut z);
        z[p] = 1.0;
        (p, z)
    };
    factor.pinned.iter().map(vector).collect()
}
