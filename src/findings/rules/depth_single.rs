//! `depth-single`: one depth reading, nothing to confirm it.
//!
//! *Why*: a single reading hides a disturbed field. *Limit*: none; any mark whose only reading stands alone. *Example*:
//! `depth_1` filled, the others blank.

use super::pipe::Pipe;
use crate::findings::{Code, Finding};
use crate::transmitter::Accepted;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    pipe.seen()
        .filter_map(|seen| {
            let readings = seen.sensed.readings?;
            (readings.accepted == Accepted::Single).then(|| {
                let message = format!(
                    "{} has one depth reading ({}) and nothing to confirm it. Turn the receiver half round and read again.",
                    seen.called(),
                    pipe.length(readings.depth),
                );
                let finding = pipe.of_mark(Code::DepthSingle, &seen, message).column("depth_1");
                pipe.figures(finding, readings.depth, None)
            })
        })
        .collect()
}
