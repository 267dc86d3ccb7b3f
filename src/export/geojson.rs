//! `asbuilt.geojson`: [RFC 7946](crate::sources::Source::Rfc7946), one feature a line.
//!
//! Longitude, latitude in WGS 84, no `crs` member; a third coordinate, in metres above the ellipsoid, only where it is
//! known. A line that crosses the 180th meridian is cut there (section 3.1.9), and the box then has its western edge
//! greater than its eastern one (section 5.2). Where the operation from the grid has an accuracy of its own, a member `accuracy`
//! says so, with the rest of the statement (section 6.1 allows further members).

use std::io::{self, Write};

use serde_json::{Value as Json, json};

use super::append::{self, Appending};
use super::geometry::{self, Place, Shape};
use super::sections::BySection;
use super::table::{Item, Row, Table};
use super::value::{GEOGRAPHIC_DECIMALS, LENGTH_DECIMALS, Value, round};
use super::{Format, View, draft, rows};
use crate::record::AsBuilt;
use crate::record::model::NO_GEOREFERENCE;

/// The map.
#[derive(Debug)]
pub struct GeoJson;

impl Format for GeoJson {
    fn name(&self) -> &'static str {
        "geojson"
    }

    fn file(&self) -> &'static str {
        "asbuilt.geojson"
    }

    fn about(&self) -> &'static str {
        "RFC 7946, WGS 84: runs, marks, camera observations, references"
    }

    fn shows_hash(&self) -> bool {
        false
    }

    fn absent(&self, record: &AsBuilt) -> Option<String> {
        no_georeference(record)
    }

    fn write(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
        self.begin(view, out)?;
        let layers = Layers::of(view);
        let between = self.between().len();
        rows::write(layers.rows(view.record), out, &|first, rows, bytes| {
            let start = bytes.len();
            layers.append(rows.iter().copied(), bytes);
            if first {
                bytes.drain(start..start + between);
            }
            Ok(())
        })?;
        self.end(&Extent::of(view), out)
    }

    fn by_section(&self) -> Option<&dyn BySection> {
        Some(self)
    }
}

impl BySection for GeoJson {
    fn begin(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
        out.write_all(b"{\"type\":\"FeatureCollection\"")?;
        if let Some(draft) = &view.record.draft {
            let words = Json::from(draft.words());
            write!(out, ",\"{}\":{words}", draft::PROPERTY)?;
        }
        if let Some(on_earth) = view.record.frame.on_earth() {
            let words = Json::from(format!("{} {on_earth}", view.record.accuracy.statement).trim());
            write!(out, ",\"accuracy\":{words}")?;
        }
        out.write_all(b",\"features\":[\n")
    }

    fn rows(&self, view: &View<'_>, out: &mut Vec<u8>) -> io::Result<()> {
        let layers = Layers::of(view);
        layers.append(layers.rows(view.record), out);
        Ok(())
    }

    fn between(&self) -> &'static [u8] {
        b",\n"
    }

    fn end(&self, extent: &Extent, out: &mut dyn Write) -> io::Result<()> {
        out.write_all(b"\n]")?;
        if let Some(bounds) = extent.bounds() {
            write!(out, ",\"bbox\":{bounds}")?;
        }
        out.write_all(b"}\n")
    }
}

/// A table whose rows are features, and its columns' names as members of an object.
struct Layer<'v> {
    table: &'v Table,
    names: Vec<Vec<u8>>,
}

/// The tables whose rows are features.
struct Layers<'v> {
    all: Vec<Layer<'v>>,
}

