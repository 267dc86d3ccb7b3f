//! What is known of the pipe between neighbouring marks: nobody has read a depth there, and pipe and ground are no straights.
//!
//! On each leg the figures are those of [`Leg`]: the straight between its ends, with what pipe and ground depart from it in the bound. They are
//! taken at a few places of each leg, the middle among them, where that is most.

use std::collections::BTreeMap;

use crate::math::stats::{NORMAL_95, NORMAL_95_ONE_SIDED};
use crate::plan::crossing::leg::{Figure, Leg, Path};
use crate::record::model::{AsBuilt, Mark, Run, VertexKind};

/// Parts that a leg is looked at in. Our choice.
pub const PARTS: u8 = 8;

/// A place between two marks; result unit.
#[derive(Clone, Copy, Debug)]
pub struct Between<'a> {
    /// Its run.
    pub run: &'a Run,
    /// The marks beside it.
    pub beside: [&'a Mark; 2],
    /// Horizontal distance along the run.
    pub station: f64,
    /// The top's lower one-sided 95 % bound, as [`Mark::cover_least`]; where it is known at both marks.
    pub cover_least: Option<f64>,
    /// Ground to the pipe's axis, and its 95 % bound.
    pub depth: (f64, f64),
}

/// The fractions of a leg at which it is looked at, without its ends.
pub fn fractions() -> impl Iterator<Item = f64> {
    (1..PARTS).map(|part| f64::from(part) / f64::from(PARTS))
}

/// Marks by run and name.
type Marks<'a> = BTreeMap<(&'a str, &'a str), &'a Mark>;

/// Places between neighbouring marks at both of which a depth is known, run by run; those at bends and junctions among them.
#[must_use]
pub fn between(record: &AsBuilt) -> Vec<Between<'_>> {
    let marks = by_name(record.marks.iter());
    let runs = record.runs.iter();
    runs.flat_map(|run| of(record, run, &marks)).collect()
}

/// Those of one run.
#[must_use]
pub fn of_run<'a>(record: &'a AsBuilt, run: &'a Run) -> Vec<Between<'a>> {
    let own = record.marks.iter().filter(|mark| mark.run == run.run);
    of(record, run, &by_name(own))
}

fn by_name<'a>(marks: impl Iterator<Item = &'a Mark>) -> Marks<'a> {
    let named = marks.map(|mark| ((mark.run.as_str(), mark.mark.as_str()), mark));
    named.collect()
}

fn of<'a>(record: &'a AsBuilt, run: &'a Run, marks: &Marks<'a>) -> Vec<Between<'a>> {
    let Some(path) = Path::bridged(record, run) else {
        return Vec::new();
    };
    let mut all = Vec::new();
    let mut from: Option<&Mark> = None;
    let mut legs: Vec<&Leg> = Vec::new();
    for (at, vertex) in run.vertices.iter().enumerate() {
        let before = at.checked_sub(1).and_then(|leg| path.legs.get(leg));
        legs.extend(before.filter(|_| from.is_some()));
        if vertex.kind != VertexKind::Mark {
            continue;
        }
        let name = vertex.mark.as_deref().unwrap_or_default();
        let mark = marks.get(&(run.run.as_str(), name)).copied();
        let to = mark.filter(|mark| mark.transmitter_depth.is_some());
        if let (Some(from), Some(to)) = (from, to) {
            let unit = record.frame.unit.metres();
            all.extend(along(&legs, run, [from, to], unit));
        }
        from = to;
        legs.clear();
    }
    all
}

/// Places along the legs from one mark to the next.
fn along<'a>(legs: &[&Leg], run: &'a Run, beside: [&'a Mark; 2], unit: f64) -> Vec<Between<'a>> {
    let is_top = beside.iter().all(|mark| mark.cover_least.is_some());
    let place = |leg: &Leg, u: f64| {
        let Figure { value, variance } = leg.depth(u, 0.0)?;
        let sigma = variance?.sqrt();
        let cover = leg.cover(u).filter(|_| is_top);
        Some(Between {
            run,
            beside,
            station: leg.station(u) / unit,
            cover_least: cover.map(|cover| (cover - NORMAL_95_ONE_SIDED * sigma) / unit),
            depth: (value / unit, NORMAL_95 * sigma / unit),
        })
    };
    let mut all = Vec::new();
    for (i, leg) in legs.iter().enumerate() {
        // Where a leg ends at no mark, at a bend.
        let end = (i + 1 < legs.len()).then_some(1.0);
        all.extend(fractions().chain(end).filter_map(|u| place(leg, u)));
    }
    all
}

impl Between<'_> {
    /// Ground to the invert, which lies as far below the axis as at the mark before.
    #[must_use]
    pub fn invert_depth(&self) -> Option<f64> {
        let [from, _] = self.beside;
        Some(self.depth.0 + from.invert_depth? - from.transmitter_depth?)
    }
}

/// Invert elevations of a run between vertices that have one: station, elevation, 95 % bound.
#[must_use]
pub fn inverts(record: &AsBuilt, run: &Run) -> Vec<(f64, f64, f64)> {
    let unit = record.frame.unit.metres();
    let path = Path::of(record, run);
    let legs = path.iter().flat_map(|path| &path.legs);
    let places = legs.flat_map(|leg| fractions().map(move |u| (leg, u)));
    let invert = |(leg, u): (&Leg, f64)| {
        let Figure { value, variance } = leg.invert(u, 0.0)?;
        let bound = NORMAL_95 * variance?.sqrt();
        Some((leg.station(u) / unit, value / unit, bound / unit))
    };
    places.filter_map(invert).collect()
}
