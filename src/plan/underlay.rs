//! What a site plan shows about the job, for the drawing under the runs: lines cut to the surroundings and thinned.

use geo::{Coord, CoordsIter, Geometry, LineString, Rect};

use super::{Feature, Site};
use crate::record::model::PlanShape;

/// The surroundings that are kept: this far about the job at least, metres, and half its longer side (our choice: what the paper
/// shows beyond the run).
const ABOUT: f64 = 30.0;

/// Points nearer than this to the one kept before are left out, metres (our choice: a fifth of a line's width at 1:100).
const THIN: f64 = 0.02;

/// Points that a record takes at most (our choice: a dense street plan; more is a map, and makes record and page heavy).
const MOST: usize = 20_000;

/// Shapes in the CRS's unit, in the features' order; whether some had to be left out.
#[must_use]
pub fn shapes(features: &[Feature], site: &Site) -> (Vec<PlanShape>, bool) {
    let about = about(&site.extent);
    let mut shapes = Vec::new();
    let mut points = 0;
    for feature in features {
        for line in lines(&feature.geometry) {
            for part in cut(&line, &about) {
                points += part.len();
                if points > MOST {
                    return (shapes, true);
                }
                let grid = |c: Coord<f64>| [c.x / site.unit_metres, c.y / site.unit_metres];
                shapes.push(PlanShape {
                    layer: feature.layer.to_string(),
                    role: feature.role.word().to_owned(),
                    points: part.into_iter().map(grid).collect(),
                });
            }
        }
    }
    (shapes, false)
}

fn about(extent: &Rect<f64>) -> Rect<f64> {
    let more = ABOUT.max(extent.width().max(extent.height()) / 2.0);
    let (low, high) = (extent.min(), extent.max());
    Rect::new((low.x - more, low.y - more), (high.x + more, high.y + more))
}

/// Every line, edge and point of a shape.
fn lines(geometry: &Geometry<f64>) -> Vec<Vec<Coord<f64>>> {
    let ring = |ring: &LineString<f64>| ring.0.clone();
    match geometry {
        Geometry::LineString(line) => vec![ring(line)],
        Geometry::MultiLineString(many) => many.iter().map(ring).collect(),
        Geometry::Polygon(polygon) => std::iter::once(polygon.exterior())
            .chain(polygon.interiors())
            .map(ring)
            .collect(),
        Geometry::MultiPolygon(many) => many
            .iter()
            .flat_map(|polygon| std::iter::once(polygon.exterior()).chain(polygon.interiors()))
            .map(ring)
            .collect(),
        Geometry::GeometryCollection(many) => many.iter().flat_map(lines).collect(),
        other => other.coords_iter().map(|place| vec![place]).collect(),
    }
}

/// The parts of a line of which some segment may be seen in the rectangle, thinned.
fn cut(line: &[Coord<f64>], about: &Rect<f64>) -> Vec<Vec<Coord<f64>>> {
    let meets = |a: Coord<f64>, b: Coord<f64>| {
        let segment = Rect::new(a, b);
        super::far::gap(&segment, about) <= 0.0
    };
    if let [only] = line {
        let seen = meets(*only, *only);
        return seen.then(|| vec![*only]).into_iter().collect();
    }
    let mut parts: Vec<Vec<Coord<f64>>> = Vec::new();
    let mut open: Vec<Coord<f64>> = Vec::new();
    for (a, b) in line.iter().zip(line.iter().skip(1)) {
        if meets(*a, *b) {
            if open.is_empty() {
                open.push(*a);
            }
            open.push(*b);
        } else if !open.is_empty() {
            parts.push(std::mem::take(&mut open));
        }
    }
    parts.push(open);
    let parts = parts.into_iter().filter(|part| part.len() > 1);
    parts.map(|part| thinned(&part)).collect()
}

/// Ends stay.
fn thinned(line: &[Coord<f64>]) -> Vec<Coord<f64>> {
    let mut kept: Vec<Coord<f64>> = Vec::new();
    let last = line.len().saturating_sub(1);
    for (at, place) in line.iter().enumerate() {
        let near = |before: &Coord<f64>| (place.x - before.x).hypot(place.y - before.y) < THIN;
        if at == last || !kept.last().is_some_and(near) {
            kept.push(*place);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_keeps_what_comes_near_and_its_ends() {
        let about = Rect::new((0.0, 0.0), (10.0, 10.0));
        let at = |x: f64, y: f64| Coord { x, y };
        let line = [
            at(-50.0, 5.0),
            at(-20.0, 5.0),
            at(5.0, 5.0),
            at(5.001, 5.0),
            at(30.0, 5.0),
            at(60.0, 5.0),
            at(60.0, 90.0),
        ];
        let parts = cut(&line, &about);
        assert_eq!(parts, [vec![at(-20.0, 5.0), at(5.0, 5.0), at(30.0, 5.0)]]);
        assert_eq!(cut(&[at(3.0, 3.0)], &about).len(), 1);
        assert!(cut(&[at(-3.0, 3.0)], &about).is_empty() && cut(&[], &about).is_empty());
    }
}
