//! Whether depths, inverts and sizes can be true.

use std::collections::BTreeSet;

use super::Case;
use crate::record::model::{Vertex, VertexKind};
use crate::units::{FOOT, INCH};

/// How much the stated length may differ from the coordinates', part of it (our choice: grid and ground differ by less), and metres
/// beside that (rounding).
const LENGTH: (f64, f64) = (0.002, 0.02);

/// Steepest pipe between two marks, fall over distance (our choice: 45°. Drains lie far flatter, and what is steeper stands upright).
const STEEPEST: f64 = 1.0;

pub(super) fn stations(case: &Case<'_>) -> Option<String> {
    let frame = &case.record.frame;
    let wrong = case.record.runs.iter().find_map(|run| {
        let (first, last) = (run.vertices.first()?, run.vertices.last()?);
        let stated = (last.station - first.station).abs() * frame.unit.metres();
        let drawn: f64 = run
            .vertices
            .windows(2)
            .map(|pair| match pair {
                [a, b] => {
                    (b.easting - a.easting).hypot(b.northing - a.northing) * frame.crs_unit_metres
                }
                _ => 0.0,
            })
            .sum();
        ((stated - drawn).abs() > LENGTH.0 * drawn + LENGTH.1).then_some((run, stated, drawn))
    });
    let (run, stated, drawn) = wrong?;
    Some(format!(
        "Run {} is {} long by its stations and {} by its coordinates: the units of the two differ, or points are missing. State the unit of each.",
        run.run,
        case.say(stated),
        case.say(drawn)
    ))
}

pub(super) fn no_depth(case: &Case<'_>) -> Option<String> {
    let without = case.laterals().iter().find(|lateral| {
        lateral
            .spots
            .iter()
            .all(|spot| spot.depth.is_none() && spot.invert.is_none())
    })?;
    Some(format!(
        "Run {} has no depth and no invert anywhere. Deliver at least one of them at its ends.",
        without.run
    ))
}

pub(super) fn implausible(case: &Case<'_>) -> Option<String> {
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
    let would = |metres: f64, word: &'static str| {
        (as_read * metres <= limit && metres < case.record.frame.unit.metres()).then_some(word)
    };
    let fits: Vec<&str> = [
        would(FOOT, "feet"),
        would(INCH, "inches"),
        would(0.01, "centimetres"),
        would(0.001, "millimetres"),
    ]
    .into_iter()
    .flatten()
    .collect();
    let hint = if fits.is_empty() {
        String::new()
    } else {
        format!(" The figure would fit as {}.", fits.join(" or "))
    };
    Some(format!(
        "A depth of {} is over the limit of {}.{hint} Check the unit of the depths.",
        case.say(deepest),
        case.say(limit)
    ))
}

/// A depth that was not read, delivered as a figure.
pub(super) fn zero(case: &Case<'_>) -> Option<String> {
    let runs = case.record.runs.iter();
    let mut vertices = runs.flat_map(|run| run.vertices.iter().map(move |vertex| (run, vertex)));
    let (run, vertex) = vertices.find(|(_, vertex)| {
        let figures = [vertex.transmitter_depth, vertex.cover];
        figures.into_iter().flatten().any(|figure| figure == 0.0)
    })?;
    Some(format!(
        "The depth of run {} at {} is 0, and a buried pipe has one. Leave blank what was not read.",
        run.run,
        named(vertex)
    ))
}

/// Heights of neighbours that no pipe could join. Two marks at one place, as far as their bounds can tell, may be the ends of an
/// upright drop, no higher than a pipe may lie deep.
pub(super) fn steep(case: &Case<'_>) -> Option<String> {
    let frame = &case.record.frame;
    let (unit, grid) = (frame.unit.metres(), frame.crs_unit_metres);
    let pairs = case
        .record
        .runs
        .iter()
        .flat_map(|run| run.vertices.windows(2).map(move |pair| (run, pair)));
    let wrong = pairs.into_iter().find_map(|(run, pair)| {
        let [a, b] = pair else { return None };
        let fall = (a.invert? - b.invert?).abs() * unit;
        let bound = |vertex: &Vertex| vertex.invert_95.unwrap_or(0.0) * unit;
        let radius = |vertex: &Vertex| {
            vertex
                .ellipse
                .map_or(0.0, |ellipse| ellipse.semi_major_95 * unit)
        };
        let apart = (b.easting - a.easting).hypot(b.northing - a.northing) * grid;
        let apart_95 = radius(a).hypot(radius(b));
        let drop = if apart <= apart_95 {
            case.require.max_depth
        } else {
            0.0
        };
        let least = fall - bound(a).hypot(bound(b)) - drop;
        (least > STEEPEST * (apart + apart_95)).then_some((run, a, b, fall, apart))
    });
    let (run, a, b, fall, apart) = wrong?;
    Some(format!(
        "The inverts of run {} at {} and {} differ by {}, and the two lie {} apart: no pipe is steeper than {:.0} %. Check both inverts.",
        run.run,
        named(a),
        named(b),
        case.say(fall),
        case.say(apart),
        STEEPEST * 100.0
    ))
}

