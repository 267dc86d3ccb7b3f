//! What of the factor depends on the pattern alone: the order of elimination, and the fronts that it is worked off in.

use std::ops::Range;

use faer::dyn_stack::{MemBuffer, MemStack};
use faer::sparse::SymbolicSparseColMatRef;
use faer::sparse::linalg::amd;

use super::super::parts::split;

const NONE: u32 = u32::MAX;
/// Subtrees that are worked off side by side are no more than this part of the work each, so that threads end together.
const SHARE: usize = 8;

/// The pattern, worked out once for all iterations. Inside, nodes stand in the order of elimination.
#[derive(Clone, Debug)]
pub(in crate::math) struct Pattern {
    /// Unknowns of each node.
    pub(super) width: usize,
    /// Node → its place in the order of elimination.
    place: Vec<u32>,
    /// Blocks of the lower triangle, node's column by node's column: rows ascending, the diagonal first.
    start: Vec<usize>,
    row: Vec<u32>,
    /// Every front comes right after what hangs under it.
    pub(super) fronts: Vec<Front>,
    /// Subtrees that can be worked off side by side, ascending; what is in none of them comes after all of them.
    pub(super) subtrees: Vec<Range<usize>>,
    /// Node's place → its front.
    front_of: Vec<u32>,
    /// Size of the values of all fronts.
    pub(super) size: usize,
}

/// Nodes that are eliminated together, because what they meet later is (almost) the same.
#[derive(Clone, Debug)]
pub(super) struct Front {
    /// Place of the first of them, and their number.
    pub(super) first: usize,
    pub(super) nodes: usize,
    /// Places of the later nodes that they meet, ascending: all of them in the parent too.
    pub(super) later: Vec<u32>,
    /// Where each of `later` stands among the parent's own and later nodes.
    pub(super) in_parent: Vec<u32>,
    pub(super) children: Vec<u32>,
    pub(super) parent: Option<u32>,
    /// Where its columns of the factor begin.
    pub(super) value: usize,
}

/// A block of the matrix or the factor, by the places of its nodes, and its number or place.
#[derive(Clone, Copy)]
pub(super) struct Found {
    of: (usize, usize),
    block: usize,
}

impl Front {
    /// Own and later nodes.
    pub(super) fn height(&self) -> usize {
        self.nodes + self.later.len()
    }

    /// Where a node stands among the own and later ones.
    pub(super) fn local(&self, place: u32) -> Option<usize> {
        let own = (place as usize).checked_sub(self.first)?;
        if own < self.nodes {
            return Some(own);
        }
        let later = self.later.binary_search(&place).ok()?;
        Some(self.nodes + later)
    }
}

impl Pattern {
    /// From pairs of nodes that share an equation; every node has `width` unknowns.
    pub(in crate::math) fn new(nodes: usize, width: usize, links: &[(u32, u32)]) -> Self {
        let mut place = fill_reducing_order(nodes, links);
        let (start, row) = columns(&place, links);
        let again = postorder(&elimination_tree(nodes, &start, &row).0);
        for at in &mut place {
            *at = again[*at as usize];
        }
        let (start, row) = columns(&place, links);
        let (parent, counts) = elimination_tree(nodes, &start, &row);
        let mut this = Self {
            width,
            place,
            start,
            row,
            fronts: Vec::new(),
            subtrees: Vec::new(),
            front_of: vec![0; nodes],
            size: 0,
        };
        this.lay_out(&grouped(width, &parent, &counts), &parent);
        this
    }

