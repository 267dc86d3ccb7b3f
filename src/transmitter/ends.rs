//! The end points: the two spots, ahead and behind, where the transmitter's field is vertical.
//!
//! They give the depth by their distance, almost whatever the tilt, and the pipe's direction. They do not give the tilt by
//! their difference, which moves by only a sixth of depth · tan(tilt): less than the ends can be placed.

use super::dipole;
use crate::job::model::{Job, MarkRow, Use};
use crate::limits::Accuracy;
use crate::math::block::{self, Block};
use crate::observe::{MarkPoints, Observations, PointId};
use crate::position::{Place, Places};

/// The end points of one mark; metres on the ground, radians.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ends {
    /// Mark to the end point ahead.
    pub ahead: Option<f64>,
    /// Mark to the end point behind.
    pub behind: Option<f64>,
    /// End to end, and its one-sigma.
    pub separation: Option<(f64, f64)>,
    /// Depth below the ground for a level transmitter: a first guess.
    pub rough_depth: Option<f64>,
    /// Grid azimuth of the pipe in the push direction, and its one-sigma.
    pub azimuth: Option<(f64, f64)>,
    /// How far the mark lies off the line through the ends, right positive looking ahead, and its one-sigma.
    pub off_line: Option<(f64, f64)>,
}

impl Ends {
    /// Just one of the two was found.
    #[must_use]
    pub const fn one_only(&self) -> bool {
        self.ahead.is_some() != self.behind.is_some()
    }

    /// Depth below the ground and its one-sigma, for a transmitter tilted by `tilt` ± `tilt_sigma`.
    ///
    /// The separation measures the depth under the sensing point, which is `sensor_height` above the ground.
    #[must_use]
    pub fn depth(&self, tilt: f64, tilt_sigma: f64, sensor_height: f64) -> Option<(f64, f64)> {
        let (separation, sigma) = self.separation?;
        let (spread, t) = (
            dipole::separation(tilt),
            tilt.clamp(-dipole::STEEPEST, dipole::STEEPEST).tan(),
        );
        let depth = separation / spread;
        // spread² = (9t² + 8)/4, so its relative rate with the tilt is 9t(1 + t²)/(9t² + 8).
        let by_tilt = depth * 9.0 * t * (1.0 + t * t) / (9.0 * t * t + 8.0) * tilt_sigma;
        Some((depth - sensor_height, f64::hypot(sigma / spread, by_tilt)))
    }
}

/// One-sigma of placing an end point, each axis, over a transmitter at this depth.
#[must_use]
pub fn placing(accuracy: &Accuracy, depth: f64) -> f64 {
    f64::hypot(accuracy.end, accuracy.end_fraction * depth)
}

/// The end points of a mark, located as points of their own or taped from the mark; `None` if there are none.
///
/// `near` is the depth by readings, for the ends' placing.
pub(super) fn find(
    job: &Job,
    observations: &Observations,
    places: &dyn Places,
    points: &MarkPoints,
    row: &MarkRow,
    near: Option<f64>,
) -> Option<Ends> {
    let mark = Spot::of(places, points.centre.map(|(_, id)| id));
    let located = |end: Option<(usize, PointId)>| {
        let (row, id) = end?;
        job.marks.get(row).filter(|row| row.usage == Use::Yes)?;
        Spot::of(places, Some(id))
    };
    let (ahead, behind) = (located(points.ahead), located(points.behind));
    let ground = 1.0
        / if observations.ground_to_grid > 0.0 {
            observations.ground_to_grid
        } else {
            1.0
        };
    let distance = |end: Option<Spot>, taped: Option<f64>| match (taped, mark, end) {
        (Some(taped), ..) => Some(taped),
        (None, Some(mark), Some(end)) => Some(mark.to(&end).0 * ground),
        _ => None,
    };
    let mut ends = Ends {
        ahead: distance(ahead, row.end_ahead),
        behind: distance(behind, row.end_behind),
        ..Ends::default()
    };
    let sum = match (ahead, behind, ends.ahead, ends.behind) {
        (Some(ahead), Some(behind), ..) => Some(behind.to(&ahead).0 * ground),
        (.., Some(ahead), Some(behind)) => Some(ahead + behind),
        (None, None, None, None) => return None,
        _ => None,
    };
    ends.rough_depth = sum.map(|sum| sum / dipole::separation(0.0) - job.equipment.sensor_height);
    let depth = near.or(ends.rough_depth).unwrap_or(1.0).max(0.0) + job.equipment.sensor_height;
    let end = placing(&job.accuracy, depth);
    let measure = Measure {
        places,
        ground,
        end,
        mark: job.accuracy.placing(depth),
    };
    ends.separation = sum.map(|sum| (sum, measure.separation(job, row, mark, ahead, behind)));
    ends.azimuth = measure.azimuth(mark, ahead, behind);
    ends.off_line = measure.off_line(mark, ahead, behind);
    Some(ends)
}

