//! What lies near a place to dig, by its distance from what is drawn: from lines, not from their corners alone.

use std::collections::BTreeMap;

use geo::{Coord, Line};

use super::figures;
use crate::plan::crossing::meet::nearest_fraction;
use crate::plan::role::Role;
use crate::record::AsBuilt;
use crate::record::model::{Camera, Crossing, PlanShape, Run, Vertex};
use crate::sheet::draw::plan::{short_name, what};
use crate::units::counted;

/// What counts as near, metres and feet (our choice: an excavation with room to work in).
const NEAR: f64 = 3.0;
const NEAR_FEET: f64 = 10.0;
/// Another part of the spot's own run: at least so many metres away along the run, and so many times as far as in plan (our choice:
/// a run that bends by 120° and more comes back).
const ALONG: f64 = 1.0;
const BACK: f64 = 2.0;
/// A drawn shape is the feature that a crossing names if its distance from there is the crossing's own to so many metres (our choice:
/// twice what lines are thinned by, and a little for the scale of the grid).
const SAME: f64 = 0.05;

/// Something near.
#[derive(Clone, Debug, PartialEq)]
pub struct Neighbour {
    /// Least distance in plan, metres.
    pub metres: f64,
    /// What it is, in words.
    pub what: String,
    /// A line that digging could hit: a utility, a run.
    pub line: bool,
}

/// How far counts as near, in the record's unit of length.
#[must_use]
pub fn within(record: &AsBuilt) -> f64 {
    if record.frame.unit.is_foot() {
        NEAR_FEET
    } else {
        NEAR
    }
}

/// Everything within that distance of an observation that has a place, each thing once: lines that digging could hit before the rest,
/// the nearest first.
#[must_use]
pub fn near(record: &AsBuilt, seen: &Camera) -> Vec<Neighbour> {
    let (Some(e), Some(n)) = (seen.easting, seen.northing) else {
        return Vec::new();
    };
    let mut near = Near {
        record,
        seen,
        at: (e, n),
        within: within(record) * record.frame.unit.metres(),
        found: BTreeMap::new(),
    };
    near.runs();
    near.plans();
    near.spots();
    let mut found: Vec<Neighbour> = near.found.into_values().collect();
    found.sort_by(|a, b| {
        let lines = b.line.cmp(&a.line);
        lines
            .then(a.metres.total_cmp(&b.metres))
            .then_with(|| a.what.cmp(&b.what))
    });
    found
}

/// What a thing is known by, so that it is said once.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum Key<'a> {
    Run(&'a str),
    Feature(&'a str),
    Layer(&'a str, &'a str),
    Spot(String),
}

struct Near<'a> {
    record: &'a AsBuilt,
    seen: &'a Camera,
    /// CRS unit.
    at: (f64, f64),
    /// Metres.
    within: f64,
    found: BTreeMap<Key<'a>, Neighbour>,
}

impl<'a> Near<'a> {
    fn add(&mut self, key: Key<'a>, metres: f64, line: bool, what: impl FnOnce() -> String) {
        let known = self.found.get(&key).map(|other| other.metres);
        if metres > self.within || known.is_some_and(|known| known <= metres) {
            return;
        }
        let what = what();
        self.found.insert(key, Neighbour { metres, what, line });
    }

    /// From a place to another, metres.
    fn vector(&self, from: (f64, f64), to: (f64, f64)) -> (f64, f64) {
        let k = self.record.frame.crs_unit_metres;
        ((to.0 - from.0) * k, (to.1 - from.1) * k)
    }

    fn to_spot(&self, (e, n): (f64, f64)) -> f64 {
        let (x, y) = self.vector(self.at, (e, n));
        x.hypot(y)
    }

    fn runs(&mut self) {
        for run in &self.record.runs {
            let own = run.run == self.seen.run;
            for leg in run.vertices.iter().zip(run.vertices.iter().skip(1)) {
                if own {
                    self.own_leg(run, leg);
                    continue;
                }
                let ends = [leg.0, leg.1].map(|v| self.vector(self.at, (v.easting, v.northing)));
                let (metres, _) = to_segment(ends[0], ends[1]);
                let name = || format!("run {}", run.run);
                self.add(Key::Run(&run.run), metres, true, name);
            }
        }
    }

    /// The parts of a leg of the spot's own run that lie far enough along it, before the spot and after it.
    fn own_leg(&mut self, run: &'a Run, (a, b): (&Vertex, &Vertex)) {
        let Some(spot) = self.seen.station else {
            return;
        };
        let metres = self.record.frame.unit.metres();
        let along = |v: &Vertex| (v.station - spot) * metres;
        let (from, to) = (along(a), along(b));
        let ends = [a, b].map(|v| self.vector(self.at, (v.easting, v.northing)));
        for side in [-1.0, 1.0] {
            let Some((t0, t1)) = beyond(from * side, to * side, ALONG) else {
                continue;
            };
            let (p, q) = (between(ends[0], ends[1], t0), between(ends[0], ends[1], t1));
            let (away, part) = to_segment(p, q);
            let t = t0 + (t1 - t0) * part;
            if (from + (to - from) * t).abs() >= BACK * away {
                let station = a.station + (b.station - a.station) * t;
                let station = figures::station(Some(station), self.record.frame.unit);
                let name = || format!("another part of run {}, at station {station}", run.run);
                self.add(Key::Run(&run.run), away, true, name);
            }
        }
    }

