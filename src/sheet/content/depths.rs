//! The depths that a digger asks for first: the shallowest place where the pipe could be met, and the deepest point.

use std::collections::BTreeMap;

use super::between::{Between, between};
use super::figures;
use crate::record::model::{AsBuilt, Camera, Mark, Run};
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
    /// `at A4, run A, station 0+012.30`, or `between A4 and A5, …`.
    pub place: String,
    /// Its run.
    pub run: String,
}

/// Where a depth is.
#[derive(Clone, Copy)]
enum Place<'a> {
    /// A mark or a camera observation.
    At(&'a str),
    /// Two marks.
    Between([&'a str; 2]),
}

/// A depth, its place, its run and its station there.
type Found<'a> = (f64, Place<'a>, &'a str, Option<f64>);

fn extreme(record: &AsBuilt, (depth, place, run, station): Found<'_>) -> Extreme {
    let place = match place {
        Place::At(name) => format!("at {name}"),
        Place::Between([from, to]) => format!("between {from} and {to}"),
    };
    let station =
        station.map(|s| format!(", station {}", figures::station(Some(s), record.frame.unit)));
    Extreme {
        depth,
        place: format!("{place}, run {run}{}", station.unwrap_or_default()),
        run: run.to_owned(),
    }
}

fn at_mark(m: &Mark, depth: f64) -> Found<'_> {
    (depth, Place::At(&m.mark), &m.run, m.station)
}

fn at_sight(c: &Camera, depth: f64) -> Found<'_> {
    (depth, Place::At(short_name(&c.id)), &c.run, c.station)
}

fn in_between<'a>(at: &Between<'a>, depth: f64) -> Found<'a> {
    let beside = at.beside.map(|mark| mark.mark.as_str());
    let place = Place::Between(beside);
    (depth, place, &at.run.run, Some(at.station))
}

/// The least `cover_least` of all marks and camera observations, and between marks.
#[must_use]
pub fn shallowest(record: &AsBuilt) -> Option<Extreme> {
    shallowest_of(record, &between(record))
}

/// The same, with the places between marks.
fn shallowest_of(record: &AsBuilt, between: &[Between<'_>]) -> Option<Extreme> {
    let marks = record.marks.iter();
    let marks = marks.filter_map(|m| Some(at_mark(m, m.cover_least?)));
    let camera = record.camera.iter();
    let camera = camera.filter_map(|c| Some(at_sight(c, c.cover_least?)));
    let places = between.iter();
    let places = places.filter_map(|at| Some(in_between(at, at.cover_least?)));
    let found = marks.chain(camera).chain(places);
    let least = found.min_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(extreme(record, least))
}

/// The greatest depth of the invert at a mark or camera observation or between marks, its bound added, or of the axis where nothing tells
/// how far beneath it the invert lies (`true`).
fn deepest(record: &AsBuilt, between: &[Between<'_>]) -> Option<(Extreme, bool)> {
    let reach = |invert: Option<f64>, axis: Option<f64>, bound: Option<f64>| {
        Some((invert.or(axis)? + bound.unwrap_or(0.0), invert.is_none()))
    };
    let marks = record.marks.iter().filter_map(|m| {
        let (depth, axis) = reach(m.invert_depth, m.transmitter_depth, m.depth_95)?;
        Some((at_mark(m, depth), axis))
    });
    let camera = record.camera.iter().filter_map(|c| {
        let (depth, axis) = reach(c.invert_depth, c.transmitter_depth, c.depth_95)?;
        Some((at_sight(c, depth), axis))
    });
    let places = between.iter().filter_map(|at| {
        let (value, bound) = at.depth;
        let (depth, axis) = reach(at.invert_depth(), Some(value), Some(bound))?;
        Some((in_between(at, depth), axis))
    });
    let found = places.chain(marks).chain(camera);
    let (most, axis) = found.max_by(|a, b| a.0.0.total_cmp(&b.0.0))?;
    Some((extreme(record, most), axis))
}

/// How much is known of the top of the pipe at a mark.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Known {
    Top,
    Axis,
    Nothing,
}

fn known(m: &Mark) -> Known {
    if m.upright() {
        return Known::Nothing;
    }
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
                place: stretch(record, run, (before, group, marks.get(next))),
                marks: group.to_vec(),
                axis: state == Known::Axis,
                run,
            });
        }
    }
    all
}