    fn lay_out(&mut self, groups: &[Group], parent: &[u32]) {
        let mut seen = vec![NONE; parent.len()];
        let mut children: Vec<Vec<u32>> = vec![Vec::new(); groups.len()];
        for (i, group) in groups.iter().enumerate() {
            let columns = group.first..group.first + group.nodes;
            self.front_of[columns.clone()].fill(i as u32);
            let mut later: Vec<u32> = Vec::with_capacity(group.height - group.nodes);
            let of_children = children[i]
                .iter()
                .flat_map(|&child| &self.fronts[child as usize].later);
            let own = &self.row[self.start[columns.start]..self.start[columns.end]];
            for &place in own.iter().chain(of_children) {
                if place as usize >= columns.end && seen[place as usize] != i as u32 {
                    seen[place as usize] = i as u32;
                    later.push(place);
                }
            }
            later.sort_unstable();
            if let Some(&next) = later.first() {
                let up = groups.partition_point(|g| g.first <= next as usize) - 1;
                children[up].push(i as u32);
            }
            let front = Front {
                first: columns.start,
                nodes: group.nodes,
                later,
                in_parent: Vec::new(),
                children: std::mem::take(&mut children[i]),
                parent: None,
                value: self.size,
            };
            self.size += front.height() * front.nodes * self.width * self.width;
            self.fronts.push(front);
        }
        for up in 0..self.fronts.len() {
            for child in self.fronts[up].children.clone() {
                let parent = &self.fronts[up];
                let map = self.fronts[child as usize]
                    .later
                    .iter()
                    .filter_map(|&place| parent.local(place).map(|local| local as u32))
                    .collect();
                self.fronts[child as usize].in_parent = map;
                self.fronts[child as usize].parent = Some(up as u32);
            }
        }
        self.subtrees = subtrees(&self.fronts);
    }

    /// Number of nodes.
    pub(super) fn nodes(&self) -> usize {
        self.place.len()
    }

    /// The fronts that are in no subtree, ascending, those that follow each other together.
    pub(super) fn above(&self) -> Vec<Range<usize>> {
        let starts = std::iter::once(0).chain(self.subtrees.iter().map(|range| range.end));
        let ends = self.subtrees.iter().map(|range| range.start);
        starts
            .zip(ends.chain([self.fronts.len()]))
            .map(|(start, end)| start..end)
            .filter(|range| !range.is_empty())
            .collect()
    }

    /// Where the values of some fronts lie.
    pub(super) fn values(&self, fronts: Range<usize>) -> Range<usize> {
        let start = |front: usize| self.fronts.get(front).map_or(self.size, |f| f.value);
        start(fronts.start)..start(fronts.end)
    }

    /// Size of the matrix's values.
    pub(in crate::math) fn entries(&self) -> usize {
        self.row.len() * self.width * self.width
    }

