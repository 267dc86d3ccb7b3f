//! Stage 5: levelling, heights, ground elevations: one linear adjustment of the same machinery as the plane.

use crate::observe::PointId;

/// Where a ground elevation came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GroundFrom {
    /// `ground`.
    Given,
    /// Levelling book or height differences.
    Levelled,
    /// `elevation` of a position from elsewhere.
    Elevation,
    /// GNSS height.
    Gnss,
}

/// Ground elevation at a point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ground {
    /// Elevation in the job's height datum, metres.
    pub z: f64,
    /// Variance, metres².
    pub variance: f64,
    /// Origin.
    pub from: GroundFrom,
}

/// Ground elevations with their joint covariance. Interpolation along the run is the run stage's.
pub trait Grounds: Sync {
    /// Ground at a point, if anything gives it.
    fn ground(&self, point: PointId) -> Option<Ground>;
    /// Covariance of two grounds, metres².
    fn covariance(&self, a: PointId, b: PointId) -> f64;
}
