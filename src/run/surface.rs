//! One mark: from what the surface showed to the transmitter, or to the pipe that was seen.

use super::locate::{USUAL_DEPTH, Work};
use super::order::Entry;
use super::slope::Slope;
use super::{Beside, Located, Predicted};
use crate::job::model::{FoundBy, MarkRow, ReadBy, Stream};
use crate::math::block;
use crate::transmitter::shift::{self, Expected};
use crate::transmitter::{Basis, Depth, Sensed, Shift, Tilt, TiltFrom, depth, tilt};

impl Work<'_> {
    /// Depth, and the move from the paint.
    pub(super) fn by_surface(
        &self,
        index: usize,
        row: &MarkRow,
        entry: &Entry<'_>,
        slope: Slope,
        located: &mut Located,
    ) {
        let accuracy = &self.inputs.job.accuracy;
        let Some(sensed) = self.sensed.get(entry.mark) else {
            return;
        };
        let near = self.depths.get(index).copied().unwrap_or(USUAL_DEPTH);
        let sensing = (near + self.sensor_height()).max(f64::MIN_POSITIVE);
        let peak = self.beside(entry, row, located.direction, sensing);
        let expected = self.expected(entry, sensed, slope, sensing, peak.as_ref());
        located.peak = peak.map(Box::new);
        let spread = f64::hypot(expected.own, expected.shared);
        located.ends_depth = sensed
            .ends
            .as_ref()
            .and_then(|ends| ends.depth(expected.tilt.angle, spread, self.sensor_height()));
        located.depth = match (&sensed.readings, located.ends_depth) {
            (Some(readings), _) => {
                // Manual readings over a transmitter known to lie tilted are taken at its peak.
                let at_peak =
                    row.read_by == ReadBy::Manual && tilt::lies_tilted(row, Some(&expected.tilt));
                let over_crossline = row.found_by == FoundBy::Crossline
                    && !at_peak
                    && expected.tilt.from != TiltFrom::Vertical;
                Some(depth::by_readings(
                    readings,
                    over_crossline,
                    Some(&expected.tilt),
                    accuracy,
                ))
            }
            (None, Some((value, sigma))) => Some(Depth {
                value,
                sigma,
                common: 0.0,
                basis: Basis::Ends,
            }),
            (None, None) => None,
        };
        let (value, sigma) = located.depth.map_or((near, near / 2.0), |depth| {
            (depth.value, depth.variance().sqrt())
        });
        let sensing = value.max(0.0) + self.sensor_height();
        let shift = shift::shift(row.found_by, sensing, sigma, &expected);
        let mut placing = accuracy.placing(sensing).powi(2);
        if expected.tilt.from == TiltFrom::Vertical {
            placing += shift::leaning(accuracy, sensing).powi(2);
        }
        move_along(located, shift, placing, self.inputs.ground_to_grid());
    }

    /// The tilt to correct for: known at the mark, by the peak beside it, or the slope with unseen tilt about it.
    fn expected(
        &self,
        entry: &Entry<'_>,
        sensed: &Sensed,
        slope: Slope,
        sensing: f64,
        peak: Option<&Beside>,
    ) -> Expected {
        let by_slope = self.by_slope(entry, slope);
        let by_peak = || self.by_peak(peak, &by_slope);
        match sensed.tilt.or_else(by_peak) {
            Some(tilt) => {
                let placing = self.inputs.job.accuracy.placing(sensing) / sensing;
                Expected::of(tilt, placing)
            }
            None => by_slope,
        }
    }

    /// The pipe's own slope, with unseen tilt about it.
    fn by_slope(&self, entry: &Entry<'_>, slope: Slope) -> Expected {
        let unseen = self.inputs.job.accuracy.tilt;
        // Falling with the push, the lens end is down.
        let down = if entry.pushed == Stream::Down {
            -1.0
        } else {
            1.0
        };
        let rate = 1.0 / (1.0 + slope.grade * slope.grade);
        let tilt = Tilt {
            angle: slope.grade.atan() * down,
            sigma: f64::hypot(unseen, rate * f64::hypot(slope.own, slope.shared)),
            by_paint: 0.0,
            from: TiltFrom::Slope,
        };
        Expected {
            tilt,
            own: f64::hypot(unseen, rate * slope.own),
            shared: rate * slope.shared * down,
        }
    }

    /// Tilt by the peak that was marked beside a crossline mark.
    fn by_peak(&self, peak: Option<&Beside>, by_slope: &Expected) -> Option<Tilt> {
        let peak = peak?;
        let (along, sigma) = peak.along;
        tilt::by_peak(
            along / peak.sensing,
            sigma / peak.sensing,
            (by_slope.tilt.angle, by_slope.tilt.sigma),
            self.inputs.job.limits.alarm,
        )
    }

    /// The pipe was seen: what was measured stands, what the surface said is kept beside it. Where the exposure says no place, the
    /// located one stands.
    pub(super) fn expose(&self, entry: &Entry<'_>, located: &mut Located) {
        if entry.paint.is_some() {
            let (covariance, depth) = (located.covariance(), located.depth);
            located.predicted = Some(Box::new(Predicted {
                e: located.e,
                n: located.n,
                covariance,
                depth,
            }));
        }
        let painted = entry.paint.map(|(id, _)| id);
        if let Some((id, place)) = entry.seen.filter(|(id, _)| painted != Some(*id)) {
            located.point = id;
            (located.e, located.n, located.measured) = (place.e, place.n, place.covariance);
            (located.own, located.shared, located.shift) = (block::ZERO, [0.0; 2], None);
        }
        located.depth = self.exposed_depth(entry).or(located.depth);
    }
}

/// Moves a located mark along its direction and puts the move's doubt into its covariance; `placing` is the variance of placing
/// the mark, each axis.
fn move_along(located: &mut Located, shift: Shift, placing: f64, k: f64) {
    let Some(direction) = located.direction else {
        // Nothing says which way the pipe runs: not moved, and as unsure in every direction as it is along the pipe.
        let all = shift.along.powi(2) + shift.sigma.powi(2) + shift.shared.powi(2);
        located.own = block::isotropic(placing + all);
        located.shift = Some(Shift {
            along: 0.0,
            ..shift
        });
        return;
    };
    let u = direction.unit();
    let right = [u[1], -u[0]];
    located.e += shift.along * k * u[0];
    located.n += shift.along * k * u[1];
    // A wrong direction swings the move, and whatever else lies along the pipe, to the side.
    let sideways = (shift.along.powi(2) + shift.sigma.powi(2)) * direction.sigma.min(1.0).powi(2);
    let along = placing * shift.placed.powi(2) + shift.sigma.powi(2);
    located.own = block::add(
        block::scale(block::outer(u, u), along),
        block::scale(block::outer(right, right), placing + sideways),
    );
    located.shared = [shift.shared * u[0], shift.shared * u[1]];
    located.shift = Some(shift);
}
