//! Ties: ground distances from permanent references, as printed, to set every place out again.

use super::{Names, Row, Table, figures, words};
use crate::record::AsBuilt;
use crate::record::model::Tie;
use crate::sheet::content::figures as f;
use crate::sheet::draw::Feature;
use crate::sheet::draw::plan::short_name;

pub fn table(record: &AsBuilt) -> Option<Table> {
    let most = record
        .ties
        .iter()
        .map(|t| t.distances.len())
        .max()
        .unwrap_or(0)
        .min(3);
    let mut columns = vec![words("Place"), words("Run")];
    for n in 1..=most {
        columns.push(words(format!("From {n}")));
        columns.push(figures(format!("Distance {n}")));
    }
    columns.push(words("Side of the line 1 to 2"));
    columns.push(figures("± 95 %"));
    let names = Names::of(record);
    let rows = record
        .ties
        .iter()
        .map(|tie| row(record, &names, tie, most))
        .collect();
    let note = "Level ground distances. ± is the semi-major axis of the 95 % ellipse of a place set out with these tapes alone; the \
                pipe's own ellipse comes on top.";
    Some(Table::new("ties", "Ties", columns, rows)?.noted(note))
}

fn row(record: &AsBuilt, names: &Names<'_>, tie: &Tie, most: usize) -> Row {
    let (name, feature) = if tie.feature == "camera" {
        let at = record.camera.iter().position(|c| c.id == tie.id);
        (
            format!("{} {}", short_name(&tie.id), tie.name),
            at.map(Feature::Camera),
        )
    } else {
        (tie.name.clone(), names.feature(&tie.name))
    };
    let mut cells = vec![name, tie.run.clone()];
    for n in 0..most {
        match tie.distances.get(n) {
            Some(d) => cells.extend([d.reference.clone(), d.text.clone()]),
            None => cells.extend([f::UNKNOWN.to_owned(), f::UNKNOWN.to_owned()]),
        }
    }
    cells.push(side(record, tie).unwrap_or(f::UNKNOWN).to_owned());
    cells.push(f::length(tie.semi_major_95));
    Row::new(cells).about(feature)
}

/// The side of the line from the first to the second reference, looking along it, on which the place lies: two tapes meet
/// on either side.
#[must_use]
pub fn side(record: &AsBuilt, tie: &Tie) -> Option<&'static str> {
    let reference = |n: usize| {
        let name = &tie.distances.get(n)?.reference;
        record
            .references
            .iter()
            .find(|r| r.point == *name)
            .map(|r| (r.easting, r.northing))
    };
    let ((e1, n1), (e2, n2)) = (reference(0)?, reference(1)?);
    let mark = record
        .marks
        .iter()
        .find(|m| m.id == tie.id)
        .map(|m| (m.easting, m.northing));
    let seen = || {
        record
            .camera
            .iter()
            .find(|c| c.id == tie.id)
            .and_then(|c| Some((c.easting?, c.northing?)))
    };
    let (e, n) = mark.or_else(seen)?;
    let turn = (e2 - e1) * (n - n1) - (n2 - n1) * (e - e1);
    Some(if turn > 0.0 { "left" } else { "right" })
}
