//! Geometries of features, from the record's coordinates: nothing is computed but rounding and the unit of z.

use crate::record::AsBuilt;
use crate::record::model::{Geographic, Run};

use super::table::{Item, Row};
use super::value::{GEOGRAPHIC_DECIMALS, LENGTH_DECIMALS, round};

/// A place: two coordinates, and the third where it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Easting or longitude.
    pub x: f64,
    /// Northing or latitude.
    pub y: f64,
    /// Height.
    pub z: Option<f64>,
}

/// A feature's geometry. A line has a third coordinate at every place or at none.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// It has no place.
    Nowhere,
    /// A point.
    Point(Place),
    /// Two places or more, in the direction of flow.
    Line(Vec<Place>),
}

impl Shape {
    /// Its places.
    #[must_use]
    pub fn places(&self) -> &[Place] {
        match self {
            Self::Nowhere => &[],
            Self::Point(place) => std::slice::from_ref(place),
            Self::Line(places) => places,
        }
    }

    fn line(mut places: Vec<Place>) -> Self {
        // One vertex is no line; its mark is there as a point.
        if places.len() < 2 {
            return Self::Nowhere;
        }
        if places.iter().any(|place| place.z.is_none()) {
            for place in &mut places {
                place.z = None;
            }
        }
        Self::Line(places)
    }
}

/// Longitude, latitude in WGS 84 degrees, ellipsoidal height of the invert in metres.
#[must_use]
pub fn geographic(row: Row<'_>) -> Shape {
    let point = |place: Option<Geographic>| {
        place.map_or(Shape::Nowhere, |place| Shape::Point(on_earth(place)))
    };
    match row.item {
        Item::Run(run) => {
            let places: Option<Vec<_>> = run
                .vertices
                .iter()
                .map(|vertex| vertex.geographic.map(on_earth))
                .collect();
            places.map_or(Shape::Nowhere, Shape::line)
        }
        Item::Mark(mark) => point(mark.geographic),
        Item::Camera(camera) => point(camera.geographic),
        Item::Reference(reference) => point(reference.geographic),
        Item::Vertex(_, vertex) => point(vertex.geographic),
        Item::Crossing(crossing) => point(crossing.geographic),
        Item::Tie(_) | Item::Finding(_) => Shape::Nowhere,
    }
}

fn on_earth(place: Geographic) -> Place {
    Place {
        x: round(place.longitude, GEOGRAPHIC_DECIMALS),
        y: round(place.latitude, GEOGRAPHIC_DECIMALS),
        z: place
            .ellipsoidal_height
            .map(|height| round(height, LENGTH_DECIMALS)),
    }
}

/// Easting, northing in the CRS's unit, and the invert's elevation in the same unit.
#[must_use]
pub fn projected(row: Row<'_>) -> Shape {
    let Some(record) = row.record else {
        return Shape::Nowhere;
    };
    let point = |x, y, z| Shape::Point(on_grid(record, x, y, z));
    match row.item {
        Item::Run(run) => Shape::line(vertices(record, run)),
        Item::Mark(mark) => point(mark.easting, mark.northing, mark.invert),
        Item::Camera(camera) => match (camera.easting, camera.northing) {
            (Some(x), Some(y)) => point(x, y, camera.invert),
            _ => Shape::Nowhere,
        },
        Item::Reference(reference) => {
            point(reference.easting, reference.northing, reference.elevation)
        }
        Item::Vertex(_, vertex) => point(vertex.easting, vertex.northing, vertex.invert),
        Item::Crossing(crossing) => point(crossing.easting, crossing.northing, crossing.invert),
        Item::Tie(_) | Item::Finding(_) => Shape::Nowhere,
    }
}

fn vertices(record: &AsBuilt, run: &Run) -> Vec<Place> {
    run.vertices
        .iter()
        .map(|vertex| on_grid(record, vertex.easting, vertex.northing, vertex.invert))
        .collect()
}

fn on_grid(record: &AsBuilt, x: f64, y: f64, z: Option<f64>) -> Place {
    // Elevations are in the result unit; one unit for all three coordinates is what readers expect.
    let factor = record.frame.unit.metres() / record.frame.crs_unit_metres;
    Place {
        x: round(x, LENGTH_DECIMALS),
        y: round(y, LENGTH_DECIMALS),
        z: z.map(|z| round(z * factor, LENGTH_DECIMALS)),
    }
}
