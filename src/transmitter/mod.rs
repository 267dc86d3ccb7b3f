//! Stage 4: what the receiver says of the transmitter under each mark.
//!
//! Comes in: the rows of each mark and the adjusted places of its points. Goes out: a [`Sensed`] a mark: the accepted depth
//! readings, the end points (depth, direction), a tilt known better than the pipe's slope. The move from paint to
//! transmitter ([`shift`]) needs the run's direction and slope, so the run stage asks for it.
//!
//! Sources: the field of a dipole, [`Source::Griffiths`]; the acceptance of depth pairs and the habits of reading over a tilted
//! transmitter, [`Source::CommonPractice`]; one-sigmas, [`Source::OurChoice`] ([`crate::limits::Accuracy`]).
//!
//! [`Source::Griffiths`]: crate::sources::Source::Griffiths
//! [`Source::CommonPractice`]: crate::sources::Source::CommonPractice
//! [`Source::OurChoice`]: crate::sources::Source::OurChoice

pub mod depth;
pub mod dipole;
pub mod ends;
pub mod shift;
pub mod tilt;

pub use depth::{Accepted, Basis, Depth, Readings};
pub use ends::Ends;
pub use shift::Shift;
pub use tilt::{Tilt, TiltFrom};

use rayon::prelude::*;

use crate::job::model::{Job, MarkRow, Use};
use crate::observe::{MarkPoints, Observations};
use crate::position::Places;

/// What the surface says of one mark. Lengths in metres on the ground, angles in radians.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sensed {
    /// The readings and how they were accepted.
    pub readings: Option<Readings>,
    /// The end points, if any was found.
    pub ends: Option<Box<Ends>>,
    /// Tilt known other than from the pipe's slope or from a peak beside the crossline.
    pub tilt: Option<Tilt>,
}

impl Sensed {
    /// Depth below the ground as far as it is known without the tilt, for placing and shifts.
    #[must_use]
    pub fn rough_depth(&self) -> Option<f64> {
        let readings = self.readings.as_ref().map(|readings| readings.depth);
        readings
            .or_else(|| self.ends.as_ref()?.rough_depth)
            .filter(|&depth| depth > 0.0)
    }
}

/// The row of a mark's spot over the transmitter, if it takes part.
#[must_use]
pub fn centre_row<'a>(job: &'a Job, points: &MarkPoints) -> Option<&'a MarkRow> {
    let (row, _) = points.centre?;
    job.marks.get(row).filter(|row| row.usage == Use::Yes)
}

/// The row of a mark's exposed pipe, if it takes part.
#[must_use]
pub fn exposed_row<'a>(job: &'a Job, points: &MarkPoints) -> Option<&'a MarkRow> {
    let (row, _) = points.exposed?;
    job.marks.get(row).filter(|row| row.usage == Use::Yes)
}

/// Everything sensed, one entry for each of [`Observations::marks`], in their order.
#[must_use]
pub fn sense(job: &Job, observations: &Observations, places: &dyn Places) -> Vec<Sensed> {
    observations
        .marks
        .par_iter()
        .map(|points| sense_mark(job, observations, places, points))
        .collect()
}

fn sense_mark(
    job: &Job,
    observations: &Observations,
    places: &dyn Places,
    points: &MarkPoints,
) -> Sensed {
    let Some(row) = centre_row(job, points) else {
        return Sensed::default();
    };
    let readings = depth::accept(row.readings, row.lift, &job.accuracy, job.limits.pair);
    let near = readings.as_ref().map(|readings| readings.depth);
    let ends = ends::find(job, observations, places, points, row, near).map(Box::new);
    let mut sensed = Sensed {
        readings,
        ends,
        tilt: None,
    };
    sensed.tilt = tilt::known(job, row, &sensed);
    sensed
}
