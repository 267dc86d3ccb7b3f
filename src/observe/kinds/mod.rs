//! The observation kinds: each file holds a kind's equation with its partial derivatives, and the line or circle that
//! one measured value confines a point to. A new kind is one file and its lines in the three tables below.

use super::{Kind, PointId, ShiftId};
use crate::math::similarity::Similarity;
use crate::math::stats::median;

mod baseline;
mod coordinate;
mod direction;
mod distance;
mod site;

/// East, north in metres.
pub type Plane = (f64, f64);

/// Distance of two places.
#[must_use]
pub fn apart(a: Plane, b: Plane) -> f64 {
    (a.0 - b.0).hypot(a.1 - b.1)
}

/// The median of eastings and that of northings; `None` of no places.
#[must_use]
pub fn middle(places: impl Iterator<Item = Plane>) -> Option<Plane> {
    let (mut east, mut north): (Vec<f64>, Vec<f64>) = places.unzip();
    median(&mut east).zip(median(&mut north))
}

/// The present values of what an equation may hold.
pub trait State {
    /// Place of a point.
    fn place(&self, point: PointId) -> Plane;
    /// East and north of a shared shift.
    fn shift(&self, shift: ShiftId) -> Plane;
    /// Site grid to CRS.
    fn site(&self) -> Similarity;
}

/// A linearised observation.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Equation {
    /// Value computed from the present state, metres or radians.
    pub computed: f64,
    /// It is an angle: differences are taken around the circle.
    pub angular: bool,
    /// Points with the partial derivatives by their east and north.
    pub points: [Option<(PointId, f64, f64)>; 3],
    /// Shared shift with the partial derivatives by its east and north.
    pub shift: Option<(ShiftId, f64, f64)>,
    /// Partial derivatives by the site grid's a, b, e, n.
    pub site: Option<[f64; 4]>,
}

/// Where one measured value confines a point to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Locus {
    /// On a circle.
    Circle {
        /// Centre.
        centre: Plane,
        /// Radius, metres.
        radius: f64,
    },
    /// On a line.
    Line {
        /// A point of it.
        through: Plane,
        /// Its grid azimuth, radians.
        azimuth: f64,
        /// Only forward from `through`.
        ray: bool,
    },
}

/// Grid azimuth from one place to another, radians in (−π, π].
#[must_use]
pub fn azimuth(from: Plane, to: Plane) -> f64 {
    (to.0 - from.0).atan2(to.1 - from.1)
}

/// An angle brought into (−π, π].
#[must_use]
pub fn around(angle: f64) -> f64 {
    let turn = std::f64::consts::TAU;
    let rest = angle.rem_euclid(turn);
    if rest > turn / 2.0 { rest - turn } else { rest }
}

/// Unit vector of a grid azimuth.
#[must_use]
pub fn unit(azimuth: f64) -> Plane {
    azimuth.sin_cos()
}

/// Partial derivatives of azimuth(from → to) by the east and north of `to`; zero where both coincide.
fn azimuth_partials(from: Plane, to: Plane) -> Plane {
    let (e, n) = (to.0 - from.0, to.1 - from.1);
    let square = e * e + n * n;
    if square > 0.0 {
        (n / square, -e / square)
    } else {
        (0.0, 0.0)
    }
}

impl Kind {
    /// The equation at the present state.
    #[must_use]
    pub fn equation(&self, state: &impl State) -> Equation {
        match *self {
            Self::Distance { from, to } => distance::equation(from, to, state),
            Self::Station { from, to, at } => baseline::station(from, to, at, state),
            Self::Offset { from, to, at } => baseline::offset(from, to, at, state),
            Self::Angle { at, from, to } => direction::angle(at, from, to, state),
            Self::Azimuth { from, to } => direction::azimuth_equation(from, to, state),
            Self::East { at, shift } => coordinate::east(at, shift, state),
            Self::North { at, shift } => coordinate::north(at, shift, state),
            Self::SiteX { at } => site::x(at, state),
            Self::SiteY { at } => site::y(at, state),
        }
    }

    /// Where a measured value confines `point` to, the other points being known; `None` if it says nothing yet.
    #[must_use]
    pub fn locus(
        &self,
        value: f64,
        point: PointId,
        known: &dyn Fn(PointId) -> Option<Plane>,
        grid: Option<&Similarity>,
    ) -> Option<Locus> {
        match *self {
            Self::Distance { from, to } => distance::locus(value, point, (from, to), known),
            Self::Station { from, to, at } => {
                baseline::station_locus(value, point, (from, to, at), known)
            }
            Self::Offset { from, to, at } => {
                baseline::offset_locus(value, point, (from, to, at), known)
            }
            Self::Angle { at, from, to } => {
                direction::angle_locus(value, point, (at, from, to), known)
            }
            Self::Azimuth { from, to } => direction::azimuth_locus(value, point, (from, to), known),
            Self::East { .. } => Some(coordinate::east_locus(value)),
            Self::North { .. } => Some(coordinate::north_locus(value)),
            Self::SiteX { .. } => grid.map(|grid| site::x_locus(value, grid)),
            Self::SiteY { .. } => grid.map(|grid| site::y_locus(value, grid)),
        }
    }

    /// The point whose coordinate is measured, in the grid or on the site.
    #[must_use]
    pub const fn coordinate_of(&self) -> Option<PointId> {
        match *self {
            Self::East { at, .. }
            | Self::North { at, .. }
            | Self::SiteX { at }
            | Self::SiteY { at } => Some(at),
            _ => None,
        }
    }

