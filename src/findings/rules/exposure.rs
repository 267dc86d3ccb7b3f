//! `exposure`: a mark located and later exposed.
//!
//! *Why*: the plainest test of the stated bounds. *Limit*: the 95 % bound of the difference from both covariances; a warning
//! outside it, which says whether chance could have done it ([`super::verdict`]). *Example*: invert predicted at 4.10 ± 0.40 ft, found at 4.25 ft.

use super::pipe::Pipe;
use super::verdict::{Of, verdict};
use crate::findings::{Code, Finding};
use crate::run::compare::{Compared, Comparison, exposures};

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    exposures(pipe.inputs, pipe.traced)
        .iter()
        .map(|comparison| finding(pipe, comparison))
        .collect()
}

fn finding(pipe: &Pipe<'_>, comparison: &Comparison) -> Finding {
    let of = match comparison.what {
        Compared::Place => Of::Place,
        Compared::Depth => Of::Figure,
    };
    let (level, words) = verdict(
        of,
        (comparison.difference, comparison.bound),
        pipe.inputs.job.limits.alarm,
        |metres| pipe.length(metres),
        "Look for metal nearby, and treat the bounds of the other marks with care.",
    );
    let message = format!(
        "{} was exposed: its {} differs from what the surface said by {}, {words}",
        super::called(&comparison.name),
        comparison.what.word(),
        pipe.length(comparison.difference),
    );
    let finding = Finding::new(Code::Exposure, message)
        .level(level)
        .at(&comparison.source)
        .run(pipe.run_name(comparison.run))
        .mark(&*comparison.name);
    pipe.figures(finding, comparison.difference, Some(comparison.bound))
}
