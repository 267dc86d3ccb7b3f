//! Stage 3: one least-squares adjustment for every way of measuring.

use crate::observe::PointId;

/// A 2 × 2 covariance block, metres², order easting, northing; rows belong to the first point.
pub type Block = [[f64; 2]; 2];

/// An adjusted point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Easting, metres.
    pub e: f64,
    /// Northing, metres.
    pub n: f64,
    /// Covariance, metres²; zero for a fixed point.
    pub covariance: Block,
}

/// Adjusted points with their joint covariance: all that later stages need of the adjustment.
pub trait Places: Sync {
    /// The point's place; `None` if the measurements don't fix it.
    fn place(&self, point: PointId) -> Option<Place>;
    /// Covariance of two points' places (rows: `a`); zero for points that share no unknown.
    fn covariance(&self, a: PointId, b: PointId) -> Block;
}
