//! Results in a site plan's own coordinates: the plan's drawing with them added (`merged.dxf`), a drawing of their own
//! (`asbuilt-plan.dxf`).
//!
//! Merging changes nothing of the plan: its bytes are copied, and what is new stands behind the last entity, behind the last layer
//! and behind the last registered application, with handles above all that are there. Two figures of the plan are rewritten: how
//! many layers and applications it has, and which handle is free next.

use std::io::{self, Write};
use std::ops::Range;

use super::layers::Names;
use super::pairs::{Dialect, Pairs};
use super::skeleton::APPLICATION;
use super::{Ground, bounds, entities, whole};
use crate::export::geometry::{Place, Shape};
use crate::export::value::{LENGTH_DECIMALS, round};
use crate::export::{Format, View};
use crate::maps::dxf::{Drawing, Table};
use crate::plan::OwnSystem;

/// The plan's drawing with the results added.
#[derive(Debug)]
pub struct Merged(pub OwnSystem);

/// The results alone in the plan's coordinates.
#[derive(Debug)]
pub struct InPlan(pub OwnSystem);

/// File of [`Merged`].
pub const MERGED: &str = "merged.dxf";
/// File of [`InPlan`].
pub const IN_PLAN: &str = "asbuilt-plan.dxf";

impl Format for Merged {
    fn name(&self) -> &'static str {
        "merged"
    }

    fn file(&self) -> &'static str {
        MERGED
    }

    fn about(&self) -> &'static str {
        "the DXF site plan with the results added, in its own coordinates (--merge-plan)"
    }

    fn write(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
        let original = std::fs::read(&self.0.file.path)?;
        let place = |shape| placed(&self.0, shape);
        merge(&original, view, &ground(&self.0, &place), out)
    }
}

impl Format for InPlan {
    fn name(&self) -> &'static str {
        "plan-dxf"
    }

    fn file(&self) -> &'static str {
        IN_PLAN
    }

    fn about(&self) -> &'static str {
        "asbuilt.dxf in the site plan's own coordinates (--plan-system)"
    }

    fn write(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
        let place = |shape| placed(&self.0, shape);
        whole(view, &ground(&self.0, &place), out)
    }
}

fn ground<'a>(own: &OwnSystem, place: &'a super::Placed<'a>) -> Ground<'a> {
    Ground {
        metres: own.unit_metres(),
        system: format!("Coordinates of the site plan {}", own.file.name),
        place,
    }
}

/// A shape in the plan's coordinates, its heights in the plan's unit.
fn placed(own: &OwnSystem, shape: Shape) -> io::Result<Shape> {
    let places = shape.places();
    let grid: Vec<(f64, f64)> = places.iter().map(|place| (place.x, place.y)).collect();
    let back = own.back(&grid).map_err(io::Error::other)?;
    let factor = own.site.unit_metres / own.unit_metres();
    let moved = places.iter().zip(back).map(|(place, (x, y))| Place {
        x: round(x, LENGTH_DECIMALS),
        y: round(y, LENGTH_DECIMALS),
        z: place.z.map(|z| round(z * factor, LENGTH_DECIMALS)),
    });
    let mut moved: Vec<Place> = moved.collect();
    Ok(match shape {
        Shape::Nowhere => Shape::Nowhere,
        Shape::Point(_) => moved.pop().map_or(Shape::Nowhere, Shape::Point),
        Shape::Line(_) => Shape::Line(moved),
    })
}

/// What is put in place of a part of the original.
struct Edit {
    at: Range<usize>,
    bytes: Vec<u8>,
}

