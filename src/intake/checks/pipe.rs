//! Whether depths, inverts and sizes can be true.

use super::Case;
use crate::units::{FOOT, INCH};

/// How much the stated length may differ from the coordinates', part of it (our choice: grid and ground differ by less), and metres
/// beside that (rounding).
const LENGTH: (f64, f64) = (0.002, 0.02);

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
    let limit = case.fields.require.max_depth;
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
        vertex.mark.as_deref().unwrap_or("a bend"),
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
    Some(format!(
        "Run {} would enter main {} {} below its invert (± {} at 95 %): check its depths, the height datum, and whether it is this main.",
        wrong.run,
        wrong.main,
        case.say(-wrong.above.unwrap_or_default()),
        case.say(wrong.above_95.unwrap_or_default())
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