/// A placed point.
#[derive(Clone, Copy)]
struct Spot {
    id: PointId,
    place: Place,
}

impl Spot {
    fn of(places: &dyn Places, id: Option<PointId>) -> Option<Self> {
        let id = id?;
        Some(Self {
            id,
            place: places.place(id)?,
        })
    }

    /// Grid distance and unit vector to another; north if they coincide.
    fn to(&self, other: &Self) -> (f64, [f64; 2]) {
        let (e, n) = (other.place.e - self.place.e, other.place.n - self.place.n);
        let length = f64::hypot(e, n);
        if length > 0.0 {
            (length, [e / length, n / length])
        } else {
            (0.0, [0.0, 1.0])
        }
    }
}

struct Measure<'a> {
    places: &'a dyn Places,
    ground: f64,
    /// One-sigma of placing an end, and the mark.
    end: f64,
    mark: f64,
}

impl Measure<'_> {
    fn between(&self, a: &Spot, b: &Spot) -> Block {
        block::difference(
            a.place.covariance,
            b.place.covariance,
            self.places.covariance(a.id, b.id),
        )
    }

    /// One-sigma of the separation. The mark's own placing is not in it: taped both ways from one spot, it cancels.
    fn separation(
        &self,
        job: &Job,
        row: &MarkRow,
        mark: Option<Spot>,
        ahead: Option<Spot>,
        behind: Option<Spot>,
    ) -> f64 {
        let ends = 2.0 * self.end * self.end;
        let variance = if let (Some(ahead), Some(behind)) = (ahead, behind) {
            block::along(self.between(&ahead, &behind), behind.to(&ahead).1)
                * self.ground
                * self.ground
        } else {
            let part = |end: Option<Spot>, taped: Option<f64>| match (taped, mark, end) {
                (Some(taped), ..) => {
                    f64::hypot(job.accuracy.tape, job.accuracy.tape_fraction * taped).powi(2)
                }
                (None, Some(mark), Some(end)) => {
                    block::along(self.between(&mark, &end), mark.to(&end).1)
                }
                _ => 0.0,
            };
            part(ahead, row.end_ahead) + part(behind, row.end_behind)
        };
        (variance + ends).sqrt()
    }

    /// The pipe's direction by two located points: both ends, else one end and the mark.
    fn azimuth(
        &self,
        mark: Option<Spot>,
        ahead: Option<Spot>,
        behind: Option<Spot>,
    ) -> Option<(f64, f64)> {
        let (from, to, placing) = match (behind, mark, ahead) {
            (Some(behind), _, Some(ahead)) => (behind, ahead, 2.0 * self.end * self.end),
            (None, Some(mark), Some(ahead)) => {
                (mark, ahead, self.end * self.end + self.mark * self.mark)
            }
            (Some(behind), Some(mark), None) => {
                (behind, mark, self.end * self.end + self.mark * self.mark)
            }
            _ => return None,
        };
        let (length, [e, n]) = from.to(&to);
        let across = block::along(self.between(&from, &to), [n, -e]) + placing;
        let sigma = across.sqrt() / length;
        // Wider than half a radian it says nothing of the direction (our choice).
        (length > 0.0 && sigma < 0.5).then(|| (e.atan2(n), sigma))
    }

    /// The mark's distance off the line through both ends.
    fn off_line(
        &self,
        mark: Option<Spot>,
        ahead: Option<Spot>,
        behind: Option<Spot>,
    ) -> Option<(f64, f64)> {
        let (mark, ahead, behind) = (mark?, ahead?, behind?);
        let (length, [e, n]) = behind.to(&ahead);
        if length <= 0.0 {
            return None;
        }
        let right = [n, -e];
        let (de, dn) = (mark.place.e - behind.place.e, mark.place.n - behind.place.n);
        let (off, u) = (de * right[0] + dn * right[1], (de * e + dn * n) / length);
        // off = right · (mark − u ahead − (1 − u) behind).
        let weights = [(mark, 1.0), (ahead, -u), (behind, u - 1.0)];
        let mut variance =
            self.mark * self.mark + (u * u + (1.0 - u) * (1.0 - u)) * self.end * self.end;
        for (i, (a, wa)) in weights.iter().enumerate() {
            variance += wa * wa * block::along(a.place.covariance, right);
            for (b, wb) in weights.iter().skip(i + 1) {
                variance += 2.0
                    * wa
                    * wb
                    * block::between(self.places.covariance(a.id, b.id), right, right);
            }
        }
        Some((off * self.ground, variance.max(0.0).sqrt() * self.ground))
    }
}
