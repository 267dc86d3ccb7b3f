//! Well-known binary shapes, as a GeoPackage stores them ([`crate::sources::Source::GeoPackage`], clause 2.1.3, and OGC 06-103r4):
//! both byte orders, Z as heights, M read over, curves refused by name.

use geo::{
    Coord, Geometry, GeometryCollection, LineString, MultiLineString, MultiPoint, MultiPolygon,
    Point, Polygon,
};

use super::Shape;

/// Collections in collections, at most (our choice; a file that goes deeper is broken).
const MAX_DEPTH: u8 = 16;

/// A cursor over bytes.
struct Bytes<'a> {
    rest: &'a [u8],
    little: bool,
    /// Heights of the points read so far, NaN where there is none.
    heights: Vec<f64>,
}

/// What stands behind x and y.
#[derive(Clone, Copy)]
struct Further {
    z: bool,
    m: bool,
}

impl Further {
    /// Bytes of a point.
    fn size(self) -> usize {
        8 * (2 + usize::from(self.z) + usize::from(self.m))
    }
}

impl Bytes<'_> {
    fn array<const N: usize>(&mut self) -> Result<[u8; N], String> {
        let (head, rest) = self
            .rest
            .split_first_chunk::<N>()
            .ok_or("its shape ends too early")?;
        self.rest = rest;
        Ok(*head)
    }

    fn u32(&mut self) -> Result<u32, String> {
        let bytes = self.array()?;
        Ok(if self.little {
            u32::from_le_bytes(bytes)
        } else {
            u32::from_be_bytes(bytes)
        })
    }

    fn f64(&mut self) -> Result<f64, String> {
        let bytes = self.array()?;
        Ok(if self.little {
            f64::from_le_bytes(bytes)
        } else {
            f64::from_be_bytes(bytes)
        })
    }

    /// A count of things of at least `size` bytes each, which must fit what is left.
    fn count(&mut self, size: usize) -> Result<usize, String> {
        let count = self.u32()? as usize;
        if count
            .checked_mul(size)
            .is_none_or(|bytes| bytes > self.rest.len())
        {
            return Err("its shape states more points than it holds".to_owned());
        }
        Ok(count)
    }
}

/// A GeoPackage geometry: header, then WKB. `None` is a shape that is marked empty.
pub fn geopackage(blob: &[u8]) -> Result<Option<Shape>, String> {
    let Some(([b'G', b'P', _version, flags], rest)) = blob.split_first_chunk::<4>() else {
        return Err("its shape is not one of a GeoPackage".to_owned());
    };
    let envelope = match (flags >> 1) & 7 {
        0 => 0,
        1 => 32,
        2 | 3 => 48,
        4 => 64,
        _ => return Err("its shape has an envelope of no known kind".to_owned()),
    };
    if flags & 0x10 != 0 {
        return Ok(None);
    }
    // Four bytes of the reference system's number come before the envelope.
    let body = rest.get(4 + envelope..).ok_or("its shape ends too early")?;
    read(body).map(Some)
}

/// A WKB geometry.
pub fn read(bytes: &[u8]) -> Result<Shape, String> {
    let mut bytes = Bytes {
        rest: bytes,
        little: true,
        heights: Vec::new(),
    };
    let geometry = geometry(&mut bytes, 0)?;
    Ok(Shape {
        geometry,
        heights: bytes.heights,
    })
}

fn geometry(bytes: &mut Bytes<'_>, depth: u8) -> Result<Geometry<f64>, String> {
    if depth > MAX_DEPTH {
        return Err("its shape holds collections in collections without end".to_owned());
    }
    let [order] = bytes.array()?;
    bytes.little = order == 1;
    let code = bytes.u32()?;
    // ISO writes 1000, 2000, 3000 for Z, M, ZM; the older form sets the top bits.
    let (kind, iso, old) = (
        (code & 0x0fff_ffff) % 1000,
        (code & 0x0fff_ffff) / 1000,
        code >> 30,
    );
    if code & 0x2000_0000 != 0 {
        bytes.u32()?;
    }
    let further = match (iso, old) {
        (0, old) => Further {
            z: old & 2 != 0,
            m: old & 1 != 0,
        },
        (1..=3, _) => Further {
            z: iso != 2,
            m: iso != 1,
        },
        _ => return Err(format!("its shape is of a kind that is not read ({code})")),
    };
    Ok(match kind {
        1 => point(bytes, further)?.map_or_else(
            || Geometry::MultiPoint(MultiPoint(Vec::new())),
            Geometry::Point,
        ),
        2 => Geometry::LineString(line(bytes, further)?),
        3 => Geometry::Polygon(polygon(bytes, further)?),
        4 => Geometry::MultiPoint(MultiPoint(parts(bytes, depth, |part| match part {
            Geometry::Point(point) => Some(point),
            _ => None,
        })?)),
        5 => Geometry::MultiLineString(MultiLineString(parts(bytes, depth, |part| match part {
            Geometry::LineString(line) => Some(line),
            _ => None,
        })?)),
        6 => Geometry::MultiPolygon(MultiPolygon(parts(bytes, depth, |part| match part {
            Geometry::Polygon(polygon) => Some(polygon),
            _ => None,
        })?)),
        7 => Geometry::GeometryCollection(GeometryCollection(parts(bytes, depth, Some)?)),
        8..=14 => {
            return Err(
                "its shape has curves, which are not read: stroke them to lines".to_owned(),
            );
        }
        _ => return Err(format!("its shape is of a kind that is not read ({code})")),
    })
}

