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
    /// Height of the shape there, where it is drawn with heights.
    pub height: Option<Height>,
}

/// Height of a shape at a place on it, metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Height {
    /// The height.
    pub value: f64,
    /// How it changes with the way along the shape, metres a metre; 0 at an end of it, which doesn't move.
    pub slope: f64,
}

/// A straight of a shape.
#[derive(Clone, Copy, Debug)]
struct Edge {
    line: Line<f64>,
    /// Heights at both ends, NaN where there is none.
    heights: [f64; 2],
}

impl Edge {
    fn at(&self, fraction: f64) -> Option<Height> {
        let [start, end] = self.heights;
        let delta = self.line.delta();
        let length = delta.x.hypot(delta.y);
        let rise = end - start;
        let slope = match (rise == 0.0, fraction > 0.0 && fraction < 1.0) {
            (true, _) | (_, false) => 0.0,
            // Straight down, and so at every height between.
            _ if length <= 0.0 => return None,
            _ => rise / length,
        };
        let value = start + rise * fraction;
        value.is_finite().then_some(Height { value, slope })
    }
}

/// A shape as lines and single points, with the areas that they bound.
#[derive(Debug, Default)]
pub struct Outline {
    edges: Vec<Edge>,
    points: Vec<(Coord<f64>, f64)>,
}

impl Outline {
    /// Of any shape; coordinates less `origin`. `heights` are those of its points, in the order of `coords_iter`.
    #[must_use]
    pub fn of(geometry: &Geometry<f64>, heights: &[f64], origin: Coord<f64>) -> Self {
        let mut outline = Self::default();
        let heights = heights.iter().copied().chain(std::iter::repeat(f64::NAN));
        outline.add(geometry, &mut heights.into_iter(), origin);
        outline
    }

    fn add(
        &mut self,
        geometry: &Geometry<f64>,
        heights: &mut impl Iterator<Item = f64>,
        origin: Coord<f64>,
    ) {
        match geometry {
            Geometry::Point(point) => self.path(&[point.0], heights, origin),
            Geometry::MultiPoint(points) => {
                for point in points {
                    self.path(&[point.0], heights, origin);
                }
            }
            Geometry::Line(line) => self.path(&[line.start, line.end], heights, origin),
            Geometry::LineString(line) => self.path(&line.0, heights, origin),
            Geometry::MultiLineString(lines) => {
                for line in lines {
                    self.path(&line.0, heights, origin);
                }
            }
            Geometry::Polygon(polygon) => self.rings(polygon, heights, origin),
            Geometry::MultiPolygon(polygons) => {
                for polygon in polygons {
                    self.rings(polygon, heights, origin);
                }
            }
            Geometry::GeometryCollection(parts) => {
                for part in parts {
                    self.add(part, heights, origin);
                }
            }
            Geometry::Rect(rect) => self.rings(&rect.to_polygon(), heights, origin),
            Geometry::Triangle(triangle) => self.rings(&triangle.to_polygon(), heights, origin),
        }
    }

    fn rings(
        &mut self,
        polygon: &geo::Polygon<f64>,
        heights: &mut impl Iterator<Item = f64>,
        origin: Coord<f64>,
    ) {
        for ring in std::iter::once(polygon.exterior()).chain(polygon.interiors()) {
            self.path(&ring.0, heights, origin);
        }
    }

    fn path(
        &mut self,
        places: &[Coord<f64>],
        heights: &mut impl Iterator<Item = f64>,
        origin: Coord<f64>,
    ) {
        let places: Vec<_> = places
            .iter()
            .map(|place| *place - origin)
            .zip(heights)
            .collect();
        match places[..] {
            [only] => self.points.push(only),
            _ => self
                .edges
                .extend(places.windows(2).filter_map(|pair| match *pair {
                    [(start, low), (end, high)] => Some(Edge {
                        line: Line::new(start, end),
                        heights: [low, high],
                    }),
                    _ => None,
                })),
        }
    }
}

/// Every place where the run meets the outline, by station. Where they run along each other, the two ends of the stretch.
#[must_use]
pub fn meetings(legs: &[Leg], outline: &Outline) -> Vec<Touch> {
    let mut found = Vec::new();
    for (index, leg) in legs.iter().enumerate() {
        let own = Line::new(leg.a.at, leg.b.at);
        for edge in &outline.edges {
            let delta = edge.line.delta();
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
                    height: edge.at(nearest_fraction(&edge.line, place)),
                });
            };
            match line_intersection(own, edge.line) {
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

/// What of run and outline counts as near each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    /// Everything.
    All,
    /// Straights that lie side by side: within 30° of one direction, and do not meet.
    Beside,
}

