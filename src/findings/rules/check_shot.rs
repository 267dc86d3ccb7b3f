//! `check-shot`: a row kept out and compared: places, tapes, angles and heights.
//!
//! *Why*: an independent look at the stated bounds. *Limit*: the 95 % bound of the difference, from both
//! covariances. A note inside, a warning outside. *Example*: `use = check` on a second RTK position of A3.

use super::survey::Survey;
use crate::findings::{Code, Finding, Level};
use crate::math::stats::NORMAL_95;
use crate::observe::Problem;
use crate::position::check::{CheckShot, checks};
use crate::units::fixed;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let nothing = survey
        .observed
        .problems
        .iter()
        .filter_map(|problem| match problem {
            Problem::NothingToCompare { subject } => {
                let message = format!(
                    "{} is kept out with `use = check`, but there is nothing to compare it with.",
                    subject.name
                );
                Some(survey.subject(Finding::new(Code::CheckShot, message), subject))
            }
            _ => None,
        });
    let plane = checks(survey.adjusted, &survey.observed.observations);
    let plane: Vec<Finding> = plane.iter().map(|shot| in_plane(survey, shot)).collect();
    let heights = survey.heights.checks.iter().map(|check| {
        let bound = NORMAL_95 * check.sigma;
        let (found, limit) = (survey.length(check.difference), survey.rough(bound));
        let finding = verdict(
            &format!("height of {}", check.point),
            &found,
            &limit,
            check.difference.abs() <= bound,
        )
        .mark(check.point.as_str())
        .at(&check.source);
        finding.figures(
            survey.unit.of(check.difference),
            Some(survey.unit.of(bound)),
        )
    });
    nothing.chain(plane).chain(heights).collect()
}

fn verdict(what: &str, found: &str, bound: &str, inside: bool) -> Finding {
    let (level, words) = if inside {
        (Level::Note, "inside")
    } else {
        (Level::Warning, "outside")
    };
    let way_out = if inside {
        ""
    } else {
        " Look for a gross error in either, or for sigmas that are too small."
    };
    let message = format!(
        "Check of the {what}: it differs from the result by {found}, {words} the 95 % bound of {bound}.{way_out}"
    );
    Finding::new(Code::CheckShot, message).level(level)
}

fn in_plane(survey: &Survey<'_>, shot: &CheckShot) -> Finding {
    let name = survey.called(shot.point);
    let what = if shot.what == "horizontal" {
        format!("place of {name}")
    } else {
        format!("{} of {name}", shot.what)
    };
    let (found, bound, value, limit) = if shot.angular {
        let (d, b) = (shot.difference.to_degrees(), shot.bound.to_degrees());
        (
            format!("{}°", fixed(d, 3)),
            format!("{}°", fixed(b, 3)),
            d,
            b,
        )
    } else {
        let (d, b) = (survey.length(shot.difference), survey.rough(shot.bound));
        (
            d,
            b,
            survey.unit.of(shot.difference),
            survey.unit.of(shot.bound),
        )
    };
    let finding = verdict(&what, &found, &bound, shot.inside)
        .at(&shot.source)
        .figures(value, Some(limit));
    survey.about(finding, shot.point)
}