    /// Rows and place among the values of a node's column of blocks.
    pub(super) fn column(&self, place: usize) -> impl Iterator<Item = (u32, usize)> + '_ {
        let block = self.width * self.width;
        let range = self.start[place]..self.start[place + 1];
        self.row[range.clone()]
            .iter()
            .zip(range)
            .map(move |(row, at)| (*row, at * block))
    }

    fn split(&self, unknown: usize) -> (usize, usize) {
        split(unknown, self.width)
    }

    /// Where an unknown stands in the order of elimination.
    pub(super) fn unknown(&self, unknown: usize) -> usize {
        let (node, within) = self.split(unknown);
        self.place[node] as usize * self.width + within
    }

    /// The front that eliminates what stands at a place in the order of elimination.
    pub(super) fn front_at(&self, unknown: usize) -> usize {
        self.front_of[self.split(unknown).0] as usize
    }

    /// Where the entry of two unknowns lies among the matrix's values.
    pub(in crate::math) fn entry(&self, a: usize, b: usize) -> Option<usize> {
        let (p, q) = (self.unknown(a), self.unknown(b));
        self.entry_at(p.max(q), p.min(q), &mut None)
    }

    /// Where the entry of two unknowns, by their places in the order of elimination, lies; `last` holds the block that was found before.
    fn entry_at(&self, row: usize, column: usize, last: &mut Option<Found>) -> Option<usize> {
        let w = self.width;
        let ((row, i), (column, j)) = (self.split(row), self.split(column));
        let block = match *last {
            Some(found) if found.of == (row, column) => found.block,
            _ => {
                let first = self.start[column];
                // The diagonal stands first.
                let block = if row == column {
                    first
                } else {
                    let rows = &self.row[first..self.start[column + 1]];
                    first + rows.binary_search(&(row as u32)).ok()?
                };
                let of = (row, column);
                *last = Some(Found { of, block });
                block
            }
        };
        Some(block * w * w + j * w + i)
    }

    /// Adds weight · aᵀa to the matrix, of an equation's unknowns and partial derivatives; `room` is emptied.
    pub(in crate::math) fn add(
        &self,
        lower: &mut [f64],
        terms: &[(usize, f64)],
        weight: f64,
        room: &mut Vec<(usize, f64)>,
    ) {
        room.clear();
        room.extend(terms.iter().map(|&(u, a)| (self.unknown(u), a)));
        let mut last = None;
        for (k, &(p, a)) in room.iter().enumerate() {
            for (l, &(q, b)) in room[k..].iter().enumerate() {
                if let Some(at) = self.entry_at(p.max(q), p.min(q), &mut last) {
                    // An unknown named twice meets itself on the diagonal twice.
                    let times = if p == q && l > 0 { 2.0 } else { 1.0 };
                    lower[at] += times * a * b * weight;
                }
            }
        }
    }

    /// Where the factor (and the inverse in its pattern) holds the entry of two unknowns.
    pub(super) fn factor_entry(&self, a: usize, b: usize) -> Option<usize> {
        let (p, q) = (self.unknown(a), self.unknown(b));
        self.factor_entry_at(p.max(q), p.min(q), &mut None)
    }

    /// The same by their places in the order of elimination; `last` holds the nodes asked for before, and where their block begins.
    pub(super) fn factor_entry_at(
        &self,
        row: usize,
        column: usize,
        last: &mut Option<Found>,
    ) -> Option<usize> {
        let w = self.width;
        let ((row, i), (node, j)) = (self.split(row), self.split(column));
        let front = &self.fronts[self.front_of[node] as usize];
        let m = front.height() * w;
        let block = match *last {
            Some(found) if found.of == (row, node) => found.block,
            _ => {
                let local = front.local(row as u32)? * w;
                let block = front.value + (node - front.first) * w * m + local;
                let of = (row, node);
                *last = Some(Found { of, block });
                block
            }
        };
        Some(block + j * m + i)
    }
}

/// The largest subtrees of which none is more than a small part of all the work.
fn subtrees(fronts: &[Front]) -> Vec<Range<usize>> {
    let work = |front: &Front| front.nodes * front.height() * front.height();
    // Work of what hangs under each front, with its own, and the first front there.
    let mut under: Vec<(usize, usize)> = Vec::with_capacity(fronts.len());
    for (f, front) in fronts.iter().enumerate() {
        let (mut sum, mut first) = (work(front), f);
        for &child in &front.children {
            let (work, begin) = under[child as usize];
            sum += work;
            first = first.min(begin);
        }
        under.push((sum, first));
    }
    let all: usize = fronts.iter().map(work).sum();
    let small = |f: usize| under[f].0 <= all / SHARE;
    (0..fronts.len())
        .filter(|&f| small(f) && fronts[f].parent.is_none_or(|up| !small(up as usize)))
        .map(|f| under[f].1..f + 1)
        .collect()
}

/// Order of nodes that keeps the factor sparse: place in the order, by node. `links` are pairs of nodes.
fn fill_reducing_order(nodes: usize, links: &[(u32, u32)]) -> Vec<u32> {
    let identity: Vec<u32> = (0..nodes as u32).collect();
    let (start, row) = columns(&identity, links);
    let row: Vec<usize> = row.into_iter().map(|r| r as usize).collect();
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
        Err(_) => identity,
    }
}

/// The lower triangle column by column, of nodes at the given places: rows ascending, the diagonal first.
fn columns(place: &[u32], links: &[(u32, u32)]) -> (Vec<usize>, Vec<u32>) {
    let mut entries: Vec<(u32, u32)> = links
        .iter()
        .map(|&(a, b)| (place[a as usize], place[b as usize]))
        .map(|(a, b)| (a.min(b), a.max(b)))
        .chain((0..place.len() as u32).map(|i| (i, i)))
        .collect();
    entries.sort_unstable();
    entries.dedup();
    let mut start = vec![0; place.len() + 1];
    let mut rows = Vec::with_capacity(entries.len());
    for (column, row) in entries {
        rows.push(row);
        start[column as usize + 1] = rows.len();
    }
    (start, rows)
}

