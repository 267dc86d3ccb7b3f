//! `asbuilt.dxf`: runs as 3D polylines, marks, camera observations and references as points with labels, in grid
//! coordinates, for CAD. Version AC1021, UTF-8.
//!
//! All three coordinates are in the coordinate system's unit, which `$INSUNITS` states. Layers are named in [`layers`].
//!
//! **No elevation.** DXF can't leave a third coordinate out. What has none is drawn at 0 and lies on a layer of its own,
//! whose name ends in `NOEL`; a run of which any invert is unknown is a plain polyline there.
//!
//! **Attributes** are extended data under the application `ASLAID`: for each column an opening bracket, its name, its
//! value (a text, in as many pieces as it takes, or a number), a closing bracket. Extended data have a limit of 16 kB:
//! columns that do not fit are left out, and a last one named `omitted` says so.

use std::io::{self, Write};

use super::geometry::{self, Shape};
use super::value::round;
use super::{Format, View, wkb};
use crate::units::LengthUnit;

mod drawing;
pub mod layers;
pub mod merge;
mod pairs;
mod skeleton;

use drawing::{Drawing, Placed};
use layers::Names;
use pairs::{Dialect, Pairs};

/// The drawing.
#[derive(Debug)]
pub struct Dxf;

impl Format for Dxf {
    fn name(&self) -> &'static str {
        "dxf"
    }

    fn file(&self) -> &'static str {
        "asbuilt.dxf"
    }

    fn about(&self) -> &'static str {
        "3D polylines, points and labels in grid coordinates, for CAD"
    }

    fn write(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
        let frame = &view.record.frame;
        let on_grid = Ground {
            metres: frame.crs_unit_metres,
            system: format!("{}, {}", frame.crs_name, frame.crs_unit),
            place: &Ok,
        };
        whole(view, &on_grid, out)
    }
}

/// The coordinates that a drawing is in.
struct Ground<'a> {
    /// Metres in one of their unit.
    metres: f64,
    /// Their system and unit, for people.
    system: String,
    /// From the record's grid to them.
    place: &'a Placed<'a>,
}

/// A drawing of its own.
fn whole(view: &View<'_>, ground: &Ground<'_>, out: &mut dyn Write) -> io::Result<()> {
    let names = Names::new(&view.record.layers);
    let bounds = bounds(view, ground)?;
    let text = text_height(ground.metres, bounds);
    let mut out = Pairs::new(out, skeleton::FIRST, Dialect::OWN);
    let drawn = bounds.map(|bounds| drawing::drawn(view, ground, bounds, text));
    skeleton::header(&mut out, ground.metres, drawn.transpose()?, text)?;
    skeleton::tables(&mut out, &names, bounds)?;
    skeleton::blocks(&mut out)?;
    out.pairs(&[(0, "SECTION"), (2, "ENTITIES")])?;
    let mut out = entities(view, ground, bounds, skeleton::MODEL, out)?;
    out.pair(0, "ENDSEC")?;
    skeleton::objects(&mut out)
}

fn bounds(view: &View<'_>, ground: &Ground<'_>) -> io::Result<Option<wkb::Bounds>> {
    let rows = view.features().flat_map(|table| table.rows(view.record));
    let shapes: Vec<Shape> = rows
        .map(|row| (ground.place)(geometry::projected(row)))
        .collect::<io::Result<_>>()?;
    Ok(wkb::bounds(shapes.iter().flat_map(Shape::places)))
}

/// Every feature and the notice, as entities of the block record `owner`.
fn entities<'a>(
    view: &'a View<'_>,
    ground: &'a Ground<'a>,
    bounds: Option<wkb::Bounds>,
    owner: u64,
    out: Pairs<'a>,
) -> io::Result<Pairs<'a>> {
    let record = view.record;
    let names = Names::new(&record.layers);
    let text = text_height(ground.metres, bounds);
    let mut drawing = Drawing::new(out, names, text, record, owner, ground);
    for table in view.features() {
        for row in table.rows(record) {
            drawing.feature(table, row)?;
        }
    }
    if let Some(bounds) = bounds {
        drawing.notice(bounds.x[0], bounds.y[0], &ground.system)?;
    }
    Ok(drawing.done())
}

/// Customary scales of drawings in metres.
const METRIC: [f64; 9] = [
    50.0, 100.0, 200.0, 250.0, 500.0, 1000.0, 2000.0, 5000.0, 10_000.0,
];
/// Customary scales of drawings in feet: one inch to 10, 20, 30, 40, 50, 100, 200, 500, 1000 feet.
const FEET: [f64; 9] = [
    120.0, 240.0, 360.0, 480.0, 600.0, 1200.0, 2400.0, 6000.0, 12_000.0,
];

/// Height of labels, in units of the drawing: 2.5 mm (a tenth of an inch in feet) on the sheet at the largest customary
/// scale at which the job fits 380 by 250 mm, an A3 sheet within its margins. Our choice.
fn text_height(metres: f64, bounds: Option<wkb::Bounds>) -> f64 {
    let feet = metres < 0.5;
    let scales = if feet { FEET } else { METRIC };
    let need = bounds.map_or(0.0, |bounds| {
        let [wide, high] = [bounds.x, bounds.y].map(|[low, high]| (high - low) * metres);
        f64::max(wide / 0.38, high / 0.25)
    });
    let fits = scales.into_iter().find(|scale| *scale >= need);
    let paper = if feet {
        0.1 / 12.0 * LengthUnit::Foot.metres()
    } else {
        0.0025
    };
    round(paper * fits.unwrap_or(need) / metres, 4)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bounds(wide: f64, high: f64) -> Option<wkb::Bounds> {
        Some(wkb::Bounds {
            x: [0.0, wide],
            y: [0.0, high],
            z: None,
        })
    }

    #[test]
    fn labels_are_readable_at_the_scale_that_the_job_needs() {
        // 30 m by 20 m fits A3 at 1:100: 2.5 mm there is 0.25 m.
        assert_eq!(text_height(1.0, bounds(30.0, 20.0)).to_string(), "0.25");
        // 100 ft wide fits at 1 inch to 10 ft: a tenth of an inch is 1 ft.
        assert_eq!(text_height(0.3048, bounds(100.0, 20.0)).to_string(), "1");
        assert_eq!(text_height(0.3048, bounds(200.0, 20.0)).to_string(), "2");
        assert_eq!(text_height(1.0, None).to_string(), "0.125");
    }
}
