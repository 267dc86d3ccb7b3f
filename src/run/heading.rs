//! The pipe's line at a mark, on one side of it: by its end points and by the leg that leads there, weighted.

use super::direction::{self, REACH};
use super::rests::{Pull, Rests};
use super::{Inputs, Traced};
use crate::job::model::Stream;
use crate::math::block::Block;
use crate::math::stats::NORMAL_95;
use crate::transmitter::Sensed;

/// The side of a mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    Upstream,
    Downstream,
}

/// A direction of flow.
#[derive(Clone, Debug)]
pub(super) struct Heading {
    /// Grid azimuth, radians.
    pub azimuth: f64,
    /// How it goes with the marks, and what the end points leave in doubt.
    pub pull: Pull,
    /// End points have a part in it.
    pub by_ends: bool,
}

impl Heading {
    pub fn unit(&self) -> [f64; 2] {
        let (sin, cos) = self.azimuth.sin_cos();
        [sin, cos]
    }

    /// Square off it, to the right.
    pub fn right(&self) -> [f64; 2] {
        let [e, n] = self.unit();
        [n, -e]
    }
}

/// So many legs behind the one beside a mark are asked how the pipe curves.
const BEHIND: usize = 6;

/// A run's marks, for their headings.
#[derive(Clone, Copy)]
pub(super) struct Headings<'a> {
    pub inputs: Inputs<'a>,
    pub sensed: &'a [Sensed],
    pub traced: &'a Traced,
    /// Gaps (after which mark) that a bend lies in: no leg runs across.
    pub broken: &'a [bool],
}

/// For each of so many gaps, whether a bend lies there, by the gaps that have one.
pub(super) fn broken(gaps: usize, bends: impl Iterator<Item = usize>) -> Vec<bool> {
    let mut broken = vec![false; gaps];
    for gap in bends {
        if let Some(slot) = broken.get_mut(gap) {
            *slot = true;
        }
    }
    broken
}

