//! Stage 5: levelling, heights, ground elevations: one linear adjustment of the same machinery as the plane.

use std::sync::Arc;

use smallvec::SmallVec;

use crate::job::model::{Job, MarkRow, Note, Source};
use crate::limits::Limits;
use crate::math::solution::Solution;
use crate::math::stats::Fit;
use crate::observe::{Observations, PointId, window};

mod book;
mod doubt;
mod gather;
mod network;

pub use book::{Book, Closure, Known, Sight, reduce};
pub use doubt::{Doubt, HeightRow, SiteHeight};
use network::End;

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

impl GroundFrom {
    /// The column that gives it, as the record calls it.
    #[must_use]
    pub const fn column(self) -> &'static str {
        match self {
            Self::Given => "ground",
            Self::Gnss => "height",
            Self::Elevation | Self::Levelled => "elevation",
        }
    }
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

/// Names of the points of a measured height: one, or two.
pub type Names = SmallVec<[Arc<str>; 2]>;

/// A measured height after the adjustment.
#[derive(Clone, Debug, PartialEq)]
pub struct HeightResidual {
    /// `ground`, `elevation`, `height`, `height_difference`, `sight`.
    pub what: &'static str,
    /// Points: one for a height, from and to for a difference.
    pub points: Names,
    /// As used, metres.
    pub value: f64,
    /// One-sigma, metres.
    pub sigma: f64,
    /// Adjusted less measured, metres.
    pub residual: f64,
    /// Redundancy number.
    pub redundancy: f64,
    /// Residual over its own one-sigma.
    pub standardised: Option<f64>,
    /// Row.
    pub source: Source,
}

/// A measured height that does not fit the others.
#[derive(Clone, Debug, PartialEq)]
pub struct HeightSuspect {
    /// Index into [`Heights::residuals`].
    pub row: usize,
    /// Size of its standardised residual, when the larger suspects before it were left out.
    pub standardised: f64,
    /// What the others say it should be, without any suspect, metres.
    pub predicted: f64,
    /// Others that could as well be the wrong one.
    pub equals: Vec<usize>,
}

/// A height kept out, compared with the result.
#[derive(Clone, Debug, PartialEq)]
pub struct HeightCheck {
    /// Point, or `from–to`.
    pub point: String,
    /// Check less result, metres.
    pub difference: f64,
    /// One-sigma of it, metres.
    pub sigma: f64,
    /// Row.
    pub source: Source,
}

/// The result of the stage.
pub struct Heights {
    /// The levelling book, reduced.
    pub book: Book,
    /// Every measured height.
    pub residuals: Vec<HeightResidual>,
    /// Those that pass the alarm one at a time, largest first.
    pub suspects: Vec<HeightSuspect>,
    /// Heights kept out.
    pub checks: Vec<HeightCheck>,
    /// Heights kept out whose points have no other: the point, or `from–to`, and the row.
    pub lonely: Vec<(String, Source)>,
    /// What the job's own figures contradict.
    pub doubts: Vec<Doubt>,
    /// Points that heights name but don't fix.
    pub undetermined: Vec<Arc<str>>,
    ends: Vec<Option<(End, GroundFrom)>>,
    solution: Solution,
}

impl Heights {
    /// How the measured heights fit each other.
    #[must_use]
    pub fn fit(&self) -> Fit {
        let each = |of: fn(&HeightResidual) -> f64| self.residuals.iter().map(of).sum::<f64>();
        Fit {
            squares: each(|height| (height.residual / height.sigma).powi(2)),
            // Redundancy numbers add up to a whole one.
            redundancy: each(|height| height.redundancy).round() as usize,
        }
    }
}

/// Works out all heights.
#[must_use]
pub fn heights(job: &Job, observations: &Observations, limits: &Limits) -> Heights {
    let mut heights = gather::heights(job, observations, limits);
    heights.doubts = doubt::doubts(job, observations, &heights);
    heights
}

/// What to say where heights above the ellipsoid serve no purpose, because nothing relates them to the job's height datum.
#[must_use]
pub fn unused(job: &Job) -> Option<Note> {
    let of_control = job.control.iter().find_map(|control| {
        let height = control.geographic.as_ref()?.height;
        let waits = height.is_some() && control.elevation.is_none();
        (waits && job.grid.geoid_separation.is_none()).then_some(&control.source)
    });
    let of_mark = job.marks.iter().find(|row| waits_for_separation(job, row));
    let source = of_control.or(of_mark.map(|row| &row.source))?;
    Some(Note {
        source: None,
        text: format!(
            "GNSS heights give no ground where nothing else does ({source} is the first): they are above the ellipsoid. Give `geoid_separation` in [grid] (height above \
             the ellipsoid minus elevation, as the geoid model has it at the site), and they give the ground."
        ),
    })
}

/// Whether a row has a GNSS height that would give its ground if the job gave `geoid_separation`.
#[must_use]
pub fn waits_for_separation(job: &Job, row: &MarkRow) -> bool {
    let otherwise = row.ground.or(row.placing.elevation);
    job.grid.geoid_separation.is_none()
        && otherwise.is_none()
        && gather::by_gnss(job, row).is_none()
        && window::above_ellipsoid(job, row).is_some()
}

impl Grounds for Heights {
    fn ground(&self, point: PointId) -> Option<Ground> {
        let (end, from) = (*self.ends.get(point.0 as usize)?)?;
        let (z, variance) = match end {
            End::Fixed(z) => (z, 0.0),
            End::Node(node) => (
                *self.solution.values.get(node as usize)?,
                self.solution.covariance(node, node),
            ),
        };
        Some(Ground { z, variance, from })
    }

    fn covariance(&self, a: PointId, b: PointId) -> f64 {
        let node = |point: PointId| match self.ends.get(point.0 as usize) {
            Some(Some((End::Node(node), _))) => Some(*node),
            _ => None,
        };
        match (node(a), node(b)) {
            (Some(a), Some(b)) if !self.solution.apart(a, b) => self.solution.covariance(a, b),
            _ => 0.0,
        }
    }
}
