//! Stage 3: one least-squares adjustment for every way of measuring.
//!
//! Comes in: [`Observations`]. Goes out: [`Adjusted`]: every point's place with its joint covariance ([`Places`]), every
//! measurement's residual, the suspects of the one-at-a-time search ([`crate::sources::Source::Baarda1968`]), what
//! is not determined and why, the site grid and the shared shifts.
//!
//! A-priori sigmas stand: covariances are not scaled by the variance factor.

use std::collections::BTreeMap;

use crate::job::model::Source;
use crate::limits::Limits;
use crate::math::block;
use crate::math::similarity::Similarity;
use crate::math::solution::Solution;
use crate::math::stats::Fit;
use crate::observe::kinds::Plane;
use crate::observe::{Observations, PointId};

mod arc;
pub mod check;
mod commons;
mod construct;
pub mod inches;
mod meet;
mod mirror;
mod network;
mod refine;
pub mod slips;
mod snoop;
mod solve;
pub mod trial;
mod valley;

use inches::Inches;
use network::{Network, Slot};
use slips::Slip;
use solve::Look;

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

/// Two values that touch or miss each other by less than the alarm, or more that run side by side there: the point is held along the touch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Touch {
    /// The point.
    pub at: PointId,
    /// Place of the touch, metres.
    pub place: Plane,
    /// Grid azimuth along which it can slide, radians.
    pub along: f64,
    /// One-sigma along it, metres.
    pub sigma: f64,
    /// One-sigma across it, metres, since a point that slides leaves the straight line: for the bounds, where no equation has it.
    pub across: f64,
    /// Distance by which two miss, metres, negative where they overlap; 0 of more.
    pub gap: f64,
    /// Square of that over its one-sigma: what the sum of squares has from it, and no measure of how well the two were measured.
    pub misfit: f64,
    /// How many values.
    pub values: usize,
}

/// Why a point is not determined.
#[derive(Clone, Debug, PartialEq)]
pub enum Why {
    /// Fewer than two usable values.
    TooFew {
        /// Rows that reach from known points.
        usable: Vec<Source>,
        /// Values that name it at all.
        measured: usize,
    },
    /// Several places fit equally well.
    SeveralPlaces {
        /// The places, metres.
        places: Vec<Plane>,
    },
    /// Two values miss each other.
    Gap {
        /// By how much, metres.
        gap: f64,
        /// One-sigma of it, metres.
        sigma: f64,
        /// Their rows.
        sources: Vec<Source>,
    },
    /// The equations leave it free to move.
    Loose,
    /// The iterations did not end.
    NoEnd,
}

/// A point that the measurements don't fix.
#[derive(Clone, Debug, PartialEq)]
pub struct Undetermined {
    /// The point.
    pub point: PointId,
    /// Why.
    pub why: Why,
}

/// A measurement after the adjustment.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Residual {
    /// Adjusted less measured, metres or radians; `None` if the measurement took no part.
    pub residual: Option<f64>,
    /// Redundancy number, 0 to 1.
    pub redundancy: f64,
    /// Residual over its own one-sigma; `None` without redundancy.
    pub standardised: Option<f64>,
}

/// A measurement that does not fit the others.
#[derive(Clone, Debug, PartialEq)]
pub struct Suspect {
    /// Index into [`Observations::plane`].
    pub observation: usize,
    /// Standardised residual, when the larger suspects before it were left out.
    pub standardised: f64,
    /// What the others say it should be: reduced value, metres or radians.
    pub predicted: f64,
    /// Others that could as well be the wrong one.
    pub equals: Vec<usize>,
}

/// The adjustment as a whole.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Summary {
    /// Equations used.
    pub equations: usize,
    /// Unknowns.
    pub unknowns: usize,
    /// Parts that share no unknown.
    pub components: usize,
    /// How they fit each other; its degrees of freedom are the equations, and the shifts known beforehand, less the unknowns and
    /// what only touches.
    pub fit: Fit,
}

/// The site grid as adjusted.
#[derive(Clone, Debug, PartialEq)]
pub struct SiteGrid {
    /// The similarity to the grid, metres.
    pub similarity: Similarity,
    /// One-sigma of its scale.
    pub scale_sigma: f64,
    /// Points that both systems know, with adjusted less given east and north.
    pub residuals: Vec<(PointId, f64, f64)>,
}

