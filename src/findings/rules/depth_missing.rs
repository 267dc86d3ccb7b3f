//! `depth-missing`: no accepted depth here.
//!
//! *Why*: the invert is interpolated between neighbours, or absent at the run's ends. *Limit*: none. *Example*: a mark with a
//! place and no readings.

use super::pipe::Pipe;
use crate::findings::{Code, Finding};

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    pipe.levels()
        .filter(|(_, _, depth, _)| depth.is_none_or(|depth| !depth.is_measured()))
        .map(|(_, seen, _, invert)| {
            let so = if invert.is_some() {
                "its invert is taken from the line between those beside it"
            } else {
                "its invert is not known"
            };
            let message = format!(
                "{} has no depth: {so}. Take a pair of depth readings there, or both end points.",
                seen.called()
            );
            pipe.of_mark(Code::DepthMissing, &seen, message)
        })
        .collect()
}
