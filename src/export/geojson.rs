//! `asbuilt.geojson`: [RFC 7946](crate::sources::Source::Rfc7946), one feature a line.
//!
//! Longitude, latitude in WGS 84, no `crs` member; a third coordinate, in metres above the ellipsoid, only where it is
//! known. A line that crosses the 180th meridian is cut there (section 3.1.9), and the box then has its western edge
//! greater than its eastern one (section 5.2).

use std::io::{self, Write};

use serde::ser::{Serialize, SerializeMap, Serializer};
use serde_json::{Value as Json, json};

use super::geometry::{self, Place, Shape};
use super::table::{Row, Table};
use super::value::{GEOGRAPHIC_DECIMALS, LENGTH_DECIMALS, Value, round};
use super::{Format, View, draft, rows};
use crate::record::AsBuilt;

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
        write_head(view, out)?;
        let mut begun = false;
        for table in view.features() {
            rows::write(table.rows(view.record), out, &|first, rows, bytes| {
                for (at, row) in rows.iter().enumerate() {
                    let alone = first && at == 0 && !begun;
                    bytes.extend_from_slice(if alone { b"\n" } else { b",\n" });
                    serde_json::to_writer(&mut *bytes, &Feature { table, row: *row })?;
                }
                Ok(())
            })?;
            begun |= table.rows(view.record).next().is_some();
        }
        out.write_all(b"\n]}\n")
    }
}

/// Why a job in site coordinates has no file in longitude and latitude.
#[must_use]
pub fn no_georeference(record: &AsBuilt) -> Option<String> {
    record.frame.local.then(|| {
        "the job is in site coordinates and nothing ties it to the earth: give [grid] crs, and control points that have \
         both x, y and easting, northing"
            .to_owned()
    })
}

fn write_head(view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
    out.write_all(b"{\"type\":\"FeatureCollection\"")?;
    if let Some(draft) = &view.record.draft {
        write!(
            out,
            ",\"{}\":{}",
            draft::PROPERTY,
            Json::from(draft.words())
        )?;
    }
    let shapes = view
        .features()
        .flat_map(|table| table.rows(view.record).map(geometry::geographic));
    if let Some(bounds) = bounds(shapes) {
        write!(out, ",\"bbox\":{bounds}")?;
    }
    out.write_all(b",\"features\":[")
}

struct Feature<'a> {
    table: &'a Table,
    row: Row<'a>,
}

impl Serialize for Feature<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        map.serialize_entry("type", "Feature")?;
        map.serialize_entry("id", super::columns::id(self.row.item))?;
        map.serialize_entry("geometry", &geometry(&geometry::geographic(self.row)))?;
        map.serialize_entry("properties", &Properties(self))?;
        map.end()
    }
}

struct Properties<'a>(&'a Feature<'a>);

impl Serialize for Properties<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        for column in &self.0.table.columns {
            let value: Value<'_> = column.value(self.0.row);
            if !value.is_absent() {
                map.serialize_entry(&column.name, &value)?;
            }
        }
        map.end()
    }
}

fn geometry(shape: &Shape) -> Json {
    match shape {
        Shape::Nowhere => Json::Null,
        Shape::Point(place) => json!({"type": "Point", "coordinates": position(place)}),
        Shape::Line(places) => {
            let mut parts = cut(places);
            match (parts.len(), parts.pop()) {
                (1, Some(part)) => json!({"type": "LineString", "coordinates": part}),
                (_, Some(last)) => {
                    parts.push(last);
                    json!({"type": "MultiLineString", "coordinates": parts})
                }
                (_, None) => Json::Null,
            }
        }
    }
}

fn position(place: &Place) -> Vec<f64> {
    [place.x, place.y].into_iter().chain(place.z).collect()
}

/// A line in parts, none of which crosses the 180th meridian.
fn cut(places: &[Place]) -> Vec<Vec<Vec<f64>>> {
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
                last.push(position(&edge(side)));
            }
            parts.push(vec![position(&edge(-side))]);
        }
        if let Some(last) = parts.last_mut() {
            last.push(position(place));
        }
        before = Some(place);
    }
    parts
}

/// West, south, east, north; with the lowest and highest third coordinate where every place has one.
fn bounds(shapes: impl Iterator<Item = Shape>) -> Option<Json> {
    let places: Vec<Place> = shapes.flat_map(|shape| shape.places().to_vec()).collect();
    let [mut west, mut east] = range(places.iter().map(|place| place.x))?;
    if east - west > 180.0 {
        // A job is small: a box wider than half the earth lies across the 180th meridian.
        let [low, high] = range(places.iter().map(|place| {
            if place.x < 0.0 {
                place.x + 360.0
            } else {
                place.x
            }
        }))?;
        (west, east) = (low, round(high - 360.0, GEOGRAPHIC_DECIMALS));
    }
    let [south, north] = range(places.iter().map(|place| place.y))?;
    let heights: Option<Vec<f64>> = places.iter().map(|place| place.z).collect();
    Some(
        match heights.and_then(|heights| range(heights.into_iter())) {
            Some([low, high]) => json!([west, south, low, east, north, high]),
            None => json!([west, south, east, north]),
        },
    )
}

fn range(values: impl Iterator<Item = f64>) -> Option<[f64; 2]> {
    values.fold(None, |range, value| match range {
        None => Some([value, value]),
        Some([low, high]) => Some([f64::min(low, value), f64::max(high, value)]),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(x: f64, y: f64) -> Place {
        Place { x, y, z: None }
    }

    #[test]
    fn a_line_over_the_180th_meridian_is_cut_there() {
        let line = Shape::Line(vec![place(179.9999, -16.8), place(-179.9999, -16.9)]);
        let cut = geometry(&line);
        assert_eq!(cut["type"], "MultiLineString");
        assert_eq!(
            cut["coordinates"],
            json!([
                [[179.9999, -16.8], [180.0, -16.85]],
                [[-180.0, -16.85], [-179.9999, -16.9]]
            ])
        );
        assert_eq!(
            bounds(std::iter::once(line)),
            Some(json!([179.9999, -16.9, -179.9999, -16.8]))
        );
    }

    #[test]
    fn a_line_elsewhere_is_whole() {
        let line = Shape::Line(vec![place(-0.0001, 51.0), place(0.0001, 51.1)]);
        assert_eq!(geometry(&line)["type"], "LineString");
        assert_eq!(
            bounds(std::iter::once(line)),
            Some(json!([-0.0001, 51.0, 0.0001, 51.1]))
        );
    }

    #[test]
    fn nothing_has_no_box() {
        assert_eq!(bounds(std::iter::empty()), None);
        assert_eq!(geometry(&Shape::Nowhere), Json::Null);
    }
}
