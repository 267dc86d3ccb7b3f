//! Inverts with their covariance.

use super::lengths::{self, Way};
use super::{Figure, Leg};
use crate::math::block;
use crate::run::{GroundAt, GroundOrigin, Hidden, Inputs, Level, Line, Traced, VertexKind, line};
use crate::transmitter::{Basis, Depth};

/// An invert at a vertex; metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Invert {
    /// Elevation.
    pub z: f64,
    /// Variance with everything in it.
    pub variance: f64,
    /// A depth was accepted here; else it lies on the line between neighbours.
    pub measured: bool,
}

/// How a pipe departs from the straight line between known inverts: one-sigma, part of the distance to the nearer one (our
/// choice: one percent of grade).
pub const UNEVEN: f64 = 0.01;

/// The measured inverts of a run.
pub(super) struct Levels {
    pub known: Vec<Level>,
    /// Each one's ground.
    grounds: Vec<GroundAt>,
    /// Each one's vertex, and index into `Traced::marks`.
    pub at: Vec<(usize, usize)>,
}

impl Levels {
    pub fn of(inputs: Inputs<'_>, traced: &Traced) -> Self {
        let axis = inputs.axis_above_invert(traced.run);
        let mut found = Self {
            known: Vec::new(),
            grounds: Vec::new(),
            at: Vec::new(),
        };
        for (index, vertex) in traced.vertices.iter().enumerate() {
            let VertexKind::Mark(mark) = vertex.kind else {
                continue;
            };
            let Some((ground, depth)) = traced
                .marks
                .get(mark)
                .filter(|mark| !mark.upright())
                .and_then(|mark| mark.ground.zip(mark.depth))
            else {
                continue;
            };
            found.known.push(Level {
                station: vertex.station,
                z: ground.z - depth.value - axis,
                own: depth.sigma * depth.sigma + ground.own,
                common: depth.common,
            });
            found.grounds.push(ground);
            found.at.push((index, mark));
        }
        found
    }

    /// Covariance of two inverts.
    pub fn covariance(&self, inputs: Inputs<'_>, i: usize, j: usize) -> f64 {
        let (Some(a), Some(b)) = (self.known.get(i), self.known.get(j)) else {
            return 0.0;
        };
        a.common * b.common + self.ground(inputs, i, j) + if i == j { a.own } else { 0.0 }
    }

    fn ground(&self, inputs: Inputs<'_>, i: usize, j: usize) -> f64 {
        match (self.grounds.get(i), self.grounds.get(j)) {
            (Some(a), Some(b)) => a.covariance(b, inputs.grounds),
            _ => 0.0,
        }
    }

    /// Fall from one invert to another, with what is shared cancelled.
    pub fn fall(&self, inputs: Inputs<'_>, i: usize, j: usize) -> Option<Figure> {
        let (a, b) = (self.known.get(i)?, self.known.get(j)?);
        let scale = (a.common - b.common).powi(2);
        let grounds =
            self.ground(inputs, i, i) + self.ground(inputs, j, j) - 2.0 * self.ground(inputs, i, j);
        Some(Figure {
            value: a.z - b.z,
            sigma: (scale + a.own + b.own + grounds.max(0.0)).sqrt(),
        })
    }

    /// Fall from each invert to the next.
    pub fn falls(&self, inputs: Inputs<'_>) -> Vec<Figure> {
        let pairs = 1..self.known.len();
        pairs.filter_map(|j| self.fall(inputs, j - 1, j)).collect()
    }

    /// The grade line along the run's [`Way`]: a first one for the grade, then with the stations' errors in it.
    pub fn line(&self, inputs: Inputs<'_>, traced: &Traced, way: &Way) -> Option<Line> {
        let grounds = |i: usize, j: usize| self.ground(inputs, i, j);
        let (known, ways) = self.on(way);
        let known = self.expected(inputs, traced, known);
        let first = line::fit(&known, Some(&grounds))?;
        let steep = first.grade * first.grade;
        let with_stations = |i: usize, j: usize| {
            let along = match (self.at.get(i), self.at.get(j), ways.get(i), ways.get(j)) {
                (Some(&(_, a)), Some(&(_, b)), Some(&u), Some(&v)) => {
                    block::between(traced.covariance(inputs.places, a, b), u, v)
                }
                _ => 0.0,
            };
            grounds(i, j) + steep * along
        };
        let mut line = line::fit(&known, Some(&with_stations))?;
        let stations = known.iter().map(|level| level.station);
        let length = stations.clone().fold(0.0, f64::max) - stations.fold(f64::INFINITY, f64::min);
        let grade = Figure {
            value: line.grade,
            sigma: line.sigma,
        };
        if length > 0.0 {
            line.sigma = lengths::flatter(grade, length, traced.hidden.iter());
        }
        Some(line)
    }