/// Where a stretch lies between two marks, or an end of the run: as far as from what the camera saw there with a depth.
fn stretch(
    record: &AsBuilt,
    run: &Run,
    (before, within, after): (Option<&&Mark>, &[&Mark], Option<&&Mark>),
) -> String {
    if before.is_none() && after.is_none() {
        return format!("the whole of run {}", run.run);
    }
    let ends = || run.vertices.iter().map(|v| v.station);
    let seen = || {
        let own = record.camera.iter().filter(|c| c.run == run.run);
        own.filter(|c| c.cover_least.is_some())
            .filter_map(|c| c.station)
    };
    let station = |mark: Option<&&Mark>| mark.and_then(|mark| mark.station);
    let (first, last) = (station(within.first()), station(within.last()));
    let up_to = |s: &f64| first.is_some_and(|first| *s < first);
    let beyond = |s: &f64| last.is_some_and(|last| *s > last);
    let from = before.map_or_else(
        || ends().reduce(f64::min),
        |m| {
            m.station
                .into_iter()
                .chain(seen().filter(up_to))
                .reduce(f64::max)
        },
    );
    let to = after.map_or_else(
        || ends().reduce(f64::max),
        |m| {
            m.station
                .into_iter()
                .chain(seen().filter(beyond))
                .reduce(f64::min)
        },
    );
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
fn shallowest_axis(
    record: &AsBuilt,
    stretches: &[&Stretch<'_>],
    between: &[Between<'_>],
) -> Option<Extreme> {
    let depth = |m: &Mark| Some(m.transmitter_depth? - m.depth_95.unwrap_or(0.0));
    let marks = stretches.iter().flat_map(|s| &s.marks);
    let depths = marks.filter_map(|m| Some((depth(m)?, m)));
    let marks = depths.map(|(depth, m)| at_mark(m, depth));
    let places = between.iter().filter(|at| at.cover_least.is_none());
    let places = places.map(|at| in_between(at, at.depth.0 - at.depth.1));
    let least = marks.chain(places).min_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(extreme(record, least))
}

/// What is said of such stretches: the top lies above the axis, nobody knows how far.
fn axis_alone(
    record: &AsBuilt,
    stretches: &[&Stretch<'_>],
    between: &[Between<'_>],
) -> Option<String> {
    let axis = shallowest_axis(record, stretches, between)?;
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
    format!("{}, {}", least_below(record, e.depth), e.place)
}

/// `1.21 m below ground`; a bound that reaches the surface is said to be one, a negative depth is none.
fn least_below(record: &AsBuilt, depth: f64) -> String {
    let (unit, text) = (record.frame.unit, figures::least(Some(depth)));
    match text.strip_prefix('-') {
        Some(above) => {
            format!("at or above the surface of the ground (its bound is {above} {unit} above it)")
        }
        None if text == "0.00" => "at the surface of the ground".to_owned(),
        None => format!("{text} {unit} below ground"),
    }
}

/// The same of a greatest depth.
fn most_below(record: &AsBuilt, depth: f64) -> String {
    let (unit, text) = (record.frame.unit, figures::most(Some(depth)));
    match text.strip_prefix('-') {
        Some(above) => format!("{above} {unit} above ground"),
        None => format!("{text} {unit} below ground"),
    }
}

/// Whether depths of the top go to that of the bore alone, since nobody gave the wall.
fn to_bore(record: &AsBuilt, run: &str) -> bool {
    let bare = |r: &Run| r.run == run && r.wall.is_none();
    record.runs.iter().any(bare)
}

fn met(record: &AsBuilt, e: &Extreme) -> String {
    let top = if to_bore(record, &e.run) {
        "bore (its wall is not given)"
    } else {
        "pipe"
    };
    format!("the top of the {top} could be met {}.", below(record, e))
}

/// The same in as few words as are true.
fn met_briefly(record: &AsBuilt, e: &Extreme) -> String {
    let top = if to_bore(record, &e.run) {
        "bore"
    } else {
        "pipe"
    };
    let below = match figures::least(Some(e.depth)) {
        text if text.starts_with('-') => "at or above the surface".to_owned(),
        _ => least_below(record, e.depth),
    };
    format!("the top of the {top} could be met {below}, {}.", e.place)
}

/// The runs with such depths, in a sentence.
fn without_wall(record: &AsBuilt) -> Option<String> {
    let told = |run: &str| {
        let marks = record.marks.iter().map(|m| (&m.run, m.cover_least));
        let camera = record.camera.iter().map(|c| (&c.run, c.cover_least));
        let mut all = marks.chain(camera);
        all.any(|(of, cover)| of == run && cover.is_some())
    };
    let runs = record.runs.iter().map(|run| run.run.as_str());
    let runs: Vec<&str> = runs
        .filter(|run| to_bore(record, run) && told(run))
        .collect();
    let of = match runs.as_slice() {
        [] => return None,
        [run] => format!("run {run}"),
        all if all.len() == record.runs.len() => "the runs".to_owned(),
        all if all.len() <= NAMED => format!("runs {}", all.join(", ")),
        all => counted(all.len(), "run"),
    };
    Some(format!(
        "The wall of {of} is not given: the pipe's outside lies above the top of the bore, by a wall's thickness that nobody knows."
    ))
}

/// How early the pipe could be met at a camera observation.
#[must_use]
pub fn earliest(record: &AsBuilt, seen: &Camera) -> String {
    let Some(depth) = seen.cover_least else {
        return "No depth of the top of the pipe is known here: it could be met at any depth."
            .to_owned();
    };
    let below = least_below(record, depth);
    if to_bore(record, &seen.run) {
        format!(
            "Earliest depth at which the top of the bore could be met: {below} (one-sided 95 %). The wall is not given: the pipe's \
             outside could be met earlier, by a thickness that nobody knows."
        )
    } else {
        format!("Earliest depth at which the pipe could be met: {below} (one-sided 95 %).")
    }
}

/// What is known, and where nothing is, in sentences, for the title block.
#[must_use]
pub fn sentences(record: &AsBuilt) -> Vec<String> {
    let (unknown, between) = (unknown(record), between(record));
    let (axis, nothing): (Vec<_>, Vec<_>) = unknown.iter().partition(|s| s.axis);
    let mut found = vec![match shallowest_of(record, &between) {
        Some(e) if unknown.is_empty() => format!("Shallowest: {}", met(record, &e)),
        Some(e) => format!("Shallowest where depths are known: {}", met(record, &e)),
        None => NO_TOP.to_owned(),
    }];
    found.extend(without_wall(record));
    if !nothing.is_empty() {
        found.push(format!(
            "No depth is known along {}: there the pipe could be met at any depth.",
            listed(&nothing)
        ));
    }
    found.extend(axis_alone(record, &axis, &between));
    if let Some((e, axis)) = deepest(record, &between) {
        let bare = |m: &Mark| m.invert_depth.is_none() && m.transmitter_depth.is_none();
        found.push(format!(
            "Deepest{}: the {} may lie {}, {}.",
            if record.marks.iter().any(bare) {
                " where depths are known"
            } else {
                ""
            },
            if axis { "axis" } else { "invert" },
            most_below(record, e.depth),
            e.place
        ));
    }
    found
}

/// The shallowest place and its limits for the strip of every sheet: in full, and in fewer words where that finds no room.
#[must_use]
pub fn strip(record: &AsBuilt) -> [String; 2] {
    let (unknown, between) = (unknown(record), between(record));
    let Some(e) = shallowest_of(record, &between) else {
        let axis = axis_of_strip(record, &unknown, &between);
        return [axis, NO_TOP.to_owned()];
    };
    let [full, short] = [met(record, &e), met_briefly(record, &e)];
    let [first, more @ ..] = unknown.as_slice() else {
        return [full, short].map(|met| format!("Shallowest: {met}"));
    };
    let [known, short] =
        [full, short].map(|met| format!("Shallowest where depths are known: {met}"));
    let none = "No depth of the top is known along";
    let parts = counted(unknown.len(), "part");
    let brief = format!("{short} {none} {parts} of the runs.");
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
fn axis_of_strip(record: &AsBuilt, unknown: &[Stretch<'_>], between: &[Between<'_>]) -> String {
    let axis: Vec<&Stretch<'_>> = unknown.iter().filter(|s| s.axis).collect();
    let Some(e) = shallowest_axis(record, &axis, between) else {
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
