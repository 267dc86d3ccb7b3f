//! Stage 2: every row becomes observation equations with a standard deviation.
//!
//! Comes in: the [`Job`]. Goes out: [`Observations`]: the points by name, the equations, what is kept out to be
//! compared, and the findings (`unknown-reference`, `duplicate`, `outside-crs`, `no-datum`, …).
//! A new way of measuring adds a variant of [`Kind`] and nothing else: no method has its own solver.

pub mod declination;

use std::sync::Arc;

use crate::job::model::Source;

pub mod kinds;

/// Index of a point in [`Observations::points`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PointId(pub u32);

/// What a point is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PointRole {
    /// Row index into `job.control`.
    Control(usize),
    /// Row index into `job.marks` of the row that this place belongs to (centre, end, peak or exposed).
    Mark(usize),
    /// Named only in measurements.
    Auxiliary,
}

/// A point of the network.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Name; end points and peaks have their mark's name with a suffix (`A3 ahead`, `A3 behind`, `A3 peak`,
    /// `A3 exposed`).
    pub name: Arc<str>,
    /// What it is.
    pub role: PointRole,
    /// Exact easting, northing in metres: control without a sigma. Not an unknown.
    pub fixed: Option<(f64, f64)>,
    /// Exact x, y on the site grid, metres: no unknown of its own, it moves with the similarity.
    pub site: Option<(f64, f64)>,
}

/// On which side of the line `from`→`to` a point lies: said by the field book for two tapes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SideHint {
    /// The point.
    pub at: PointId,
    /// First tape's reference.
    pub from: PointId,
    /// Second tape's reference.
    pub to: PointId,
    /// Right of the line, looking from `from` to `to`.
    pub right: bool,
}

/// Two neighbours on a run: they can't lie farther apart than the cable between them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CableHint {
    /// One.
    pub a: PointId,
    /// The other.
    pub b: PointId,
    /// Cable between them, metres on the grid.
    pub length: f64,
    /// Its one-sigma.
    pub sigma: f64,
}

/// A shift shared by all positions of one datum or correction service.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ShiftId(pub u16);

/// The observation kinds. Values are metres on the grid and radians (grid azimuths), already reduced from ground and
/// north as measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// hypot(ΔE, ΔN).
    Distance {
        /// From.
        from: PointId,
        /// To.
        to: PointId,
    },
    /// Along `from`→`to` from `from`.
    Station {
        /// Start of the line.
        from: PointId,
        /// End of the line.
        to: PointId,
        /// The point.
        at: PointId,
    },
    /// Square off `from`→`to`, right positive.
    Offset {
        /// Start of the line.
        from: PointId,
        /// End of the line.
        to: PointId,
        /// The point.
        at: PointId,
    },
    /// azimuth(at→to) − azimuth(at→from).
    Angle {
        /// Instrument.
        at: PointId,
        /// Backsight.
        from: PointId,
        /// Target.
        to: PointId,
    },
    /// Grid azimuth from→to.
    Azimuth {
        /// From.
        from: PointId,
        /// To.
        to: PointId,
    },
    /// Easting, plus the shared shift if there is one.
    East {
        /// The point.
        at: PointId,
        /// Shared shift.
        shift: Option<ShiftId>,
    },
    /// Northing, plus the shared shift if there is one.
    North {
        /// The point.
        at: PointId,
        /// Shared shift.
        shift: Option<ShiftId>,
    },
    /// x on the site grid.
    SiteX {
        /// The point.
        at: PointId,
    },
    /// y on the site grid.
    SiteY {
        /// The point.
        at: PointId,
    },
}

/// One observation equation.
#[derive(Clone, Debug, PartialEq)]
pub struct Observation {
    /// Equation.
    pub kind: Kind,
    /// Reduced value: grid metres, or radians.
    pub value: f64,
    /// One-sigma of the reduced value.
    pub sigma: f64,
    /// Value as measured: ground metres or radians, for the record.
    pub measured: f64,
    /// Row.
    pub source: Source,
    /// Column that holds it (`tie_2`, `station`, …).
    pub column: &'static str,
}

/// The points of one mark, by role: row index into `job.marks`, point.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MarkPoints {
    /// Mark name.
    pub name: Arc<str>,
    /// Index into `job.runs`.
    pub run: usize,
    /// The spot over the transmitter.
    pub centre: Option<(usize, PointId)>,
    /// End point ahead, where it was located as a point.
    pub ahead: Option<(usize, PointId)>,
    /// End point behind, where it was located as a point.
    pub behind: Option<(usize, PointId)>,
    /// The strongest signal, where it was marked besides.
    pub peak: Option<(usize, PointId)>,
    /// The pipe itself.
    pub exposed: Option<(usize, PointId)>,
}

/// What stage 2 hands on.
#[derive(Clone, Debug, Default)]
pub struct Observations {
    /// Points.
    pub points: Vec<Point>,
    /// Marks in the order of first mention.
    pub marks: Vec<MarkPoints>,
    /// Equations of the plane adjustment.
    pub plane: Vec<Observation>,
    /// Equations of rows with `use = check`: compared, not used.
    pub checks: Vec<Observation>,
    /// Sides said for pairs of tapes.
    pub sides: Vec<SideHint>,
    /// Neighbours on the runs.
    pub cables: Vec<CableHint>,
    /// One-sigma of each shared shift, metres, by [`ShiftId`].
    pub shifts: Vec<f64>,
    /// What each shared shift belongs to: the datum or the correction service.
    pub shift_names: Vec<Arc<str>>,
    /// Grid distance over ground distance at the site.
    pub ground_to_grid: f64,
}