    /// The inverts at their stations along a way, and its direction there.
    fn on(&self, way: &Way) -> (Vec<Level>, Vec<[f64; 2]>) {
        let at = |(level, &(vertex, _)): (&Level, &(usize, usize))| {
            let (station, unit) = way.at(vertex).unwrap_or((level.station, [0.0, 1.0]));
            (Level { station, ..*level }, unit)
        };
        self.known.iter().zip(&self.at).map(at).unzip()
    }

    /// Inverts, with what the depth scale does to each at the depth that a first line expects there, not at the one that was read. A
    /// reading too shallow would otherwise count for more than one too deep, and a long run's grade come out flatter than it is (Peelle's
    /// puzzle: a common error that is a share of measured values).
    fn expected(&self, inputs: Inputs<'_>, traced: &Traced, known: Vec<Level>) -> Vec<Level> {
        let Some((grade, z)) = line::even(&known) else {
            return known;
        };
        let axis = inputs.axis_above_invert(traced.run);
        let levels = known.iter().zip(&self.grounds);
        levels
            .map(|(level, ground)| {
                let read = ground.z - level.z - axis;
                let expected = ground.z - (z - grade * level.station) - axis;
                let common = if read > 0.0 && expected > 0.0 {
                    level.common * expected / read
                } else {
                    level.common
                };
                Level { common, ..*level }
            })
            .collect()
    }

    /// Legs between neighbours, along the run's [`Way`].
    pub fn legs(
        &self,
        inputs: Inputs<'_>,
        traced: &Traced,
        way: &Way,
        falls: &[Figure],
    ) -> Vec<Leg> {
        let falls = falls.iter().enumerate();
        falls
            .filter_map(|(i, fall)| {
                let ((from, _), (to, _)) = (*self.at.get(i)?, *self.at.get(i + 1)?);
                let length = way.at(to)?.0 - way.at(from)?.0;
                leg(inputs, traced, (from, to, length), *fall)
            })
            .collect()
    }

    /// Length along the pipe to each vertex, as far as every invert on the way is known; no shorter than the way in plan.
    ///
    /// A leg's is √(s² + h² − σ²), with its fall h known to σ: what readings scatter up and down makes no pipe longer, and the square of
    /// a fall is too large by σ² on the average. Nor is the whole shorter
    /// than the straight line from end to end, taken likewise: what is lacking is shared out along the way.
    pub fn along(&self, inputs: Inputs<'_>, traced: &Traced, falls: &[Figure]) -> Vec<Option<f64>> {
        let mut along = vec![None; traced.vertices.len()];
        let station = |vertex: usize| traced.vertices.get(vertex).map_or(0.0, |at| at.station);
        if let (Some(&(0, _)), Some(slot)) = (self.at.first(), along.first_mut()) {
            *slot = Some(0.0);
        } else {
            return along;
        }
        let begin = station(0);
        let mut so_far = 0.0;
        let sloping = |plan: f64, fall: &Figure| {
            let square = fall.value.powi(2) - fall.sigma.powi(2);
            (plan * plan + square).max(0.0).sqrt()
        };
        for (pair, fall) in self.at.windows(2).zip(falls) {
            let &[(from, _), (to, _)] = pair else {
                continue;
            };
            let plan = station(to) - station(from);
            let leg = sloping(plan, fall);
            for vertex in from + 1..=to {
                let part = if plan > 0.0 {
                    (station(vertex) - station(from)) / plan
                } else {
                    1.0
                };
                if let Some(slot) = along.get_mut(vertex) {
                    *slot = Some((so_far + part * leg).max(station(vertex) - begin));
                }
            }
            so_far += leg;
        }
        let Some(&(last, _)) = self.at.last() else {
            return along;
        };
        let plan = station(last) - begin;
        let straight = self.fall(inputs, 0, self.at.len() - 1);
        let straight = straight.map_or(0.0, |fall| sloping(plan, &fall));
        let total = along.get(last).copied().flatten().unwrap_or(0.0);
        let lacks = straight - total;
        if lacks > 0.0 && plan > 0.0 {
            for (vertex, slot) in along.iter_mut().enumerate() {
                *slot = slot.map(|along| along + lacks * (station(vertex) - begin) / plan);
            }
        }
        along
    }

