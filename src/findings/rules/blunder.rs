//! `blunder`: a measurement that does not fit the others.
//!
//! *Why*: a misread tape moves the mark and spoils its bounds. The largest standardised residual is named, left out, and
//! the rest looked at again. It stays in the stated result: whether it is wrong is the user's to say.
//! Where such measurements to several marks have a reference in common whose coordinates are exact, and so can't be suspected themselves,
//! it is named before them; and before these, a row of lengths that fit one place in another unit, and none as they were read.
//! *Limit*: |w| > 3.29, α = 0.001 ([`crate::sources::Source::Baarda1968`]).
//! *Example*: a tie of 12.40 where the three others say 13.41.

use std::collections::{BTreeMap, BTreeSet};
use std::iter;

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::height::{HeightResidual, HeightSuspect};
use crate::observe::{Kind, Observation, PointId, PointRole};
use crate::position::Suspect;
use crate::position::inches::Inches;
use crate::position::slips::Slip;
use crate::units::{counted, fixed};

/// Equally suspect measurements, or marks, that are named in full; more would not be read.
const NAMED: usize = 4;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let plane = survey
        .adjusted
        .suspects
        .iter()
        .filter_map(|suspect| in_plane(survey, suspect));
    let heights = survey
        .heights
        .suspects
        .iter()
        .filter_map(|suspect| in_height(survey, suspect));
    let inches = survey.adjusted.inches.as_ref();
    let inches = inches.and_then(|inches| as_inches(survey, inches));
    let slips = &survey.adjusted.slips;
    let slips = slips.iter().filter_map(|slip| in_unit(survey, slip));
    inches
        .into_iter()
        .chain(slips)
        .chain(references(survey))
        .chain(plane)
        .chain(heights)
        .collect()
}

/// Tapes that fit each other as feet and inches with a point between, and not as decimals.
fn as_inches(survey: &Survey<'_>, inches: &Inches) -> Option<Finding> {
    let first = *inches.observations.first()?;
    let first = survey.observed.observations.plane.get(first)?;
    let (before, after) = (inches.read.factor()?, inches.meant.factor()?);
    let message = format!(
        "The {} of the job don't fit each other as decimals of a foot, and do as feet and inches with a point between (12.6 for 12'6\"): variance \
         factor {before:.2} and {after:.2}. If that is how they were written down, write 12'6\" or 12-6 into the cells.",
        counted(inches.observations.len(), "tape"),
    );
    let finding = Finding::new(Code::Blunder, message)
        .at(&first.source)
        .column(first.column);
    Some(finding.figures(before, inches.read.bounds().map(|bounds| bounds.1)))
}

/// A row whose lengths fit one place in another unit, and none as they were read.
fn in_unit(survey: &Survey<'_>, slip: &Slip) -> Option<Finding> {
    let observations = &survey.observed.observations;
    let tapes = slip.observations.iter();
    let tapes: Vec<&Observation> = tapes.filter_map(|&i| observations.plane.get(i)).collect();
    let first = tapes.first()?;
    let read = survey.job.grid.unit;
    let (meant, symbol) = (slip.unit.name, slip.unit.symbol);
    let figure = fixed(read.of(first.measured), 2);
    let mut message = format!(
        "The {} tapes to {} fit no place as they were read, and one if all are in {meant}: {figure} {read} would be {figure} {symbol}, which is {}. \
         Before they are measured again, look at the unit of this row, its depths too, and write it into its cells ({figure} {symbol}).",
        tapes.len(),
        survey.called(slip.point),
        survey.length(first.measured * slip.unit.times),
    );
    let others = survey.adjusted.slips.len() - 1;
    if others > 0 {
        message.push_str(&format!(
            " It is the same with {}: where a whole table is in {meant}, its headings can say so once (`{} ({symbol})`).",
            counted(others, "other row"),
            first.column
        ));
    }
    let alarm = survey.job.limits.alarm;
    let finding = Finding::new(Code::Blunder, message)
        .at(&first.source)
        .column(first.column);
    let residuals = slip.observations.iter();
    let sizes = residuals.filter_map(|&i| survey.adjusted.residuals.get(i)?.standardised);
    let largest = sizes.map(f64::abs).reduce(f64::max);
    let finding = match largest {
        Some(size) => finding.figures(size, Some(alarm)),
        None => finding,
    };
    Some(survey.about(finding, slip.point))
}

