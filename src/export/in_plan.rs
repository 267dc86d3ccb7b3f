//! `plan-points.csv`: every mark, bend, camera observation, reference and crossing in a site plan's own coordinates.

use std::io::{self, Write};

use super::csv::guard;
use super::geometry::{self, Shape};
use super::table::{Item, Row};
use super::value::{LENGTH_DECIMALS, round};
use super::{Format, View, columns, draft};
use crate::plan::OwnSystem;
use crate::record::model::{Draft, Ellipse, VertexKind};

/// The table.
#[derive(Debug)]
pub struct Points(pub OwnSystem);

/// Its file.
pub const FILE: &str = "plan-points.csv";

/// Columns; lengths are in the plan's unit.
const COLUMNS: [&str; 11] = [
    "id",
    "feature",
    "run",
    "name",
    "plan_x",
    "plan_y",
    "invert_in_plan_unit",
    "semi_major_95",
    "semi_minor_95",
    "azimuth_95_in_plan",
    "plan",
];

impl Format for Points {
    fn name(&self) -> &'static str {
        "plan-points"
    }

    fn file(&self) -> &'static str {
        FILE
    }

    fn about(&self) -> &'static str {
        "every located place in the site plan's own coordinates (--plan-system)"
    }

    fn write(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
        out.write_all("\u{feff}".as_bytes())?;
        let mut writer = ::csv::WriterBuilder::new()
            .terminator(::csv::Terminator::CRLF)
            .from_writer(out);
        let record = view.record;
        // In a draft a last column says so, as in every table.
        let draft = record.draft.as_ref().map(Draft::words);
        let last = draft
            .as_ref()
            .map(|words| format!("{} ({words})", draft::PROPERTY));
        writer.write_record(COLUMNS.into_iter().chain(last.as_deref()))?;
        let bends = record.runs.iter().flat_map(|run| {
            let bends = run.vertices.iter().filter(|v| v.kind != VertexKind::Mark);
            bends.map(move |vertex| Item::Vertex(run, vertex))
        });
        let items = record
            .marks
            .iter()
            .map(Item::Mark)
            .chain(bends)
            .chain(record.camera.iter().map(Item::Camera))
            .chain(record.references.iter().map(Item::Reference))
            .chain(record.crossings.iter().map(Item::Crossing));
        for item in items {
            let row = Row {
                record: Some(record),
                item,
            };
            if let Some(mut cells) = self.cells(row)? {
                cells.extend(draft.clone());
                writer.write_record(cells)?;
            }
        }
        writer.flush()
    }
}

impl Points {
    fn cells(&self, row: Row<'_>) -> io::Result<Option<Vec<String>>> {
        let Shape::Point(place) = geometry::projected(row) else {
            return Ok(None);
        };
        let (feature, run, name) = about(row.item);
        let ellipse = columns::ellipse_of(row.item);
        let azimuth = ellipse.map_or(0.0, |ellipse| ellipse.azimuth_95.to_radians());
        let ahead = (place.x + azimuth.sin(), place.y + azimuth.cos());
        let back = self.0.back(&[(place.x, place.y), ahead]);
        let back = back.map_err(io::Error::other)?;
        let [(x, y), (ahead_x, ahead_y)] = back[..] else {
            return Ok(None);
        };
        let figure = |value: f64| round(value, LENGTH_DECIMALS).to_string();
        let plan_unit = self.0.unit_metres();
        let factor = self.0.site.unit_metres / plan_unit;
        let result = row.record.map_or(1.0, |record| record.frame.unit.metres());
        let of = |axis: fn(&Ellipse) -> f64| {
            let axis = ellipse.as_ref().map(axis);
            axis.map(|axis| figure(axis * result / plan_unit))
        };
        // An axis has no direction: 0 to 180.
        let turned = (ahead_x - x)
            .atan2(ahead_y - y)
            .to_degrees()
            .rem_euclid(180.0);
        Ok(Some(vec![
            guard(columns::id(row.item)).into_owned(),
            feature.to_owned(),
            guard(run).into_owned(),
            guard(name).into_owned(),
            figure(x),
            figure(y),
            place.z.map(|z| figure(z * factor)).unwrap_or_default(),
            of(|ellipse| ellipse.semi_major_95).unwrap_or_default(),
            of(|ellipse| ellipse.semi_minor_95).unwrap_or_default(),
            ellipse.map(|_| figure(turned)).unwrap_or_default(),
            guard(&self.0.file.name).into_owned(),
        ]))
    }
}

/// Feature, run and name of an item.
fn about(item: Item<'_>) -> (&'static str, &str, &str) {
    match item {
        Item::Mark(mark) => ("mark", &mark.run, &mark.mark),
        Item::Vertex(run, vertex) => ("vertex", &run.run, vertex.kind.word()),
        Item::Camera(camera) => ("camera", &camera.run, &camera.what),
        Item::Reference(point) => ("reference", "", &point.point),
        Item::Crossing(crossing) => {
            let name = crossing.name.as_ref().unwrap_or(&crossing.layer);
            ("crossing", &crossing.run, name)
        }
        Item::Run(run) => ("run", &run.run, &run.run),
        Item::Tie(_) | Item::Finding(_) => ("", "", ""),
    }
}
