//! Stage 6: marks become a run: their order, the transmitters' places, the path between them.
//!
//! Comes in: the job, the adjusted places ([`Places`]), the grounds ([`Grounds`]), what was sensed at each mark
//! ([`Sensed`]). Goes out: a [`Traced`] a run, in the direction of flow.
//!
//! Every run is worked alone, in parallel, so that a job costs what its runs cost.
//!
//! **Covariance.** A transmitter's place holds three parts: the paint's, joint with all other paint ([`Places`]); the mark's
//! own (placing it, unseen tilt, doubt of direction), independent from mark to mark; and what the run's expected slope, known
//! only so well, does to every mark of the run alike. [`Traced::covariance`] joins them.
//! Places between marks (bends, junctions, what the camera saw) are linear functions of the marks ([`Rests`]).

mod bends;
mod beside;
mod camera;
mod chain;
pub mod compare;
pub mod direction;
pub mod ground;
mod heading;
mod hidden;
mod joins;
pub mod line;
mod locate;
mod openings;
mod order;
mod rests;
mod slope;
mod surface;
mod vertices;

pub use bends::Bend;
pub use camera::{EXTRAPOLATED, NoPlace, Sight, Spot};
pub use chain::bulge;
pub use direction::Direction;
pub use ground::{GroundAt, GroundOrigin};
pub use hidden::Hidden;
pub use joins::{FAR_BEYOND, Join, Meets};
pub use line::{Level, Line};
pub use openings::Zero;
pub use order::OrderIssue;
pub use rests::Rests;
pub use slope::USUAL as USUAL_SLOPE;

use rayon::prelude::*;

use crate::height::Grounds;
use crate::job::model::{Job, Stream};
use crate::math::block::{self, Block};
use crate::observe::{Observations, PointId};
use crate::position::Places;
use crate::transmitter::{Depth, Sensed, Shift, TiltFrom};

/// What the stage reads.
#[derive(Clone, Copy)]
pub struct Inputs<'a> {
    /// The job.
    pub job: &'a Job,
    /// Points and marks by role.
    pub observations: &'a Observations,
    /// Adjusted places.
    pub places: &'a dyn Places,
    /// Ground elevations.
    pub grounds: &'a dyn Grounds,
}

impl Inputs<'_> {
    /// Name of a mark (index into [`Observations::marks`]).
    #[must_use]
    pub fn mark_name(&self, mark: usize) -> &str {
        self.observations
            .marks
            .get(mark)
            .map_or("", |points| &points.name)
    }

    /// Grid metres in one metre on the ground.
    #[must_use]
    pub fn ground_to_grid(&self) -> f64 {
        let k = self.observations.ground_to_grid;
        if k > 0.0 { k } else { 1.0 }
    }

    /// The transmitter's axis above the invert on a run, metres: the run's, the equipment's, or [`AXIS_ABOVE_INVERT`].
    #[must_use]
    pub fn axis_above_invert(&self, run: usize) -> f64 {
        let own = self.job.runs.get(run).and_then(|run| run.axis_above_invert);
        own.or(self.job.equipment.axis_above_invert)
            .unwrap_or(AXIS_ABOVE_INVERT)
    }
}

impl Inputs<'_> {
    /// Cover over the outside top of a run's pipe, metres, where its axis lies `depth` below the ground; `None` without a
    /// diameter. A blank wall counts as none.
    #[must_use]
    pub fn cover(&self, run: usize, depth: f64) -> Option<f64> {
        let pipe = self.job.runs.get(run)?;
        let above_axis = pipe.diameter? - self.axis_above_invert(run);
        Some(depth - above_axis - pipe.wall.unwrap_or(0.0))
    }
}

/// Axis above invert where the job says nothing, metres: a transmitter some 50 mm thick lying on the invert (our choice; the
/// record says so in a note).
pub const AXIS_ABOVE_INVERT: f64 = 0.025;

