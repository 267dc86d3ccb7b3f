//! A part of the ground by its borders.

use crate::record::AsBuilt;

/// West, south, east, north; CRS unit.
#[derive(Clone, Copy, Debug)]
pub struct Extent {
    /// Least easting.
    pub west: f64,
    /// Least northing.
    pub south: f64,
    /// Greatest easting.
    pub east: f64,
    /// Greatest northing.
    pub north: f64,
}

impl Extent {
    /// Around places; `None` without any.
    pub fn of(places: impl IntoIterator<Item = (f64, f64)>) -> Option<Self> {
        let spot = |(e, n)| Self {
            west: e,
            south: n,
            east: e,
            north: n,
        };
        let mut places = places.into_iter();
        let first = places.next().map(spot)?;
        Some(places.fold(first, Self::with))
    }

    /// The smallest that holds a place as well.
    #[must_use]
    pub fn with(self, (e, n): (f64, f64)) -> Self {
        Self {
            west: self.west.min(e),
            south: self.south.min(n),
            east: self.east.max(e),
            north: self.north.max(n),
        }
    }

    /// Middle.
    #[must_use]
    pub fn centre(self) -> (f64, f64) {
        (
            f64::midpoint(self.west, self.east),
            f64::midpoint(self.south, self.north),
        )
    }

    /// Width and height on the ground, metres.
    #[must_use]
    pub fn metres(self, record: &AsBuilt) -> (f64, f64) {
        let k = record.frame.crs_unit_metres;
        ((self.east - self.west) * k, (self.north - self.south) * k)
    }
}