/// Parent of each column of the factor, and its number of entries.
fn elimination_tree(n: usize, start: &[usize], row: &[u32]) -> (Vec<u32>, Vec<usize>) {
    // Columns that each row of the matrix meets, ascending: the lower triangle turned over.
    let mut first = vec![0_usize; n + 1];
    for &r in row {
        first[r as usize + 1] += 1;
    }
    for i in 0..n {
        first[i + 1] += first[i];
    }
    let mut next = first.clone();
    let mut met = vec![0_u32; row.len()];
    for column in 0..n {
        for &r in &row[start[column]..start[column + 1]] {
            met[next[r as usize]] = column as u32;
            next[r as usize] += 1;
        }
    }
    let mut parent = vec![NONE; n];
    let mut counts = vec![1; n];
    let mut mark = vec![NONE; n];
    for k in 0..n {
        mark[k] = k as u32;
        for &column in &met[first[k]..first[k + 1]] {
            let mut i = column;
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

/// An equivalent order in which every subtree stands together: new place by old.
fn postorder(parent: &[u32]) -> Vec<u32> {
    let n = parent.len();
    // Children as linked lists, the smallest first.
    let (mut child, mut sibling) = (vec![NONE; n], vec![NONE; n]);
    for i in (0..n).rev().filter(|&i| parent[i] != NONE) {
        sibling[i] = child[parent[i] as usize];
        child[parent[i] as usize] = i as u32;
    }
    let mut place = vec![0; n];
    let mut next = 0;
    let mut stack: Vec<u32> = Vec::new();
    for root in (0..n as u32).filter(|&i| parent[i as usize] == NONE) {
        stack.push(root);
        while let Some(&top) = stack.last() {
            let down = child[top as usize];
            if down == NONE {
                stack.pop();
                place[top as usize] = next;
                next += 1;
            } else {
                child[top as usize] = sibling[down as usize];
                stack.push(down);
            }
        }
    }
    place
}

/// Columns that become a front.
struct Group {
    first: usize,
    nodes: usize,
    height: usize,
    /// Entries that are not zero by the pattern.
    filled: usize,
}

/// Entries of the columns of a front, below and on the diagonal.
fn area(nodes: usize, height: usize) -> usize {
    nodes * height - nodes * (nodes - 1) / 2
}

/// Neighbouring columns of one pattern together; and a front with its parent where that adds few zeros, since a wide front
/// is worked off faster than two narrow ones. The limits are our choice.
fn grouped(width: usize, parent: &[u32], counts: &[usize]) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for j in 0..parent.len() {
        let continues = j > 0 && parent[j - 1] == j as u32 && counts[j - 1] == counts[j] + 1;
        match groups.last_mut().filter(|_| continues) {
            Some(group) => {
                group.nodes += 1;
                group.filled += counts[j];
            }
            None => groups.push(Group {
                first: j,
                nodes: 1,
                height: counts[j],
                filled: counts[j],
            }),
        }
    }
    let mut merged: Vec<Group> = Vec::new();
    for mut group in groups {
        while let Some(before) = merged.pop_if(|before| {
            let last = before.first + before.nodes - 1;
            let (nodes, height) = (before.nodes + group.nodes, before.nodes + group.height);
            let zeros = area(nodes, height) - before.filled - group.filled;
            let part = zeros as f64 / area(nodes, height) as f64;
            parent[last] == group.first as u32
                && match nodes * width {
                    ..=8 => part < 0.5,
                    9..=32 => part < 0.2,
                    _ => part < 0.05,
                }
        }) {
            group = Group {
                first: before.first,
                nodes: before.nodes + group.nodes,
                height: before.nodes + group.height,
                filled: before.filled + group.filled,
            };
        }
        merged.push(group);
    }
    merged
}
