//! Whether depths, ground and inverts agree: with each other, with the main, and with the units that they are said to be in.

use super::pipe::vertical;
use super::{Case, named};
use crate::limits::Accuracy;
use crate::math::stats::{ALARM, NORMAL_95};
use crate::record::model::{Run, Vertex};
use crate::units::{FOOT, INCH};

/// How far ground, depth and invert may contradict each other beside their bounds, metres (our choice: the ground is taken beside the
/// mark, and figures are rounded).
const BESIDE: f64 = 0.15;

/// Bore that is taken where neither the pipe's nor its main's is known, metres (our choice: laterals are no wider).
const BORE: f64 = 0.3;

/// Units that a figure may be in without anybody having said so.
const UNITS: [(&str, f64); 5] = [
    ("metres", 1.0),
    ("feet", FOOT),
    ("inches", INCH),
    ("centimetres", 0.01),
    ("millimetres", 0.001),
];

/// The units, other than the record's own, that a figure would fit in; the test is given metres in one.
pub(super) fn fitting(case: &Case<'_>, fits: impl Fn(f64) -> bool) -> Vec<&'static str> {
    let own = case.record.frame.unit.metres();
    let others = UNITS
        .iter()
        .filter(|(_, metres)| (metres / own - 1.0).abs() > 0.001 && fits(*metres));
    others.map(|(word, _)| *word).collect()
}

pub(super) fn hint(units: &[&str]) -> String {
    if units.is_empty() {
        String::new()
    } else {
        format!(" The figure would fit as {}.", units.join(" or "))
    }
}

/// A profile takes two points.
pub(super) fn no_depth(case: &Case<'_>) -> Option<String> {
    let without = case.laterals().iter().find(|lateral| {
        let known = lateral
            .spots
            .iter()
            .filter(|spot| spot.depth.is_some() || spot.invert.is_some());
        known.count() < lateral.spots.len().min(2)
    })?;
    Some(format!(
        "Run {} has a depth or an invert at fewer than two of its points. Deliver at least one of them at both of its ends.",
        without.run
    ))
}

pub(super) fn implausible(case: &Case<'_>) -> Option<String> {
    let all = [too_deep(case), contradictory(case), high_above(case)];
    let all: Vec<String> = all.into_iter().flatten().collect();
    (!all.is_empty()).then(|| all.join(" "))
}

fn too_deep(case: &Case<'_>) -> Option<String> {
    let limit = case.require.max_depth;
    let depths = case
        .laterals()
        .iter()
        .flat_map(|lateral| lateral.spots.iter().filter_map(|spot| spot.depth));
    let deepest = depths
        .map(|depth| depth.value)
        .reduce(f64::max)
        .filter(|depth| *depth > limit)?;
    let as_read = deepest / case.record.frame.unit.metres();
    let fits = fitting(case, |metres| as_read * metres <= limit);
    Some(format!(
        "A depth of {} is over the limit of {}.{} Check the unit of the depths.",
        case.say(deepest),
        case.say(limit),
        hint(&fits)
    ))
}

/// Ground, invert and depth of a vertex, each in metres by a unit of its own.
struct Heights {
    ground: f64,
    invert: f64,
    /// To the transmitter, or else to the outside top of the pipe.
    depth: Option<f64>,
    /// How much farther down than the depth the invert may lie: a bore and a wall.
    bore: f64,
    /// How far the figures may be out together.
    slack: f64,
    /// Deepest plausible pipe.
    limit: f64,
}

impl Heights {
    fn of(case: &Case<'_>, run: &Run, vertex: &Vertex) -> Option<Self> {
        let unit = case.record.frame.unit.metres();
        let main = case.taps.iter().find(|tap| tap.run == run.run);
        let bore = run
            .diameter
            .map(|diameter| diameter * unit)
            .or_else(|| main.and_then(|tap| tap.diameter))
            .unwrap_or(BORE);
        let axis = run.axis_above_invert.unwrap_or(0.0) * unit;
        let depth = vertex.transmitter_depth.or(vertex.cover);
        // A bound that nobody states is that of a reading here.
        let usual = Accuracy::default();
        let part = usual.depth_fraction.hypot(usual.depth_common);
        let reading = usual.depth.hypot(part * depth.unwrap_or_default() * unit);
        let bound = |stated: Option<f64>| stated.map_or(NORMAL_95 * reading, |bound| bound * unit);
        let together = bound(vertex.depth_95).hypot(bound(vertex.invert_95));
        Some(Self {
            ground: vertex.ground?,
            invert: vertex.invert?,
            depth,
            bore: bore.max(axis) + run.wall.unwrap_or(0.0) * unit,
            slack: ALARM / NORMAL_95 * together + BESIDE,
            limit: case.require.max_depth,
        })
    }

    /// Whether they agree if ground, invert and depth are in these units.
    fn agree(&self, [ground, invert, depth]: [f64; 3]) -> bool {
        let below = self.ground * ground - self.invert * invert;
        let (least, most) = match self.depth {
            Some(figure) => (figure * depth, figure * depth + self.bore),
            None => (0.0, self.limit),
        };
        below > least - self.slack && below < most + self.slack
    }
}

/// Heights that contradict each other at a vertex: one of them is in another unit, or of another datum. What is above the ground or over the
/// limit by itself is told elsewhere.
fn contradictory(case: &Case<'_>) -> Option<String> {
    let unit = case.record.frame.unit.metres();
    let is_told = |heights: &Heights| {
        heights.invert > heights.ground
            || heights
                .depth
                .is_some_and(|depth| depth <= 0.0 || depth * unit > heights.limit)
    };
    let known = |run| {
        let of = move |vertex| Some((vertex, Heights::of(case, run, vertex)?));
        run.vertices.iter().filter_map(of)
    };
    let (run, vertex, heights) = case.record.runs.iter().find_map(|run| {
        let is_wrong = |heights: &Heights| !is_told(heights) && !heights.agree([unit; 3]);
        let (vertex, heights) = known(run).find(|(_, heights)| is_wrong(heights))?;
        Some((run, vertex, heights))
    })?;
    let fits = ["ground", "invert", "depth"]
        .iter()
        .enumerate()
        .flat_map(|(place, name)| {
            let fits = fitting(case, |metres| {
                let mut units = [unit; 3];
                if let Some(own) = units.get_mut(place) {
                    *own = metres;
                }
                let has = place < 2 || heights.depth.is_some();
                has && known(run).all(|(_, heights)| heights.agree(units))
            });
            fits.into_iter()
                .map(move |word| format!("the {name} in {word}"))
        });
    let fits: Vec<String> = fits.collect();
    let hint = if fits.is_empty() {
        String::new()
    } else {
        format!(" They would agree with {}.", fits.join(", or "))
    };
    let below = case.say((heights.ground - heights.invert) * unit);
    let other = heights.depth.map_or_else(
        || format!("over the limit of {}", case.say(heights.limit)),
        |depth| format!("and its depth is given as {}", case.say(depth * unit)),
    );
    Some(format!(
        "The invert of run {} at {} lies {below} below the ground, {other}.{hint} Check the units and the datum of ground, invert and depth.",
        run.run,
        named(vertex)
    ))
}

/// A lateral comes down to its main no farther than a pipe may lie deep.
fn high_above(case: &Case<'_>) -> Option<String> {
    if vertical(case).is_some() {
        return None;
    }
    let limit = case.require.max_depth;
    let (tap, above) = case.taps.iter().find_map(|tap| {
        let above = tap.above?;
        (above - tap.above_95.unwrap_or(0.0) > limit).then_some((tap, above))
    })?;
    let lateral = case
        .laterals()
        .iter()
        .find(|lateral| lateral.run == tap.run);
    let end = lateral
        .and_then(|lateral| lateral.spots.last()?.invert)
        .map(|invert| invert.value);
    let fits = end.map_or_else(Vec::new, |end| {
        let as_read = end / case.record.frame.unit.metres();
        fitting(case, |metres| {
            let above = as_read * metres - (end - above);
            (0.0..=limit).contains(&above)
        })
    });
    Some(format!(
        "Run {} would enter main {} {} above its invert, more than a pipe may lie deep ({}).{} Check its heights, their unit and datum, and \
         whether it is this main.",
        tap.run,
        tap.main,
        case.say(above),
        case.say(limit),
        hint(&fits)
    ))
}
