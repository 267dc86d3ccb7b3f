//! `exposure`: a mark located and later exposed.
//!
//! *Why*: the plainest test of the stated bounds. *Limit*: the 95 % bound of the difference from both covariances. A note
//! inside, a warning outside. *Example*: invert predicted at 4.10 ± 0.40 ft, found at 4.25 ft.

use super::pipe::Pipe;
use crate::findings::{Code, Finding, Level};
use crate::run::compare::{Comparison, exposures};

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    exposures(pipe.inputs, pipe.traced)
        .iter()
        .map(|comparison| finding(pipe, comparison))
        .collect()
}

fn finding(pipe: &Pipe<'_>, comparison: &Comparison) -> Finding {
    let (level, words, way_out) = if comparison.inside() {
        (Level::Note, "inside", "")
    } else {
        (
            Level::Warning,
            "outside",
            " Look for metal nearby, and treat the bounds of the other marks with care.",
        )
    };
    let message = format!(
        "{} was exposed: its {} differs from what the surface said by {}, {words} the 95 % bound of {}.{way_out}",
        comparison.name,
        comparison.what.word(),
        pipe.length(comparison.difference),
        pipe.length(comparison.bound),
    );
    let finding = Finding::new(Code::Exposure, message)
        .level(level)
        .at(&comparison.source)
        .run(pipe.run_name(comparison.run))
        .mark(&*comparison.name);
    pipe.figures(finding, comparison.difference, Some(comparison.bound))
}
