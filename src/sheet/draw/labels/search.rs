//! The search: one label after the other, then chains of labels that make room for one another.

use std::cell::OnceCell;

use super::candidates::{Candidate, Ground, SHORTENED};
use super::grid::Grid;
use super::{Obstacles, Placed, Wanted};
use crate::sheet::draw::geometry::{Rect, cross};

/// White between two boxes.
const GAP: f64 = 0.35;
/// So many labels at most for points within a radius of one another, millimetres: more can't be told apart (our choice).
/// Where a drawing is so full that more than [`HOPELESS`] of these find no room, the next pair is tried: names evenly spread
/// say more than a thicket.
const CROWDS: [(usize, f64); 4] = [(3, 2.5), (1, 2.5), (1, 4.0), WIDEST];
const WIDEST: (usize, f64) = (1, 7.0);
const HOPELESS: f64 = 0.25;
/// Points within this of one another compete for room, millimetres.
const RIVALS: f64 = 10.0;
/// How long a chain of labels that make room may get, and how many may have to go at once.
const CHAIN: usize = 3;
const AT_ONCE: usize = 3;
/// Candidates that are looked at for one link of a chain.
const LINK: usize = 160;
/// Places that all chains together, and the chains of one label, may look at, so that a hopeless drawing ends (our choice:
/// a fraction of a second).
const PATIENCE: usize = 250_000;
const PATIENCE_EACH: usize = 60_000;
/// Rounds in which every label looks for a better place.
const ROUNDS: usize = 3;

/// Runs the search.
pub fn run(wanted: &[Wanted], obstacles: &Obstacles, area: Rect, far: f64) -> Vec<Option<Placed>> {
    let ground = Ground::new(obstacles, area);
    // Of a crowd's labels most are never looked at.
    let all: Vec<OnceCell<Vec<Candidate>>> = wanted.iter().map(|_| OnceCell::new()).collect();
    let missing = |placed: &[Option<Placed>]| placed.iter().filter(|p| p.is_none()).count();
    for crowd in CROWDS {
        let keep = uncrowded(wanted, area, crowd);
        let kept: Vec<Vec<Candidate>> = wanted
            .iter()
            .zip(&all)
            .zip(keep)
            .map(|((w, all), keep)| match keep {
                true => all.get_or_init(|| ground.candidates(w, far)).clone(),
                false => Vec::new(),
            })
            .collect();
        let mut best: Option<Vec<Option<Placed>>> = None;
        for brief in [false, true] {
            let mut search = Search::new(wanted, area, kept.clone());
            if brief {
                search.prefer_short();
            }
            let order = search.order(area);
            let hopeless = search.greedy(&order);
            if hopeless && !(brief && crowd == WIDEST) {
                continue;
            }
            search.improve(&order);
            if brief {
                search.candidates.clone_from(&kept);
                search.improve(&order);
            }
            let found = search.placed;
            let better = best
                .as_ref()
                .is_none_or(|best| missing(&found) < missing(best));
            if better {
                best = Some(found);
            }
            if best.as_ref().is_some_and(|best| missing(best) == 0) {
                break;
            }
        }
        if let Some(best) = best {
            return best;
        }
    }
    vec![None; wanted.len()]
}

struct Search<'a> {
    wanted: &'a [Wanted],
    boxes: Grid,
    /// One list a label, cheapest first.
    candidates: Vec<Vec<Candidate>>,
    placed: Vec<Option<Placed>>,
    /// What stood where before each change of a chain.
    undo: Vec<(usize, Option<Placed>)>,
    patience: usize,
}

impl<'a> Search<'a> {
    fn new(wanted: &'a [Wanted], area: Rect, candidates: Vec<Vec<Candidate>>) -> Self {
        Self {
            candidates,
            wanted,
            boxes: Grid::new(area),
            placed: vec![None; wanted.len()],
            undo: Vec::new(),
            patience: PATIENCE,
        }
    }

    /// Smaller boxes first: in a crowd the whole labels of the first take the room of all.
    fn prefer_short(&mut self) {
        for list in &mut self.candidates {
            let cost = |c: &Candidate| c.cost - if c.placed.short { 2.0 * SHORTENED } else { 0.0 };
            list.sort_by(|a, b| cost(a).total_cmp(&cost(b)));
        }
    }

    /// Each label in turn to its best free place; says whether the drawing is hopelessly full.
    fn greedy(&mut self, order: &[usize]) -> bool {
        for &i in order {
            self.put_best(i);
        }
        self.patience = PATIENCE;
        let kept = self.candidates.iter().filter(|all| !all.is_empty()).count();
        let placed = self.placed.iter().flatten().count();
        (kept - placed) as f64 > HOPELESS * kept as f64
    }

    /// Chains for those without a place, then better places for all, by turns.
    fn improve(&mut self, order: &[usize]) {
        for _ in 0..ROUNDS {
            for &i in order {
                let wanted = self.candidates.get(i).is_some_and(|all| !all.is_empty());
                if wanted && self.place_of(i).is_none() {
                    let held = self.patience.saturating_sub(PATIENCE_EACH);
                    self.patience -= held;
                    self.make_room(i, CHAIN, &mut Vec::new());
                    self.patience += held;
                }
            }
            let (mut moved, patience) = (false, self.patience);
            for &i in order {
                if let Some(before) = self.place_of(i) {
                    self.set(i, None);
                    self.put_best(i);
                    moved |= self.place_of(i) != Some(before);
                }
            }
            self.undo.clear();
            self.patience = patience;
            if !moved {
                break;
            }
        }
    }

