//! `not-peak`: the signal beside the mark exceeds that at it, and the tilt does not explain it.
//!
//! *Why*: the mark may stand over something else that carries the signal. *Limit*: any stronger signal to the left or right; ahead
//! or behind beyond half the depth, since a tilt of a few degrees already moves the strongest total field a quarter of the depth
//! along the pipe ([`crate::sources::Source::Griffiths`]). End points stronger than the mark are `tilted`. *Example*: 61 at
//! the mark, 64 to its left.

use super::pipe::{Pipe, Seen};
use crate::findings::{Code, Finding};

/// Steps shorter than this part of the depth can be explained by a tilt.
const EXPLAINED: f64 = 0.5;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    pipe.seen()
        .filter_map(|seen| finding(pipe, &seen))
        .collect()
}

fn finding(pipe: &Pipe<'_>, seen: &Seen<'_>) -> Option<Finding> {
    let signals = seen.row.signals.as_deref()?;
    let at = signals.at?;
    let depth = seen.sensed.rough_depth();
    let along = seen.sensed.ends.is_none()
        && !matches!((signals.step, depth), (Some(step), Some(depth)) if step <= EXPLAINED * depth);
    let sides = [
        ("left", "signal_left", signals.left, true),
        ("right", "signal_right", signals.right, true),
        ("ahead", "signal_ahead", signals.ahead, along),
        ("behind", "signal_behind", signals.behind, along),
    ];
    let stronger = sides
        .into_iter()
        .filter(|(_, _, _, counts)| *counts)
        .filter_map(|(side, column, signal, _)| {
            Some((side, column, signal.filter(|signal| *signal > at)?))
        });
    let (side, column, signal) = stronger.max_by(|a, b| a.2.total_cmp(&b.2))?;
    let message = format!(
        "At {} the signal is {at}, but {signal} to its {side}: the mark is not where the signal is strongest. Find the spot \
         again; if it stays so, something nearby carries the signal.",
        seen.called()
    );
    Some(
        pipe.of_mark(Code::NotPeak, seen, message)
            .column(column)
            .figures(signal, Some(at)),
    )
}
