//! `implausible`: a depth beyond the limit, that the end points exclude and another unit would explain, or far from those on both sides.
//!
//! *Why*: inches read as feet and metres as feet are the classic slips. *Limit*: `max_depth`; against the end points 3.29 of
//! the difference's one-sigma ([`crate::sources::Source::Baarda1968`]); where the ground's heights don't tell how the pipe goes, a depth beyond
//! both neighbours' by as much and by more than pipe and ground do on the way to the nearer one: [`ODD`] where another unit
//! explains it, else [`STEEP`]. *Example*: 38 in a feet job, over end points 4.5 ft apart: inches would fit.

use super::called;
use super::pipe::{Pipe, Seen};
use crate::findings::{Code, Finding};
use crate::run::Located;
use crate::transmitter::Basis;
use crate::units::{FOOT, INCH, just};

/// What a figure would be if it had been typed in another unit: the unit's name, metres in one.
const UNITS: [(&str, f64); 5] = [
    ("inches", INCH),
    ("feet", FOOT),
    ("metres", 1.0),
    ("centimetres", 0.01),
    ("millimetres", 0.001),
];

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let mut beside: Vec<Option<[&Located; 2]>> = vec![None; pipe.sensed.len()];
    for marks in pipe.traced.iter().map(|traced| &traced.marks) {
        for three in marks.windows(3) {
            if let [before, here, after] = three
                && let Some(slot) = beside.get_mut(here.mark)
            {
                *slot = Some([before, after]);
            }
        }
    }
    let beside = |located: &Located| beside.get(located.mark).copied().flatten();
    pipe.located()
        .filter_map(|(_, located, seen)| {
            excluded(pipe, located, &seen)
                .or_else(|| too_deep(pipe, located, &seen))
                .or_else(|| far_from(pipe, located, &seen, beside(located)?))
        })
        .collect()
}

/// The units in which the typed figure would fit; the job's own is no explanation.
fn explains(pipe: &Pipe<'_>, typed: f64, fits: impl Fn(f64) -> bool) -> Option<String> {
    let own = pipe.inputs.job.grid.unit.metres();
    let figure = typed / own;
    let others = UNITS
        .into_iter()
        .filter(|(_, metres)| (metres / own - 1.0).abs() > 0.01);
    let fit: Vec<&str> = others
        .filter(|(_, metres)| fits(figure * metres))
        .map(|(name, _)| name)
        .collect();
    (!fit.is_empty()).then(|| fit.join(" or "))
}

/// The readings differ from the end points' depth in a way that another unit explains. `None` too where nothing does: that is
/// `ends-disagree`.
pub(super) fn excluded(pipe: &Pipe<'_>, located: &Located, seen: &Seen<'_>) -> Option<Finding> {
    let readings = seen.sensed.readings?;
    let (by_ends, sigma) = located.ends_depth?;
    let accuracy = &pipe.inputs.job.accuracy;
    let allowed = |depth: f64| {
        let reading = accuracy
            .depth
            .hypot((accuracy.depth_fraction).hypot(accuracy.depth_common) * depth);
        pipe.inputs.job.limits.alarm * sigma.hypot(reading)
    };
    if (readings.depth - by_ends).abs() <= allowed(by_ends) {
        return None;
    }
    // Ends that give no depth to speak of are wrong themselves: any small unit would fit them.
    let unit = explains(pipe, readings.depth, |depth| {
        by_ends > allowed(by_ends) && (depth - by_ends).abs() <= allowed(depth.abs())
    })?;
    let message = format!(
        "The depth of {} reads {}, but its end points say {}. Read as {unit} the figure would fit: was the unit left out?",
        seen.called(),
        pipe.length(readings.depth),
        pipe.length(by_ends),
    );
    let finding = pipe
        .of_mark(Code::Implausible, seen, message)
        .column("depth_1");
    Some(pipe.figures(finding, readings.depth, Some(by_ends)))
}

/// A depth over its limit by no more than this factor is no slip of a unit: our choice.
const BARELY: f64 = 1.1;