    fn place_of(&self, i: usize) -> Option<Placed> {
        self.placed.get(i).copied().flatten()
    }

    /// The most crowded points first; ties in the order given.
    fn order(&self, area: Rect) -> Vec<usize> {
        let mut points = Grid::new(area);
        for (i, w) in self.wanted.iter().enumerate() {
            points.add(Rect::spot(w.at), i);
        }
        let crowd = |w: &Wanted| points.near(Rect::spot(w.at).grown(RIVALS)).count();
        let mut order: Vec<(usize, usize)> = self.wanted.iter().map(crowd).zip(0..).collect();
        order.sort_by_key(|&(crowd, i)| (std::cmp::Reverse(crowd), i));
        order.into_iter().map(|(_, i)| i).collect()
    }

    /// Labels in the way of a place: boxes that overlap it, boxes that its leader crosses, leaders that cross it.
    fn in_the_way(&self, i: usize, placed: &Placed) -> impl Iterator<Item = usize> {
        let leader = placed.leader.into_iter();
        let along = leader.flat_map(|line| self.boxes.near_line(line));
        let beneath = self.boxes.near(placed.rect.grown(GAP));
        beneath.chain(along).filter(move |&j| {
            let other = self.placed.get(j).and_then(Option::as_ref);
            j != i && other.is_some_and(|other| conflict(placed, other))
        })
    }

    /// Changes a label's place and remembers what it was.
    fn set(&mut self, i: usize, to: Option<Placed>) {
        let Some(slot) = self.placed.get_mut(i) else {
            return;
        };
        let before = std::mem::replace(slot, to);
        if let Some(before) = &before {
            self.boxes.remove(before.rect.grown(GAP), i);
            if let Some(line) = before.leader {
                self.boxes.remove_line(line, i);
            }
        }
        if let Some(to) = &to {
            self.boxes.add(to.rect.grown(GAP), i);
            if let Some(line) = to.leader {
                self.boxes.add_line(line, i);
            }
        }
        self.undo.push((i, before));
    }

    fn roll_back(&mut self, length: usize) {
        while self.undo.len() > length {
            if let Some((i, before)) = self.undo.pop() {
                self.set(i, before);
                self.undo.pop();
            }
        }
    }

    fn put_best(&mut self, i: usize) -> bool {
        let all = self.candidates.get(i).map_or(&[][..], Vec::as_slice);
        let mut looked = 0;
        let free = all.iter().map(|c| c.placed).find(|placed| {
            looked += 1;
            self.in_the_way(i, placed).next().is_none()
        });
        self.patience = self.patience.saturating_sub(looked);
        if free.is_some() {
            self.set(i, free);
        }
        free.is_some()
    }

    /// Puts a label where others stand that can go elsewhere, if need be by the same means. `fixed` are the labels that
    /// the chain has put already.
    fn make_room(&mut self, i: usize, links: usize, fixed: &mut Vec<usize>) -> bool {
        fixed.push(i);
        let count = self.candidates.get(i).map_or(0, Vec::len).min(LINK);
        for at in 0..count {
            if self.patience == 0 {
                break;
            }
            self.patience -= 1;
            let Some(candidate) = self.candidates.get(i).and_then(|all| all.get(at)) else {
                break;
            };
            let placed = candidate.placed;
            let mut others: Vec<usize> = self.in_the_way(i, &placed).collect();
            others.sort_unstable();
            others.dedup();
            if others.len() > AT_ONCE || others.iter().any(|j| fixed.contains(j)) {
                continue;
            }
            let (before, held) = (self.undo.len(), fixed.len());
            for &j in &others {
                self.set(j, None);
            }
            self.set(i, Some(placed));
            let settled = others
                .iter()
                .all(|&j| self.put_best(j) || (links > 1 && self.make_room(j, links - 1, fixed)));
            if settled {
                return true;
            }
            self.roll_back(before);
            fixed.truncate(held);
        }
        fixed.pop();
        false
    }
}

/// Which points are not crowded out by those before them.
fn uncrowded(wanted: &[Wanted], area: Rect, (most, radius): (usize, f64)) -> Vec<bool> {
    let mut kept = Grid::new(area);
    let mut keep = Vec::with_capacity(wanted.len());
    for (i, w) in wanted.iter().enumerate() {
        let mut near: Vec<usize> = kept
            .near(Rect::spot(w.at).grown(radius))
            .filter(|j| {
                wanted
                    .get(*j)
                    .is_some_and(|other| (other.at - w.at).length() < radius)
            })
            .collect();
        near.sort_unstable();
        near.dedup();
        let free = near.len() < most;
        if free {
            kept.add(Rect::spot(w.at), i);
        }
        keep.push(free);
    }
    keep
}

fn conflict(a: &Placed, b: &Placed) -> bool {
    let through = |placed: &Placed, other: &Placed| {
        placed
            .leader
            .is_some_and(|(p, q)| other.rect.grown(GAP).clip(p, q).is_some())
    };
    a.rect.grown(GAP).overlaps(b.rect)
        || through(a, b)
        || through(b, a)
        || matches!((a.leader, b.leader), (Some(p), Some(q)) if cross(p, q))
}
