//! `check-shot`: a row kept out and compared: places, tapes, angles and heights.
//!
//! *Why*: an independent look at the stated bounds. *Limit*: the 95 % bound of the difference, from both covariances; a warning
//! outside it, which says whether chance could have done it ([`super::verdict`]). *Example*: `use = check` on a second RTK position of A3.

use super::survey::Survey;
use super::verdict::{Of, verdict};
use crate::findings::{Code, Finding};
use crate::math::stats::NORMAL_95;
use crate::observe::Problem;
use crate::position::check::{CheckShot, checks, lonely};
use crate::units::fixed;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let nothings = survey
        .observed
        .problems
        .iter()
        .filter_map(|problem| match problem {
            Problem::NothingToCompare { subject } => {
                let message = nothing(&subject.name);
                Some(survey.subject(Finding::new(Code::CheckShot, message), subject))
            }
            Problem::ExposureKeptOut { subject } => {
                let message = format!(
                    "The depth at which {} was exposed is compared, and its place is not: without `use = check` both are, and the exposed \
                     pipe stands.",
                    subject.name
                );
                Some(survey.subject(Finding::new(Code::CheckShot, message), subject))
            }
            _ => None,
        });
    let places = lonely(survey.adjusted, &survey.observed.observations);
    let places = places.iter().map(|(point, source)| {
        let finding = Finding::new(Code::CheckShot, nothing(&survey.called(*point)));
        survey.about(finding.at(source), *point)
    });
    let levels = survey.heights.lonely.iter().map(|(point, source)| {
        let message = nothing(&format!("The height of {point}"));
        Finding::new(Code::CheckShot, message)
            .at(source)
            .mark(point.as_str())
    });
    let plane = checks(survey.adjusted, &survey.observed.observations);
    let plane: Vec<Finding> = plane.iter().map(|shot| in_plane(survey, shot)).collect();
    let heights = survey.heights.checks.iter().map(|check| {
        let bound = NORMAL_95 * check.sigma;
        let compared = Compared {
            what: &format!("height of {}", check.point),
            of: Of::Figure,
            figures: (check.difference, bound),
        };
        let found = survey.length(check.difference);
        let finding = compared
            .finding(survey, &found, |metres| survey.rough(metres))
            .mark(check.point.as_str())
            .at(&check.source);
        finding.figures(
            survey.unit.of(check.difference),
            Some(survey.unit.of(bound)),
        )
    });
    nothings
        .chain(places)
        .chain(levels)
        .chain(plane)
        .chain(heights)
        .collect()
}

fn nothing(what: &str) -> String {
    format!("{what} is kept out with `use = check`, but there is nothing to compare it with.")
}

/// A measurement that was kept out.
struct Compared<'a> {
    what: &'a str,
    of: Of,
    /// Difference and bound, in metres or radians.
    figures: (f64, f64),
}

impl Compared<'_> {
    fn finding(&self, survey: &Survey<'_>, found: &str, say: impl Fn(f64) -> String) -> Finding {
        let (level, words) = verdict(
            self.of,
            self.figures,
            survey.job.limits.alarm,
            say,
            "Look for a gross error in either, or for sigmas that are too small.",
        );
        let what = self.what;
        let message =
            format!("Check of the {what}: it differs from the result by {found}, {words}");
        Finding::new(Code::CheckShot, message).level(level)
    }
}

fn in_plane(survey: &Survey<'_>, shot: &CheckShot) -> Finding {
    let measured = survey.observed.observations.checks.get(shot.observation);
    let (of, what) = match measured.filter(|_| shot.what != "horizontal") {
        None => (Of::Place, format!("place of {}", survey.called(shot.point))),
        Some(measured) => (Of::Figure, survey.describe(measured)),
    };
    let compared = Compared {
        what: &what,
        of,
        figures: (shot.difference, shot.bound),
    };
    let finding = if shot.angular {
        let degrees = |radians: f64| format!("{}°", fixed(radians.to_degrees(), 3));
        compared
            .finding(survey, &degrees(shot.difference), degrees)
            .figures(shot.difference.to_degrees(), Some(shot.bound.to_degrees()))
    } else {
        let found = survey.length(shot.difference);
        compared
            .finding(survey, &found, |metres| survey.rough(metres))
            .figures(
                survey.unit.of(shot.difference),
                Some(survey.unit.of(shot.bound)),
            )
    };
    survey.about(finding.at(&shot.source), shot.point)
}
