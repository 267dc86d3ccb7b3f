//! `check-shot` of depths: readings kept out and compared.
//!
//! *Why*: an independent look at the stated depth bounds. *Limit*: the 95 % bound of the difference. A note inside, a warning
//! outside. *Example*: `use = check` on a second reading of A3.

use super::pipe::Pipe;
use crate::findings::{Code, Finding, Level};
use crate::run::compare::depth_checks;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    depth_checks(pipe.inputs, pipe.traced)
        .iter()
        .map(|check| {
            let (level, words, way_out) = if check.inside() {
                (Level::Note, "inside", "")
            } else {
                (
                    Level::Warning,
                    "outside",
                    " Read it a third time, and look for metal or a slip in the unit.",
                )
            };
            let message = format!(
                "Check of the depth of {}: it differs from the result by {}, {words} the 95 % bound of {}.{way_out}",
                check.name,
                pipe.length(check.difference),
                pipe.length(check.bound),
            );
            let finding = Finding::new(Code::CheckShot, message)
                .level(level)
                .at(&check.source)
                .run(pipe.run_name(check.run))
                .mark(&*check.name);
            pipe.figures(finding, check.difference, Some(check.bound))
        })
        .collect()
}
