//! The straight between two vertices of a run: places, depths and inverts on it, with what is known of their errors.
//!
//! At fraction u between vertices a and b everything is linear: x = (1 − u)·a + u·b, so its variance is
//! (1 − u)²·A + u²·B + u(1 − u)·(J + Jᵀ) with the joint covariance J of the two. Where the record has no J, the variance is bounded by
//! (1 − u)·A + u·B, which holds whatever J is (a square is convex), in every direction at once. What the cable allows beyond the
//! chord adds b·2√(u(1 − u)) across the leg, as 95 %. Pipe and ground are no straights: what they depart from one with the way to the nearer
//! vertex goes into depth and invert, as for what the camera saw there.

use std::collections::BTreeMap;

use geo::Coord;

use crate::math::stats::NORMAL_95;
use crate::profile::inverts::{UNEVEN, to_nearer};
use crate::profile::sights::DEPTH_UNEVEN;
use crate::record::AsBuilt;
use crate::record::model::{Ellipse, Joint, Mark, Run, Vertex};

/// A 2 × 2 covariance, metres², order easting, northing.
pub type Block = [[f64; 2]; 2];

/// A figure with its variance, if that is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figure {
    /// Metres.
    pub value: f64,
    /// Metres².
    pub variance: Option<f64>,
}

/// A vertex in metres, about the run's own origin.
#[derive(Clone, Debug)]
pub struct End {
    /// Horizontal distance along the run.
    pub station: f64,
    /// Place.
    pub at: Coord<f64>,
    /// Covariance of the place.
    pub covariance: Option<Block>,
    /// Transmitter depth.
    pub depth: Option<Figure>,
    cover: Option<f64>,
    /// Invert elevation.
    pub invert: Option<Figure>,
    joint: Option<Joint>,
}

/// Two vertices and the straight between them.
#[derive(Clone, Debug)]
pub struct Leg {
    /// Upstream vertex.
    pub a: End,
    /// Downstream vertex.
    pub b: End,
    /// Horizontal length.
    pub length: f64,
}

/// A run as legs, about an origin that keeps the figures short.
#[derive(Clone, Debug)]
pub struct Path {
    /// Origin, metres on the grid.
    pub origin: Coord<f64>,
    /// Legs in the direction of flow; one of no length where the run is a single vertex.
    pub legs: Vec<Leg>,
}

/// One-sigma ellipse to covariance; `semi_major_95` and so on in the result unit.
fn covariance(ellipse: &Ellipse, unit: f64) -> Block {
    let scale = unit / crate::math::stats::ELLIPSE_95;
    let (major, minor) = (
        (ellipse.semi_major_95 * scale).powi(2),
        (ellipse.semi_minor_95 * scale).powi(2),
    );
    let (sin, cos) = ellipse.azimuth_95.to_radians().sin_cos();
    let off = (major - minor) * sin * cos;
    [
        [major * sin * sin + minor * cos * cos, off],
        [off, major * cos * cos + minor * sin * sin],
    ]
}

impl Path {
    /// The legs of a run, each vertex with its own figures; `None` without a vertex.
    #[must_use]
    pub fn of(record: &AsBuilt, run: &Run) -> Option<Self> {
        let (origin, ends) = ends(record, run)?;
        Some(Self::through(origin, &ends))
    }

    /// The same, with depths and covers also at vertices that have none of their own between two that do.
    #[must_use]
    pub fn bridged(record: &AsBuilt, run: &Run) -> Option<Self> {
        let (origin, mut ends) = ends(record, run)?;
        bridge(&mut ends);
        Some(Self::through(origin, &ends))
    }

    fn through(origin: Coord<f64>, ends: &[End]) -> Self {
        let leg = |a: &End, b: &End| Leg {
            a: a.clone(),
            b: b.clone(),
            length: (b.at.x - a.at.x).hypot(b.at.y - a.at.y),
        };
        let legs = match ends {
            [only] => vec![leg(only, only)],
            ends => ends
                .windows(2)
                .filter_map(|pair| Some(leg(pair.first()?, pair.last()?)))
                .collect(),
        };
        Self { origin, legs }
    }
}