/// Marks to which there are suspects from an exact reference point, and the largest standardised residual of these.
#[derive(Default)]
struct Common {
    marks: BTreeSet<PointId>,
    largest: f64,
}

/// The reference points that most suspects may come from, if these are to two marks or more, and to more than half of those that
/// are measured from there.
fn references(survey: &Survey<'_>) -> Vec<Finding> {
    let observations = &survey.observed.observations;
    let mut common: BTreeMap<PointId, Common> = BTreeMap::new();
    for suspect in &survey.adjusted.suspects {
        let all = iter::once(suspect.observation).chain(suspect.equals.iter().copied());
        for observation in all.filter_map(|i| observations.plane.get(i)) {
            for (from, to) in exact_references(survey, observation) {
                let entry = common.entry(from).or_default();
                entry.marks.insert(to);
                entry.largest = entry.largest.max(suspect.standardised.abs());
            }
        }
    }
    let most = common.values().map(|common| common.marks.len()).max();
    common.retain(|_, common| common.marks.len() > 1 && Some(common.marks.len()) == most);
    if common.is_empty() {
        return Vec::new();
    }
    let mut measured: BTreeMap<PointId, BTreeSet<PointId>> = BTreeMap::new();
    for observation in &observations.plane {
        for (from, to) in exact_references(survey, observation) {
            if common.contains_key(&from) {
                measured.entry(from).or_default().insert(to);
            }
        }
    }
    common.retain(|from, common| {
        let all = measured.get(from).map_or(0, BTreeSet::len);
        2 * common.marks.len() > all
    });
    let found = common.iter();
    found
        .filter_map(|(from, common)| in_common(survey, *from, common))
        .collect()
}

/// The exact reference points of a measurement, each with the point that is measured from there.
fn exact_references<'s>(
    survey: &'s Survey<'_>,
    observation: &'s Observation,
) -> impl Iterator<Item = (PointId, PointId)> + 's {
    let points = &survey.observed.observations.points;
    let to = survey.point_of(observation);
    let named = observation.kind.points().into_iter().flatten();
    named.filter_map(move |from| {
        let known = points.get(from.0 as usize)?;
        let exact = known.fixed.is_some() || known.site.is_some();
        let reference = exact && matches!(known.role, PointRole::Control(_));
        let to = to.filter(|to| reference && *to != from)?;
        Some((from, to))
    })
}

fn in_common(survey: &Survey<'_>, point: PointId, common: &Common) -> Option<Finding> {
    let source = survey.source(point)?;
    let name = survey.called(point);
    let marks = common.marks.iter().take(NAMED);
    let mut marks: Vec<String> = marks
        .map(|mark| survey.called(*mark).into_owned())
        .collect();
    let more = common.marks.len().saturating_sub(NAMED);
    if more > 0 {
        marks.push(format!("{more} more"));
    }
    let message = format!(
        "What was measured from {name} to {} does not fit the other measurements there. Before each of these is measured again: the \
         coordinates of {name} may be wrong, or another point was taken for it.",
        marks.join(", ")
    );
    let finding = Finding::new(Code::Blunder, message)
        .at(source)
        .figures(common.largest, Some(survey.job.limits.alarm));
    Some(survey.about(finding, point))
}