/// The result of the stage.
pub struct Adjusted {
    /// Of each plane observation.
    pub residuals: Vec<Residual>,
    /// The whole.
    pub summary: Summary,
    /// One-at-a-time blunder search, largest first.
    pub suspects: Vec<Suspect>,
    /// Rows whose lengths are in another unit; the suspects are those that are left when they are read in it.
    pub slips: Vec<Slip>,
    /// The job's tapes are feet and inches, read as decimals; the suspects are those that are left when they are meant so.
    pub inches: Option<Inches>,
    /// Points that the measurements don't fix.
    pub undetermined: Vec<Undetermined>,
    /// Points held by a touch.
    pub touches: Vec<Touch>,
    /// The site grid, if the job has one that is determined.
    pub site: Option<SiteGrid>,
    /// Site coordinates are given, but nothing fixes how they lie in the grid.
    pub site_loose: bool,
    /// East, north of each shared shift, metres.
    pub shifts: Vec<Plane>,
    /// What a bearing's arc, or the bend of lengths that hardly hold it, adds to a point's covariance.
    bends: BTreeMap<PointId, Block>,
    slots: Vec<Slot>,
    origin: Plane,
    site_at: Option<(usize, Similarity)>,
    solution: Solution,
}

/// Adjusts the plane network. Never fails: what can't be determined is listed.
#[must_use]
pub fn adjust(observations: &Observations, limits: &Limits) -> Adjusted {
    let mut adjusted = solve::adjust(observations, limits, Look::Slips);
    adjusted.bends = arc::arcs(observations, &adjusted);
    let valleys = valley::valleys(observations, &adjusted);
    adjusted.bends.extend(valleys);
    adjusted
}

impl Adjusted {
    /// A point's east and north as linear forms of the unknowns; `None` if it is not determined.
    fn forms(&self, point: PointId) -> Option<[Vec<(u32, f64)>; 2]> {
        let slot = *self.slots.get(point.0 as usize)?;
        Network::forms(slot, self.site_at.as_ref().map(|(at, site)| (*at, site)))
    }

    /// Grid coordinates of a point without its covariance, metres.
    #[must_use]
    pub fn coordinates(&self, point: PointId) -> Option<Plane> {
        let (e, n) = match *self.slots.get(point.0 as usize)? {
            Slot::Fixed(place) => place,
            Slot::Node(node) => {
                let at = 2 * node as usize;
                (
                    *self.solution.values.get(at)?,
                    *self.solution.values.get(at + 1)?,
                )
            }
            Slot::Site(xy) => self.site_at.as_ref()?.1.apply(xy),
            Slot::Out => return None,
        };
        Some((e + self.origin.0, n + self.origin.1))
    }
}

impl Adjusted {
    /// Whether a point is an unknown of its own.
    fn is_free(&self, point: PointId) -> bool {
        matches!(self.slots.get(point.0 as usize), Some(Slot::Node(_)))
    }

    /// A point's covariance with what sliding along a touch takes it off the touch's line, a bearing's error off its tangent, and where a
    /// valley goes beyond the ellipse.
    fn with_sagitta(&self, point: PointId, own: Block) -> Block {
        let own = self
            .bends
            .get(&point)
            .map_or(own, |bend| block::add(own, *bend));
        let touch = self.touches.iter().find(|touch| touch.at == point);
        touch.map_or(own, |touch| {
            let across = [
                touch.across * touch.along.cos(),
                -touch.across * touch.along.sin(),
            ];
            block::add(own, block::outer(across, across))
        })
    }
}

impl Places for Adjusted {
    fn place(&self, point: PointId) -> Option<Place> {
        let (e, n) = self.coordinates(point)?;
        Some(Place {
            e,
            n,
            covariance: self.covariance(point, point),
        })
    }

    fn covariance(&self, a: PointId, b: PointId) -> Block {
        let slot = |point: PointId| self.slots.get(point.0 as usize);
        if let (Some(Slot::Node(left)), Some(Slot::Node(right))) = (slot(a), slot(b)) {
            // Most points: their coordinates are unknowns themselves, and most pairs share nothing.
            if self.solution.apart(*left, *right) {
                return Block::default();
            }
            let entry = |i: u32, j: u32| self.solution.covariance(2 * left + i, 2 * right + j);
            let own = [[entry(0, 0), entry(0, 1)], [entry(1, 0), entry(1, 1)]];
            return if a == b {
                self.with_sagitta(a, own)
            } else {
                own
            };
        }
        let (Some(left), Some(right)) = (self.forms(a), self.forms(b)) else {
            return Block::default();
        };
        let entry = |i: usize, j: usize| self.solution.form_covariance(&left[i], &right[j]);
        [[entry(0, 0), entry(0, 1)], [entry(1, 0), entry(1, 1)]]
    }
}
