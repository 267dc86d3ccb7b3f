//! `above-ground`: the computed pipe lies above the ground, or its top does.
//!
//! *Why*: a depth is wrong, `lift` is larger than the reading, or the diameter is. *Limit*: a reading to the transmitter's axis,
//! a depth by end points, or a measured depth of an exposed invert, of zero or less; or a cover of less than zero by half a millimetre (less is
//! rounding, our choice). *Example*: reading 0.4 ft, lift 0.5 ft; a pipe of 150 mm read at 0.05 m.

use super::pipe::{Pipe, Seen};
use crate::findings::{Code, Finding};
use crate::run::{Located, Traced};
use crate::transmitter::Basis;

/// Cover nearer to zero than this is rounding, metres.
const ROUNDING: f64 = 0.0005;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let axes = pipe
        .seen()
        .filter_map(|seen| Some(axis(pipe, &seen, not_below(&seen)?)));
    let by_ends = pipe
        .located()
        .filter_map(|(_, located, seen)| Some(axis(pipe, &seen, of_ends(located)?)));
    let tops = pipe
        .located()
        .filter_map(|(traced, located, seen)| top(pipe, traced, located, &seen));
    axes.chain(by_ends).chain(tops).collect()
}

/// The least depth that was read or measured at a mark, where it is not below the ground.
fn not_below(seen: &Seen<'_>) -> Option<f64> {
    let read = seen.sensed.readings.map(|readings| readings.depth);
    let depths = read.into_iter().chain(seen.invert_depth);
    depths.min_by(f64::total_cmp).filter(|depth| *depth <= 0.0)
}

/// The depth that a mark's end points give for want of readings, where it is not below the ground.
fn of_ends(located: &Located) -> Option<f64> {
    let depth = located.depth.filter(|depth| depth.basis == Basis::Ends)?;
    Some(depth.value).filter(|depth| *depth <= 0.0)
}

/// The transmitter itself, or the exposed invert.
fn axis(pipe: &Pipe<'_>, seen: &Seen<'_>, depth: f64) -> Finding {
    let height = pipe.length(-depth);
    let how = if height == pipe.length(0.0) {
        "level with".to_owned()
    } else {
        format!("{height} above")
    };
    let message = format!(
        "The pipe at {} comes out {how} the ground. Check the reading, and `lift`, which is subtracted from it; or the end points, and `sensor_height`.",
        seen.called(),
    );
    let finding = pipe
        .of_mark(Code::AboveGround, seen, message)
        .column("depth_1")
        .column("lift")
        .column("invert_depth");
    pipe.figures(finding, depth, Some(0.0))
}

/// The top of the pipe, where its axis does lie below the ground.
fn top(pipe: &Pipe<'_>, traced: &Traced, located: &Located, seen: &Seen<'_>) -> Option<Finding> {
    let depth = located.depth?.value;
    let cover = pipe.inputs.cover(traced.run, depth)?;
    if cover >= -ROUNDING || depth <= 0.0 || not_below(seen).is_some() {
        return None;
    }
    let diameter = pipe.inputs.job.runs.get(traced.run)?.diameter?;
    let message = format!(
        "The top of the pipe at {} comes out {} above the ground: its axis lies {} deep, and its diameter is {}. Check the \
         depth and the diameter, and their units.",
        seen.called(),
        pipe.length(-cover),
        pipe.length(depth),
        pipe.length(diameter),
    );
    let finding = pipe
        .of_mark(Code::AboveGround, seen, message)
        .column("depth_1")
        .column("invert_depth");
    Some(pipe.figures(finding, cover, Some(0.0)))
}
