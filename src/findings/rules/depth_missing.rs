//! `depth-missing`: no accepted depth here.
//!
//! *Why*: the invert is interpolated between neighbours, or absent at the run's ends. *Limit*: none. *Example*: a mark with a
//! place and no readings.

use super::pipe::Pipe;
use crate::findings::{Code, Finding};

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    pipe.located()
        .filter(|(_, located, _)| located.depth.is_none())
        .map(|(_, _, seen)| {
            let message = format!(
                "{} has no depth: its invert is taken from the line between its neighbours, or left out. Take a pair of depth \
                 readings there, or both end points.",
                seen.called()
            );
            pipe.of_mark(Code::DepthMissing, &seen, message)
        })
        .collect()
}
