//! `tilted`: the transmitter lies tilted, and not just as the pipe slopes.
//!
//! *Why*: the mark was moved for it, and a tilted transmitter hints at a joint, a fitting or a fall. *Limit*: the operator says
//! so; or a tilt known at the mark differs from the run's slope by more than 3.29 of its one-sigma; or an end point's signal
//! exceeds that of a crossline mark, which by the field sets in at about 11° ([`crate::sources::Source::CommonPractice`]). *Example*:
//! `tilt = 15` on a run of 2 %.

use super::pipe::{Pipe, Seen};
use crate::findings::{Code, Finding};
use crate::job::model::{Attitude, FoundBy, Stream};
use crate::run::{Located, Traced};
use crate::transmitter::TiltFrom;
use crate::units::fixed;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    pipe.located()
        .filter_map(|(traced, located, seen)| finding(pipe, traced, located, &seen))
        .collect()
}

/// The run's slope in the push direction as a tilt, radians, lens end up positive.
fn slope(pipe: &Pipe<'_>, traced: &Traced, located: &Located) -> f64 {
    let line = pipe
        .profiles
        .get(traced.run)
        .and_then(|profile| profile.line.as_ref());
    let down = line.map_or(0.0, |line| -line.grade.atan());
    match located.pushed {
        Stream::Down => down,
        Stream::Up => -down,
    }
}

/// An end point gives a stronger signal than the mark, which stands on the crossline: at a peak nothing but a misplaced mark does
/// that.
pub(super) fn stronger_end(seen: &Seen<'_>) -> bool {
    let Some(signals) = seen.row.signals.as_deref() else {
        return false;
    };
    let ends = seen.sensed.ends.is_some();
    let beside = [signals.ahead, signals.behind].into_iter().flatten();
    let crossline = seen.row.found_by == FoundBy::Crossline;
    ends && crossline
        && signals
            .at
            .is_some_and(|at| beside.into_iter().any(|signal| signal > at))
}

fn finding(
    pipe: &Pipe<'_>,
    traced: &Traced,
    located: &Located,
    seen: &Seen<'_>,
) -> Option<Finding> {
    let shift = located.shift?;
    let beyond = shift.tilt.angle - slope(pipe, traced, located);
    let known = shift.tilt.from != TiltFrom::Slope;
    let seen_so = seen.row.attitude != Attitude::Level;
    let computed = known && beyond.abs() > pipe.inputs.job.limits.alarm * shift.tilt.sigma;
    if !(seen_so || computed || stronger_end(seen)) {
        return None;
    }
    let what = if known {
        let moved = pipe.length(shift.along.abs());
        let moved = if moved == pipe.length(0.0) {
            "its mark needed no move for it".to_owned()
        } else {
            format!("its mark was moved {moved} along the pipe for it")
        };
        format!(
            "lies tilted by {}° (lens end up positive; from: {}); {moved}",
            fixed(shift.tilt.angle.to_degrees(), 0),
            shift.tilt.from.word(),
        )
    } else {
        "lies tilted, by how much is not known: its mark was moved for the pipe's own slope only. The tilt itself, or linear \
         signals at the mark and both end points, would say more"
            .to_owned()
    };
    let message = format!("The transmitter at {} {what}.", seen.called());
    let finding = pipe.of_mark(Code::Tilted, seen, message);
    Some(match known {
        true => finding.figures(shift.tilt.angle.to_degrees(), None),
        false => finding,
    })
}