impl<'v> Layers<'v> {
    fn of(view: &'v View<'_>) -> Self {
        let layer = |table: &'v Table| {
            let names = table.columns.iter().map(|column| {
                let mut name = Vec::new();
                append::json_text(&column.name, &mut name);
                name.push(b':');
                name
            });
            Layer {
                names: names.collect(),
                table,
            }
        };
        Self {
            all: view.features().map(layer).collect(),
        }
    }

    fn named(&self, name: &str) -> Option<&Layer<'v>> {
        self.all.iter().find(|layer| layer.table.name == name)
    }

    /// Every run with its marks, then everything else: what belongs together stands together, and a large job can be written a run
    /// at a time.
    fn rows<'r>(&self, record: &'r AsBuilt) -> impl Iterator<Item = Row<'r>> + use<'r, '_, 'v> {
        let row = |item| Row {
            record: Some(record),
            item,
        };
        let runs = self.named(RUN).is_some();
        let marks = self.named(MARK).is_some();
        let by_run = record.marks.chunk_by(|a, b| a.run == b.run);
        let mut by_run = by_run.peekable();
        let all = record.runs.iter().flat_map(move |run| {
            let own = by_run.next_if(|marks| marks.first().is_some_and(|mark| mark.run == run.run));
            let own = own.filter(|_| marks).unwrap_or_default();
            let run = runs.then_some(Item::Run(run));
            run.into_iter().chain(own.iter().map(Item::Mark))
        });
        let further = self
            .all
            .iter()
            .map(|layer| layer.table)
            .filter(|table| ![RUN, MARK].contains(&table.name));
        let further = further.flat_map(move |table| table.rows(record));
        all.map(row).chain(further)
    }

    fn append<'r>(&self, rows: impl Iterator<Item = Row<'r>>, out: &mut Vec<u8>) {
        for row in rows {
            if let Some(layer) = self.named(super::columns::feature(row.item)) {
                out.extend_from_slice(b",\n");
                layer.append(row, out);
            }
        }
    }
}

const RUN: &str = "run";
const MARK: &str = "mark";

/// Why a job in site coordinates has no file in longitude and latitude.
#[must_use]
pub fn no_georeference(record: &AsBuilt) -> Option<String> {
    record.frame.local.then(|| NO_GEOREFERENCE.to_owned())
}

impl Layer<'_> {
    /// Appends a feature: by hand, since what all features have in common is most of it.
    fn append(&self, row: Row<'_>, out: &mut Vec<u8>) {
        out.extend_from_slice(b"{\"type\":\"Feature\",\"id\":");
        append::json_text(super::columns::id(row.item), out);
        out.extend_from_slice(b",\"geometry\":");
        append_geometry(geometry(&geometry::geographic(row)), out);
        out.extend_from_slice(b",\"properties\":{");
        let mut more = false;
        for (column, name) in self.table.columns.iter().zip(&self.names) {
            let value = column.unrounded(row);
            if value.is_absent() {
                continue;
            }
            if more {
                out.push(b',');
            }
            more = true;
            out.extend_from_slice(name);
            match (value, column.quantity.decimals()) {
                (Value::Real(value), Some(decimals)) => append::json_figure(value, decimals, out),
                (Value::Text(text), _) => append::json_text(&text, out),
                (other, _) => append::json(&other, out),
            }
        }
        out.extend_from_slice(b"}}");
    }
}

fn append_geometry(geometry: Option<Geometry>, out: &mut Vec<u8>) {
    let list = |places: &[Place], out: &mut Vec<u8>| {
        append_list(places, out, append_place);
    };
    let (kind, append): (&str, Appending<'_>) = match &geometry {
        None => return out.extend_from_slice(b"null"),
        Some(Geometry::Point(place)) => ("Point", &|out| append_place(place, out)),
        Some(Geometry::LineString(places)) => ("LineString", &|out| list(places, out)),
        Some(Geometry::MultiLineString(parts)) => ("MultiLineString", &|out| {
            append_list(parts, out, |part, out| list(part, out));
        }),
    };
    out.extend_from_slice(b"{\"type\":\"");
    out.extend_from_slice(kind.as_bytes());
    out.extend_from_slice(b"\",\"coordinates\":");
    append(out);
    out.push(b'}');
}

