//! Where a run's line meets a shape, and where it comes nearest to one.

use geo::line_intersection::{LineIntersection, line_intersection};
use geo::{Contains, Coord, Geometry, Line};

use super::leg::Leg;

/// Places on a run closer than this are one, metres (our choice: far below any drawing's precision).
const SAME: f64 = 1e-6;

/// A place on a run, and what of the shape is there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Touch {
    /// Index of the leg.
    pub leg: usize,
    /// Fraction on it.
    pub u: f64,
    /// From the run to the shape; 0 where they meet.
    pub distance: f64,
    /// Unit vector: of the shape's line where they meet, from the shape to the run where they don't.
    pub direction: Coord<f64>,
}

/// A shape as lines and single points, with the areas that they bound.
#[derive(Debug, Default)]
pub struct Outline {
    lines: Vec<Line<f64>>,
    points: Vec<Coord<f64>>,
}

impl Outline {
    /// Of any shape; coordinates less `origin`.
    #[must_use]
    pub fn of(geometry: &Geometry<f64>, origin: Coord<f64>) -> Self {
        let mut outline = Self::default();
        outline.add(geometry, origin);
        outline
    }

    fn add(&mut self, geometry: &Geometry<f64>, origin: Coord<f64>) {
        let mut path = |line: &geo::LineString<f64>| match &line.0[..] {
            [only] => self.points.push(*only - origin),
            _ => self.lines.extend(
                line.lines()
                    .map(|line| Line::new(line.start - origin, line.end - origin)),
            ),
        };
        match geometry {
            Geometry::Point(point) => self.points.push(point.0 - origin),
            Geometry::MultiPoint(points) => self
                .points
                .extend(points.iter().map(|point| point.0 - origin)),
            Geometry::Line(line) => self
                .lines
                .push(Line::new(line.start - origin, line.end - origin)),
            Geometry::LineString(line) => path(line),
            Geometry::MultiLineString(lines) => lines.iter().for_each(path),
            Geometry::Polygon(polygon) => {
                path(polygon.exterior());
                polygon.interiors().iter().for_each(path);
            }
            Geometry::MultiPolygon(polygons) => {
                for polygon in polygons {
                    path(polygon.exterior());
                    polygon.interiors().iter().for_each(&mut path);
                }
            }
            Geometry::GeometryCollection(parts) => {
                parts.iter().for_each(|part| self.add(part, origin));
            }
            Geometry::Rect(rect) => path(rect.to_polygon().exterior()),
            Geometry::Triangle(triangle) => path(triangle.to_polygon().exterior()),
        }
    }
}

/// Every place where the run meets the outline, by station. Where they run along each other, the two ends of the stretch.
#[must_use]
pub fn meetings(legs: &[Leg], outline: &Outline) -> Vec<Touch> {
    let mut found = Vec::new();
    for (index, leg) in legs.iter().enumerate() {
        let own = Line::new(leg.a.at, leg.b.at);
        for line in &outline.lines {
            let delta = line.delta();
            let length = delta.x.hypot(delta.y);
            let direction = if length > 0.0 {
                delta / length
            } else {
                Coord::zero()
            };
            let mut put = |place: Coord<f64>| {
                found.push(Touch {
                    leg: index,
                    u: fraction(leg, place),
                    distance: 0.0,
                    direction,
                });
            };
            match line_intersection(own, *line) {
                Some(LineIntersection::SinglePoint { intersection, .. }) => put(intersection),
                Some(LineIntersection::Collinear { intersection }) => {
                    put(intersection.start);
                    put(intersection.end);
                }
                None => {}
            }
        }
    }
    found.sort_by(|a, b| order(legs, a).total_cmp(&order(legs, b)));
    found.dedup_by(|b, a| (order(legs, b) - order(legs, a)).abs() < SAME);
    found
}

/// Place along the run, whatever way its stations count.
fn order(legs: &[Leg], touch: &Touch) -> f64 {
    let before: f64 = legs.iter().take(touch.leg).map(|leg| leg.length).sum();
    before + touch.u * legs.get(touch.leg).map_or(0.0, |leg| leg.length)
}

/// The place on the run that is nearest to the outline; `None` for an empty one.
#[must_use]
pub fn nearest(legs: &[Leg], outline: &Outline) -> Option<Touch> {
    let mut best: Option<Touch> = None;
    let mut put = |leg: usize, u: f64, on_run: Coord<f64>, on_shape: Coord<f64>| {
        let away = on_run - on_shape;
        let distance = away.x.hypot(away.y);
        if best.is_none_or(|best| distance < best.distance) {
            let direction = if distance > 0.0 {
                away / distance
            } else {
                Coord::zero()
            };
            best = Some(Touch {
                leg,
                u,
                distance,
                direction,
            });
        }
    };
    for (index, leg) in legs.iter().enumerate() {
        let own = Line::new(leg.a.at, leg.b.at);
        let shape_ends = outline.lines.iter().flat_map(|line| [line.start, line.end]);
        for end in shape_ends.chain(outline.points.iter().copied()) {
            let u = fraction(leg, end);
            put(index, u, leg.at(u), end);
        }
        for line in &outline.lines {
            for (u, end) in [(0.0, own.start), (1.0, own.end)] {
                put(index, u, end, foot(line, end));
            }
        }
    }
    best
}

/// Whether a run that meets no edge lies inside the shape.
#[must_use]
pub fn inside(legs: &[Leg], origin: Coord<f64>, geometry: &Geometry<f64>) -> bool {
    legs.first().is_some_and(|leg| match geometry {
        Geometry::Polygon(_) | Geometry::MultiPolygon(_) | Geometry::GeometryCollection(_) => {
            geometry.contains(&geo::Point(leg.a.at + origin))
        }
        _ => false,
    })
}

/// The fraction of the leg's point nearest to a place.
fn fraction(leg: &Leg, place: Coord<f64>) -> f64 {
    nearest_fraction(&Line::new(leg.a.at, leg.b.at), place)
}

fn nearest_fraction(line: &Line<f64>, place: Coord<f64>) -> f64 {
    let (delta, away) = (line.delta(), place - line.start);
    let square = delta.x * delta.x + delta.y * delta.y;
    if square > 0.0 {
        ((delta.x * away.x + delta.y * away.y) / square).clamp(0.0, 1.0)
    } else {
        0.0
    }
}

/// The point of a line nearest to a place.
fn foot(line: &Line<f64>, place: Coord<f64>) -> Coord<f64> {
    line.start + line.delta() * nearest_fraction(line, place)
}
