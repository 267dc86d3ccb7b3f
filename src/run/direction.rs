//! The pipe's direction at each mark.

use super::Inputs;
use super::order::Entry;
use crate::job::model::Stream;
use crate::math::block;
use crate::transmitter::Sensed;
use crate::transmitter::shift::placing;

/// A grid azimuth in the push direction and its one-sigma, radians.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Direction {
    /// Grid azimuth, 0 to 2π.
    pub azimuth: f64,
    /// One-sigma.
    pub sigma: f64,
}

impl Direction {
    /// Unit vector east, north.
    #[must_use]
    pub fn unit(&self) -> [f64; 2] {
        let (sin, cos) = self.azimuth.sin_cos();
        [sin, cos]
    }
}

/// A chord reaches at least this far to either side, if the run does: shorter, two spots' placing drowns the direction (our
/// choice; an unlocated bend so near a mark is rare).
pub(super) const REACH: f64 = 1.5;

/// The difference of two azimuths, −π to π.
pub(super) fn turn(from: f64, to: f64) -> f64 {
    let full = std::f64::consts::TAU;
    let difference = (to - from).rem_euclid(full);
    if difference > std::f64::consts::PI {
        difference - full
    } else {
        difference
    }
}

/// Directions at the marks of a run (given in the direction of flow), each in its own push direction. `depths` for placing; gaps that
/// are `broken` (by the mark before them) have a bend in them, which no chord crosses.
pub(super) fn directions(
    inputs: Inputs<'_>,
    sensed: &[Sensed],
    entries: &[Entry<'_>],
    depths: &[f64],
    broken: &[bool],
) -> Vec<Option<Direction>> {
    (0..entries.len())
        .map(|index| {
            let chord = by_neighbours(inputs, entries, depths, broken, index);
            direction(inputs, sensed, entries, index, chord)
        })
        .collect()
}

fn direction(
    inputs: Inputs<'_>,
    sensed: &[Sensed],
    entries: &[Entry<'_>],
    index: usize,
    chord: Option<Direction>,
) -> Option<Direction> {
    let entry = entries.get(index)?;
    let chord = chord.map(|flow| {
        let back = if entry.pushed == Stream::Down {
            0.0
        } else {
            std::f64::consts::PI
        };
        Direction {
            azimuth: flow.azimuth + back,
            sigma: flow.sigma,
        }
    });
    let ends = sensed
        .get(entry.mark)
        .and_then(|sensed| sensed.ends.as_ref()?.azimuth);
    let ends = ends.map(|(azimuth, sigma)| Direction { azimuth, sigma });
    let best = match (chord, ends) {
        (Some(chord), Some(ends)) => join(chord, ends, inputs.job.limits.alarm),
        (one, other) => other.or(one)?,
    };
    Some(Direction {
        azimuth: best.azimuth.rem_euclid(std::f64::consts::TAU),
        sigma: best.sigma,
    })
}

/// The weighted mean; the ends alone where the chord contradicts them: then a bend lies near.
fn join(chord: Direction, ends: Direction, alarm: f64) -> Direction {
    let apart = turn(ends.azimuth, chord.azimuth);
    if apart.abs() > alarm * f64::hypot(chord.sigma, ends.sigma) {
        return ends;
    }
    let (a, b) = (
        1.0 / ends.sigma.powi(2).max(1e-12),
        1.0 / chord.sigma.powi(2).max(1e-12),
    );
    Direction {
        azimuth: ends.azimuth + apart * b / (a + b),
        sigma: (1.0 / (a + b)).sqrt(),
    }
}

/// The first that is far enough off, else the last there is.
fn reached(mut others: impl Iterator<Item = usize>, far: impl Fn(usize) -> bool) -> Option<usize> {
    let mut last = None;
    others
        .find(|&other| {
            last = Some(other);
            far(other)
        })
        .or(last)
}

/// The chord past the mark, in the direction of flow.
fn by_neighbours(
    inputs: Inputs<'_>,
    entries: &[Entry<'_>],
    depths: &[f64],
    broken: &[bool],
    index: usize,
) -> Option<Direction> {
    let (_, here) = entries.get(index)?.place();
    let far = |other: usize| {
        entries.get(other).is_some_and(|entry| {
            let (_, place) = entry.place();
            f64::hypot(place.e - here.e, place.n - here.n) >= REACH
        })
    };
    let whole = |gap: usize| !broken.get(gap).copied().unwrap_or(false);
    let back = reached((0..index).rev().take_while(|&gap| whole(gap)), far).unwrap_or(index);
    let onward = (index + 1..entries.len()).take_while(|&other| whole(other - 1));
    let ahead = reached(onward, far).unwrap_or(index);
    let whole = leg(inputs, entries, depths, back, ahead)?;
    if back == index || ahead == index {
        return Some(whole);
    }
    // At a located bend the pipe runs along the one leg or the other: half the turn, where it is more than noise.
    let bend = match (
        leg(inputs, entries, depths, back, index),
        leg(inputs, entries, depths, index, ahead),
    ) {
        (Some(before), Some(after)) => {
            let angle = turn(before.azimuth, after.azimuth);
            let noise = inputs.job.limits.alarm * f64::hypot(before.sigma, after.sigma);
            if angle.abs() > noise {
                angle.abs() / 2.0
            } else {
                0.0
            }
        }
        _ => 0.0,
    };
    Some(Direction {
        azimuth: whole.azimuth,
        sigma: f64::hypot(whole.sigma, bend),
    })
}

/// Direction from one paint mark to another, with the doubt of measuring and placing them.
pub(super) fn leg(
    inputs: Inputs<'_>,
    entries: &[Entry<'_>],
    depths: &[f64],
    from: usize,
    to: usize,
) -> Option<Direction> {
    let ((a_id, a), (b_id, b)) = (entries.get(from)?.place(), entries.get(to)?.place());
    let (e, n) = (b.e - a.e, b.n - a.n);
    let length = f64::hypot(e, n);
    if length <= 0.0 {
        return None;
    }
    let c = block::difference(
        a.covariance,
        b.covariance,
        inputs.places.covariance(a_id, b_id),
    );
    let placed = |index: usize| {
        depths
            .get(index)
            .map_or(0.0, |&depth| placing(&inputs.job.accuracy, depth).powi(2))
    };
    let across = block::along(c, [n / length, -e / length]) + placed(from) + placed(to);
    Some(Direction {
        azimuth: e.atan2(n),
        sigma: (across.sqrt() / length).min(1.0),
    })
}
