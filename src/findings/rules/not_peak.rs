//! `not-peak`: the signal beside the mark exceeds that at it, and the tilt does not explain it.
//!
//! *Why*: the mark may stand over something else that carries the signal. *Limit*: a signal to the left or right that is stronger by
//! more than 3.29 of the one-sigma of two readings ([`tilt::SIGNAL_FRACTION`]: 15 %); ahead or behind beyond half the depth,
//! since a tilt of a few degrees already moves the strongest total field a quarter of the depth along the pipe ([`crate::sources::Source::Griffiths`]), and
//! there beyond what the tilt that is known or expected there makes of it, within 3.29 of its one-sigma. End points stronger than a crossline mark are `tilted`. A mark that was
//! found by its peak: one so much stronger, wherever it was read. A peak
//! marked beside the crossline: off the pipe's line, or farther along it than the tilt (any tilt, where none is known) explains, by
//! more than 3.29 of its one-sigma. *Example*: 61 at the mark, 74 to its left.

use std::collections::HashMap;

use super::pipe::{Pipe, Seen};
use crate::findings::{Code, Finding};
use crate::job::model::FoundBy;
use crate::run::{Beside, Located};
use crate::transmitter::{Tilt, TiltFrom, dipole, tilt};

/// Steps shorter than this part of the depth can be explained by a tilt.
const EXPLAINED: f64 = 0.5;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let with_signals = pipe
        .located()
        .filter(|(.., seen)| seen.row.signals.is_some());
    let tilts: HashMap<&str, (Tilt, f64)> = with_signals
        .filter_map(|(_, located, seen)| {
            let depth = located
                .depth
                .map(|depth| depth.value)
                .or(seen.sensed.rough_depth())?;
            let sensing = depth + pipe.inputs.job.equipment.sensor_height;
            Some((&*seen.points.name, (located.shift?.tilt, sensing)))
        })
        .collect();
    let signals = pipe.seen().filter_map(|seen| {
        let tilt = tilts.get(&*seen.points.name);
        finding(pipe, &seen, tilt)
    });
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

/// How many times as strong as at a crossline mark a transmitter's field may be a step ahead and behind: the most that any tilt within an
/// alarm's bound of what is known or expected makes it; 1 where that is less.
fn by_tilt((tilt, sensing): &(Tilt, f64), step: f64, alarm: f64) -> [f64; 2] {
    if *sensing <= 0.0 || tilt.from == TiltFrom::Vertical {
        return [1.0; 2];
    }
    let reach = alarm * tilt.sigma;
    let tried = (-4..=4).map(|part| tilt.angle + reach * f64::from(part) / 4.0);
    let tried = tried.filter(|angle| angle.abs() < tilt::RANGE);
    tried.fold([1.0; 2], |most, angle| {
        let at = dipole::crossline(angle);
        let here = dipole::strength(at, 0.0, angle);
        let there =
            [1.0, -1.0].map(|way| dipole::strength(at + way * step / sensing, 0.0, angle) / here);
        [most[0].max(there[0]), most[1].max(there[1])]
    })
}

fn finding(pipe: &Pipe<'_>, seen: &Seen<'_>, tilt: Option<&(Tilt, f64)>) -> Option<Finding> {
    let signals = seen.row.signals.as_deref()?;
    let at = signals.at?;
    // A display that counts in steps of a ratio may well stand below 0.
    let most = at + at.abs() * stronger_by_chance(pipe.inputs.job.limits.alarm);
    let depth = seen.sensed.rough_depth();
    // No tilt makes the field stronger anywhere than at its own peak.
    let along = seen.row.found_by == FoundBy::Peak
        || seen.sensed.ends.is_none()
            && !matches!((signals.step, depth), (Some(step), Some(depth)) if step <= EXPLAINED * depth);
    let crossline = seen.row.found_by == FoundBy::Crossline;
    let known = tilt.zip(signals.step).filter(|_| crossline);
    let by_tilt = known.map_or([1.0; 2], |(tilt, step)| {
        by_tilt(tilt, step, pipe.inputs.job.limits.alarm)
    });
    // A display that is not in proportion to the field tells no more than which is stronger.
    let linear = pipe.inputs.job.equipment.signal_is_linear;
    let [ahead, behind] = by_tilt.map(|times| match (times > 1.0, linear) {
        (false, _) => most,
        (true, true) => most * times,
        (true, false) => f64::INFINITY,
    });
    let sides = [
        ("to its left", "signal_left", signals.left, (true, most)),
        ("to its right", "signal_right", signals.right, (true, most)),
        ("ahead of it", "signal_ahead", signals.ahead, (along, ahead)),
        (
            "behind it",
            "signal_behind",
            signals.behind,
            (along, behind),
        ),
    ];
    let stronger = sides
        .into_iter()
        .filter(|(.., (counts, _))| *counts)
        .filter_map(|(side, column, signal, (_, most))| {
            Some((side, column, signal.filter(|signal| *signal > most)?, most))
        });
    let (side, column, signal, most) = stronger.max_by(|a, b| a.2.total_cmp(&b.2))?;
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