/// Writes the original with the results added.
fn merge(
    original: &[u8],
    view: &View<'_>,
    ground: &Ground<'_>,
    out: &mut dyn Write,
) -> io::Result<()> {
    let drawing = Drawing::scan(original).map_err(io::Error::other)?;
    let end = drawing
        .entities_end
        .ok_or_else(|| io::Error::other("the plan's drawing has no section of entities"))?;
    let dialect = dialect(&drawing);
    let free = drawing.highest.checked_add(1);
    let mut next = free.ok_or_else(|| io::Error::other("the plan's drawing has no handle left"))?;
    let mut edits = Vec::new();
    let names = Names::new(&view.record.layers);
    if let Some(table) = drawing.tables.get("LAYER") {
        let new = names.all(&table.names);
        let records = records(dialect, &mut next, &|pairs| {
            new.iter()
                .try_for_each(|(name, colour)| layer(pairs, table, name, *colour))
        })?;
        edits.extend(grown(table, new.len(), records));
    }
    if let Some(table) = drawing.tables.get("APPID") {
        let is_new = !table.names.iter().any(|name| name == APPLICATION);
        let records = records(dialect, &mut next, &|pairs| {
            if is_new {
                application(pairs, table)
            } else {
                Ok(())
            }
        })?;
        edits.extend(grown(table, usize::from(is_new), records));
    }
    let owner = drawing.model.as_deref();
    let owner = owner.and_then(|handle| u64::from_str_radix(handle, 16).ok());
    let bounds = bounds(view, ground)?;
    let mut bytes = Vec::new();
    let pairs = Pairs::new(&mut bytes, next, dialect);
    next = entities(view, ground, bounds, owner.unwrap_or(0), pairs)?.handle();
    edits.push(Edit {
        at: end..end,
        bytes,
    });
    if let Some(at) = drawing.seed {
        let bytes = format!("{next:X}").into_bytes();
        edits.push(Edit { at, bytes });
    }
    write(original, edits, out)
}

fn write(original: &[u8], mut edits: Vec<Edit>, out: &mut dyn Write) -> io::Result<()> {
    edits.sort_by_key(|edit| (edit.at.start, edit.at.end));
    let mut from = 0;
    for edit in edits {
        out.write_all(original.get(from..edit.at.start).unwrap_or_default())?;
        out.write_all(&edit.bytes)?;
        from = edit.at.end;
    }
    out.write_all(original.get(from..).unwrap_or_default())
}

fn dialect(drawing: &Drawing) -> Dialect {
    // The oldest drawings don't name their version; versions sort as they came.
    let version = drawing.version.as_deref().unwrap_or("AC1009");
    Dialect {
        handles: drawing.highest > 0,
        classes: version >= "AC1012",
        short: version >= "AC1014",
        owners: version >= "AC1015" && drawing.model.is_some(),
        unicode: version >= "AC1021",
        attributes: drawing.tables.contains_key("APPID"),
        end: if drawing.crlf { "\r\n" } else { "\n" },
    }
}

/// Bytes of further records; `next` is the handle that is free then.
fn records(
    dialect: Dialect,
    next: &mut u64,
    write: &dyn Fn(&mut Pairs<'_>) -> io::Result<()>,
) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let mut pairs = Pairs::new(&mut bytes, *next, dialect);
    write(&mut pairs)?;
    *next = pairs.handle();
    Ok(bytes)
}

/// A table with more records: the records, and its number of them.
fn grown(table: &Table, more: usize, bytes: Vec<u8>) -> Vec<Edit> {
    if more == 0 {
        return Vec::new();
    }
    let stated = table.stated.saturating_add(more);
    let count = table.count.clone().map(|at| Edit {
        at,
        bytes: format!("{stated:6}").into_bytes(),
    });
    let records = Edit {
        at: table.end..table.end,
        bytes,
    };
    count.into_iter().chain([records]).collect()
}

fn record(pairs: &mut Pairs<'_>, table: &Table, kind: &str, class: &str) -> io::Result<()> {
    let handle = pairs.handle();
    pairs.pair(0, kind)?;
    pairs.pair(5, format_args!("{handle:X}"))?;
    if let Some(owner) = &table.handle {
        pairs.pair(330, owner)?;
    }
    pairs.pairs(&[(100, "AcDbSymbolTableRecord"), (100, class)])
}

fn layer(pairs: &mut Pairs<'_>, table: &Table, name: &str, colour: u8) -> io::Result<()> {
    record(pairs, table, "LAYER", "AcDbLayerTableRecord")?;
    pairs.text(2, name)?;
    pairs.pair(70, 0)?;
    pairs.pair(62, colour)?;
    pairs.pair(6, "Continuous")?;
    match &table.plot_style {
        Some(style) => pairs.pair(390, style),
        None => Ok(()),
    }
}

fn application(pairs: &mut Pairs<'_>, table: &Table) -> io::Result<()> {
    record(pairs, table, "APPID", "AcDbRegAppTableRecord")?;
    pairs.pair(2, APPLICATION)?;
    pairs.pair(70, 0)
}
