//! `not-peak`: the signal beside the mark exceeds that at it, and the tilt does not explain it.
//!
//! *Why*: the mark may stand over something else that carries the signal. *Limit*: a signal to the left or right that is stronger by
//! more than 3.29 of the one-sigma of two readings ([`tilt::SIGNAL_FRACTION`]: 15 %); ahead or behind beyond half the depth,
//! since a tilt of a few degrees already moves the strongest total field a quarter of the depth along the pipe ([`crate::sources::Source::Griffiths`]). End points stronger than a crossline mark are `tilted`. A mark that was
//! found by its peak: one so much stronger, wherever it was read. A peak
//! marked beside the crossline: off the pipe's line, or farther along it than the tilt (any tilt, where none is known) explains, by
//! more than 3.29 of its one-sigma. *Example*: 61 at the mark, 74 to its left.

use super::pipe::{Pipe, Seen};
use crate::findings::{Code, Finding};
use crate::job::model::FoundBy;
use crate::run::{Beside, Located};
use crate::transmitter::{Tilt, TiltFrom, tilt};

/// Steps shorter than this part of the depth can be explained by a tilt.
const EXPLAINED: f64 = 0.5;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let signals = pipe.seen().filter_map(|seen| finding(pipe, &seen));
    let peaks = pipe
        .located()
        .filter_map(|(_, located, seen)| beside(pipe, located, &seen));
    signals.chain(peaks).collect()
}

/// A peak where no tilt puts it.
fn beside(pipe: &Pipe<'_>, located: &Located, seen: &Seen<'_>) -> Option<Finding> {
    let (peak, tilt) = (located.peak.as_ref()?, located.shift?.tilt);
    let alarm = pipe.inputs.job.limits.alarm;
    let (off, limit, where_to) = astray(peak, &tilt, alarm)?;
    let message = format!(
        "The strongest signal of {} was marked {} {where_to} its crossline, where {} at most is explained. Find both spots \
         again; if it stays so, something nearby carries the signal.",
        seen.called(),
        pipe.length(off),
        pipe.length(limit),
    );
    let finding = pipe.of_mark(Code::NotPeak, seen, message);
    let row = pipe.inputs.job.marks.get(peak.row)?;
    Some(pipe.figures(finding.at(&row.source), off, Some(limit)))
}

/// How far off the peak lies, how far off it may lie, and to which side; `None` where that is explained.
fn astray(peak: &Beside, tilt: &Tilt, alarm: f64) -> Option<(f64, f64, &'static str)> {
    let (across, sigma) = peak.across;
    if across.abs() > alarm * sigma {
        let side = if across > 0.0 {
            "to the right of"
        } else {
            "to the left of"
        };
        return Some((across.abs(), alarm * sigma, side));
    }
    let far = |angle| tilt::peak_distance(angle) * peak.sensing;
    let (middle, reach, doubt) = match tilt.from {
        TiltFrom::Given | TiltFrom::Signals => {
            let span = far(tilt.angle + tilt.sigma) - far(tilt.angle - tilt.sigma);
            (far(tilt.angle), 0.0, span / 2.0)
        }
        TiltFrom::Slope | TiltFrom::Peak => (0.0, far(tilt::RANGE), 0.0),
        TiltFrom::Vertical => return None,
    };
    let (along, sigma) = peak.along;
    let limit = reach + alarm * sigma.hypot(doubt);
    if (along - middle).abs() <= limit {
        return None;
    }
    let (limit, side) = if along > middle {
        (middle + limit, "ahead of")
    } else {
        (limit - middle, "behind")
    };
    Some((along.abs(), limit.max(0.0), side))
}

fn finding(pipe: &Pipe<'_>, seen: &Seen<'_>) -> Option<Finding> {
    let signals = seen.row.signals.as_deref()?;
    let at = signals.at?;
    // A display that counts in steps of a ratio may well stand below 0.
    let most = at + at.abs() * stronger_by_chance(pipe.inputs.job.limits.alarm);
    let depth = seen.sensed.rough_depth();
    // No tilt makes the field stronger anywhere than at its own peak.
    let along = seen.row.found_by == FoundBy::Peak
        || seen.sensed.ends.is_none()
            && !matches!((signals.step, depth), (Some(step), Some(depth)) if step <= EXPLAINED * depth);
    let sides = [
        ("to its left", "signal_left", signals.left, true),
        ("to its right", "signal_right", signals.right, true),
        ("ahead of it", "signal_ahead", signals.ahead, along),
        ("behind it", "signal_behind", signals.behind, along),
    ];
    let stronger = sides
        .into_iter()
        .filter(|(_, _, _, counts)| *counts)
        .filter_map(|(side, column, signal, _)| {
            Some((side, column, signal.filter(|signal| *signal > most)?))
        });
    let (side, column, signal) = stronger.max_by(|a, b| a.2.total_cmp(&b.2))?;
    let message = format!(
        "At {} the signal is {at}, but {signal} {side}: the mark is not where the signal is strongest. Find the spot \
         again; if it stays so, something nearby carries the signal.",
        seen.called()
    );
    Some(
        pipe.of_mark(Code::NotPeak, seen, message)
            .column(column)
            .figures(signal, Some(most)),
    )
}

/// How much stronger one of two readings of the same signal comes out by chance at most, part of the other.
fn stronger_by_chance(alarm: f64) -> f64 {
    (alarm * std::f64::consts::SQRT_2 * tilt::SIGNAL_FRACTION).exp_m1()
}
