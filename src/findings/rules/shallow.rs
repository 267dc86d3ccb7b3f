//! `shallow`: cover under the limit given in the job.
//!
//! *Why*: frost, wheels and spades. *Limit*: `min_cover`; none unless given. *Example*: cover 1.6 ft, limit 2 ft.

use super::pipe::Pipe;
use crate::findings::{Code, Finding};

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let limit = pipe.inputs.job.limits.min_cover;
    pipe.located()
        .filter_map(|(traced, located, seen)| {
            let cover = pipe.inputs.cover(traced.run, located.depth?.value)?;
            (cover < limit).then(|| {
                let message = format!(
                    "At {} the cover over the pipe is {}, under the limit of {}. Say so to whoever digs or drives there.",
                    seen.called(),
                    pipe.length(cover),
                    pipe.length(limit),
                );
                let finding = pipe.of_mark(Code::Shallow, &seen, message);
                pipe.figures(finding, cover, Some(limit))
            })
        })
        .collect()
}
