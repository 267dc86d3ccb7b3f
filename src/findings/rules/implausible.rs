//! `implausible`: a depth beyond the limit, or that the end points exclude and another unit would explain.
//!
//! *Why*: inches read as feet and metres as feet are the classic slips. *Limit*: `max_depth`; against the end points 3.29 of
//! the difference's one-sigma ([`crate::sources::Source::Baarda1968`]). *Example*: 38 in a feet job, over end points 4.5 ft
//! apart: inches would fit.

use super::pipe::{Pipe, Seen};
use crate::findings::{Code, Finding};
use crate::run::Located;
use crate::units::{FOOT, INCH};

/// What a figure would be if it had been typed in another unit: the unit's name, metres in one.
const UNITS: [(&str, f64); 5] = [
    ("inches", INCH),
    ("feet", FOOT),
    ("metres", 1.0),
    ("centimetres", 0.01),
    ("millimetres", 0.001),
];

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    pipe.located()
        .filter_map(|(_, located, seen)| {
            excluded(pipe, located, &seen).or_else(|| too_deep(pipe, located, &seen))
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
    let unit = explains(pipe, readings.depth, |depth| {
        (depth - by_ends).abs() <= allowed(depth.abs())
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
    let hint = hint.map_or_else(
        || "Check the figure and its unit.".to_owned(),
        |unit| format!("Was it {unit}?"),
    );
    let message = format!(
        "The depth of {} {how} {}, beyond the limit of {}. {hint} If it is right, raise `max_depth` in [limits].",
        seen.called(),
        pipe.length(depth),
        pipe.length(limit),
    );
    let finding = pipe
        .of_mark(Code::Implausible, seen, message)
        .column(column);
    Some(pipe.figures(finding, depth, Some(limit)))
}
