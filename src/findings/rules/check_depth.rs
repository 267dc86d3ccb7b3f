//! `check-shot` of depths: readings kept out and compared.
//!
//! *Why*: an independent look at the stated depth bounds. *Limit*: the 95 % bound of the difference; a warning outside it, which says
//! whether chance could have done it ([`super::verdict`]). *Example*: `use = check` on a second reading of A3.

use super::pipe::Pipe;
use super::verdict::{Of, verdict};
use crate::findings::{Code, Finding};
use crate::run::compare::depth_checks;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    depth_checks(pipe.inputs, pipe.traced)
        .iter()
        .map(|check| {
            let (level, words) = verdict(
                Of::Figure,
                (check.difference, check.bound),
                pipe.inputs.job.limits.alarm,
                |metres| pipe.length(metres),
                "Read it a third time, and look for metal or a slip in the unit.",
            );
            let message = format!(
                "Check of the depth of {}: it differs from the result by {}, {words}",
                check.name,
                pipe.length(check.difference),
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
