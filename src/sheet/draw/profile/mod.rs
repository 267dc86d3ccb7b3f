//! The profile of a run: ground, top of pipe, invert with its 95 % band, grades, camera observations, by station.

use std::collections::BTreeMap;

mod axis;
mod crossings;
mod figures;
mod lines;
mod naming;
mod panel;

use super::geometry::Pt;
use super::{Drawing, Feature, Item, Node, Role};
use crate::record::model::{AsBuilt, Run, VertexKind};
use crate::sheet::content::between;
use crate::sheet::font::Fonts;
use panel::Panel;

/// How a profile is drawn.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    /// Width and height of the whole panel, millimetres.
    pub size: (f64, f64),
    /// Standard scales and a table of figures beneath, for paper; otherwise the room is filled.
    pub paper: bool,
}

/// A profile, drawn.
#[derive(Clone, Debug)]
pub struct Profile {
    /// The drawing.
    pub drawing: Drawing,
    /// Scales and exaggeration in words, what the lines are, how much of the run is known, and which grades aren't lettered.
    pub words: String,
    /// Names and columns of figures that found no room.
    pub left_out: usize,
    /// Grades that found no room.
    pub grades_left_out: usize,
}

/// A vertex as the profile needs it; heights in the result unit.
struct Point {
    station: f64,
    mark: Option<usize>,
    kind: VertexKind,
    /// Height of the ground, whether the profile is drawn by heights or by depths.
    level: Option<f64>,
    ground: Option<f64>,
    crown: Option<f64>,
    axis: Option<f64>,
    invert: Option<f64>,
    bound: Option<f64>,
    cover: Option<f64>,
    grade: Option<(f64, Option<f64>)>,
}

/// Left margin for the height axis and the heads of the figures' rows; the others.
const LEFT: f64 = 19.0;
const RIGHT: f64 = 4.0;
const TOP: f64 = 12.0;
/// Rows of figures beneath, their least heights.
const ROWS: [f64; 5] = [10.0, 14.0, 11.0, 10.5, 11.0];
const PLAIN_FOOT: f64 = 6.0;
/// Least distance between two columns of figures set upright.
const COLUMN: f64 = 2.9;

/// Draws a run's profile, by heights or by depths, whichever shows more of the pipe; `None` if no depth and no height is
/// known along it.
#[must_use]
pub fn draw(record: &AsBuilt, run: &Run, look: &Look, fonts: &Fonts) -> Option<Profile> {
    let (heights, points) = fullest(record, run)?;
    let panel = Panel::new(record, run, points, heights, *look, fonts);
    Some(panel.draw())
}

/// The vertices with heights (`true`) or hung from a level ground, whichever shows the pipe at more of them; heights where
/// both show the same. The ground alone is worth a drawing too.
fn fullest(record: &AsBuilt, run: &Run) -> Option<(bool, Vec<Point>)> {
    let (by_height, by_depth) = (points(record, run, true), points(record, run, false));
    let shown = |points: &[Point]| points.iter().filter(|p| p.pipe().is_some()).count();
    if shown(&by_depth) > shown(&by_height) {
        return Some((false, by_depth));
    }
    let anything = by_height.iter().any(|p| p.heights().next().is_some());
    anything.then_some((true, by_height))
}

/// Vertices by station. Without heights the ground is level at 0 and depths hang from it.
fn points(record: &AsBuilt, run: &Run, heights: bool) -> Vec<Point> {
    let marks: BTreeMap<&str, usize> = record
        .marks
        .iter()
        .enumerate()
        .filter(|(_, m)| m.run == run.run)
        .map(|(i, m)| (m.mark.as_str(), i))
        .collect();
    let mut points: Vec<Point> = run
        .vertices
        .iter()
        .map(|v| {
            let index = v
                .mark
                .as_deref()
                .filter(|_| v.kind == VertexKind::Mark)
                .and_then(|m| marks.get(m))
                .copied();
            let mark = index.and_then(|i| record.marks.get(i));
            let ground = if heights { v.ground } else { Some(0.0) };
            let below = |depth: Option<f64>| Some(ground? - depth?);
            let invert = if heights {
                v.invert
            } else {
                below(mark.and_then(|m| m.invert_depth))
            };
            let bound = if heights {
                v.invert_95
            } else {
                mark.and_then(|m| m.depth_95)
            };
            Point {
                station: v.station,
                mark: index,
                kind: v.kind,
                level: v.ground,
                ground,
                crown: below(v.cover),
                axis: below(v.transmitter_depth),
                invert,
                bound,
                cover: v.cover,
                grade: v.grade.map(|g| (g, v.grade_95)),
            }
        })
        .collect();
    points.sort_by(|a, b| a.station.total_cmp(&b.station));
    points
}

/// The invert and its bound between the vertices: station, height, bound, by station.
fn between(record: &AsBuilt, run: &Run, heights: bool) -> Vec<(f64, f64, f64)> {
    let mut all = if heights {
        between::inverts(record, run)
    } else {
        let all = between::of_run(record, run).into_iter();
        all.filter_map(|at| Some((at.station, -at.invert_depth()?, at.depth.1)))
            .collect()
    };
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all
}

/// Camera observations of a run that have a station and a height, or a depth: place in the record, station, height.
fn seen(record: &AsBuilt, run: &Run, heights: bool) -> Vec<(usize, f64, f64)> {
    let all = record.camera.iter().enumerate();
    all.filter(|(_, c)| c.run == run.run)
        .filter_map(|(i, c)| {
            let z = if heights {
                c.invert?
            } else {
                -c.invert_depth.or(c.transmitter_depth)?
            };
            Some((i, c.station?, z))
        })
        .collect()
}

impl Point {
    /// Where the pipe is shown: its axis, or what else of it is known.
    fn pipe(&self) -> Option<f64> {
        self.axis.or(self.invert).or(self.crown)
    }

    fn heights(&self) -> impl Iterator<Item = f64> + use<> {
        let bound = self.bound.unwrap_or(0.0);
        let invert = self
            .invert
            .map(|z| [z - bound, z + bound])
            .into_iter()
            .flatten();
        [self.ground, self.crown, self.axis]
            .into_iter()
            .flatten()
            .chain(invert)
    }
}

fn symbol(at: Pt, feature: Option<Feature>, items: Vec<Item>) -> Node {
    Node::Anchored {
        at,
        role: Role::Symbol,
        feature,
        items,
    }
}
