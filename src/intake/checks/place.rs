//! Whether a delivery lies where it can, is new, and meets a main.

use super::super::lateral::Spot;
use super::super::same::same;
use super::Case;
use crate::crs::shift_sigma;
use crate::math::stats::{ELLIPSE_95, NORMAL_95};
use crate::plan::far;
use crate::record::model::Operation;

/// How far from the mains' map a delivery may lie, metres: what [`far`] takes for another place.
const ELSEWHERE: f64 = far::FAR;

pub(super) fn coordinates(case: &Case<'_>) -> Option<String> {
    let why = case.laterals.as_ref().err()?;
    Some(if case.record.frame.local {
        "It is in site coordinates of its own. Tie the job to a coordinate system: a few references with known coordinates will do.".to_owned()
    } else {
        format!("Its coordinates can't be used: {why}.")
    })
}

pub(super) fn elsewhere(case: &Case<'_>) -> Option<String> {
    let spots: Vec<_> = case
        .laterals()
        .iter()
        .flat_map(|lateral| &lateral.spots)
        .collect();
    let gap = spots
        .iter()
        .map(|spot| far::gap(&geo::Rect::new(spot.at, spot.at), &case.mains.extent))
        .reduce(f64::max)?;
    (gap > ELSEWHERE).then(|| {
        let figures: Vec<_> = case
            .record
            .runs
            .iter()
            .flat_map(|run| &run.vertices)
            .map(|vertex| (vertex.easting, vertex.northing))
            .collect();
        format!(
            "It lies {:.1} km outside the map of the mains. {}",
            gap / 1000.0,
            far::would_fit(&figures, &case.mains.site())
        )
    })
}

/// Between two places with a bound that of the pipe is known; beyond the last one it is not.
pub(super) fn no_bound(case: &Case<'_>) -> Option<String> {
    let without = |spot: Option<&Spot>| spot.is_none_or(|spot| spot.covariance.is_none());
    let (run, end) = case.laterals().iter().find_map(|lateral| {
        let end = match (
            without(lateral.spots.first()),
            without(lateral.spots.last()),
        ) {
            (true, true) => "either end",
            (true, false) => "its upstream end",
            (false, true) => "its downstream end",
            (false, false) => return None,
        };
        Some((&lateral.run, end))
    })?;
    Some(format!(
        "Run {run} states no accuracy of its place at {end}. Deliver the 95 % bounds, or the records they come from."
    ))
}

pub(super) fn wide(case: &Case<'_>) -> Option<String> {
    let require = &case.require;
    let radius = |block: [[f64; 2]; 2]| ELLIPSE_95 * crate::math::ellipse::Ellipse::of(block).major;
    let widest = |values: &mut dyn Iterator<Item = f64>| values.reduce(f64::max);
    let spots = || case.laterals().iter().flat_map(|lateral| &lateral.spots);
    let place = widest(&mut spots().filter_map(|spot| spot.covariance).map(radius));
    let invert = widest(
        &mut spots()
            .filter_map(|spot| spot.invert?.variance)
            .map(|variance| NORMAL_95 * variance.sqrt()),
    );
    let over = |what: &str, found: Option<f64>, limit: Option<f64>| {
        let (found, limit) = (found?, limit?);
        (found > limit).then(|| {
            format!(
                "{what} is good to {} at 95 %, {} is required",
                case.say(found),
                case.say(limit)
            )
        })
    };
    let all: Vec<String> = [
        over("a place", place, require.horizontal_95),
        over("an invert", invert, require.invert_95),
    ]
    .into_iter()
    .flatten()
    .collect();
    (!all.is_empty()).then(|| format!("Too uncertain: {}. {}", all.join("; "), closer(case)))
}

/// What makes bounds closer: where the operation between the two systems alone is too wide for the places, no measuring does.
fn closer(case: &Case<'_>) -> String {
    let shifted = case.laterals().iter().find(|lateral| {
        let shift = ELLIPSE_95 * lateral.shift();
        case.require
            .horizontal_95
            .is_some_and(|limit| shift > limit)
    });
    let widest = shifted.and_then(|lateral| {
        let sigmas = |a: &&Operation, b: &&Operation| shift_sigma(a).total_cmp(&shift_sigma(b));
        Some((lateral.shift(), lateral.by.iter().max_by(sigmas)?))
    });
    widest.map_or_else(
        || "Measure more, or expose the pipe; `check` says what would help most.".to_owned(),
        |(shift, by)| {
            format!(
                "The operation \"{}\" that brings it to the mains' system leaves {} of that in doubt: deliver it in {}.",
                by.name,
                case.say(ELLIPSE_95 * shift),
                case.mains.crs.code()
            )
        },
    )
}

pub(super) fn same_place(case: &Case<'_>) -> Option<String> {
    let own = super::super::identity(case.record);
    let others = case.on_file.iter().filter(|known| known.identity != own);
    for known in others {
        for theirs in &known.laterals {
            if let Some(mine) = case
                .laterals()
                .iter()
                .find(|mine| mine.spots.len() > 1 && same(mine, theirs))
            {
                let (supplier, job) = &known.identity;
                return Some(format!(
                    "Run {} lies where run {} of {supplier}/{job} on file does, within the joint 95 % bound. If it is the same pipe, send it as a \
                     higher revision of that job; if not, show by closer bounds that it is another.",
                    mine.run, theirs.run
                ));
            }
        }
    }
    None
}

/// A lateral whose other end meets a main is drawn the wrong way.
pub(super) fn against_flow(case: &Case<'_>) -> Option<String> {
    let wrong = missing(case).find(|lateral| {
        lateral
            .spots
            .first()
            .is_some_and(|spot| case.mains.tap(&lateral.run, spot).is_some())
    })?;
    Some(format!(
        "Run {} meets a main with its upstream end: it is the wrong way round. Set `pushed` as the camera went and build again.",
        wrong.run
    ))
}

pub(super) fn no_main(case: &Case<'_>) -> Option<String> {
    let wrong = missing(case).find(|lateral| {
        lateral
            .spots
            .first()
            .is_none_or(|spot| case.mains.tap(&lateral.run, spot).is_none())
    })?;
    Some(format!(
        "The downstream end of run {} meets no main: none lies within {} of it, beside the bound of its place. Locate the pipe to the main, or have the map looked at.",
        wrong.run,
        case.say(case.mains.fields.reach)
    ))
}

/// Laterals that should meet a main and don't, of those that lie in the area at all.
fn missing<'a>(case: &'a Case<'_>) -> impl Iterator<Item = &'a super::super::lateral::Lateral> {
    let away = elsewhere(case).is_some();
    case.laterals().iter().filter(move |lateral| {
        !away
            && !lateral.joins
            && lateral.spots.len() > 1
            && !case.taps.iter().any(|tap| tap.run == lateral.run)
    })
}
