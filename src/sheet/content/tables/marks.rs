//! Marks: where the pipe is, how deep, how well that is known. Depths in the order top of pipe, invert, transmitter.

use super::{Column, Row, Table, figures, words};
use crate::record::AsBuilt;
use crate::record::model::Mark;
use crate::sheet::content::figures as f;
use crate::sheet::draw::Feature;

pub fn table(record: &AsBuilt) -> Option<Table> {
    let rows = record
        .marks
        .iter()
        .enumerate()
        .map(|(i, m)| row(record, i, m))
        .collect();
    let unit = record.frame.unit;
    let least = if record.marks.iter().any(|m| m.cover_least.is_some()) {
        "“Least top” is the lower one-sided 95 % bound of the depth of the top of the pipe; ±"
    } else {
        "No depth of the top of the pipe is known. ±"
    };
    let note = format!(
        "Easting and northing are the pipe's axis at the transmitter, in {}; lengths in {unit}. {least} and the axes a, b of the ellipse \
         (grid azimuth of a in degrees) hold 95 %.",
        f::units(&record.frame.crs_unit)
    );
    Some(Table::new("marks", "Marks", columns(record), rows)?.noted(note))
}

fn columns(record: &AsBuilt) -> Vec<Column> {
    let datum = record
        .frame
        .vertical
        .as_deref()
        .map(|d| format!(", {d}"))
        .unwrap_or_default();
    vec![
        words("Mark"),
        words("Run"),
        figures("Station"),
        figures("Easting"),
        figures("Northing"),
        figures("Top of pipe"),
        figures("Least top"),
        figures("Invert depth"),
        figures("Transmitter"),
        figures("± depth"),
        figures(format!("Ground{datum}")),
        figures(format!("Invert{datum}")),
        figures("± invert"),
        figures("a"),
        figures("b"),
        figures("Azimuth"),
        words("Evidence"),
        words("Depth by"),
        words("Fitting"),
        figures("Redundancy"),
        words("Quality level, by"),
        words("Findings"),
        words("Row").page_only(),
    ]
}

fn row(record: &AsBuilt, i: usize, m: &Mark) -> Row {
    let coordinate = |v: f64| f::fixed(v, 2);
    let quality = match (&m.quality_level, &m.quality_by) {
        (Some(level), Some(by)) => format!("{level}, {by}"),
        (Some(level), None) => level.clone(),
        _ => f::UNKNOWN.to_owned(),
    };
    Row::new(vec![
        m.mark.clone(),
        m.run.clone(),
        f::station(m.station, record.frame.unit),
        coordinate(m.easting),
        coordinate(m.northing),
        f::length(m.cover),
        f::least(m.cover_least),
        f::length(m.invert_depth),
        f::length(m.transmitter_depth),
        f::length(m.depth_95),
        f::length(m.ground),
        f::length(m.invert),
        f::length(m.invert_95),
        f::length(m.ellipse.map(|e| e.semi_major_95)),
        f::length(m.ellipse.map(|e| e.semi_minor_95)),
        f::number(m.ellipse.map(|e| e.azimuth_95), 0),
        m.evidence.word().to_owned(),
        m.depth_basis.word().to_owned(),
        f::text(m.fitting.as_deref()),
        f::number(m.redundancy, 1),
        quality,
        f::text(m.findings.as_deref()),
        m.source.clone(),
    ])
    .about(Some(Feature::Mark(i)))
}

/// What was noted at marks, and their photos: a table of its own, because few marks have any.
pub fn notes(record: &AsBuilt) -> Option<Table> {
    let columns = vec![words("Mark"), words("Run"), words("Note"), words("Photo")];
    let marks = record.marks.iter().enumerate();
    let noted = marks.filter(|(_, m)| m.note.is_some() || m.photo.is_some());
    let row = |(i, m): (usize, &Mark)| {
        let [note, photo] = [&m.note, &m.photo].map(|text| f::text(text.as_deref()));
        let cells = vec![m.mark.clone(), m.run.clone(), note, photo];
        Row::new(cells).about(Some(Feature::Mark(i)))
    };
    Table::new("noted", "Noted at marks", columns, noted.map(row).collect())
}