fn parts<T>(
    bytes: &mut Bytes<'_>,
    depth: u8,
    take: impl Fn(Geometry<f64>) -> Option<T>,
) -> Result<Vec<T>, String> {
    // A part is at least its byte order, its kind and a count.
    let count = bytes.count(9)?;
    (0..count)
        .map(|_| {
            take(geometry(bytes, depth + 1)?).ok_or_else(|| "its shape mixes kinds".to_owned())
        })
        .collect()
}

fn coordinate(bytes: &mut Bytes<'_>, further: Further) -> Result<Coord<f64>, String> {
    let (x, y) = (bytes.f64()?, bytes.f64()?);
    let z = if further.z { bytes.f64()? } else { f64::NAN };
    bytes.heights.push(z);
    if further.m {
        bytes.f64()?;
    }
    Ok(Coord { x, y })
}

/// A point; `None` if it is empty, which WKB writes as not a number.
fn point(bytes: &mut Bytes<'_>, further: Further) -> Result<Option<Point<f64>>, String> {
    let at = coordinate(bytes, further)?;
    let is_empty = at.x.is_nan() && at.y.is_nan();
    if is_empty {
        bytes.heights.pop();
    }
    Ok((!is_empty).then_some(Point(at)))
}

fn line(bytes: &mut Bytes<'_>, further: Further) -> Result<LineString<f64>, String> {
    let count = bytes.count(further.size())?;
    let points = (0..count).map(|_| coordinate(bytes, further));
    Ok(LineString(points.collect::<Result<_, _>>()?))
}

fn polygon(bytes: &mut Bytes<'_>, further: Further) -> Result<Polygon<f64>, String> {
    let count = bytes.count(4)?;
    let mut rings = (0..count)
        .map(|_| line(bytes, further))
        .collect::<Result<Vec<_>, _>>()?
        .into_iter();
    let outer = rings.next().unwrap_or_else(|| LineString(Vec::new()));
    Ok(Polygon::new(outer, rings.collect()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wkb(order: u8, code: u32, body: &[u8]) -> Vec<u8> {
        let code = if order == 1 {
            code.to_le_bytes()
        } else {
            code.to_be_bytes()
        };
        [&[order][..], &code, body].concat()
    }

    #[test]
    fn both_byte_orders_and_every_way_to_write_z() {
        let [x, y, z] = [3.5_f64, -2.25, 9.0];
        let le = [x.to_le_bytes(), y.to_le_bytes(), z.to_le_bytes()].concat();
        let be = [x.to_be_bytes(), y.to_be_bytes(), z.to_be_bytes()].concat();
        let expected = Geometry::Point(Point::new(x, y));
        let both = [&le[..], &1.0_f64.to_le_bytes()].concat();
        for (bytes, height) in [
            (wkb(1, 1, &le[..16]), None),
            (wkb(0, 1, &be[..16]), None),
            (wkb(1, 1001, &le), Some(z)),
            (wkb(1, 2001, &le), None),
            (wkb(1, 3001, &both), Some(z)),
            (wkb(0, 0x8000_0001, &be), Some(z)),
            (wkb(0, 0x4000_0001, &be), None),
            (wkb(1, 0xC000_0001, &both), Some(z)),
            (
                wkb(1, 0x2000_0001, &[&[0, 0, 0, 0][..], &le[..16]].concat()),
                None,
            ),
        ] {
            let shape = read(&bytes).unwrap();
            assert_eq!(shape.geometry, expected, "{bytes:?}");
            let heights: Vec<_> = shape
                .heights
                .iter()
                .map(|z| z.is_finite().then_some(*z))
                .collect();
            assert_eq!(heights, [height], "{bytes:?}");
        }
        let nan = [f64::NAN.to_le_bytes(); 3].concat();
        assert!(read(&wkb(1, 1001, &nan)).unwrap().heights.is_empty());
    }

    #[test]
    fn hostile_bytes_are_errors() {
        let nested: Vec<u8> = (0..1000)
            .flat_map(|_| wkb(1, 7, &1_u32.to_le_bytes()))
            .collect();
        for bytes in [
            vec![],
            vec![1],
            wkb(1, 2, &u32::MAX.to_le_bytes()),
            wkb(1, 8, &[0; 40]),
            wkb(1, 99, &[0; 40]),
            wkb(
                1,
                4,
                &[&1_u32.to_le_bytes()[..], &wkb(1, 2, &0_u32.to_le_bytes())].concat(),
            ),
            nested,
        ] {
            assert!(read(&bytes).is_err(), "{bytes:?}");
        }
        assert!(geopackage(b"GP\0").is_err() && geopackage(b"XX\0\0aaaaaaaa").is_err());
        assert!(geopackage(b"GP\0\x0eaaaa").is_err());
        assert_eq!(geopackage(b"GP\0\x11aaaa"), Ok(None));
    }
}