fn append_list<T>(items: &[T], out: &mut Vec<u8>, each: impl Fn(&T, &mut Vec<u8>)) {
    out.push(b'[');
    for (at, item) in items.iter().enumerate() {
        if at > 0 {
            out.push(b',');
        }
        each(item, out);
    }
    out.push(b']');
}

/// A geometry as it is written.
#[derive(Debug)]
enum Geometry {
    Point(Place),
    LineString(Vec<Place>),
    MultiLineString(Vec<Vec<Place>>),
}

fn geometry(shape: &Shape) -> Option<Geometry> {
    match shape {
        Shape::Nowhere => None,
        Shape::Point(place) => Some(Geometry::Point(*place)),
        Shape::Line(places) => {
            let mut parts = cut(places);
            match (parts.len(), parts.pop()) {
                (1, Some(part)) => Some(Geometry::LineString(part)),
                (_, Some(last)) => {
                    parts.push(last);
                    Some(Geometry::MultiLineString(parts))
                }
                (_, None) => None,
            }
        }
    }
}

fn append_place(place: &Place, out: &mut Vec<u8>) {
    out.push(b'[');
    append::json_figure(place.x, GEOGRAPHIC_DECIMALS, out);
    out.push(b',');
    append::json_figure(place.y, GEOGRAPHIC_DECIMALS, out);
    if let Some(z) = place.z {
        out.push(b',');
        append::json_figure(z, LENGTH_DECIMALS, out);
    }
    out.push(b']');
}

/// A line in parts, none of which crosses the 180th meridian.
fn cut(places: &[Place]) -> Vec<Vec<Place>> {
    let mut parts = vec![Vec::new()];
    let mut before: Option<&Place> = None;
    for place in places {
        if let Some(from) = before.filter(|from| (from.x - place.x).abs() > 180.0) {
            let side = 180f64.copysign(from.x);
            let reach = place.x + 360f64.copysign(from.x) - from.x;
            let part = if reach == 0.0 {
                0.0
            } else {
                (side - from.x) / reach
            };
            let between = |a: f64, b: f64| a + part * (b - a);
            let edge = |x: f64| Place {
                x,
                y: round(between(from.y, place.y), GEOGRAPHIC_DECIMALS),
                z: from
                    .z
                    .zip(place.z)
                    .map(|(a, b)| round(between(a, b), LENGTH_DECIMALS)),
            };
            if let Some(last) = parts.last_mut() {
                last.push(edge(side));
            }
            parts.push(vec![edge(-side)]);
        }
        if let Some(last) = parts.last_mut() {
            last.push(*place);
        }
        before = Some(place);
    }
    parts
}

/// How far features reach: the box, with the lowest and highest third coordinate of the places that have one. A box has as many
/// numbers as the places with the most coordinates ask for (section 5).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extent {
    longitude: [f64; 2],
    /// Longitudes from 0 to 360°.
    around: [f64; 2],
    latitude: [f64; 2],
    height: [f64; 2],
}

/// Of nothing: every range the wrong way round.
const NOWHERE: [f64; 2] = [f64::INFINITY, f64::NEG_INFINITY];

impl Default for Extent {
    fn default() -> Self {
        Self {
            longitude: NOWHERE,
            around: NOWHERE,
            latitude: NOWHERE,
            height: NOWHERE,
        }
    }
}

fn widen(range: &mut [f64; 2], [low, high]: [f64; 2]) {
    *range = [range[0].min(low), range[1].max(high)];
}

impl Extent {
    /// Of all features.
    #[must_use]
    pub fn of(view: &View<'_>) -> Self {
        let rows = view.features().flat_map(|table| table.rows(view.record));
        Self::of_shapes(rows.map(geometry::geographic))
    }

    fn of_shapes(shapes: impl Iterator<Item = Shape>) -> Self {
        let mut extent = Self::default();
        for shape in shapes {
            for place in shape.places() {
                extent.add(place);
            }
        }
        extent
    }

