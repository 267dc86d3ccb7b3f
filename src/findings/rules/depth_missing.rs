//! `depth-missing`: no accepted depth here.
//!
//! *Why*: the invert is interpolated between neighbours, or absent at the run's ends. *Limit*: none. Not of a mark that another push
//! reached on the same spot, where a depth was read. *Example*: a mark with a place and no readings; a transmitter upright in a stack, whose
//! depth is not that of a pipe that lies there.

use std::cell::LazyCell;
use std::collections::HashSet;

use super::pipe::{Pipe, Seen};
use crate::findings::{Code, Finding};
use crate::job::model::Attitude;
use crate::observe::PointId;
use crate::transmitter::Depth;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let is_read = |depth: Option<Depth>| depth.is_some_and(|depth| depth.is_measured());
    let spot = |seen: &Seen<'_>| seen.points.centre.map(|(_, point)| point);
    // Most jobs have a depth at every mark.
    let read: LazyCell<HashSet<PointId>, _> = LazyCell::new(|| {
        let read = pipe.levels().filter(|(_, _, depth, _)| is_read(*depth));
        read.filter_map(|(_, seen, ..)| spot(&seen)).collect()
    });
    pipe.levels()
        .filter(|(_, seen, depth, _)| {
            !is_read(*depth) && spot(seen).is_none_or(|spot| !read.contains(&spot))
        })
        .map(|(_, seen, _, invert)| {
            if seen.row.attitude == Attitude::Vertical && seen.sensed.readings.is_some() {
                let message = format!(
                    "At {} the transmitter stood upright, in a stack: its depth is not that of a pipe that lies there, so no cover and no grade \
                     come from it. The stack may be met at any depth.",
                    seen.called()
                );
                return pipe.of_mark(Code::DepthMissing, &seen, message);
            }
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