/// A mark is found again by its run and its name.
pub(super) fn marks(case: &Case<'_>) -> Option<String> {
    let wrong = case.record.runs.iter().find_map(|run| {
        let marks = run
            .vertices
            .iter()
            .filter(|vertex| vertex.kind == VertexKind::Mark);
        let mut seen = BTreeSet::new();
        let twice = marks
            .filter_map(|vertex| vertex.mark.as_deref())
            .find(|name| !seen.insert(*name))?;
        Some((run, twice))
    });
    let (run, twice) = wrong?;
    Some(format!(
        "Run {} has two marks called {twice}. Give each mark of a run a name of its own.",
        run.run
    ))
}

fn named(vertex: &Vertex) -> &str {
    vertex.mark.as_deref().unwrap_or("a bend")
}

pub(super) fn above_ground(case: &Case<'_>) -> Option<String> {
    let frame = &case.record.frame;
    let wrong = case
        .record
        .runs
        .iter()
        .flat_map(|run| run.vertices.iter().map(move |vertex| (run, vertex)))
        .find(|(_, vertex)| {
            let over = vertex
                .ground
                .zip(vertex.invert)
                .is_some_and(|(ground, invert)| invert > ground);
            over || vertex.transmitter_depth.is_some_and(|depth| depth < 0.0)
        });
    let (run, vertex) = wrong?;
    let depth = vertex
        .transmitter_depth
        .or_else(|| Some(vertex.ground? - vertex.invert?))
        .unwrap_or_default()
        * frame.unit.metres();
    Some(format!(
        "The pipe of run {} lies above the ground at {}: its depth is {}. Check ground, invert and their height datum.",
        run.run,
        named(vertex),
        case.say(depth)
    ))
}

pub(super) fn vertical(case: &Case<'_>) -> Option<String> {
    let ours = case.mains.fields.vertical.as_deref()?;
    let has_inverts = case
        .record
        .runs
        .iter()
        .flat_map(|run| &run.vertices)
        .any(|vertex| vertex.invert.is_some());
    let theirs = case
        .record
        .frame
        .vertical
        .as_deref()
        .unwrap_or("no named datum");
    (has_inverts && !theirs.eq_ignore_ascii_case(ours)).then(|| {
        format!("Its heights are in {theirs}, the mains' in {ours}: deliver them in {ours}.")
    })
}

pub(super) fn below_main(case: &Case<'_>) -> Option<String> {
    if vertical(case).is_some() {
        return None;
    }
    let wrong = case.taps.iter().find(|tap| {
        tap.above
            .is_some_and(|above| above + tap.above_95.unwrap_or(0.0) < 0.0)
    })?;
    let bound = wrong.above_95.map_or_else(
        || "no bound of it is stated".to_owned(),
        |bound| format!("± {} at 95 %", case.say(bound)),
    );
    Some(format!(
        "Run {} would enter main {} {} below its invert ({bound}): check its depths, the height datum, and whether it is this main.",
        wrong.run,
        wrong.main,
        case.say(-wrong.above.unwrap_or_default()),
    ))
}

pub(super) fn diameter(case: &Case<'_>) -> Option<String> {
    let wrong = case.laterals().iter().find_map(|lateral| {
        let own = lateral.diameter?;
        let main = case
            .taps
            .iter()
            .find(|tap| tap.run == lateral.run)
            .and_then(|tap| tap.diameter);
        let larger = main.is_some_and(|main| own > main);
        (own <= 0.0 || larger).then_some((lateral, own, main))
    });
    let (lateral, own, main) = wrong?;
    let beside = main.map_or_else(String::new, |main| {
        format!(", its main's {}", case.say(main))
    });
    Some(format!(
        "The diameter of run {} is {}{beside}: check its unit.",
        lateral.run,
        case.say(own)
    ))
}
