//! Places that a label could take: rings around its point, cheapest first.

use std::f64::consts::{FRAC_PI_8, TAU};

use super::grid::Grid;
use super::{Obstacles, Placed, Wanted};
use crate::sheet::draw::geometry::{Pt, Rect, cross, pt};

/// Distances of the box from the symbol, millimetres. The first needs no leader.
const RINGS: [f64; 11] = [0.5, 2.5, 5.0, 8.0, 12.0, 17.0, 23.0, 30.0, 38.0, 48.0, 60.0];
/// Directions close by and from the fourth ring on, where a sixteenth of a turn would leap over gaps.
const DIRECTIONS: usize = 16;
const FAR_DIRECTIONS: usize = 32;
const FAR: usize = 3;

// What makes one free place better than another, in millimetres of leader (our choice, from looking at sheets).
const LINE_UNDER: f64 = 10.0;
const LINE_CROSSED: f64 = 6.0;
pub const SHORTENED: f64 = 14.0;

/// A place with what it costs.
#[derive(Clone, Copy)]
pub struct Candidate {
    pub placed: Placed,
    pub cost: f64,
}

/// The drawing that labels are placed in.
pub struct Ground<'a> {
    pub obstacles: &'a Obstacles,
    pub area: Rect,
    lines: Grid,
    walls: Grid,
    symbols: Grid,
}

impl<'a> Ground<'a> {
    pub fn new(obstacles: &'a Obstacles, area: Rect) -> Self {
        let segments = |all: &[(Pt, Pt)]| {
            let mut grid = Grid::new(area);
            for (i, (a, b)) in all.iter().enumerate() {
                if let Some((a, b)) = area.clip(*a, *b)
                    && let Some(rect) = Rect::around([a, b])
                {
                    grid.add(rect, i);
                }
            }
            grid
        };
        let mut symbols = Grid::new(area);
        for (i, (at, radius)) in obstacles.symbols.iter().enumerate() {
            symbols.add(Rect::spot(*at).grown(*radius), i);
        }
        Self {
            obstacles,
            area,
            lines: segments(&obstacles.lines),
            walls: segments(&obstacles.walls),
            symbols,
        }
    }

    /// Every place inside the area, no farther than `far`, that covers neither a symbol nor a wall and whose leader
    /// runs through no symbol; cheapest first.
    pub fn candidates(&self, w: &Wanted, far: f64) -> Vec<Candidate> {
        let mut found = Vec::new();
        let sizes = [Some((w.size, false)), w.short.map(|size| (size, true))];
        for (size, short) in sizes.into_iter().flatten() {
            let near = RINGS.iter().filter(|distance| **distance <= far);
            for (ring, distance) in near.enumerate() {
                let directions = if ring < FAR {
                    DIRECTIONS
                } else {
                    FAR_DIRECTIONS
                };
                for step in 0..directions {
                    let angle = direction(step, directions);
                    let placed = candidate(w, size, *distance, angle, ring > 0, short);
                    if self.free(placed.rect) && !self.hides(w, &placed) {
                        let preference = 1.6 * step as f64 / directions as f64;
                        let cost = self.cost(&placed) + distance + preference;
                        found.push(Candidate { placed, cost });
                    }
                }
            }
        }
        found.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        found
    }

    fn free(&self, rect: Rect) -> bool {
        self.area.holds(rect) && !self.covers_symbol(rect) && !self.covers_wall(rect)
    }

    fn covers_symbol(&self, rect: Rect) -> bool {
        self.symbols
            .near(rect)
            .filter_map(|i| self.obstacles.symbols.get(i))
            .any(|(at, radius)| (rect.nearest(*at) - *at).square() < radius * radius)
    }

    fn covers_wall(&self, rect: Rect) -> bool {
        let rect = rect.grown(super::WALL);
        self.walls
            .near(rect)
            .filter_map(|i| self.obstacles.walls.get(i))
            .any(|(a, b)| rect.clip(*a, *b).is_some())
    }

    /// Whether the leader runs through another point's symbol: it would seem to name that one.
    fn hides(&self, w: &Wanted, placed: &Placed) -> bool {
        placed.leader.is_some_and(|leader| {
            let symbols = self.symbols.near_line(leader);
            symbols
                .filter_map(|i| self.obstacles.symbols.get(i))
                .any(|(at, radius)| {
                    let square = radius * radius;
                    (*at - w.at).square() > square && near(leader, *at) < square * 0.7 * 0.7
                })
        })
    }

    /// What lies under the box and across the leader, each thing once.
    fn cost(&self, placed: &Placed) -> f64 {
        let under = count(self.lines.near(placed.rect), |i| {
            self.obstacles
                .lines
                .get(i)
                .is_some_and(|(a, b)| placed.rect.clip(*a, *b).is_some())
        });
        let shortened = if placed.short { SHORTENED } else { 0.0 };
        let mut cost = LINE_UNDER * under as f64 + shortened;
        if let Some(leader) = placed.leader {
            let over = |grid: &Grid, all: &[(Pt, Pt)]| {
                count(grid.near_line(leader), |i| {
                    all.get(i).is_some_and(|line| cross(leader, *line))
                })
            };
            let crossed =
                over(&self.lines, &self.obstacles.lines) + over(&self.walls, &self.obstacles.walls);
            cost += LINE_CROSSED * crossed as f64;
        }
        cost
    }
}

/// How many different numbers pass.
fn count(numbers: impl Iterator<Item = usize>, pass: impl Fn(usize) -> bool) -> usize {
    let mut passed: Vec<usize> = numbers.filter(|i| pass(*i)).collect();
    passed.sort_unstable();
    passed.dedup();
    passed.len()
}

/// Square of the distance of a point from a segment.
fn near((a, b): (Pt, Pt), p: Pt) -> f64 {
    let (along, from) = (b - a, p - a);
    let square = along.square();
    let t = if square > 0.0 {
        ((from.x * along.x + from.y * along.y) / square).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (a + along * t - p).square()
}

/// To the right and a little up first, as map lettering has it, then by turns to either side.
fn direction(step: usize, directions: usize) -> f64 {
    let turns = step.div_ceil(2) as f64 * if step.is_multiple_of(2) { 1.0 } else { -1.0 };
    turns * TAU / directions as f64 - FRAC_PI_8
}

/// The box at a distance and direction from its point's symbol; its nearest point to the symbol lies on that ray.
fn candidate(
    w: &Wanted,
    (width, height): (f64, f64),
    distance: f64,
    angle: f64,
    leader: bool,
    short: bool,
) -> Placed {
    let ray = pt(angle.cos(), angle.sin());
    let tip = w.at + ray * (w.clear + distance);
    // The box hangs on the ray's tip by the side that faces the point.
    let shift = |c: f64, size: f64| {
        if c > 0.38 {
            0.0
        } else if c < -0.38 {
            -size
        } else {
            -size / 2.0
        }
    };
    let rect = Rect::new(
        tip.x + shift(ray.x, width),
        tip.y + shift(ray.y, height),
        width,
        height,
    );
    let edge = rect.nearest(w.at);
    let away = edge - w.at;
    let start = w.at + away * (w.clear / away.length().max(1e-9));
    Placed {
        rect,
        leader: leader.then_some((start, edge)),
        short,
    }
}
