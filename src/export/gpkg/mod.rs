//! `asbuilt.gpkg`: [GeoPackage](crate::sources::Source::GeoPackage) 1.3, layers `run`, `mark`, `camera`, `reference`.
//!
//! In the projected coordinate system; the third coordinate is the invert's elevation, of a reference its own, in that system's unit,
//! there where it is known. Every column has a description with its unit. A job in site coordinates is in the standard's undefined
//! Cartesian system.
//!
//! **The same record gives the same bytes.** The time of the last change, which the standard demands, is midnight UTC of
//! the day of locating, or of 1 January 1970 where that isn't known. The standard has no place for styles: there are none.

use std::io::{self, Write};

use rusqlite::Connection;

use super::table::Table;
use super::{Format, View, draft};
use crate::record::AsBuilt;

pub mod blob;
pub mod container;
pub mod layer;
mod rtree;

use layer::{Head, Layer};

/// The GeoPackage.
#[derive(Debug)]
pub struct GeoPackage;

impl Format for GeoPackage {
    fn name(&self) -> &'static str {
        "gpkg"
    }

    fn file(&self) -> &'static str {
        "asbuilt.gpkg"
    }

    fn about(&self) -> &'static str {
        "GeoPackage, projected, 3D: layers run, mark, camera, reference"
    }

    fn write(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
        let connection = Connection::open_in_memory().map_err(io::Error::other)?;
        fill(view, &connection).map_err(io::Error::other)?;
        let bytes = connection.serialize("main").map_err(io::Error::other)?;
        out.write_all(&bytes)
    }
}

fn fill(view: &View<'_>, connection: &Connection) -> rusqlite::Result<()> {
    blob::add_functions(connection)?;
    connection.execute_batch("BEGIN")?;
    container::create(connection)?;
    let srs = container::add_system(connection, super::system::of(view.record).as_ref())?;
    let changed = changed(view.record);
    for table in view.features() {
        let description = description(view.record, table);
        let layer = Layer::new(table.name, table, srs);
        let head = Head {
            description: &description,
            changed: &changed,
            frame: &view.record.frame,
        };
        layer.create(connection, &head)?;
        layer.insert(connection, table.rows(view.record))?;
        layer.update_bounds(connection)?;
    }
    connection.execute_batch("COMMIT")
}

/// What a layer holds: units, draft, cautions, the record's hash.
fn description(record: &AsBuilt, table: &Table) -> String {
    let of = match table.name {
        "reference" => "point",
        _ => "invert",
    };
    let frame = &record.frame;
    let vertical = frame
        .vertical
        .as_deref()
        .map(|datum| format!(" ({datum})"))
        .unwrap_or_default();
    let mut text = format!(
        "{}; coordinates in {}, third coordinate the {of}'s elevation{vertical} in the same unit where it is known; other lengths in {}.",
        table.meaning, frame.crs_unit, frame.unit
    );
    for caution in &record.cautions {
        text.push(' ');
        text.push_str(caution);
    }
    if let Some(hash) = &record.hash {
        text.push_str(" Record ");
        text.push_str(hash);
    }
    draft::title(record.draft.as_ref(), &text).into_owned()
}

/// Time of the last change: no clock is read, so that the same record gives the same bytes.
fn changed(record: &AsBuilt) -> String {
    let day = record
        .job
        .located_on
        .as_deref()
        .filter(|day| is_date(day))
        .unwrap_or("1970-01-01");
    format!("{day}T00:00:00.000Z")
}

fn is_date(text: &str) -> bool {
    text.len() == 10
        && text.char_indices().all(|(index, c)| match index {
            4 | 7 => c == '-',
            _ => c.is_ascii_digit(),
        })
}

#[cfg(test)]
mod tests {
    use super::is_date;

    #[test]
    fn only_a_whole_date_is_taken_for_one() {
        assert!(is_date("2026-05-14"));
        for text in [
            "2026-5-14",
            "14.05.2026",
            "2026-05-14T10:00",
            "",
            "2026-05-1é",
        ] {
            assert!(!is_date(text), "{text}");
        }
    }
}
