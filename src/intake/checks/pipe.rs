//! Whether depths, inverts and sizes can be true.

use std::collections::BTreeSet;

use super::heights::{fitting, hint};
use super::{Case, named};
use crate::math::stats::{ALARM, NORMAL_95};
use crate::record::model::{Vertex, VertexKind};

/// How much the stated length may differ from the coordinates', part of it (our choice: grid and ground differ by less), and metres
/// beside that (rounding).
const LENGTH: (f64, f64) = (0.002, 0.02);

/// Steepest pipe between two marks, fall over distance (our choice: 45°. Drains lie far flatter, and what is steeper stands upright).
const STEEPEST: f64 = 1.0;

/// Sharpest turn at a mark, its cosine (our choice: 150°. A drain has no bend that goes back), and the shortest leg beside it that is
/// looked at where no bounds are wider, metres.
const TURN: (f64, f64) = (-0.866, 0.5);

/// Narrowest and widest pipe, metres, the widest where the main's diameter is not known (our choice: no camera goes through a narrower
/// one, and no lateral is wider).
const DIAMETERS: (f64, f64) = (0.025, 2.0);

pub(super) fn stations(case: &Case<'_>) -> Option<String> {
    length(case).or_else(|| turned_back(case))
}

fn length(case: &Case<'_>) -> Option<String> {
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

/// Marks that don't follow each other as a pipe goes: rows out of order, or a place far off.
fn turned_back(case: &Case<'_>) -> Option<String> {
    let frame = &case.record.frame;
    let (unit, grid) = (frame.unit.metres(), frame.crs_unit_metres);
    let leg = |from: &Vertex, to: &Vertex| {
        let radius = |vertex: &Vertex| {
            vertex
                .ellipse
                .map_or(0.0, |ellipse| ellipse.semi_major_95 * unit)
        };
        let (east, north) = (
            (to.easting - from.easting) * grid,
            (to.northing - from.northing) * grid,
        );
        let length = east.hypot(north);
        let sure = length > (ALARM / NORMAL_95 * radius(from).hypot(radius(to))).max(TURN.1);
        sure.then(|| (east / length, north / length))
    };
    let (run, at) = case.record.runs.iter().find_map(|run| {
        let is_mark = |vertex: &&Vertex| vertex.kind == VertexKind::Mark;
        let marks: Vec<&Vertex> = run.vertices.iter().filter(is_mark).collect();
        let at = marks.windows(3).find_map(|three| {
            let &[a, b, c] = three else { return None };
            let (one, other) = (leg(a, b)?, leg(b, c)?);
            (one.0 * other.0 + one.1 * other.1 < TURN.0).then_some(b)
        })?;
        Some((run, at))
    })?;
    Some(format!(
        "Run {} turns back on itself at {}, as no drain does: its points are out of order, or one lies in a wrong place. Put them in order \
         downstream, or say their order in a column of its own.",
        run.run,
        named(at)
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
        let can_be = DIAMETERS.0..=main.unwrap_or(DIAMETERS.1);
        (!can_be.contains(&own)).then_some((lateral, own, main, can_be))
    });
    let (lateral, own, main, can_be) = wrong?;
    let beside = main.map_or_else(String::new, |main| {
        format!(", its main's {}", case.say(main))
    });
    let as_read = own / case.record.frame.unit.metres();
    let fits = fitting(case, |metres| can_be.contains(&(as_read * metres)));
    Some(format!(
        "The diameter of run {} is {}{beside}.{} Check its unit.",
        lateral.run,
        case.say(own),
        hint(&fits)
    ))
}
