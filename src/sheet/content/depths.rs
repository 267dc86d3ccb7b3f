//! The depths that a digger asks for first: the shallowest place where the pipe could be met, and the deepest point.

use std::collections::BTreeMap;

use super::figures;
use crate::record::model::{AsBuilt, Mark, Run};
use crate::sheet::draw::plan::short_name;
use crate::units::counted;

/// Stretches that a sentence names; the tables have every mark.
const NAMED: usize = 6;
const NO_TOP: &str = "Shallowest: no depth of the top of the pipe is known.";

/// A depth and where it is.
#[derive(Clone, Debug, PartialEq)]
pub struct Extreme {
    /// Below the ground, result unit.
    pub depth: f64,
    /// `A4, run A, station 0+012.30`.
    pub place: String,
}

fn place(record: &AsBuilt, name: &str, run: &str, station: Option<f64>) -> String {
    let station =
        station.map(|s| format!(", station {}", figures::station(Some(s), record.frame.unit)));
    format!("{name}, run {run}{}", station.unwrap_or_default())
}

/// The least `cover_least` of all marks and camera observations.
#[must_use]
pub fn shallowest(record: &AsBuilt) -> Option<Extreme> {
    let marks = record
        .marks
        .iter()
        .filter_map(|m| Some((m.cover_least?, m.mark.as_str(), m.run.as_str(), m.station)));
    let camera = record
        .camera
        .iter()
        .filter_map(|c| Some((c.cover_least?, short_name(&c.id), c.run.as_str(), c.station)));
    let (depth, name, run, station) = marks.chain(camera).min_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(Extreme {
        depth,
        place: place(record, name, run, station),
    })
}

/// The greatest depth of the invert at a mark, its bound added, or of the axis where nothing tells how far beneath it the
/// invert lies (`true`).
fn deepest(record: &AsBuilt) -> Option<(Extreme, bool)> {
    let reach = |m: &Mark| {
        let axis = m.invert_depth.is_none();
        let depth = m.invert_depth.or(m.transmitter_depth)?;
        Some((depth + m.depth_95.unwrap_or(0.0), axis))
    };
    let marks = record.marks.iter().filter_map(|m| Some((reach(m)?, m)));
    let ((depth, axis), mark) = marks.max_by(|a, b| a.0.0.total_cmp(&b.0.0))?;
    let place = place(record, &mark.mark, &mark.run, mark.station);
    Some((Extreme { depth, place }, axis))
}

/// How much is known of the top of the pipe at a mark.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Known {
    Top,
    Axis,
    Nothing,
}

fn known(m: &Mark) -> Known {
    match (m.cover_least, m.transmitter_depth) {
        (Some(_), _) => Known::Top,
        (None, Some(_)) => Known::Axis,
        (None, None) => Known::Nothing,
    }
}

/// A stretch of a run along which the depth of the top of the pipe isn't known.
struct Stretch<'a> {
    /// `run A from 0+000.00 to 0+016.00`.
    place: String,
    /// Its marks, at all of which the axis' depth is known, or at none.
    marks: Vec<&'a Mark>,
    /// Whether that depth is known.
    axis: bool,
    run: &'a Run,
}

/// Every such stretch: from the mark before it, where the depth is known, to the one after it.
fn unknown(record: &AsBuilt) -> Vec<Stretch<'_>> {
    let mut of_run: BTreeMap<&str, Vec<&Mark>> = BTreeMap::new();
    for m in &record.marks {
        of_run.entry(&m.run).or_default().push(m);
    }
    let mut all = Vec::new();
    for run in &record.runs {
        let mut marks = of_run.remove(run.run.as_str()).unwrap_or_default();
        marks.sort_by(|a, b| {
            let station = |m: &Mark| m.station.unwrap_or(f64::INFINITY);
            station(a).total_cmp(&station(b))
        });
        let mut at = 0;
        for group in marks.chunk_by(|a, b| known(a) == known(b)) {
            let (first, next) = (at, at + group.len());
            at = next;
            let Some(state) = group.first().map(|m| known(m)).filter(|k| *k != Known::Top) else {
                continue;
            };
            let before = first.checked_sub(1).and_then(|i| marks.get(i));
            all.push(Stretch {
                place: stretch(record, run, before, marks.get(next)),
                marks: group.to_vec(),
                axis: state == Known::Axis,
                run,
            });
        }
    }
    all
}

/// Where a stretch lies between two marks, or an end of the run.
fn stretch(record: &AsBuilt, run: &Run, before: Option<&&Mark>, after: Option<&&Mark>) -> String {
    if before.is_none() && after.is_none() {
        return format!("the whole of run {}", run.run);
    }
    let ends = || run.vertices.iter().map(|v| v.station);
    let from = before.map_or_else(|| ends().reduce(f64::min), |m| m.station);
    let to = after.map_or_else(|| ends().reduce(f64::max), |m| m.station);
    let text = |station| figures::station(station, record.frame.unit);
    format!("run {} from {} to {}", run.run, text(from), text(to))
}

