//! The depths that a digger asks for first: the shallowest place where the pipe could be met, and the deepest point.

use super::figures;
use crate::record::model::AsBuilt;
use crate::sheet::draw::plan::short_name;

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

/// The greatest depth of the invert at a mark, its bound added.
#[must_use]
pub fn deepest(record: &AsBuilt) -> Option<Extreme> {
    let reach = |depth: f64, bound: Option<f64>| depth + bound.unwrap_or(0.0);
    let marks = record.marks.iter().filter_map(|m| {
        Some((
            reach(m.invert_depth.or(m.transmitter_depth)?, m.depth_95),
            m,
        ))
    });
    let (depth, mark) = marks.max_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(Extreme {
        depth,
        place: place(record, &mark.mark, &mark.run, mark.station),
    })
}

/// Both in sentences, for the title block.
#[must_use]
pub fn sentences(record: &AsBuilt) -> Vec<String> {
    let unit = record.frame.unit;
    let mut found = Vec::new();
    found.push(match shallowest(record) {
        Some(e) => format!(
            "Shallowest: the top of the pipe could be met {} {unit} below ground, at {}.",
            figures::least(Some(e.depth)),
            e.place
        ),
        None => "Shallowest: no depth of the top of the pipe is known.".to_owned(),
    });
    if let Some(e) = deepest(record) {
        found.push(format!(
            "Deepest: the invert may lie {} {unit} below ground, at {}.",
            figures::length(Some(e.depth)),
            e.place
        ));
    }
    found
}
