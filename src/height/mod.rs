//! Stage 5: levelling, heights, ground elevations: one linear adjustment of the same machinery as the plane.

use std::sync::Arc;

use smallvec::SmallVec;

use crate::job::model::{Job, MarkRow, Note, Source, Use};
use crate::limits::Limits;
use crate::math::solution::Solution;
use crate::observe::{Observations, PointId};
use crate::units::{LengthUnit, counted, length_text};

mod book;
mod gather;
mod network;

pub use book::{Book, Closure, Known, Sight, reduce};
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
    /// Points that heights name but don't fix.
    pub undetermined: Vec<Arc<str>>,
    ends: Vec<Option<(End, GroundFrom)>>,
    solution: Solution,
}

impl Heights {
    /// Σ (v/σ)² of the measured heights, and their redundancy.
    #[must_use]
    pub fn squares(&self) -> (f64, usize) {
        let each = |of: fn(&HeightResidual) -> f64| self.residuals.iter().map(of).sum::<f64>();
        let squares = each(|height| (height.residual / height.sigma).powi(2));
        // Redundancy numbers add up to a whole one.
        (squares, each(|height| height.redundancy).round() as usize)
    }
}

/// Works out all heights.
#[must_use]
pub fn heights(job: &Job, observations: &Observations, limits: &Limits) -> Heights {
    gather::heights(job, observations, limits)
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
            "GNSS heights ({source} is the first) are not used: they are above the ellipsoid. Give `geoid_separation` in [grid] (height above \
             the ellipsoid minus elevation, as the geoid model has it at the site), and they give the ground."
        ),
    })
}

/// What to say where a mark's `ground` and `elevation` are more than an alarm apart: only the first is used.
#[must_use]
pub fn beside_ground(job: &Job, unit: LengthUnit) -> Option<Note> {
    let bound = job.limits.alarm * std::f64::consts::SQRT_2 * job.accuracy.ground;
    let apart = |row: &&MarkRow| {
        let both = row.ground.zip(row.placing.elevation);
        row.usage == Use::Yes && both.is_some_and(|(a, b)| (a - b).abs() > bound)
    };
    let mut rows = job.marks.iter().filter(apart);
    let first = rows.next()?;
    let (ground, elevation) = first.ground.zip(first.placing.elevation)?;
    let more = match rows.count() {
        0 => String::new(),
        more => format!(" The same of {}.", counted(more, "further row")),
    };
    Some(Note {
        source: Some(first.source.clone()),
        text: format!(
            "`ground` says {} and `elevation` {}: `ground` is used.{more}",
            length_text(ground, unit),
            length_text(elevation, unit)
        ),
    })
}

/// Height of the site and mean ground farther apart than this, metres, are of different kinds, or one is a slip: our choice. Half of it
/// makes 1 mm in 200 m of tape.
const APART: f64 = 30.0;

/// What to say where the marks' ground lies far from the height that the job gives for its site.
#[must_use]
pub fn off_site(
    job: &Job,
    observations: &Observations,
    heights: &Heights,
    unit: LengthUnit,
) -> Option<Note> {
    let height = job.grid.height?;
    let centres = observations.marks.iter().filter_map(|mark| mark.centre);
    let grounds = centres.filter_map(|(_, point)| Some(heights.ground(point)?.z));
    let (sum, count) = grounds.fold((0.0, 0_u32), |(sum, count), z| (sum + z, count + 1));
    let mean = sum / f64::from(count.max(1));
    let off = mean - height;
    if count == 0 || off.abs() <= APART {
        return None;
    }
    let separation = job
        .grid
        .geoid_separation
        .filter(|separation| (off.abs() - separation.abs()).abs() < APART / 10.0);
    let cause = separation.map_or_else(String::new, |_| {
        " They differ by about `geoid_separation`: are elevations given where heights above the ellipsoid belong, or the other way round?".to_owned()
    });
    Some(Note {
        source: None,
        text: format!(
            "The ground lies at {} on average, and `height` in [grid] says {}: check both.{cause}",
            length_text(mean, unit),
            length_text(height, unit)
        ),
    })
}

/// Whether a row has a GNSS height that would give its ground if the job gave `geoid_separation`.
#[must_use]
pub fn waits_for_separation(job: &Job, row: &MarkRow) -> bool {
    let height = row.placing.gnss.as_ref().and_then(|gnss| gnss.height);
    let otherwise = row.ground.or(row.placing.elevation);
    height.is_some() && otherwise.is_none() && job.grid.geoid_separation.is_none()
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
