//! What the camera saw, placed by its cable counter.

use std::collections::BTreeMap;

use super::heading::{Headings, Side};
use super::{Inputs, Path, Traced, VertexKind, chain};
use crate::job::model::CameraRow;
use crate::math::block::{self, Block};
use crate::transmitter::Sensed;

/// A camera observation.
#[derive(Clone, Debug, PartialEq)]
pub struct Sight {
    /// Index into `job.camera`.
    pub row: usize,
    /// Where it is.
    pub at: Result<Spot, NoPlace>,
    /// Where it ends, if it is a stretch.
    pub until: Option<Result<Spot, NoPlace>>,
}

/// A place on a run by cable; metres on the grid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spot {
    /// Easting.
    pub e: f64,
    /// Northing.
    pub n: f64,
    /// Covariance.
    pub covariance: Block,
    /// Horizontal distance along the run; below 0 or beyond the run's length where it is extrapolated.
    pub station: f64,
    /// One-sigma of the place along the run, by which an invert on a grade is wrong.
    pub along: f64,
    /// How far it lies beyond this mark (index into [`Traced::marks`]), the first or last that was counted.
    pub beyond: Option<(usize, f64)>,
}

/// Why an observation has no place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NoPlace {
    /// Fewer than two marks of the run have a counter on the same line.
    NoCounters,
    /// It lies farther beyond a mark than is extrapolated.
    TooFar {
        /// The mark (index into [`Traced::marks`]).
        mark: usize,
        /// How far beyond, metres of cable.
        by: f64,
        /// How far is extrapolated here.
        most: f64,
    },
}

/// Farthest beyond the first or last mark that a place is extrapolated, if the leg there is as long; metres.
pub const EXTRAPOLATED: f64 = 3.0;

/// Places the camera rows of a run (indices into `job.camera`).
pub(super) fn sights(
    inputs: Inputs<'_>,
    sensed: &[Sensed],
    traced: &Traced,
    rows: &[usize],
) -> Vec<Sight> {
    if rows.is_empty() {
        return Vec::new();
    }
    let mut broken = vec![false; traced.marks.len()];
    for bend in &traced.bends {
        if let Some(slot) = broken.get_mut(bend.after) {
            *slot = true;
        }
    }
    let counted = Counted::of(inputs, sensed, traced, &broken);
    let sight = |&row: &usize| {
        let camera = inputs.job.camera.get(row)?;
        Some(Sight {
            row,
            at: counted.place(camera, camera.counter),
            until: camera.until.map(|counter| counted.place(camera, counter)),
        })
    };
    rows.iter().filter_map(sight).collect()
}

/// The counted marks of a run.
struct Counted<'a> {
    headings: Headings<'a>,
    /// Line by line: path, and index into [`Traced::marks`], in the direction of flow.
    lines: BTreeMap<u32, Vec<(f64, usize)>>,
    /// Each mark's vertex.
    vertices: Vec<usize>,
}

impl<'a> Counted<'a> {
    fn of(
        inputs: Inputs<'a>,
        sensed: &'a [Sensed],
        traced: &'a Traced,
        broken: &'a [bool],
    ) -> Self {
        let mut lines: BTreeMap<u32, Vec<(f64, usize)>> = BTreeMap::new();
        for (index, mark) in traced.marks.iter().enumerate() {
            if let Some(Path { at, line }) = mark.path {
                lines.entry(line).or_default().push((at, index));
            }
        }
        let marks = traced.vertices.iter().enumerate();
        Self {
            headings: Headings {
                inputs,
                sensed,
                traced,
                broken,
            },
            lines,
            vertices: marks
                .filter(|(_, vertex)| matches!(vertex.kind, VertexKind::Mark(_)))
                .map(|(index, _)| index)
                .collect(),
        }
    }

    fn place(&self, row: &CameraRow, counter: f64) -> Result<Spot, NoPlace> {
        let zeros = &self.headings.traced.zeros;
        let zero = zeros
            .iter()
            .find(|zero| zero.push == row.push)
            .ok_or(NoPlace::NoCounters)?;
        let path = zero.lens(counter);
        let marks = self.lines.get(&path.line).ok_or(NoPlace::NoCounters)?;
        let after = marks
            .partition_point(|(at, _)| *at <= path.at)
            .clamp(1, marks.len().max(2) - 1);
        let (Some(&first), Some(&second)) = (marks.get(after - 1), marks.get(after)) else {
            return Err(NoPlace::NoCounters);
        };
        if path.at < first.0 {
            return self.beyond(first, second, path.at);
        }
        if path.at > second.0 {
            return self.beyond(second, first, path.at);
        }
        self.between(first, second, path.at)
            .ok_or(NoPlace::NoCounters)
    }