/// The run's origin, and its vertices about it.
fn ends(record: &AsBuilt, run: &Run) -> Option<(Coord<f64>, Vec<End>)> {
    let (grid, unit) = (record.frame.crs_unit_metres, record.frame.unit.metres());
    let first = run.vertices.first()?;
    let origin = Coord {
        x: first.easting * grid,
        y: first.northing * grid,
    };
    // From the top of the pipe down to its axis.
    let axis = run.vertices.iter().find_map(|vertex| {
        let (depth, cover) = (vertex.transmitter_depth?, vertex.cover?);
        Some(depth - cover)
    });
    let under = |cover: f64| Some(cover + axis?);
    // A job of many runs has many more marks than a run.
    let without = |vertex: &Vertex| {
        vertex.depth_95.is_none() && vertex.transmitter_depth.or(vertex.cover).is_some()
    };
    let is_asked = run.vertices.iter().any(without);
    let own = is_asked.then_some(&record.marks).into_iter().flatten();
    let own = own.filter(|mark| mark.run == run.run);
    let marks: BTreeMap<&str, &Mark> = own.map(|mark| (mark.mark.as_str(), mark)).collect();
    let vertices = run.vertices.iter();
    let ends = vertices.map(|vertex| end(vertex, &marks, &under, origin, grid, unit));
    Some((origin, ends.collect()))
}

fn end(
    vertex: &Vertex,
    marks: &BTreeMap<&str, &Mark>,
    under: &impl Fn(f64) -> Option<f64>,
    origin: Coord<f64>,
    grid: f64,
    unit: f64,
) -> End {
    let mark = vertex.mark.as_deref().and_then(|name| marks.get(name));
    let figure = |value: Option<f64>, bound: Option<f64>| {
        let variance = bound.map(|bound| (bound * unit / NORMAL_95).powi(2));
        value.map(|value| Figure {
            value: value * unit,
            variance,
        })
    };
    let depth_95 = vertex
        .depth_95
        .or_else(|| mark.and_then(|mark| mark.depth_95));
    End {
        station: vertex.station * unit,
        at: Coord {
            x: vertex.easting * grid - origin.x,
            y: vertex.northing * grid - origin.y,
        },
        covariance: vertex
            .ellipse
            .as_ref()
            .map(|ellipse| covariance(ellipse, unit)),
        depth: figure(
            vertex.transmitter_depth.or_else(|| under(vertex.cover?)),
            depth_95,
        ),
        cover: vertex.cover.map(|cover| cover * unit),
        invert: figure(vertex.invert, vertex.invert_95),
        joint: vertex.joint.map(|joint| in_metres(joint, unit)),
    }
}

/// Depths and covers of vertices without their own, bends and junctions above all: on the straight between the nearest that have one,
/// as for what the camera saw there.
fn bridge(ends: &mut [End]) {
    let known: Vec<(f64, Figure, Option<f64>)> = ends
        .iter()
        .filter_map(|end| Some((end.station, end.depth?, end.cover)))
        .collect();
    for end in ends.iter_mut().filter(|end| end.depth.is_none()) {
        let beside = known.windows(2).find_map(|pair| match *pair {
            [from, to] => {
                let u = (end.station - from.0) / (to.0 - from.0);
                (0.0..=1.0).contains(&u).then_some((from, to, u))
            }
            _ => None,
        });
        let Some((from, to, u)) = beside else {
            continue;
        };
        let off = DEPTH_UNEVEN * to_nearer(u) * (to.0 - from.0).abs();
        end.depth = between(Some(from.1), Some(to.1), None, u, 0.0).map(|depth| Figure {
            variance: depth.variance.map(|variance| variance + off * off),
            ..depth
        });
        end.cover = from.2.zip(to.2).map(|(one, other)| one + u * (other - one));
    }
}

fn in_metres(joint: Joint, unit: f64) -> Joint {
    let square = unit * unit;
    Joint {
        place: joint
            .place
            .map(|place| place.map(|row| row.map(|cell| cell * square))),
        depth: joint.depth.map(|cell| cell * square),
        invert: joint.invert.map(|cell| cell * square),
        bulge: joint.bulge.map(|bulge| bulge * unit),
    }
}