/// A run as traced, in the direction of flow.
#[derive(Clone, Debug, Default)]
pub struct Traced {
    /// Index into `job.runs`.
    pub run: usize,
    /// Marks that have a place, in the direction of flow.
    pub marks: Vec<Located>,
    /// Bends between marks that nothing located, in the direction of flow.
    pub bends: Vec<Bend>,
    /// Bends that may lie where none is drawn, in the direction of flow.
    pub hidden: Vec<Hidden>,
    /// Vertices in the direction of flow: the marks, and what lies between them.
    pub vertices: Vec<Vertex>,
    /// Cable between neighbouring marks, where the counter gives it: `gaps[i]` lies between `marks[i]` and `marks[i + 1]`.
    pub gaps: Vec<Option<Gap>>,
    /// Rows of a push whose counter goes back or stands still.
    pub issues: Vec<OrderIssue>,
    /// Where the counter of each push starts.
    pub zeros: Vec<Zero>,
    /// What the camera saw, in the order of `job.camera`.
    pub sights: Vec<Sight>,
    /// How a branch meets the run that it joins.
    pub join: Option<Join>,
}

/// A mark of a run, corrected to the transmitter. Metres on the grid, radians.
#[derive(Clone, Debug)]
pub struct Located {
    /// Index into [`Observations::marks`].
    pub mark: usize,
    /// The point that it rests on: the paint, or the exposed pipe.
    pub point: PointId,
    /// The paint's place (the exposed pipe's, if nothing was painted).
    pub paint: crate::position::Place,
    /// Easting of the transmitter.
    pub e: f64,
    /// Northing of the transmitter.
    pub n: f64,
    /// Covariance of measuring the point.
    pub measured: Block,
    /// Covariance of the move from paint to transmitter, this mark's alone.
    pub own: Block,
    /// What one sigma of the run's expected slope does to the place.
    pub shared: [f64; 2],
    /// Path length of the transmitter from the run's first opening, downstream positive; metres of cable.
    pub path: Option<Path>,
    /// The way that this mark's push went.
    pub pushed: Stream,
    /// The pipe's direction here, in the push direction.
    pub direction: Option<Direction>,
    /// The move, for a mark located from the surface.
    pub shift: Option<Shift>,
    /// Accepted depth.
    pub depth: Option<Depth>,
    /// Depth below the ground that the end points give, and its one-sigma.
    pub ends_depth: Option<(f64, f64)>,
    /// Ground elevation.
    pub ground: Option<GroundAt>,
    /// The pipe itself was seen and measured.
    pub exposed: bool,
    /// The strongest signal, if it was marked beside the crossline.
    pub peak: Option<Box<Beside>>,
    /// What the surface said, for an exposed mark that was located too.
    pub predicted: Option<Box<Predicted>>,
}

impl Located {
    /// Elevation of the transmitter's axis.
    #[must_use]
    pub fn axis(&self) -> Option<f64> {
        Some(self.ground?.z - self.depth?.value)
    }

    /// The transmitter stood upright, in a stack: its depth is not that of a pipe that lies there.
    #[must_use]
    pub fn upright(&self) -> bool {
        let tilt = self.shift.map(|shift| shift.tilt.from);
        tilt == Some(TiltFrom::Vertical) && !self.exposed
    }

    /// Covariance of the transmitter's place with everything in it.
    #[must_use]
    pub fn covariance(&self) -> Block {
        block::add(
            block::add(self.measured, self.own),
            block::outer(self.shared, self.shared),
        )
    }
}

/// The strongest signal beside a crossline mark; metres on the ground.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beside {
    /// Where it was marked, on the grid.
    pub place: crate::position::Place,
    /// Its row: index into `job.marks`.
    pub row: usize,
    /// Transmitter below the sensing point.
    pub sensing: f64,
    /// From the mark along the push direction, ahead positive, and its one-sigma.
    pub along: (f64, f64),
    /// To the right of the push direction, and its one-sigma.
    pub across: (f64, f64),
}

/// What the surface said of a mark that was later exposed.
#[derive(Clone, Debug)]
pub struct Predicted {
    /// Easting.
    pub e: f64,
    /// Northing.
    pub n: f64,
    /// Covariance.
    pub covariance: Block,
    /// Depth, ground to transmitter axis.
    pub depth: Option<Depth>,
}

/// A place along the cable.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Path {
    /// Metres from the run's first opening, downstream positive.
    pub at: f64,
    /// Marks of the same number hang on one counted line: their difference is a measured length.
    pub line: u32,
}

