//! The pipe's direction at each mark.

use super::Inputs;
use super::order::Entry;
use crate::job::model::Stream;
use crate::math::block;
use crate::math::stats::NORMAL_95;
use crate::transmitter::Sensed;

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
    let chords = Chords {
        inputs,
        entries,
        depths,
        broken,
    };
    let curves = chords.curves().into_iter().enumerate();
    curves
        .map(|(index, curve)| {
            let chord = chords.past(index, curve);
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

/// Marks as they lie, for their directions.
struct Chords<'a> {
    inputs: Inputs<'a>,
    entries: &'a [Entry<'a>],
    depths: &'a [f64],
    broken: &'a [bool],
}

impl Chords<'_> {
    /// The nearest marks far enough off on either side that no bend lies before; the mark itself where there is none.
    fn beside(&self, index: usize) -> Option<(usize, usize)> {
        let (_, here) = self.entries.get(index)?.place();
        let far = |other: usize| {
            self.entries.get(other).is_some_and(|entry| {
                let (_, place) = entry.place();
                f64::hypot(place.e - here.e, place.n - here.n) >= REACH
            })
        };
        let whole = |gap: usize| !self.broken.get(gap).copied().unwrap_or(false);
        let back = reached((0..index).rev().take_while(|&gap| whole(gap)), far);
        let onward = (index + 1..self.entries.len()).take_while(|&other| whole(other - 1));
        let ahead = reached(onward, far);
        Some((back.unwrap_or(index), ahead.unwrap_or(index)))
    }

    /// The chord past the mark, in the direction of flow. At a bend the pipe runs along the one leg or the other; past the last mark nobody
    /// has seen it go on as it came: where it turns at the mark before, it may turn as much again.
    fn past(&self, index: usize, curve: f64) -> Option<Direction> {
        let (back, ahead) = self.beside(index)?;
        let chord = self.leg(back, ahead)?;
        let turn = if back == index {
            self.turn(ahead, self.beside(ahead)?)
        } else if ahead == index {
            self.turn(back, self.beside(back)?)
        } else {
            self.turn(index, (back, ahead))
        };
        // The one leg that there is at an end. Between two, the chord lies as the curve does, but for how unlike they are.
        let one = back == index || ahead == index;
        let legs = if one { 1.0 } else { 0.25 };
        let legs = legs * (self.length(back, index) + self.length(index, ahead));
        let turn = turn.unwrap_or(0.0).max(curve * legs);
        Some(Direction {
            azimuth: chord.azimuth,
            sigma: f64::hypot(chord.sigma, turn / 2.0),
        })
    }

    /// How sharply the pipe curves at each mark, radians in a metre: on the average of a stretch without a bend of three legs or more, where the
    /// last of them turns from the first by more than noise. A long curve shows at no single mark.
    fn curves(&self) -> Vec<f64> {
        let mut curves = vec![0.0; self.entries.len()];
        let mut first = 0;
        while first < self.entries.len() {
            let broken = |gap: &usize| self.broken.get(*gap).copied().unwrap_or(false);
            let last = (first..self.entries.len() - 1).find(broken);
            let last = last.unwrap_or(self.entries.len() - 1);
            let curve = self.curve(first, last).unwrap_or(0.0);
            if let Some(stretch) = curves.get_mut(first..=last) {
                stretch.fill(curve);
            }
            first = last + 1;
        }
        curves
    }

    fn curve(&self, first: usize, last: usize) -> Option<f64> {
        let (_, onward) = self.beside(first)?;
        let (back, _) = self.beside(last)?;
        if onward == first || back == last || back <= onward {
            return None;
        }
        let (before, after) = (self.leg(first, onward)?, self.leg(back, last)?);
        let angle = turn(before.azimuth, after.azimuth).abs();
        let noise = NORMAL_95 * f64::hypot(before.sigma, after.sigma);
        let length = 0.5 * (self.length(first, onward) + self.length(back, last))
            + self.length(onward, back);
        (angle > noise).then(|| angle / length)
    }

    /// Straight distance of two marks' paint, metres.
    fn length(&self, from: usize, to: usize) -> f64 {
        let place = |index: usize| self.entries.get(index).map(|entry| entry.place().1);
        place(from)
            .zip(place(to))
            .map_or(0.0, |(a, b)| f64::hypot(b.e - a.e, b.n - a.n))
    }

    /// By how much the legs before and after a mark turn, where there are both and it is more than noise.
    fn turn(&self, index: usize, (back, ahead): (usize, usize)) -> Option<f64> {
        if back == index || ahead == index {
            return None;
        }
        let (before, after) = (self.leg(back, index)?, self.leg(index, ahead)?);
        let angle = turn(before.azimuth, after.azimuth).abs();
        let noise = NORMAL_95 * f64::hypot(before.sigma, after.sigma);
        (angle > noise).then_some(angle)
    }

    fn leg(&self, from: usize, to: usize) -> Option<Direction> {
        leg(self.inputs, self.entries, self.depths, from, to)
    }
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
        depths.get(index).map_or(0.0, |&depth| {
            let sensing = depth + inputs.job.equipment.sensor_height;
            inputs.job.accuracy.placing(sensing).powi(2)
        })
    };
    let across = block::along(c, [n / length, -e / length]) + placed(from) + placed(to);
    Some(Direction {
        azimuth: e.atan2(n),
        sigma: (across.sqrt() / length).min(1.0),
    })
}