    /// One-sigma of the length in 3D: what the horizontal length and the fall of the whole run do to it, and what the readings' scatter
    /// does in every leg (neighbouring legs share an invert, which makes half as much again).
    pub fn length_sigma(&self, plan: Figure, fall: Option<Figure>, falls: &[Figure]) -> f64 {
        let scatter: f64 = self
            .known
            .windows(2)
            .zip(falls)
            .map(|(pair, fall)| {
                let length = pair[1].station - pair[0].station;
                let most = fall.sigma.powi(2);
                most.min(fall.sigma.powi(4) / (2.0 * length * length).max(1e-12))
            })
            .sum();
        let Some(fall) = fall else {
            return (plan.sigma.powi(2) + 1.5 * scatter).sqrt();
        };
        let whole = f64::hypot(plan.value, fall.value).max(1e-9);
        let (level, steep) = (plan.value / whole, fall.value / whole);
        ((level * plan.sigma).powi(2) + (steep * fall.sigma).powi(2) + 1.5 * scatter).sqrt()
    }

    /// Fall from the first vertex to the last, where both are measured.
    pub fn whole_fall(&self, inputs: Inputs<'_>, traced: &Traced) -> Option<Figure> {
        let (first, last) = (self.at.first()?, self.at.last()?);
        let whole = first.0 == 0 && last.0 + 1 == traced.vertices.len() && self.at.len() > 1;
        whole
            .then(|| self.fall(inputs, 0, self.at.len() - 1))
            .flatten()
    }

    /// Inverts of all vertices; between measured ones on the line, beyond them unknown.
    pub fn along_vertices(&self, inputs: Inputs<'_>, traced: &Traced) -> Vec<Option<Invert>> {
        let mut inverts = vec![None; traced.vertices.len()];
        for (i, (&(vertex, _), level)) in self.at.iter().zip(&self.known).enumerate() {
            let known = Invert {
                z: level.z,
                variance: self.covariance(inputs, i, i),
                measured: true,
            };
            if let Some(slot) = inverts.get_mut(vertex) {
                *slot = Some(known);
            }
        }
        for (i, pair) in self.at.windows(2).enumerate() {
            let &[(from, _), (to, _)] = pair else {
                continue;
            };
            for vertex in from + 1..to {
                let Some(station) = traced.vertices.get(vertex).map(|vertex| vertex.station) else {
                    continue;
                };
                let between = self.between(inputs, i, station);
                if let Some(slot) = inverts.get_mut(vertex) {
                    *slot = between;
                }
            }
        }
        inverts
    }

    /// Depths of all vertices: as accepted; where none was, but the ground is known and lies over the line between two inverts, the
    /// height of that ground over the line. A ditch is no deeper for not having been sounded. None in a stack, which may be met at any depth.
    pub fn depths(&self, inputs: Inputs<'_>, traced: &Traced) -> Vec<Option<Depth>> {
        let of = |index: usize| {
            let VertexKind::Mark(mark) = traced.vertices.get(index)?.kind else {
                return None;
            };
            let mark = traced.marks.get(mark).filter(|mark| !mark.upright())?;
            let over_line = || self.over_line(inputs, traced, index, &mark.ground?);
            mark.depth.or_else(over_line)
        };
        (0..traced.vertices.len()).map(of).collect()
    }

    /// The depth of the line between two measured inverts under a ground that is known at a vertex between them.
    fn over_line(
        &self,
        inputs: Inputs<'_>,
        traced: &Traced,
        vertex: usize,
        ground: &GroundAt,
    ) -> Option<Depth> {
        if ground.from == GroundOrigin::Interpolated {
            return None;
        }
        let i = self
            .at
            .partition_point(|(at, _)| *at < vertex)
            .checked_sub(1)?;
        let (a, b) = (self.known.get(i)?, self.known.get(i + 1)?);
        let (under, over) = (self.grounds.get(i)?, self.grounds.get(i + 1)?);
        let [w, v, off] = shares(a, b, traced.vertices.get(vertex)?.station);
        let grounds = off_line(inputs, ground, [(w, under), (v, over)]);
        let own = w * w * a.own + v * v * b.own + off * off;
        Some(Depth {
            value: ground.z - (w * a.z + v * b.z) - inputs.axis_above_invert(traced.run),
            sigma: (grounds + own).sqrt(),
            common: w * a.common + v * b.common,
            basis: Basis::Between,
        })
    }

