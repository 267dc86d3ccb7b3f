//! `off-line`: the mark lies off the line between its end points.
//!
//! *Why*: over a straight transmitter the three spots lie in line; one of them is misplaced, or the field is bent. *Limit*:
//! 3.29 of its one-sigma ([`crate::sources::Source::Baarda1968`]). *Example*: ends located as points, the mark 1.5 ft to one
//! side.

use super::pipe::Pipe;
use crate::findings::{Code, Finding};

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    pipe.seen()
        .filter_map(|seen| {
            let (off, sigma) = seen.sensed.ends.as_ref()?.off_line?;
            let bound = pipe.inputs.job.limits.alarm * sigma;
            (off.abs() > bound).then(|| {
                let side = if off > 0.0 { "right" } else { "left" };
                let message = format!(
                    "{} lies {} to the {side} of the line between its end points, more than the {} that is allowed. One of the \
                     three is misplaced, or metal bends the field: find them again.",
                    seen.called(),
                    pipe.length(off.abs()),
                    pipe.length(bound),
                );
                let finding = pipe.of_mark(Code::OffLine, &seen, message);
                pipe.figures(finding, off, Some(bound))
            })
        })
        .collect()
}
