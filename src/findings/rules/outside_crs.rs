//! `outside-crs`: coordinates outside the coordinate system's area of use.
//!
//! *Why*: latitude and longitude exchanged, a missing minus, feet read as metres: the figures look fine and lie on
//! another continent. *Limit*: the area of use in the EPSG registry ([`crate::sources::Source::Iogp72`]).
//! A warning, and used, up to [`crate::crs::OVERLAP`] beyond it. *Example*: longitude 80.85 instead of −80.85 in North Carolina.

use std::borrow::Cow;

use super::survey::Survey;
use crate::findings::{Code, Finding, Level};
use crate::observe::{Explanation, Problem};
use crate::units::fixed;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    survey
        .observed
        .problems
        .iter()
        .filter_map(|problem| one(survey, problem).or_else(|| at_edge(survey, problem)))
        .collect()
}

/// Letters of an area's name that a message has: some name a hundred counties.
const AREA: usize = 120;

/// The beginning of a long list.
fn shortened(area: &str) -> Cow<'_, str> {
    let Some((at, _)) = area.char_indices().nth(AREA) else {
        return Cow::Borrowed(area);
    };
    let begin = area.get(..at).unwrap_or(area);
    let whole = begin
        .rsplit_once([',', ';'])
        .map_or(begin, |(whole, _)| whole);
    Cow::Owned(format!("{whole}, \u{2026}"))
}

/// Places at the edge of the area of use, which are used all the same.
fn at_edge(survey: &Survey<'_>, problem: &Problem) -> Option<Finding> {
    let Problem::Edge {
        subject,
        places,
        geographic,
        area,
    } = problem
    else {
        return None;
    };
    let first = if *places > 1 {
        format!(" (the first of {places})")
    } else {
        String::new()
    };
    let message = format!(
        "{}{first} lies outside the area of {} ({}), by less than half a degree: it is used, as at the edge of a zone. If the job belongs to the \
         neighbouring system, name that one in `crs`.",
        subject.name,
        survey.crs.name(),
        shortened(area),
    );
    let columns = if *geographic {
        ["latitude", "longitude"]
    } else {
        ["easting", "northing"]
    };
    let finding = Finding::new(Code::OutsideCrs, message).level(Level::Warning);
    Some(survey.subject(finding.column(columns[0]).column(columns[1]), subject))
}

fn one(survey: &Survey<'_>, problem: &Problem) -> Option<Finding> {
    let Problem::Outside {
        subject,
        given: (first, second),
        geographic,
        explanation,
        area,
    } = problem
    else {
        return None;
    };
    let (given, columns) = if *geographic {
        (
            format!(
                "latitude {}, longitude {}",
                fixed(*first, 6),
                fixed(*second, 6)
            ),
            ["latitude", "longitude"],
        )
    } else {
        let unit = survey.crs.unit_name();
        (
            format!(
                "easting {}, northing {} ({unit})",
                fixed(*first, 2),
                fixed(*second, 2)
            ),
            ["easting", "northing"],
        )
    };
    let way_out = match explanation {
        Some(Explanation::Swapped) => "With the two exchanged it lies inside: exchange them.",
        Some(Explanation::LongitudeSign) => {
            "With the other sign of the longitude it lies inside: west is negative."
        }
        Some(Explanation::LatitudeSign) => {
            "With the other sign of the latitude it lies inside: south is negative."
        }
        Some(Explanation::MetresAsFeet) => {
            "Read as metres it lies inside: plain figures are read in the coordinate system's own unit."
        }
        Some(Explanation::FeetAsMetres) => {
            "Read as feet it lies inside: plain figures are read in the coordinate system's own unit, others in that of their heading or cell."
        }
        None => "Check the figures, and `crs` in [grid].",
    };
    let area = shortened(area);
    let message = format!(
        "{}: {given} lies outside the area of {} ({area}). {way_out}",
        subject.name,
        survey.crs.name()
    );
    let finding = Finding::new(Code::OutsideCrs, message)
        .column(columns[0])
        .column(columns[1]);
    Some(survey.subject(finding, subject))
}