/// What a measurement reads and what the others say it should, as the field book has it.
fn figures(survey: &Survey<'_>, observation: &Observation, predicted: f64) -> (String, String) {
    let off = observation.value - predicted;
    let ratio = if observation.value.abs() > 0.0 {
        observation.measured / observation.value
    } else {
        1.0
    };
    if observation.kind.is_angular() {
        let turn = crate::observe::kinds::around(off).to_degrees();
        (
            format!("{}°", fixed(observation.measured.to_degrees(), 3)),
            format!("{}°", fixed(observation.measured.to_degrees() - turn, 3)),
        )
    } else if is_coordinate(observation) {
        let unit = survey.crs.unit_metres();
        (
            fixed(observation.value / unit, 3),
            fixed(predicted / unit, 3),
        )
    } else {
        (
            survey.length(observation.measured),
            survey.length(predicted * ratio),
        )
    }
}

/// Whether it is one of a point's two coordinates, as given or as received.
fn is_coordinate(observation: &Observation) -> bool {
    matches!(observation.kind, Kind::East { .. } | Kind::North { .. })
}

/// A measurement in whose stead another is suspected; both coordinates of a point are told as one.
fn stand_in(survey: &Survey<'_>, observation: &Observation) -> String {
    match survey.point_of(observation) {
        Some(point) if is_coordinate(observation) => {
            let name = survey.called(point);
            format!("coordinates of {name} ({})", observation.source)
        }
        _ => survey.describe(observation),
    }
}

fn in_plane(survey: &Survey<'_>, suspect: &Suspect) -> Option<Finding> {
    let observations = &survey.observed.observations;
    let observation = observations.plane.get(suspect.observation)?;
    let (reads, others) = figures(survey, observation, suspect.predicted);
    let alarm = survey.job.limits.alarm;
    let mut message = format!(
        "The {} reads {reads}; the other measurements say {others}. Its standardised residual is {:.1}, over the limit \
         of {alarm:.2}.",
        survey.describe(observation),
        suspect.standardised.abs()
    );
    let equals = suspect.equals.iter();
    let equals = equals.filter_map(|&i| observations.plane.get(i));
    message.push_str(&what_to_do(
        "leave it out with `use = no`",
        equals.map(|other| stand_in(survey, other)),
    ));
    let finding = Finding::new(Code::Blunder, message)
        .at(&observation.source)
        .column(observation.column)
        .figures(suspect.standardised.abs(), Some(alarm));
    Some(match survey.point_of(observation) {
        Some(point) => survey.about(finding, point),
        None => finding,
    })
}

fn in_height(survey: &Survey<'_>, suspect: &HeightSuspect) -> Option<Finding> {
    let residuals = &survey.heights.residuals;
    let row = residuals.get(suspect.row)?;
    let alarm = survey.job.limits.alarm;
    let message = format!(
        "The {} reads {}; the other heights say {}. Its standardised residual is {:.1}, over the limit of {alarm:.2}.{}",
        described(row),
        survey.length(row.value),
        survey.length(suspect.predicted),
        suspect.standardised,
        what_to_do(
            "leave it out",
            suspect
                .equals
                .iter()
                .filter_map(|&i| residuals.get(i))
                .map(|row| format!("{} ({})", described(row), row.source))
        )
    );
    let mut finding = Finding::new(Code::Blunder, message)
        .at(&row.source)
        .figures(suspect.standardised, Some(alarm));
    if let Some(name) = row.points.last() {
        finding = finding.mark(&**name);
    }
    Some(finding)
}

/// A height by what it is and its points.
fn described(row: &HeightResidual) -> String {
    let names: Vec<&str> = row.points.iter().map(|name| &**name).collect();
    format!("{} of {}", row.what.replace('_', " "), names.join(" to "))
}

/// How to go on with a suspect that others may be in the stead of; `out` says how to leave it out.
fn what_to_do(out: &str, equals: impl Iterator<Item = String>) -> String {
    let mut names: Vec<String> = Vec::new();
    for name in equals.map(|name| format!("the {name}")) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    if names.is_empty() {
        return format!(" It is still used: measure it again, mend it, or {out}.");
    }
    let more = names.len().saturating_sub(NAMED);
    names.truncate(NAMED);
    if more > 0 {
        names.push(format!("one of {more} more"));
    }
    format!(
        " But the measurements can't tell which is wrong; it can as well be {}. One more measurement would.",
        names.join(", ")
    )
}
