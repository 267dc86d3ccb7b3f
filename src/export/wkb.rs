//! Geometries in well-known binary: ISO 13249-3 for files, PostGIS's extended form for its tables.
//!
//! Little-endian. Easting (longitude) before northing (latitude), whatever axis order the coordinate system declares:
//! [GeoPackage](crate::sources::Source::GeoPackage) and [GeoParquet](crate::sources::Source::GeoParquet) both ask for
//! that.

use super::geometry::{Place, Shape};

/// Bit of PostGIS's geometry type that says that there is a third coordinate.
const EXTENDED_Z: u32 = 0x8000_0000;
/// Bit of PostGIS's geometry type that says that the coordinate system's number follows.
const EXTENDED_SRID: u32 = 0x2000_0000;
/// What ISO adds to a geometry type that has a third coordinate.
const ISO_Z: u32 = 1000;

/// ISO well-known binary; `None` for a feature without a place.
#[must_use]
pub fn iso(shape: &Shape) -> Option<Vec<u8>> {
    let kind = kind(shape)?;
    let kind = if has_z(shape) { kind + ISO_Z } else { kind };
    Some(encode(shape, kind, None))
}

/// PostGIS's extended well-known binary with the number of the coordinate system; `None` for a feature without a place.
#[must_use]
pub fn extended(shape: &Shape, srid: i32) -> Option<Vec<u8>> {
    let mut kind = kind(shape)? | EXTENDED_SRID;
    if has_z(shape) {
        kind |= EXTENDED_Z;
    }
    Some(encode(shape, kind, Some(srid)))
}

/// Whether a shape has its third coordinate.
#[must_use]
pub fn has_z(shape: &Shape) -> bool {
    shape
        .places()
        .first()
        .is_some_and(|place| place.z.is_some())
}

/// Smallest and largest easting, northing and, where there is one, height of places.
#[must_use]
pub fn bounds<'a>(places: impl Iterator<Item = &'a Place> + Clone) -> Option<Bounds> {
    Some(Bounds {
        x: range(places.clone().map(|place| place.x))?,
        y: range(places.clone().map(|place| place.y))?,
        z: range(places.filter_map(|place| place.z)),
    })
}

/// A box: smallest and largest of each coordinate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Easting.
    pub x: [f64; 2],
    /// Northing.
    pub y: [f64; 2],
    /// Height of the places that have one.
    pub z: Option<[f64; 2]>,
}

fn range(values: impl Iterator<Item = f64>) -> Option<[f64; 2]> {
    values.fold(None, |range, value| match range {
        None => Some([value, value]),
        Some([low, high]) => Some([f64::min(low, value), f64::max(high, value)]),
    })
}

const fn kind(shape: &Shape) -> Option<u32> {
    match shape {
        Shape::Nowhere => None,
        Shape::Point(_) => Some(1),
        Shape::Line(_) => Some(2),
    }
}

fn encode(shape: &Shape, kind: u32, srid: Option<i32>) -> Vec<u8> {
    let places = shape.places();
    let mut bytes = Vec::with_capacity(13 + 24 * places.len());
    bytes.push(1);
    bytes.extend(kind.to_le_bytes());
    bytes.extend(srid.into_iter().flat_map(i32::to_le_bytes));
    if matches!(shape, Shape::Line(_)) {
        bytes.extend((places.len() as u32).to_le_bytes());
    }
    for place in places {
        for value in [Some(place.x), Some(place.y), place.z]
            .into_iter()
            .flatten()
        {
            bytes.extend(value.to_le_bytes());
        }
    }
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `LINESTRING Z (-93.2650 44.9778 251.5, -93.2649 44.9779 251.25, -93.2648 44.97795 251)`.
    pub fn line() -> Shape {
        let place = |x, y, z| Place { x, y, z: Some(z) };
        Shape::Line(vec![
            place(-93.2650, 44.9778, 251.5),
            place(-93.2649, 44.9779, 251.25),
            place(-93.2648, 44.97795, 251.0),
        ])
    }

    fn hex(bytes: &[u8]) -> String {
        use std::fmt::Write as _;
        bytes.iter().fold(String::new(), |mut text, byte| {
            let _ = write!(text, "{byte:02X}");
            text
        })
    }

    // Computed with shapely 2.2.0: shapely.to_wkb(line, flavor="iso") and shapely.to_wkb(set_srid(line, 4326),
    // include_srid=True).
    const COORDINATES: &str = "03000000295C8FC2F55057C0B003E78C287D46400000000000706F40772D211FF45057C01361C3D32B7D46400000000000686F40C5FEB27BF25057C0C58F31772D7D46400000000000606F40";

    #[test]
    fn a_line_is_encoded_as_shapely_does() {
        assert_eq!(
            iso(&line()).map(|bytes| hex(&bytes)),
            Some(format!("01EA030000{COORDINATES}"))
        );
        assert_eq!(
            extended(&line(), 4326).map(|bytes| hex(&bytes)),
            Some(format!("01020000A0E6100000{COORDINATES}"))
        );
    }

    #[test]
    fn a_point_without_a_height_has_two_coordinates_and_nowhere_has_none() {
        let flat = Shape::Point(Place {
            x: 1.0,
            y: 2.0,
            z: None,
        });
        assert_eq!(iso(&flat).map(|bytes| bytes.len()), Some(21));
        assert_eq!(extended(&flat, 2264).map(|bytes| bytes.len()), Some(25));
        assert_eq!(iso(&Shape::Nowhere), None);
    }
}