    /// How far the invert `last` of a branch lies above the line between two measured inverts of this run, at a station between them; and
    /// the grade of that line. What both share of the depth scale and of the ground cancels.
    pub fn beside(
        &self,
        (branch, last): (&Self, usize),
        inputs: Inputs<'_>,
        station: f64,
    ) -> Option<(Figure, f64)> {
        let after = self
            .known
            .partition_point(|level| level.station <= station)
            .min(self.known.len().checked_sub(1)?);
        let i = after.checked_sub(1)?;
        let (a, b) = (self.known.get(i)?, self.known.get(i + 1)?);
        if !(a.station..=b.station).contains(&station) {
            return None;
        }
        let level = branch.known.get(last)?;
        let ground = branch.grounds.get(last)?;
        let (under, over) = (self.grounds.get(i)?, self.grounds.get(i + 1)?);
        let [w, v, off] = shares(a, b, station);
        let own = level.own + w * w * a.own + v * v * b.own + off * off;
        let common = level.common - w * a.common - v * b.common;
        let grounds = off_line(inputs, ground, [(w, under), (v, over)]);
        let figure = Figure {
            value: level.z - (w * a.z + v * b.z),
            sigma: (own + common * common + grounds).sqrt(),
        };
        let length = (b.station - a.station).max(1e-9);
        Some((figure, (a.z - b.z) / length))
    }

    /// The invert at a station on the line through the measured ones `i` and `i + 1`, between them or beyond.
    pub fn between(&self, inputs: Inputs<'_>, i: usize, station: f64) -> Option<Invert> {
        let (a, b) = (self.known.get(i)?, self.known.get(i + 1)?);
        let [w, v, off] = shares(a, b, station);
        let variance = w * w * self.covariance(inputs, i, i)
            + v * v * self.covariance(inputs, i + 1, i + 1)
            + 2.0 * w * v * self.covariance(inputs, i, i + 1)
            + off * off;
        Some(Invert {
            z: a.z + v * (b.z - a.z),
            variance,
            measured: false,
        })
    }
}

/// Variance of a ground less that on the line between two others, by what they have in it.
fn off_line(
    inputs: Inputs<'_>,
    ground: &GroundAt,
    [(w, under), (v, over)]: [(f64, &GroundAt); 2],
) -> f64 {
    let between = |a: &GroundAt, b: &GroundAt| a.covariance(b, inputs.grounds);
    let variance = ground.variance(inputs.grounds)
        + w * w * between(under, under)
        + v * v * between(over, over)
        + 2.0
            * (w * v * between(under, over)
                - w * between(ground, under)
                - v * between(ground, over));
    variance.max(0.0)
}

/// What two inverts have in one at a station on the line through them, and the one-sigma of how the pipe departs from that line.
fn shares(a: &Level, b: &Level, station: f64) -> [f64; 3] {
    let length = b.station - a.station;
    let v = if length > 0.0 {
        (station - a.station) / length
    } else {
        0.5
    };
    let w = 1.0 - v;
    [w, v, UNEVEN * (to_nearer(v) * length)]
}

/// The way to the nearer end of a line, part of its length, from a place at this part of it or beyond: pipe and ground depart from the
/// line by so much of that.
#[must_use]
pub fn to_nearer(part: f64) -> f64 {
    part.abs().min((1.0 - part).abs())
}

/// The leg from one invert's vertex to the next one's, so long.
fn leg(
    inputs: Inputs<'_>,
    traced: &Traced,
    (from, to, length): (usize, usize, f64),
    fall: Figure,
) -> Option<Leg> {
    let along = lengths::variance(inputs, traced, from, to);
    // Marks as good as on one spot have a fall, but no grade worth the name.
    if length < 1e-3 || length * length < along {
        return None;
    }
    let value = fall.value / length;
    let sigma = (fall.sigma * fall.sigma + value * value * along).sqrt() / length;
    let grade = Figure { value, sigma };
    let mark = |vertex: usize| match traced.vertices.get(vertex)?.kind {
        VertexKind::Mark(mark) => Some(mark),
        _ => None,
    };
    let marks = mark(from).zip(mark(to));
    let within = |one: &&Hidden| marks.is_some_and(|(a, b)| (a..b).contains(&one.after));
    Some(Leg {
        from,
        to,
        fall,
        grade: Figure {
            value,
            sigma: lengths::flatter(grade, length, traced.hidden.iter().filter(within)),
        },
    })
}

/// The unit vector; north for none.
pub(super) fn unit([e, n]: [f64; 2]) -> [f64; 2] {
    let length = f64::hypot(e, n);
    if length > 0.0 {
        [e / length, n / length]
    } else {
        [0.0, 1.0]
    }
}