/// A figure interpolated between two, with what a doubt of the fraction adds through their difference.
fn between(
    a: Option<Figure>,
    b: Option<Figure>,
    joint: Option<f64>,
    u: f64,
    variance_of_u: f64,
) -> Option<Figure> {
    let (a, b) = (a?, b?);
    let (v, slope) = (1.0 - u, b.value - a.value);
    let variance = a.variance.zip(b.variance).map(|(one, other)| {
        let own = match joint {
            Some(joint) => v * v * one + u * u * other + 2.0 * u * v * joint,
            None => v * one + u * other,
        };
        own.max(0.0) + slope * slope * variance_of_u
    });
    Some(Figure {
        value: v * a.value + u * b.value,
        variance,
    })
}

impl Leg {
    /// Unit vector downstream; zero on a leg of no length.
    #[must_use]
    pub fn direction(&self) -> Coord<f64> {
        if self.length > 0.0 {
            (self.b.at - self.a.at) / self.length
        } else {
            Coord::zero()
        }
    }

    /// The place at a fraction.
    #[must_use]
    pub fn at(&self, u: f64) -> Coord<f64> {
        self.a.at + (self.b.at - self.a.at) * u
    }

    /// The station at a fraction.
    #[must_use]
    pub fn station(&self, u: f64) -> f64 {
        self.a.station + (self.b.station - self.a.station) * u
    }

    /// Covariance of the pipe's place at a fraction; `None` where an end has none.
    #[must_use]
    pub fn covariance(&self, u: f64) -> Option<Block> {
        let (one, other) = (self.a.covariance?, self.b.covariance?);
        let v = 1.0 - u;
        let [[one_ee, one_en], [_, one_nn]] = one;
        let [[other_ee, other_en], [_, other_nn]] = other;
        let (ee, en, nn) = match self.a.joint.and_then(|joint| joint.place) {
            Some([[ee, en], [ne, nn]]) => (
                v * v * one_ee + u * u * other_ee + 2.0 * u * v * ee,
                v * v * one_en + u * u * other_en + u * v * (en + ne),
                v * v * one_nn + u * u * other_nn + 2.0 * u * v * nn,
            ),
            None => (
                v * one_ee + u * other_ee,
                v * one_en + u * other_en,
                v * one_nn + u * other_nn,
            ),
        };
        let bulge = self.a.joint.and_then(|joint| joint.bulge).unwrap_or(0.0);
        let across = (bulge * 2.0 * (u * v).max(0.0).sqrt() / NORMAL_95).powi(2);
        let t = self.direction();
        Some([
            [ee + across * t.y * t.y, en - across * t.x * t.y],
            [en - across * t.x * t.y, nn + across * t.x * t.x],
        ])
    }

    /// Transmitter depth at a fraction that is itself in doubt.
    #[must_use]
    pub fn depth(&self, u: f64, variance_of_u: f64) -> Option<Figure> {
        let joint = self.a.joint.and_then(|joint| joint.depth);
        let found = between(self.a.depth, self.b.depth, joint, u, variance_of_u);
        found.map(|figure| self.uneven(figure, DEPTH_UNEVEN, u))
    }

    /// Invert elevation at a fraction that is itself in doubt.
    #[must_use]
    pub fn invert(&self, u: f64, variance_of_u: f64) -> Option<Figure> {
        let joint = self.a.joint.and_then(|joint| joint.invert);
        let found = between(self.a.invert, self.b.invert, joint, u, variance_of_u);
        found.map(|figure| self.uneven(figure, UNEVEN, u))
    }

    /// With how pipe and ground depart from the straight, `rate` of the way to the nearer vertex.
    fn uneven(&self, figure: Figure, rate: f64, u: f64) -> Figure {
        let off = rate * to_nearer(u) * self.length;
        Figure {
            variance: figure.variance.map(|variance| variance + off * off),
            ..figure
        }
    }

    /// Cover at a fraction; its error is the depth's.
    #[must_use]
    pub fn cover(&self, u: f64) -> Option<f64> {
        Some((1.0 - u) * self.a.cover? + u * self.b.cover?)
    }
}

/// Variance along a unit vector.
#[must_use]
pub fn along(covariance: Block, direction: Coord<f64>) -> f64 {
    let [[ee, en], [_, nn]] = covariance;
    let Coord { x, y } = direction;
    (x * x * ee + 2.0 * x * y * en + y * y * nn).max(0.0)
}
