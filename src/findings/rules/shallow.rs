//! `shallow`: cover under the limit given in the job.
//!
//! *Why*: frost, wheels and spades. Also where no depth was read, but the ground is known and lies low over the line between the
//! inverts beside it. *Limit*: `min_cover`; none unless given. *Example*: cover 1.6 ft, limit 2 ft.

use super::pipe::Pipe;
use crate::findings::{Code, Finding};
use crate::units::just;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let limit = pipe.inputs.job.limits.min_cover;
    pipe.levels()
        .filter_map(|(traced, seen, depth, _)| {
            let depth = depth?;
            let cover = pipe.inputs.cover(traced.run, depth.value)?;
            let how = if depth.is_measured() {
                ""
            } else {
                " by the ground there and the line between the inverts beside it"
            };
            (cover < limit).then(|| {
                let (has, limited) = (pipe.length(cover), pipe.length(limit));
                let message = format!(
                    "At {} the cover over the pipe is {has}{how}, {}under the limit of {limited}. Say so to whoever digs or drives there.",
                    seen.called(),
                    just(&has, &limited),
                );
                let finding = pipe.of_mark(Code::Shallow, &seen, message);
                pipe.figures(finding, cover, Some(limit))
            })
        })
        .collect()
}
