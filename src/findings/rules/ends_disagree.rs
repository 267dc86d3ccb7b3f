//! `ends-disagree`: depth by the end points differs from the readings.
//!
//! *Why*: the two are independent looks at one depth; both can't be right. *Limit*: 3.29 of the difference's one-sigma
//! ([`crate::sources::Source::Baarda1968`]). *Example*: readings 3.4 ft, end points 9 ft apart.

use super::pipe::Pipe;
use crate::findings::{Code, Finding};

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let (accuracy, limits) = (&pipe.inputs.job.accuracy, &pipe.inputs.job.limits);
    pipe.located()
        .filter_map(|(_, located, seen)| {
            let readings = seen.sensed.readings?;
            let (by_ends, sigma) = located.ends_depth?;
            let shared = accuracy.depth_common * readings.depth;
            let bound = limits.alarm * sigma.hypot(readings.sigma).hypot(shared);
            let difference = (readings.depth - by_ends).abs();
            if difference <= bound || super::implausible::excluded(pipe, located, &seen).is_some() {
                return None;
            }
            let message = format!(
                "The depth of {} reads {}, but its end points say {}: they differ by {}, more than the {} that is allowed. \
                 Find both end points again, and read the depth again; metal nearby moves both.",
                seen.called(),
                pipe.length(readings.depth),
                pipe.length(by_ends),
                pipe.length(difference),
                pipe.length(bound),
            );
            let finding = pipe
                .of_mark(Code::EndsDisagree, &seen, message)
                .column("end_ahead")
                .column("end_behind")
                .column("depth_1");
            Some(pipe.figures(finding, difference, Some(bound)))
        })
        .collect()
}