    /// Between two counted marks.
    fn between(&self, first: (f64, usize), second: (f64, usize), at: f64) -> Option<Spot> {
        let Headings { inputs, traced, .. } = self.headings;
        let cable = second.0 - first.0;
        let u = if cable > 0.0 {
            (at - first.0) / cable
        } else {
            0.5
        };
        let (from, to) = (*self.vertices.get(first.1)?, *self.vertices.get(second.1)?);
        let way = chain::at(traced, from, to, u)?;
        let (accuracy, k) = (&inputs.job.accuracy, inputs.ground_to_grid());
        // Its own reading and those of both marks; between these, what the counter's scale adds is pinned at both ends.
        let readings = accuracy.counter.powi(2) * (1.0 + (1.0 - u).powi(2) + u * u);
        let scale = (accuracy.counter_fraction * cable).powi(2) * u * (1.0 - u);
        let rise = traced.marks.get(first.1)?.axis();
        let rise = rise.zip(traced.marks.get(second.1)?.axis());
        let straight = f64::hypot(way.whole / k, rise.map_or(0.0, |(a, b)| a - b));
        let across = if way.bent {
            0.0
        } else {
            let sigma = accuracy.cable(cable);
            let (a, b) = (traced.marks.get(first.1)?, traced.marks.get(second.1)?);
            let joint = self.headings.joint(first.1, second.1);
            let apart = block::difference(a.covariance(), b.covariance(), joint);
            let apart = block::along(apart, way.unit).sqrt() / k;
            chain::bulge((cable, sigma), (straight, apart), way.leg, way.part)
        };
        let own = (readings + scale) * k * k;
        let covariance = way.rests.variance(&|a, b| self.headings.joint(a, b));
        Some(Spot::of([way.e, way.n], covariance, way.unit, (own, across * across)).at(way.station))
    }

    /// What a length along the pipe between two marks has in plan: the cosine of its slope; 1 where that is not known.
    fn level_share(&self, a: usize, b: usize) -> f64 {
        let Headings { inputs, traced, .. } = self.headings;
        let station = |mark: usize| {
            let vertex = traced.vertices.get(*self.vertices.get(mark)?)?;
            Some((vertex.station, traced.marks.get(mark)?.axis()?))
        };
        let Some(((s, z), (t, y))) = station(a).zip(station(b)) else {
            return 1.0;
        };
        let plan = (s - t).abs() / inputs.ground_to_grid();
        let length = f64::hypot(plan, z - y);
        if length > 0.0 { plan / length } else { 1.0 }
    }

    /// Beyond a counted mark, `other` being the counted one before it, along the line that leads there.
    fn beyond(&self, last: (f64, usize), other: (f64, usize), at: f64) -> Result<Spot, NoPlace> {
        let Headings { inputs, traced, .. } = self.headings;
        let by = at - last.0;
        let most = (last.0 - other.0).abs().min(EXTRAPOLATED);
        let too_far = NoPlace::TooFar {
            mark: last.1,
            by: by.abs(),
            most,
        };
        if by.abs() > most {
            return Err(too_far);
        }
        let side = if by > 0.0 {
            Side::Upstream
        } else {
            Side::Downstream
        };
        let (Some(heading), Some(mark), Some(vertex)) = (
            self.headings.at(last.1, side),
            traced.marks.get(last.1),
            self.vertices
                .get(last.1)
                .and_then(|&vertex| traced.vertices.get(vertex)),
        ) else {
            return Err(too_far);
        };
        let (accuracy, k) = (&inputs.job.accuracy, inputs.ground_to_grid());
        // The cable lies on the slope, and in a stack it goes nowhere.
        let flat = if mark.upright() {
            0.0
        } else {
            self.level_share(last.1, other.1)
        };
        let (unit, right, step) = (heading.unit(), heading.right(), by * flat * k);
        // It moves with the mark, and to the side as the line swings.
        let mut rests = super::Rests::on(last.1);
        for &(swings, pull) in &heading.pull.marks {
            rests.add_mark(swings, block::scale(block::outer(right, pull), step));
        }
        let swing = block::scale(block::outer(right, right), step * step * heading.pull.own);
        // A pipe that curves may curve on: it leaves the line of the last leg at the mark, and more so beyond. Two thirds of that are one sigma.
        let (curve, leg) = self.headings.curve(last.1, side);
        let across = 2.0 / 3.0 * curve * step.abs() * (leg / 2.0 + step.abs() / 2.0);
        let readings = 2.0 * accuracy.counter.powi(2) + (accuracy.counter_fraction * by).powi(2);
        let readings = readings * flat * flat;
        let covariance = rests.variance(&|a, b| self.headings.joint(a, b));
        let place = [mark.e + step * unit[0], mark.n + step * unit[1]];
        let covariance = block::add(covariance, swing);
        let mut spot = Spot::of(place, covariance, unit, (readings * k * k, across * across))
            .at(vertex.station + step);
        spot.beyond = Some((last.1, by.abs()));
        Ok(spot)
    }
}

impl Spot {
    /// A place with the covariance of its marks, and variances of its own along and across.
    fn of(place: [f64; 2], covariance: Block, unit: [f64; 2], (along, across): (f64, f64)) -> Self {
        let right = [unit[1], -unit[0]];
        let own = block::add(
            block::scale(block::outer(unit, unit), along),
            block::scale(block::outer(right, right), across),
        );
        let covariance = block::add(covariance, own);
        Self {
            e: place[0],
            n: place[1],
            covariance,
            station: 0.0,
            along: block::along(covariance, unit).sqrt(),
            beyond: None,
        }
    }

    const fn at(mut self, station: f64) -> Self {
        self.station = station;
        self
    }
}
