//! `one-end`: only one end point was found.
//!
//! *Why*: a lone end point is a sign of a severely tilted transmitter ([`crate::sources::Source::CommonPractice`]). *Limit*:
//! none. *Example*: `end_ahead` filled, `end_behind` blank.

use super::pipe::Pipe;
use crate::findings::{Code, Finding};
use crate::job::model::Attitude;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    pipe.seen()
        .filter_map(|seen| {
            let ends = seen.sensed.ends.as_ref()?;
            // One that was located and has no place was found all the same.
            let located = seen.points.ahead.is_some() && seen.points.behind.is_some();
            let one = ends.one_only() && !located;
            (one && seen.row.attitude != Attitude::Vertical).then(|| {
                let (found, other) = if ends.ahead.is_some() {
                    ("ahead", "behind")
                } else {
                    ("behind", "ahead")
                };
                let message = format!(
                    "Only the end point {found} of {} was found. Look for the one {other}; if there is none, the transmitter is \
                     severely tilted: say `attitude = tilted` or `vertical`, and read the depth by hand at the strongest signal.",
                    seen.called()
                );
                pipe.of_mark(Code::OneEnd, &seen, message)
                    .column(format!("end_{other}"))
            })
        })
        .collect()
}