/// Sine of the angle between two straights below which they lie side by side (our choice: 30°).
const SIDE_BY_SIDE: f64 = 0.5;

fn side_by_side(one: &Line<f64>, other: &Line<f64>) -> bool {
    let (d, t) = (one.delta(), other.delta());
    let lengths = d.x.hypot(d.y) * t.x.hypot(t.y);
    (d.x * t.y - d.y * t.x).abs() < SIDE_BY_SIDE * lengths
        && line_intersection(*one, *other).is_none()
}

/// The places on each leg that are nearest to the outline, the nearest of all first; none for an empty one. Where that is an end of the
/// leg, which its error may bring nearer or farther, there is a place for the other end too.
#[must_use]
pub fn nearest(legs: &[Leg], outline: &Outline, which: Which) -> Vec<Touch> {
    let legs = legs.iter().enumerate();
    let mut found: Vec<Touch> = legs
        .flat_map(|(index, leg)| nearest_on((index, leg), outline, which))
        .collect();
    found.sort_by(|a, b| a.distance.total_cmp(&b.distance));
    found
}

fn nearest_on((index, leg): (usize, &Leg), outline: &Outline, which: Which) -> Vec<Touch> {
    let (mut best, mut ends): (Option<Touch>, [Option<Touch>; 2]) = (None, [None; 2]);
    let mut put = |u: f64, on_run: Coord<f64>, on_shape: (Coord<f64>, Option<Height>)| {
        let (on_shape, height) = on_shape;
        let away = on_run - on_shape;
        let distance = away.x.hypot(away.y);
        let direction = if distance > 0.0 {
            away / distance
        } else {
            Coord::zero()
        };
        let touch = Touch {
            leg: index,
            u,
            distance,
            direction,
            height,
        };
        let [start, end] = &mut ends;
        let at_end = match u {
            0.0 => Some(start),
            1.0 => Some(end),
            _ => None,
        };
        for slot in std::iter::once(&mut best).chain(at_end) {
            if slot.is_none_or(|known| distance < known.distance) {
                *slot = Some(touch);
            }
        }
    };
    let own = Line::new(leg.a.at, leg.b.at);
    let counts = |edge: &&Edge| which == Which::All || side_by_side(&own, &edge.line);
    for edge in outline.edges.iter().filter(counts) {
        for (on, end) in [(0.0, edge.line.start), (1.0, edge.line.end)] {
            let u = fraction(leg, end);
            put(u, leg.at(u), (end, edge.at(on)));
        }
        for (u, end) in [(0.0, own.start), (1.0, own.end)] {
            let on = nearest_fraction(&edge.line, end);
            let foot = edge.line.start + edge.line.delta() * on;
            put(u, end, (foot, edge.at(on)));
        }
    }
    for (place, z) in outline.points.iter().filter(|_| which == Which::All) {
        let height = Height {
            value: *z,
            slope: 0.0,
        };
        let u = fraction(leg, *place);
        put(u, leg.at(u), (*place, z.is_finite().then_some(height)));
    }
    match best {
        Some(best) if best.u > 0.0 && best.u < 1.0 => vec![best],
        _ => ends.into_iter().flatten().collect(),
    }
}

/// How many places of [`nearest`] may as well be the nearest: those no farther off than the first by `within`.
#[must_use]
pub fn rivals(legs: &[Leg], nearest: &[Touch], within: f64) -> usize {
    let Some(first) = nearest.first() else {
        return 0;
    };
    let rivals = nearest
        .iter()
        .take_while(|touch| touch.distance <= first.distance + within);
    let mut places: Vec<f64> = rivals.map(|touch| order(legs, touch)).collect();
    places.sort_by(f64::total_cmp);
    places.dedup_by(|b, a| (*b - *a).abs() < SAME);
    places.len()
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

/// The fraction of a line's point nearest to a place; 0 of one without length.
#[must_use]
pub fn nearest_fraction(line: &Line<f64>, place: Coord<f64>) -> f64 {
    let (delta, away) = (line.delta(), place - line.start);
    let square = delta.x * delta.x + delta.y * delta.y;
    if square > 0.0 {
        ((delta.x * away.x + delta.y * away.y) / square).clamp(0.0, 1.0)
    } else {
        0.0
    }
}