    /// The points that the equation holds.
    #[must_use]
    pub fn points(&self) -> [Option<PointId>; 3] {
        match *self {
            Self::Distance { from, to } | Self::Azimuth { from, to } => {
                [Some(from), Some(to), None]
            }
            Self::Station { from, to, at }
            | Self::Offset { from, to, at }
            | Self::Angle { at, from, to } => [Some(from), Some(to), Some(at)],
            Self::East { at, .. }
            | Self::North { at, .. }
            | Self::SiteX { at }
            | Self::SiteY { at } => [Some(at), None, None],
        }
    }

    /// The word for it in the record.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Distance { .. } => "distance",
            Self::Station { .. } => "station",
            Self::Offset { .. } => "offset",
            Self::Angle { .. } => "angle",
            Self::Azimuth { .. } => "bearing",
            Self::East { .. } => "easting",
            Self::North { .. } => "northing",
            Self::SiteX { .. } => "x",
            Self::SiteY { .. } => "y",
        }
    }

    /// Whether its value is an angle.
    #[must_use]
    pub const fn is_angular(&self) -> bool {
        matches!(self, Self::Angle { .. } | Self::Azimuth { .. })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Fixed {
        places: [Plane; 3],
        shift: Plane,
        site: Similarity,
    }

    impl State for Fixed {
        fn place(&self, point: PointId) -> Plane {
            self.places[point.0 as usize]
        }
        fn shift(&self, _: ShiftId) -> Plane {
            self.shift
        }
        fn site(&self) -> Similarity {
            self.site
        }
    }

    const POINTS: [PointId; 3] = [PointId(0), PointId(1), PointId(2)];

    fn all_kinds() -> Vec<Kind> {
        let [from, to, at] = POINTS;
        let shift = Some(ShiftId(0));
        vec![
            Kind::Distance { from, to },
            Kind::Station { from, to, at },
            Kind::Offset { from, to, at },
            Kind::Angle { at, from, to },
            Kind::Azimuth { from, to },
            Kind::East { at, shift },
            Kind::North { at, shift },
            Kind::SiteX { at },
            Kind::SiteY { at },
        ]
    }

    fn state() -> Fixed {
        Fixed {
            places: [(3.0, 4.0), (17.0, -9.0), (8.0, 21.0)],
            shift: (0.3, -0.2),
            site: Similarity {
                origin: (100.0, 50.0),
                parameters: [0.9, 0.3, 5.0, 6.0],
            },
        }
    }

    /// Central differences agree with every partial derivative.
    #[test]
    fn partials_are_the_derivatives() {
        let h = 1e-6;
        let slope = |kind: &Kind, change: &dyn Fn(&mut Fixed, f64)| {
            let at = |h: f64| {
                let mut state = state();
                change(&mut state, h);
                kind.equation(&state).computed
            };
            (at(h) - at(-h)) / (2.0 * h)
        };
        for kind in all_kinds() {
            let equation = kind.equation(&state());
            for (point, e, n) in equation.points.iter().flatten() {
                let i = point.0 as usize;
                assert!(
                    (slope(&kind, &|s, h| s.places[i].0 += h) - e).abs() < 1e-7,
                    "{kind:?} e{i}"
                );
                assert!(
                    (slope(&kind, &|s, h| s.places[i].1 += h) - n).abs() < 1e-7,
                    "{kind:?} n{i}"
                );
            }
            let listed = equation.points.iter().flatten().count();
            assert_eq!(listed, kind.points().iter().flatten().count(), "{kind:?}");
            if let Some((_, e, n)) = equation.shift {
                assert!((slope(&kind, &|s, h| s.shift.0 += h) - e).abs() < 1e-7);
                assert!((slope(&kind, &|s, h| s.shift.1 += h) - n).abs() < 1e-7);
            }
            for (i, want) in equation.site.iter().flatten().enumerate() {
                assert!(
                    (slope(&kind, &|s, h| s.site.parameters[i] += h) - want).abs() < 1e-6,
                    "{kind:?} p{i}"
                );
            }
        }
    }

    /// The point lies on the locus of each of its own exact measurements.
    #[test]
    fn a_point_lies_on_its_loci() {
        let state = state();
        for kind in all_kinds() {
            let value = match kind {
                Kind::East { .. } => state.places[2].0,
                Kind::North { .. } => state.places[2].1,
                _ => kind.equation(&state).computed,
            };
            for point in kind.points().into_iter().flatten() {
                let known = |p: PointId| (p != point).then(|| state.places[p.0 as usize]);
                let Some(locus) = kind.locus(value, point, &known, Some(&state.site)) else {
                    continue;
                };
                let (e, n) = state.places[point.0 as usize];
                let miss = match locus {
                    Locus::Circle { centre, radius } => (e - centre.0).hypot(n - centre.1) - radius,
                    Locus::Line {
                        through, azimuth, ..
                    } => {
                        let (s, c) = unit(azimuth);
                        (e - through.0) * c - (n - through.1) * s
                    }
                };
                assert!(miss.abs() < 1e-9, "{kind:?} {point:?}: {miss}");
            }
        }
    }

    #[test]
    fn right_of_the_line_is_positive() {
        let places = [(0.0, 0.0), (0.0, 10.0), (2.0, 3.0)];
        let state = Fixed { places, ..state() };
        let [from, to, at] = POINTS;
        assert_eq!(Kind::Offset { from, to, at }.equation(&state).computed, 2.0);
        assert_eq!(
            Kind::Station { from, to, at }.equation(&state).computed,
            3.0
        );
    }
}