fn too_deep(pipe: &Pipe<'_>, located: &Located, seen: &Seen<'_>) -> Option<Finding> {
    let limit = pipe.inputs.job.limits.max_depth;
    let read = seen.sensed.readings.map(|readings| readings.depth);
    let by_ends = located.ends_depth.map(|(depth, _)| depth);
    let depths = [
        ("depth_1", "is read as", read),
        ("end_ahead", "comes from its end points as", by_ends),
        ("invert_depth", "was measured as", seen.invert_depth),
    ];
    let beyond = |(column, how, depth): (_, _, Option<f64>)| {
        Some((column, how, depth.filter(|depth| *depth > limit)?))
    };
    let (column, how, depth) = depths.into_iter().find_map(beyond)?;
    // Shallower than a spade is deep, and the other unit explains nothing.
    let hint = explains(pipe, depth, |other| {
        depth > BARELY * limit && (0.2..limit).contains(&other)
    });
    let (has, limited) = (pipe.length(depth), pipe.length(limit));
    let hint = hint.map_or_else(
        || "Check the figure and its unit.".to_owned(),
        |unit| format!("Was it {unit}?"),
    );
    let message = format!(
        "The depth of {} {how} {has}, {}beyond the limit of {limited}. {hint} If it is right, raise `max_depth` in [limits].",
        seen.called(),
        just(&has, &limited),
    );
    let finding = pipe
        .of_mark(Code::Implausible, seen, message)
        .column(column);
    Some(pipe.figures(finding, depth, Some(limit)))
}

/// What pipe and ground may do on the way from one mark to the next: a bank of one in one. Our choice.
const STEEP: f64 = 1.0;
/// The same where another unit explains it, with which it would lie among them: one in five. Our choice.
const ODD: f64 = 0.2;

/// A depth that is read far beyond those of both neighbours, where heights of the ground don't tell how the pipe goes.
fn far_from(
    pipe: &Pipe<'_>,
    located: &Located,
    seen: &Seen<'_>,
    beside: [&Located; 2],
) -> Option<Finding> {
    let read = seen.sensed.readings?.depth;
    let own = located.depth.filter(|own| own.basis == Basis::Readings)?;
    let [before, after] = [beside[0].depth?, beside[1].depth?];
    let grounds = [located, beside[0], beside[1]].map(|mark| mark.ground);
    if grounds.iter().all(Option::is_some) {
        return None;
    }
    let off = beside.map(|other| (other.e - located.e).hypot(other.n - located.n));
    let beside_it = before.variance().max(after.variance());
    let beyond = |depth: f64, own: f64, slope: f64| {
        let noise = pipe.inputs.job.limits.alarm * (own + beside_it).sqrt();
        let (low, high) = (before.value.min(after.value), before.value.max(after.value));
        (depth - high).max(low - depth) > noise + slope * off[0].min(off[1])
    };
    if !beyond(read, own.variance(), ODD) {
        return None;
    }
    // In the right unit it was read about as well as those beside it.
    let hint = explains(pipe, read, |other| !beyond(other, beside_it, 0.0));
    let hint =
        hint.map(|unit| format!("Read as {unit} the figure would fit: was the unit left out?"));
    let shifted = || {
        [10.0, 0.1]
            .into_iter()
            .any(|times| !beyond(times * read, beside_it, 0.0))
    };
    let point = "With its decimal point one place off the figure would fit: check it.";
    let hint = hint.or_else(|| shifted().then(|| point.to_owned()));
    if hint.is_none() && !beyond(read, own.variance(), STEEP) {
        return None;
    }
    let hint = hint.unwrap_or_else(|| {
        "Check the figure and its unit; if it is right, heights of the ground here and there would show it.".to_owned()
    });
    let [one, other] = beside.map(|mark| called(pipe.inputs.mark_name(mark.mark)));
    let message = format!(
        "The depth of {} reads {}, but it is {} at {} and {} at {}, {} and {} off. {hint}",
        seen.called(),
        pipe.length(read),
        pipe.length(before.value),
        one,
        pipe.length(after.value),
        other,
        pipe.length(off[0]),
        pipe.length(off[1]),
    );
    let finding = pipe
        .of_mark(Code::Implausible, seen, message)
        .column("depth_1");
    Some(pipe.figures(finding, read, Some(before.value)))
}
