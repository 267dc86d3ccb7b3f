//! `undetermined`: a point that the measurements don't fix.
//!
//! *Why*: it has no place to be drawn. *Limit*: two circles that miss by more than 3.29 of their one-sigma
//! ([`crate::sources::Source::Baarda1968`]'s α = 0.001) have no common point. *Example*: two tapes without `side`. Not raised
//! for what `no-datum` or `outside-crs` explains: mending that mends this.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::job::model::{Source, Use};
use crate::observe::kinds::Plane;
use crate::observe::{PointId, PointRole, Problem};
use crate::position::Why;
use crate::units::counted;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let stated = super::cause::stated_elsewhere(survey);
    let plane = survey
        .adjusted
        .undetermined
        .iter()
        .filter(|u| matters(survey, u.point) && !stated.contains(&u.point))
        .map(|undetermined| {
            let name = survey.called(undetermined.point);
            let message = format!(
                "{name} has no place: {}",
                why(survey, undetermined.point, &undetermined.why)
            );
            let finding = survey.about(
                Finding::new(Code::Undetermined, message),
                undetermined.point,
            );
            match source(survey, undetermined.point) {
                Some(source) => finding.at(source),
                None => finding,
            }
        });
    let unknown = unknown(survey);
    let named = |name: &&Arc<str>| !unknown.contains(&***name);
    let heights = survey.heights.undetermined.iter().filter(named);
    let heights = heights.map(|name| {
        let message = format!(
            "{name} is levelled, but its levels hang on no known height. Give a point of the book an `elevation` in \
             control.csv, or a mark its `ground`."
        );
        Finding::new(Code::Undetermined, message).mark(&**name)
    });
    let hanging = survey.heights.book.hanging.iter().map(|source| {
        let message = "This sight has no backsight before it, so it gives no height. Enter the backsight of its set-up.";
        Finding::new(Code::Undetermined, message).at(source)
    });
    plane.chain(heights).chain(hanging).collect()
}

/// Names that were said to be none.
fn unknown<'a>(survey: &Survey<'a>) -> BTreeSet<&'a str> {
    let problems = survey.observed.problems.iter();
    let names = problems.filter_map(|problem| match problem {
        Problem::UnknownReference { name, .. } => Some(&**name),
        _ => None,
    });
    names.collect()
}

/// Reference points that serve heights only, or that are kept out, need no place.
fn matters(survey: &Survey<'_>, point: PointId) -> bool {
    let role = survey
        .observed
        .observations
        .points
        .get(point.0 as usize)
        .map(|point| point.role);
    let Some(PointRole::Control(row)) = role else {
        return true;
    };
    let Some(control) = survey.job.control.get(row) else {
        return true;
    };
    let measured = || {
        let rows = &survey.observed.observations.plane;
        rows.iter()
            .any(|o| o.kind.points().into_iter().flatten().any(|p| p == point))
    };
    let levelled = control.elevation.is_some()
        || survey
            .job
            .levels
            .iter()
            .any(|row| row.point == control.point);
    control.usage == Use::Yes && (!levelled || measured())
}

fn source<'a>(survey: &'a Survey<'_>, point: PointId) -> Option<&'a Source> {
    survey.source(point).or_else(|| {
        let rows = &survey.observed.observations.plane;
        let of = |p: Option<PointId>| p == Some(point);
        rows.iter()
            .find(|o| o.kind.points().into_iter().any(of))
            .map(|o| &o.source)
    })
}

fn apart(survey: &Survey<'_>, places: &[Plane]) -> String {
    match places {
        [a, b, ..] => survey.rough((a.0 - b.0).hypot(a.1 - b.1)),
        _ => String::new(),
    }
}

/// What brings a point to one of its places. Only two tapes in a row of marks.csv have a `side`.
fn choose(survey: &Survey<'_>, point: PointId) -> &'static str {
    let points = &survey.observed.observations.points;
    let row = match points.get(point.0 as usize).map(|point| point.role) {
        Some(PointRole::Mark(row)) => survey.job.marks.get(row),
        _ => None,
    };
    match row {
        Some(row) if row.placing.ties.len() > 1 => {
            "Say `side` (left or right of the line from the first reference to the second), or add a third measurement from off that line."
        }
        Some(_) => {
            "Add a third measurement from off the line of its two references: a tie, or a row of measures.csv (a `bearing` by compass will do)."
        }
        None => {
            "Add a row to measures.csv: a third distance, from off the line of its two references, or a `bearing` (by compass will do). Or \
             give its rough coordinates in control.csv, with their `sigma`."
        }
    }
}

fn why(survey: &Survey<'_>, point: PointId, why: &Why) -> String {
    match why {
        Why::TooFew { measured: 0, .. } => {
            "it has neither coordinates nor measurements. Measure it from two reference points, or give its coordinates."
                .to_owned()
        }
        Why::TooFew { usable, measured } => {
            let usable = usable.len();
            let rest = measured.saturating_sub(usable);
            let hang = if rest > 0 {
                let rest = counted(rest, "measurement");
                format!(" Besides, {rest} from points that have no place themselves; fix those first.")
            } else {
                String::new()
            };
            let usable = counted(usable, "usable measurement");
            format!("{usable} from known points; two that cross are needed, better three.{hang}")
        }
        Why::SeveralPlaces { places } => format!(
            "its measurements meet at {} places, {} apart. {}",
            places.len(),
            apart(survey, places),
            choose(survey, point)
        ),
        Why::Gap { gap, sigma, .. } => format!(
            "its two measurements miss each other by {}, which their one-sigma of {} does not explain. One of them, or a \
             reference's coordinates, is wrong: measure again.",
            survey.rough(*gap),
            survey.rough(*sigma)
        ),
        Why::Loose => "its measurements leave it free to move. Add one from another reference point, across those it has."
            .to_owned(),
        Why::NoEnd => "the computation finds no place that suits its measurements. Look for a gross error among them, or \
                       add a measurement."
            .to_owned(),
    }
}
