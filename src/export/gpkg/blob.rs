//! Geometries as [GeoPackage](crate::sources::Source::GeoPackage) holds them (clause 2.1.3): a header with the box, then
//! ISO well-known binary. And the functions on them that the spatial index asks for.

use rusqlite::functions::FunctionFlags;
use rusqlite::types::{Value, ValueRef};
use rusqlite::{Connection, Error};

use crate::export::geometry::Shape;
use crate::export::wkb;

/// A geometry for a column of a GeoPackage; `None` for a feature without a place.
#[must_use]
pub fn encode(shape: &Shape, srs: i32) -> Option<Vec<u8>> {
    let body = wkb::iso(shape)?;
    let bounds = wkb::bounds(shape.places().iter())?;
    // A point is its own box; a line carries one, with heights where it has them.
    let (code, envelope): (u8, Vec<f64>) = match (shape, bounds.z) {
        (Shape::Line(_), None) => (1, [bounds.x, bounds.y].concat()),
        (Shape::Line(_), Some(z)) => (2, [bounds.x, bounds.y, z].concat()),
        _ => (0, Vec::new()),
    };
    let mut blob = vec![b'G', b'P', 0, code << 1 | 1];
    blob.extend(srs.to_le_bytes());
    blob.extend(envelope.iter().flat_map(|value| value.to_le_bytes()));
    blob.extend(body);
    Some(blob)
}

/// Smallest and largest x and y of a geometry that [`encode`] wrote; `None` for anything else.
fn bounds(blob: &[u8]) -> Option<[f64; 4]> {
    let flags = *blob.get(3)?;
    if blob.get(..3)? != b"GP\0" || flags & 1 == 0 {
        return None;
    }
    let number = |at: usize| {
        let bytes: [u8; 8] = blob.get(at..at + 8)?.try_into().ok()?;
        Some(f64::from_le_bytes(bytes))
    };
    let envelope = flags & 0b1110;
    if envelope == 0 {
        // A point: header of 8 bytes, byte order and type of 5.
        let (x, y) = (number(13)?, number(21)?);
        return Some([x, x, y, y]);
    }
    Some([number(8)?, number(16)?, number(24)?, number(32)?])
}

/// Gives a connection `ST_MinX`, `ST_MaxX`, `ST_MinY`, `ST_MaxY` and `ST_IsEmpty`, which the triggers of the spatial
/// index call.
///
/// # Errors
/// SQLite's.
pub fn add_functions(connection: &Connection) -> Result<(), Error> {
    let flags = FunctionFlags::SQLITE_UTF8 | FunctionFlags::SQLITE_DETERMINISTIC;
    for (index, name) in ["ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"]
        .into_iter()
        .enumerate()
    {
        connection.create_scalar_function(name, 1, flags, move |context| {
            let value = of(context.get_raw(0)).and_then(|bounds| bounds.get(index).copied());
            Ok(value.map_or(Value::Null, Value::Real))
        })?;
    }
    connection.create_scalar_function("ST_IsEmpty", 1, flags, |context| {
        Ok(i64::from(of(context.get_raw(0)).is_none()))
    })
}

fn of(value: ValueRef<'_>) -> Option<[f64; 4]> {
    match value {
        ValueRef::Blob(blob) => bounds(blob),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::geometry::Place;

    #[test]
    fn a_line_has_its_box_before_it() {
        let place = |x, y, z| Place { x, y, z: Some(z) };
        let line = Shape::Line(vec![
            place(-93.2650, 44.9778, 251.5),
            place(-93.2649, 44.9779, 251.25),
            place(-93.2648, 44.97795, 251.0),
        ]);
        let blob = encode(&line, 4326).unwrap_or_default();
        let head: String = blob
            .iter()
            .take(56)
            .map(|byte| format!("{byte:02X}"))
            .collect();
        // Box computed with numpy from the same coordinates, header by the standard's table.
        assert_eq!(
            head,
            "47500005E6100000295C8FC2F55057C0C5FEB27BF25057C0B003E78C287D4640C58F31772D7D46400000000000606F400000000000706F40"
        );
        assert_eq!(blob.get(56..), wkb::iso(&line).as_deref());
        assert_eq!(bounds(&blob), Some([-93.2650, -93.2648, 44.9778, 44.97795]));
    }

    #[test]
    fn a_point_is_its_own_box_and_rubbish_has_none() {
        let point = Shape::Point(Place {
            x: 1.5,
            y: -2.0,
            z: None,
        });
        let blob = encode(&point, 2264).unwrap_or_default();
        assert_eq!(blob.len(), 8 + 21);
        assert_eq!(bounds(&blob), Some([1.5, 1.5, -2.0, -2.0]));
        assert_eq!(bounds(b"GP"), None);
        assert_eq!(bounds(b"GP\0\x01short"), None);
    }
}
