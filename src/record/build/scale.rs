//! From metres and radians to the record's units.

use crate::math::block::{self, Block};
use crate::record::model::Ellipse;
use crate::units::LengthUnit;

/// The record's two units of length.
#[derive(Clone, Copy)]
pub(super) struct Scale {
    pub unit: LengthUnit,
    /// Metres in one of the CRS's unit.
    pub crs_unit: f64,
}

impl Scale {
    /// A length in the result unit.
    pub fn length(self, metres: f64) -> f64 {
        self.unit.of(metres)
    }

    /// A coordinate in the CRS's unit.
    pub fn grid(self, metres: f64) -> f64 {
        metres / self.crs_unit
    }

    /// The 95 % ellipse of a covariance; none for a point taken as exact.
    pub fn ellipse(self, c: Block) -> Option<Ellipse> {
        let (major, minor, azimuth) = block::ellipse_95(c);
        (major > 0.0 && major.is_finite()).then(|| Ellipse {
            semi_major_95: self.length(major),
            semi_minor_95: self.length(minor),
            azimuth_95: azimuth.to_degrees(),
        })
    }

    /// A length for a sentence.
    pub fn say(self, metres: f64) -> String {
        format!(
            "{:.*} {}",
            if self.unit.is_foot() { 2 } else { 3 },
            self.length(metres),
            self.unit
        )
    }
}