impl Headings<'_> {
    pub fn joint(&self, a: usize, b: usize) -> Block {
        self.traced.covariance(self.inputs.places, a, b)
    }

    /// The heading at a mark of what lies on one side of it.
    pub fn at(&self, mark: usize, side: Side) -> Option<Heading> {
        let (leg, ends) = (self.by_leg(mark, side), self.by_ends(mark));
        match (leg, ends) {
            (Some(leg), Some(ends)) => Some(self.join(&leg, ends)),
            (one, other) => other.or(one),
        }
    }

    /// The weighted mean; the ends alone where the leg contradicts them: then it is bent.
    fn join(&self, leg: &Heading, ends: Heading) -> Heading {
        let joint = |a: usize, b: usize| self.joint(a, b);
        let (sigma_leg, sigma_ends) = (leg.pull.sigma(&joint), ends.pull.sigma(&joint));
        let apart = direction::turn(ends.azimuth, leg.azimuth);
        if apart.abs() > self.inputs.job.limits.alarm * f64::hypot(sigma_leg, sigma_ends) {
            return ends;
        }
        let (a, b) = (
            1.0 / sigma_ends.powi(2).max(1e-12),
            1.0 / sigma_leg.powi(2).max(1e-12),
        );
        let (w, v) = (a / (a + b), b / (a + b));
        let marks = leg.pull.marks.iter();
        Heading {
            azimuth: ends.azimuth + v * apart,
            pull: Pull {
                marks: marks
                    .map(|&(mark, [e, n])| (mark, [v * e, v * n]))
                    .collect(),
                own: w * w * ends.pull.own + v * v * leg.pull.own,
            },
            by_ends: true,
        }
    }

    /// By the end points, whose doubt is taken as their own. On a bend's fitting they show neither leg.
    fn by_ends(&self, mark: usize) -> Option<Heading> {
        let located = self.traced.marks.get(mark)?;
        let (azimuth, sigma) = self.sensed.get(located.mark)?.ends.as_ref()?.azimuth?;
        if self.on_bend(located.mark) {
            return None;
        }
        let back = if located.pushed == Stream::Down {
            0.0
        } else {
            std::f64::consts::PI
        };
        Some(Heading {
            azimuth: azimuth + back,
            pull: Pull {
                marks: Vec::new(),
                own: sigma * sigma,
            },
            by_ends: true,
        })
    }

    fn on_bend(&self, mark: usize) -> bool {
        let points = self.inputs.observations.marks.get(mark);
        let rows = points.map(|points| [points.centre, points.exposed]);
        rows.into_iter().flatten().flatten().any(|(row, _)| {
            let fitting = self
                .inputs
                .job
                .marks
                .get(row)
                .and_then(|row| row.fitting.as_deref());
            fitting.is_some_and(|fitting| fitting.eq_ignore_ascii_case("bend"))
        })
    }

    /// How sharply the pipe may curve on past a mark, radians in a metre of grid, and the length of the leg on that side of it: as sharply as that
    /// leg, or the legs behind it without a bend between, turn by more than noise. 0 where they don't, or where there is one leg.
    pub fn curve(&self, mark: usize, side: Side) -> (f64, f64) {
        let joint = |a: usize, b: usize| self.joint(a, b);
        let leg = |from: usize| {
            let (heading, to) = self.leg(from, side)?;
            let (a, b) = (self.traced.marks.get(from)?, self.traced.marks.get(to)?);
            Some((heading, to, f64::hypot(b.e - a.e, b.n - a.n)))
        };
        let Some((first, mut at, length)) = leg(mark) else {
            return (0.0, 0.0);
        };
        let sigma = first.pull.sigma(&joint);
        let (mut most, mut between) = (0.0_f64, length / 2.0);
        for _ in 0..BEHIND {
            let Some((next, to, its)) = leg(at) else {
                break;
            };
            between += its / 2.0;
            let angle = direction::turn(first.azimuth, next.azimuth).abs();
            if angle > NORMAL_95 * sigma.hypot(next.pull.sigma(&joint)) {
                most = most.max(angle / between);
            }
            between += its / 2.0;
            at = to;
        }
        (most, length)
    }

    /// By the leg to the nearest mark that is far enough off, with no bend on the way.
    fn by_leg(&self, mark: usize, side: Side) -> Option<Heading> {
        self.leg(mark, side).map(|(heading, _)| heading)
    }

    /// The leg's heading, and the mark that it leads to.
    fn leg(&self, mark: usize, side: Side) -> Option<(Heading, usize)> {
        let here = self.traced.marks.get(mark)?;
        let whole = |gap: usize| !self.broken.get(gap).copied().unwrap_or(false);
        let far = |&other: &usize| {
            let other = self.traced.marks.get(other);
            other.is_some_and(|other| f64::hypot(other.e - here.e, other.n - here.n) >= REACH)
        };
        let other = match side {
            Side::Upstream => (0..mark)
                .rev()
                .take_while(|&other| whole(other))
                .find(far)?,
            Side::Downstream => (mark + 1..self.traced.marks.len())
                .take_while(|&other| whole(other - 1))
                .find(far)?,
        };
        let (from, to) = match side {
            Side::Upstream => (other, mark),
            Side::Downstream => (mark, other),
        };
        let (a, b) = (self.traced.marks.get(from)?, self.traced.marks.get(to)?);
        let (e, n) = (b.e - a.e, b.n - a.n);
        let square = e * e + n * n;
        let mut pull = Pull::default();
        // The azimuth grows by what the far end moves to the right, over the length.
        pull.add([n / square, -e / square], &Rests::on(to));
        pull.add([-n / square, e / square], &Rests::on(from));
        let heading = Heading {
            azimuth: e.atan2(n),
            pull,
            by_ends: false,
        };
        Some((heading, other))
    }
}