    /// What site plans show: by the names that crossings have, else by layer.
    fn plans(&mut self) {
        let record = self.record;
        let mut of_layer: BTreeMap<Key<'a>, (&'a PlanShape, f64, usize)> = BTreeMap::new();
        let crossings: Vec<&'a Crossing> = record.crossings.iter().collect();
        let mut drawn = vec![false; crossings.len()];
        for shape in &record.underlay {
            let metres = self.to_shape(self.at, shape);
            if metres > self.within {
                continue;
            }
            let mut named = false;
            for (c, drawn) in crossings.iter().zip(&mut drawn) {
                if self.shows(shape, c) {
                    (named, *drawn) = (true, true);
                    self.feature(c, metres);
                }
            }
            if !named {
                let key = Key::Layer(&shape.layer, &shape.role);
                let layer = of_layer.entry(key).or_insert((shape, metres, 0));
                layer.1 = layer.1.min(metres);
                layer.2 += 1;
            }
        }
        // What isn't drawn, a record holds only so many shapes, is at least where the run meets it.
        for (c, _) in crossings.iter().zip(drawn).filter(|(_, drawn)| !drawn) {
            self.feature(c, self.to_spot((c.easting, c.northing)));
        }
        for (key, (shape, metres, count)) in of_layer {
            let name = || {
                let role = match shape.role.as_str() {
                    role if role == Role::Other.word() => String::new(),
                    role => format!("{role}, "),
                };
                let shapes = match count {
                    1 => String::new(),
                    n => format!("{} of ", counted(n, "shape")),
                };
                format!("{role}{shapes}layer {} of the site plan", shape.layer)
            };
            self.add(key, metres, is_utility(&shape.role), name);
        }
    }

    fn feature(&mut self, c: &'a Crossing, metres: f64) {
        let name = || format!("{} of the site plan ({})", what(c), short_name(&c.id));
        self.add(Key::Feature(&c.source), metres, is_utility(&c.role), name);
    }

    /// Whether a drawn shape is the feature that a crossing is about.
    fn shows(&self, shape: &PlanShape, c: &Crossing) -> bool {
        let stated = c.distance * self.record.frame.unit.metres();
        let same = (&shape.layer, &shape.role) == (&c.layer, &c.role);
        same && (self.to_shape((c.easting, c.northing), shape) - stated).abs() <= SAME
    }

    fn to_shape(&self, from: (f64, f64), shape: &PlanShape) -> f64 {
        let at = |[e, n]: &[f64; 2]| self.vector(from, (*e, *n));
        let points = shape.points.iter();
        // A point alone is a segment without length.
        let next = points.clone().skip(1).chain(shape.points.last());
        let legs = points.zip(next).map(|(a, b)| to_segment(at(a), at(b)).0);
        legs.fold(f64::INFINITY, f64::min)
    }

    /// Marks, other observations and references.
    fn spots(&mut self) {
        let (record, seen) = (self.record, self.seen);
        let mut spot = |e: f64, n: f64, what: String| {
            let metres = self.to_spot((e, n));
            self.add(Key::Spot(what.clone()), metres, false, || what);
        };
        for m in &record.marks {
            let fitting = m.fitting.as_deref().map(|t| format!(", {t}"));
            let codes = m.findings.as_deref().map(|t| format!(" ({t})"));
            let (fitting, codes) = (fitting.unwrap_or_default(), codes.unwrap_or_default());
            let what = format!("mark {}{fitting}{codes}", m.mark);
            spot(m.easting, m.northing, what);
        }
        for c in record.camera.iter().filter(|c| c.id != seen.id) {
            if let (Some(e), Some(n)) = (c.easting, c.northing) {
                spot(e, n, format!("{}, {}", short_name(&c.id), c.what));
            }
        }
        for r in &record.references {
            spot(r.easting, r.northing, format!("reference {}", r.point));
        }
    }
}

fn is_utility(role: &str) -> bool {
    role == Role::Utility.word()
}

fn between(a: (f64, f64), b: (f64, f64), t: f64) -> (f64, f64) {
    (a.0 + (b.0 - a.0) * t, a.1 + (b.1 - a.1) * t)
}

/// The part of a segment along which a value that goes evenly from `from` to `to` is at least `least`.
fn beyond(from: f64, to: f64, least: f64) -> Option<(f64, f64)> {
    let at = || ((least - from) / (to - from)).clamp(0.0, 1.0);
    match (from >= least, to >= least) {
        (true, true) => Some((0.0, 1.0)),
        (true, false) => Some((0.0, at())),
        (false, true) => Some((at(), 1.0)),
        (false, false) => None,
    }
}

/// From the origin to a segment, and how far along it the nearest point lies, 0 to 1.
fn to_segment(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    let t = nearest_fraction(&Line::new(a, b), Coord::zero());
    let (x, y) = between(a, b, t);
    (x.hypot(y), t)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_segment_is_nearest_at_its_foot_or_an_end() {
        assert_eq!(to_segment((-3.0, 2.0), (1.0, 2.0)), (2.0, 0.75));
        assert_eq!(to_segment((3.0, 4.0), (9.0, 4.0)), (5.0, 0.0));
        assert_eq!(to_segment((3.0, 4.0), (3.0, 4.0)), (5.0, 0.0));
    }

    #[test]
    fn a_leg_is_taken_from_where_it_is_far_enough() {
        assert_eq!(beyond(0.0, 4.0, 1.0), Some((0.25, 1.0)));
        assert_eq!(beyond(4.0, 0.0, 1.0), Some((0.0, 0.75)));
        assert_eq!(beyond(2.0, 2.0, 1.0), Some((0.0, 1.0)));
        assert_eq!(beyond(-4.0, 0.5, 1.0), None);
    }
}
