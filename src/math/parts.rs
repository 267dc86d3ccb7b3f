//! Splits a problem into parts that share no node, and lays their unknowns out one part after another.

use std::sync::Arc;

use super::adjust::{Model, Row, Values};
use super::factor::DENSE;
use super::sparse::Pattern;

/// An unknown's node, of `width` unknowns each, and its number within that.
pub(super) fn split(unknown: usize, width: usize) -> (usize, usize) {
    // A division by a number that is not known beforehand takes longer than all the rest.
    match width {
        1 => (unknown, 0),
        2 => (unknown / 2, unknown % 2),
        _ => (unknown / width, unknown % width),
    }
}

/// A part: nodes joined by equations, through anything but the shared unknowns.
#[derive(Clone, Debug)]
pub(super) struct Part {
    /// Its nodes are `order[first..first + nodes]`.
    pub(super) first: u32,
    pub(super) nodes: u32,
    /// Its equations are `rows[rows_first..rows_end]`.
    pub(super) rows_first: u32,
    pub(super) rows_end: u32,
    /// Some equation of it holds a shared unknown.
    pub(super) coupled: bool,
    /// For parts too large for a dense factor.
    pub(super) pattern: Option<Arc<Pattern>>,
}

/// The layout.
#[derive(Clone, Debug)]
pub(super) struct Parts {
    pub(super) width: usize,
    pub(super) shared: usize,
    /// Nodes, part by part.
    pub(super) order: Vec<u32>,
    /// Node → its position in `order`.
    pub(super) place: Vec<u32>,
    /// Node → its part.
    pub(super) part_of: Vec<u32>,
    pub(super) list: Vec<Part>,
    /// Equations, part by part.
    pub(super) rows: Vec<u32>,
    /// Equations of shared unknowns only.
    pub(super) shared_rows: Vec<u32>,
}

fn root(parent: &mut [u32], mut i: u32) -> u32 {
    while parent[i as usize] != i {
        parent[i as usize] = parent[parent[i as usize] as usize];
        i = parent[i as usize];
    }
    i
}

/// The nodes of each equation, and whether it holds a shared unknown.
struct Incidence {
    start: Vec<u32>,
    node: Vec<u32>,
    coupled: Vec<bool>,
}

fn incidence<M: Model>(model: &M, values: &[f64]) -> Incidence {
    let (nodes, width) = (model.nodes(), model.width());
    let mut this = Incidence {
        start: vec![0],
        node: Vec::new(),
        coupled: Vec::with_capacity(model.rows()),
    };
    let mut row = Row::default();
    for i in 0..model.rows() {
        row.clear();
        model.row(i, &Values::whole(values, nodes * width), &mut row);
        let first = this.node.len();
        let mut coupled = false;
        for &(unknown, _) in &row.terms {
            if (unknown as usize) < nodes * width {
                let node = unknown / width as u32;
                if !this.node[first..].contains(&node) {
                    this.node.push(node);
                }
            } else {
                coupled = true;
            }
        }
        this.coupled.push(coupled);
        this.start.push(this.node.len() as u32);
    }
    this
}

impl Incidence {
    fn nodes(&self, row: usize) -> &[u32] {
        &self.node[self.start[row] as usize..self.start[row + 1] as usize]
    }
}

impl Parts {
    /// The layout of a problem.
    pub(super) fn new<M: Model>(model: &M, values: &[f64]) -> Self {
        let nodes = model.nodes();
        let incidence = incidence(model, values);
        let mut parent: Vec<u32> = (0..nodes as u32).collect();
        for i in 0..model.rows() {
            if let [first, others @ ..] = incidence.nodes(i) {
                for other in others {
                    let (a, b) = (root(&mut parent, *first), root(&mut parent, *other));
                    // The smaller number stays the root, so that parts are numbered by their first node.
                    parent[a.max(b) as usize] = a.min(b);
                }
            }
        }
        let mut this = Self {
            width: model.width(),
            shared: model.shared(),
            order: Vec::with_capacity(nodes),
            place: vec![0; nodes],
            part_of: vec![0; nodes],
            list: Vec::new(),
            rows: Vec::new(),
            shared_rows: Vec::new(),
        };
        this.lay_out_nodes(&mut parent);
        this.lay_out_rows(&incidence, model.rows());
        this.find_patterns(&incidence);
        this
    }

    fn lay_out_nodes(&mut self, parent: &mut [u32]) {
        let nodes = parent.len();
        for i in 0..nodes as u32 {
            let r = root(parent, i);
            if r == i {
                self.part_of[i as usize] = self.list.len() as u32;
                self.list.push(Part {
                    first: 0,
                    nodes: 0,
                    rows_first: 0,
                    rows_end: 0,
                    coupled: false,
                    pattern: None,
                });
            } else {
                self.part_of[i as usize] = self.part_of[r as usize];
            }
            self.list[self.part_of[i as usize] as usize].nodes += 1;
        }
        let mut next = 0;
        for part in &mut self.list {
            part.first = next;
            next += part.nodes;
        }
        let mut filled: Vec<u32> = self.list.iter().map(|part| part.first).collect();
        self.order = vec![0; nodes];
        for i in 0..nodes {
            let at = &mut filled[self.part_of[i] as usize];
            self.order[*at as usize] = i as u32;
            self.place[i] = *at;
            *at += 1;
        }
    }

    fn lay_out_rows(&mut self, incidence: &Incidence, rows: usize) {
        for i in 0..rows {
            match incidence.nodes(i).first() {
                Some(&node) => {
                    let part = &mut self.list[self.part_of[node as usize] as usize];
                    part.rows_end += 1;
                    part.coupled |= incidence.coupled[i];
                }
                None => self.shared_rows.push(i as u32),
            }
        }
        let mut next = 0;
        for part in &mut self.list {
            part.rows_first = next;
            next += part.rows_end;
            part.rows_end = part.rows_first;
        }
        self.rows = vec![0; next as usize];
        for i in 0..rows {
            if let Some(&node) = incidence.nodes(i).first() {
                let part = &mut self.list[self.part_of[node as usize] as usize];
                self.rows[part.rows_end as usize] = i as u32;
                part.rows_end += 1;
            }
        }
    }

    fn find_patterns(&mut self, incidence: &Incidence) {
        for part in &mut self.list {
            if part.nodes as usize * self.width <= DENSE {
                continue;
            }
            let mut links = Vec::new();
            for &row in &self.rows[part.rows_first as usize..part.rows_end as usize] {
                let nodes = incidence.nodes(row as usize);
                for (k, a) in nodes.iter().enumerate() {
                    for b in &nodes[k + 1..] {
                        let (a, b) = (
                            self.place[*a as usize] - part.first,
                            self.place[*b as usize] - part.first,
                        );
                        links.push((a.min(b), a.max(b)));
                    }
                }
            }
            links.sort_unstable();
            links.dedup();
            let pattern = Pattern::new(part.nodes as usize, self.width, &links);
            part.pattern = Some(Arc::new(pattern));
        }
    }

    /// The equations of a part.
    pub(super) fn rows_of(&self, part: &Part) -> &[u32] {
        &self.rows[part.rows_first as usize..part.rows_end as usize]
    }

    /// Range of a part's unknowns in the part-by-part layout.
    pub(super) fn range(&self, part: &Part) -> std::ops::Range<usize> {
        let first = part.first as usize * self.width;
        first..first + part.nodes as usize * self.width
    }
}