    fn add(&mut self, place: &Place) {
        let around = if place.x < 0.0 {
            place.x + 360.0
        } else {
            place.x
        };
        widen(&mut self.longitude, [place.x; 2]);
        widen(&mut self.around, [around; 2]);
        widen(&mut self.latitude, [place.y; 2]);
        if let Some(z) = place.z {
            widen(&mut self.height, [z; 2]);
        }
    }

    /// Takes in another.
    pub fn merge(&mut self, other: &Self) {
        widen(&mut self.longitude, other.longitude);
        widen(&mut self.around, other.around);
        widen(&mut self.latitude, other.latitude);
        widen(&mut self.height, other.height);
    }

    /// West, south, east, north, with the heights between; `None` of nothing.
    fn bounds(&self) -> Option<Json> {
        let ([mut west, mut east], [south, north]) = (self.longitude, self.latitude);
        if west > east {
            return None;
        }
        if east - west > 180.0 {
            // A job is small: a box wider than half the earth lies across the 180th meridian.
            let [low, high] = self.around;
            (west, east) = (low, round(high - 360.0, GEOGRAPHIC_DECIMALS));
        }
        let [low, high] = self.height;
        Some(if low > high {
            json!([west, south, east, north])
        } else {
            json!([west, south, low, east, north, high])
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(x: f64, y: f64) -> Place {
        Place { x, y, z: None }
    }

    fn written(shape: &Shape) -> Json {
        let mut out = Vec::new();
        append_geometry(geometry(shape), &mut out);
        serde_json::from_slice(&out).unwrap()
    }

    #[test]
    fn a_line_over_the_180th_meridian_is_cut_there() {
        let line = Shape::Line(vec![place(179.9999, -16.8), place(-179.9999, -16.9)]);
        let cut = written(&line);
        assert_eq!(cut["type"], "MultiLineString");
        assert_eq!(
            cut["coordinates"],
            json!([
                [[179.9999, -16.8], [180.0, -16.85]],
                [[-180.0, -16.85], [-179.9999, -16.9]]
            ])
        );
        assert_eq!(
            Extent::of_shapes(std::iter::once(line)).bounds(),
            Some(json!([179.9999, -16.9, -179.9999, -16.8]))
        );
    }

    #[test]
    fn a_line_elsewhere_is_whole() {
        let line = Shape::Line(vec![place(-0.0001, 51.0), place(0.0001, 51.1)]);
        let whole = written(&line);
        assert_eq!(whole["type"], "LineString");
        assert_eq!(
            Extent::of_shapes(std::iter::once(line)).bounds(),
            Some(json!([-0.0001, 51.0, 0.0001, 51.1]))
        );
    }

    #[test]
    fn a_box_has_heights_as_soon_as_one_place_has() {
        let high = |x: f64, z: f64| Place {
            z: Some(z),
            ..place(x, 51.0)
        };
        let three = Shape::Line(vec![high(0.1, 40.5), high(0.2, 39.5)]);
        let flat = Shape::Point(place(0.3, 51.2));
        let mut extent = Extent::of_shapes([flat.clone()].into_iter());
        assert_eq!(extent.bounds(), Some(json!([0.3, 51.2, 0.3, 51.2])));
        // As sections of a large job are put together.
        extent.merge(&Extent::of_shapes([three].into_iter()));
        let both = Some(json!([0.1, 51.0, 39.5, 0.3, 51.2, 40.5]));
        assert_eq!(extent.bounds(), both);
        extent.merge(&Extent::of_shapes([flat].into_iter()));
        assert_eq!(extent.bounds(), both);
    }

    #[test]
    fn nothing_has_no_box() {
        assert_eq!(Extent::of_shapes(std::iter::empty()).bounds(), None);
        assert!(geometry(&Shape::Nowhere).is_none());
    }
}
