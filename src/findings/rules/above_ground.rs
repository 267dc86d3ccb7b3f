//! `above-ground`: the computed pipe lies above the ground.
//!
//! *Why*: a depth is wrong, or `lift` is larger than the reading. *Limit*: a reading to the transmitter's axis, or
//! a measured depth of an exposed invert, of zero or less. *Example*: reading 0.4 ft, lift 0.5 ft.

use super::pipe::Pipe;
use crate::findings::{Code, Finding};

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    pipe.seen()
        .filter_map(|seen| {
            let read = seen.sensed.readings.map(|readings| readings.depth);
            let depths = read.into_iter().chain(seen.invert_depth);
            let depth = depths.min_by(f64::total_cmp)?;
            (depth <= 0.0).then(|| {
                let message = format!(
                    "The pipe at {} comes out {} above the ground. Check the reading, and `lift`, which is subtracted from it.",
                    seen.called(),
                    pipe.length(-depth),
                );
                let finding = pipe
                    .of_mark(Code::AboveGround, &seen, message)
                    .column("depth_1")
                    .column("lift")
                    .column("invert_depth");
                pipe.figures(finding, depth, Some(0.0))
            })
        })
        .collect()
}