/// The stretches in words, the first [`NAMED`] by name.
fn listed(stretches: &[&Stretch<'_>]) -> String {
    let mut words: Vec<&str> = stretches.iter().map(|s| s.place.as_str()).collect();
    let more = words.len().saturating_sub(NAMED);
    words.truncate(NAMED);
    let more = match more {
        0 => String::new(),
        _ => format!(" and along {} of the runs", counted(more, "more part")),
    };
    format!("{}{more}", words.join(", "))
}

/// The least depth of the axis along stretches where only the axis is known, its bound taken off.
fn shallowest_axis(record: &AsBuilt, stretches: &[&Stretch<'_>]) -> Option<Extreme> {
    let depth = |m: &Mark| Some(m.transmitter_depth? - m.depth_95.unwrap_or(0.0));
    let marks = stretches.iter().flat_map(|s| &s.marks);
    let depths = marks.filter_map(|m| Some((depth(m)?, m)));
    let (depth, m) = depths.min_by(|a, b| a.0.total_cmp(&b.0))?;
    let place = place(record, &m.mark, &m.run, m.station);
    Some(Extreme { depth, place })
}

/// What is said of such stretches: the top lies above the axis, nobody knows how far.
fn axis_alone(record: &AsBuilt, stretches: &[&Stretch<'_>]) -> Option<String> {
    let axis = shallowest_axis(record, stretches)?;
    let why = if stretches.iter().all(|s| s.run.diameter.is_none()) {
        " because no diameter is given"
    } else {
        ""
    };
    Some(format!(
        "Only the axis of the pipe is known along {}{why}: it could lie {}, and the top lies above it.",
        listed(stretches),
        below(record, &axis)
    ))
}

/// `1.21 m below ground, at A5, run A, station 0+016.03`.
fn below(record: &AsBuilt, e: &Extreme) -> String {
    let depth = figures::least(Some(e.depth));
    format!("{depth} {} below ground, at {}", record.frame.unit, e.place)
}

fn met(record: &AsBuilt, e: &Extreme) -> String {
    format!("the top of the pipe could be met {}.", below(record, e))
}

/// What is known, and where nothing is, in sentences, for the title block.
#[must_use]
pub fn sentences(record: &AsBuilt) -> Vec<String> {
    let unknown = unknown(record);
    let (axis, nothing): (Vec<_>, Vec<_>) = unknown.iter().partition(|s| s.axis);
    let mut found = vec![match shallowest(record) {
        Some(e) if unknown.is_empty() => format!("Shallowest: {}", met(record, &e)),
        Some(e) => format!("Shallowest where depths are known: {}", met(record, &e)),
        None => NO_TOP.to_owned(),
    }];
    if !nothing.is_empty() {
        found.push(format!(
            "No depth is known along {}: there the pipe could be met at any depth.",
            listed(&nothing)
        ));
    }
    found.extend(axis_alone(record, &axis));
    if let Some((e, axis)) = deepest(record) {
        let bare = |m: &Mark| m.invert_depth.is_none() && m.transmitter_depth.is_none();
        found.push(format!(
            "Deepest{}: the {} may lie {} {} below ground, at {}.",
            if record.marks.iter().any(bare) {
                " where depths are known"
            } else {
                ""
            },
            if axis { "axis" } else { "invert" },
            figures::length(Some(e.depth)),
            record.frame.unit,
            e.place
        ));
    }
    found
}

/// The shallowest place and its limits for the strip of every sheet: in full, and in fewer words where that finds no room.
#[must_use]
pub fn strip(record: &AsBuilt) -> [String; 2] {
    let unknown = unknown(record);
    let twice = |text: String| [text.clone(), text];
    let Some(e) = shallowest(record) else {
        return [axis_of_strip(record, &unknown), NO_TOP.to_owned()];
    };
    let [first, more @ ..] = unknown.as_slice() else {
        return twice(format!("Shallowest: {}", met(record, &e)));
    };
    let known = format!("Shallowest where depths are known: {}", met(record, &e));
    let none = "No depth of the top is known along";
    let parts = counted(unknown.len(), "part");
    let brief = format!("{known} {none} {parts} of the runs.");
    if more.is_empty() {
        [format!("{known} {none} {}.", first.place), brief]
    } else {
        [
            format!("{known} {none} {parts} of the runs: see sheet 1."),
            brief,
        ]
    }
}

/// The same where no top is known: of the axis, if that is.
fn axis_of_strip(record: &AsBuilt, unknown: &[Stretch<'_>]) -> String {
    let axis: Vec<&Stretch<'_>> = unknown.iter().filter(|s| s.axis).collect();
    let Some(e) = shallowest_axis(record, &axis) else {
        return NO_TOP.to_owned();
    };
    let limit = if axis.len() == unknown.len() {
        ""
    } else {
        " where depths are known"
    };
    let below = below(record, &e);
    format!(
        "Shallowest{limit}: only the axis of the pipe is known: it could lie {below}, and the top lies above it."
    )
}