/// Cable between two neighbouring marks, metres on the ground.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    /// Cable.
    pub cable: f64,
    /// Its one-sigma.
    pub cable_sigma: f64,
    /// Height of the first mark's transmitter above the second's; 0 where one is not known.
    pub rise: f64,
    /// Straight distance of the transmitters, in 3D where both inverts are known.
    pub straight: f64,
    /// Its one-sigma.
    pub straight_sigma: f64,
    /// What scatter across the line adds to the straight distance, on the average.
    pub straight_bias: f64,
}

impl Gap {
    /// Straight distance less cable, and the one-sigma of that.
    #[must_use]
    pub fn excess(&self) -> (f64, f64) {
        (
            self.straight - self.straight_bias - self.cable,
            f64::hypot(self.cable_sigma, self.straight_sigma),
        )
    }

    /// Whether its ends lie farther apart than the cable allows, by so many times the one-sigma.
    #[must_use]
    pub fn is_too_long(&self, alarm: f64) -> bool {
        let (excess, sigma) = self.excess();
        excess > alarm * sigma
    }

    /// As long as the cable may be, at the 90 % upper bound of what it has to spare.
    #[must_use]
    pub fn longest(&self) -> f64 {
        chain::longest((self.cable, self.cable_sigma), self.straight_sigma)
    }
}

/// What a vertex is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum VertexKind {
    /// The mark with this index in [`Traced::marks`].
    Mark(usize),
    /// A bend that nothing located, with this index in [`Traced::bends`].
    Bend(usize),
    /// Where the branch with this index in `job.runs` joins.
    Junction(usize),
}

/// A vertex of a run; metres on the grid.
#[derive(Clone, Copy, Debug)]
pub struct Vertex {
    /// Kind.
    pub kind: VertexKind,
    /// Easting.
    pub e: f64,
    /// Northing.
    pub n: f64,
    /// Covariance.
    pub covariance: Block,
    /// Horizontal distance along the run from its upstream end.
    pub station: f64,
}

impl Traced {
    /// Covariance of two transmitters' places (rows: `a`).
    #[must_use]
    pub fn covariance(&self, places: &dyn Places, a: usize, b: usize) -> Block {
        let (Some(one), Some(other)) = (self.marks.get(a), self.marks.get(b)) else {
            return block::ZERO;
        };
        if a == b {
            return one.covariance();
        }
        block::add(
            places.covariance(one.point, other.point),
            block::outer(one.shared, other.shared),
        )
    }

    /// Horizontal length, upstream end to downstream end.
    #[must_use]
    pub fn length(&self) -> f64 {
        self.vertices.last().map_or(0.0, |vertex| vertex.station)
    }
}

/// Traces every run of the job; one entry for each of `job.runs`, in their order. `sensed` as
/// [`crate::transmitter::sense`] gives it.
#[must_use]
pub fn trace(inputs: Inputs<'_>, sensed: &[Sensed]) -> Vec<Traced> {
    let marks = by_run(
        inputs.job.runs.len(),
        inputs.observations.marks.iter().map(|points| points.run),
    );
    let pushes = by_run(
        inputs.job.runs.len(),
        inputs.job.pushes.iter().map(|push| push.run),
    );
    let camera = by_run(
        inputs.job.runs.len(),
        inputs.job.camera.iter().map(|row| row.run),
    );
    let parts = marks.par_iter().zip(&pushes).zip(&camera).enumerate();
    let mut traced: Vec<Traced> = parts
        .map(|(run, ((marks, pushes), camera))| {
            let members = Members {
                run,
                marks,
                pushes,
                camera,
            };
            locate::trace_run(inputs, sensed, members)
        })
        .collect();
    joins::join(inputs, &mut traced);
    traced
}

/// What belongs to one run.
#[derive(Clone, Copy)]
struct Members<'a> {
    /// Index into `job.runs`.
    run: usize,
    /// Indices into [`Observations::marks`].
    marks: &'a [usize],
    /// Indices into `job.pushes`.
    pushes: &'a [usize],
    /// Indices into `job.camera`.
    camera: &'a [usize],
}

/// Indices of things, run by run, in their own order; `of` gives each thing's run.
fn by_run(runs: usize, of: impl Iterator<Item = usize>) -> Vec<Vec<usize>> {
    let mut by_run = vec![Vec::new(); runs];
    for (index, run) in of.enumerate() {
        if let Some(members) = by_run.get_mut(run) {
            members.push(index);
        }
    }
    by_run
}
