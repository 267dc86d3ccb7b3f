//! A single point's place, improved from a first guess with the other points held where they are, but no surer than they are known.

use super::Block;
use crate::math::block;
use crate::math::similarity::Similarity;
use crate::math::stats::ALARM;
use crate::observe::kinds::{Equation, Locus, Plane, State, around};
use crate::observe::{Kind, Observation, PointId, ShiftId};

/// Below this part of what it would be with equations square to each other, the determinant of two unknowns is rounding.
const FLAT: f64 = 1e-9;

/// A measured value that reaches from known points to the one in question.
pub(super) struct Sight<'a> {
    pub(super) observation: &'a Observation,
    pub(super) locus: Option<Locus>,
    /// The known points whose places are not exact, with their covariance.
    doubts: [Option<(PointId, Block)>; 2],
    /// The value's variance, where it is the same wherever the point is.
    everywhere: Option<f64>,
}

impl<'a> Sight<'a> {
    /// `doubt` gives the covariance of a known point's place.
    pub(super) fn new(
        observation: &'a Observation,
        locus: Option<Locus>,
        point: PointId,
        doubt: impl Fn(PointId) -> Block,
    ) -> Self {
        let mut doubts = [None; 2];
        let points = observation.kind.points().into_iter().flatten();
        let known = points.filter(|known| *known != point);
        let inexact = known
            .map(|known| (known, doubt(known)))
            .filter(|(_, doubt)| *doubt != block::ZERO);
        for (slot, known) in doubts.iter_mut().zip(inexact) {
            *slot = Some(known);
        }
        Self {
            observation,
            locus,
            doubts,
            everywhere: None,
        }
        .settled()
    }

    /// Works out what does not depend on where the point is: a length feels a round doubt alike from everywhere.
    fn settled(mut self) -> Self {
        let own = self.observation.sigma * self.observation.sigma;
        self.everywhere = match (self.doubts, self.observation.kind) {
            ([None, None], _) => Some(own),
            ([Some((_, [[e, a], [b, n]])), None], Kind::Distance { .. })
                if e == n && a == 0.0 && b == 0.0 =>
            {
                Some(own + e)
            }
            _ => None,
        };
        self
    }

    /// Whether it hangs on a point that others may hang on as well, and that is not exact.
    pub(super) fn is_shared(&self) -> bool {
        self.doubts.iter().any(Option::is_some)
    }

    /// The length that it is, if it is one; metres on the grid.
    fn length(&self) -> Option<f64> {
        matches!(self.observation.kind, Kind::Distance { .. }).then_some(self.observation.value)
    }

    /// Variance of the value against where the equation is written: its own, and that of the known points along it. A value must not tell
    /// two places apart by more than what it hangs on is known to.
    fn variance(&self, equation: &Equation) -> f64 {
        if let Some(variance) = self.everywhere {
            return variance;
        }
        let own = self.observation.sigma * self.observation.sigma;
        self.doubts
            .iter()
            .flatten()
            .fold(own, |sum, (known, doubt)| {
                let partials = equation.points.iter().flatten().find(|(p, ..)| p == known);
                sum + partials.map_or(0.0, |(_, e, n)| block::along(*doubt, [*e, *n]))
            })
    }

    /// |residual|/σ.
    fn misfit(&self, state: &impl State) -> f64 {
        let equation = self.observation.kind.equation(state);
        self.misclosure(&equation).abs() / self.variance(&equation).sqrt()
    }

    /// How strongly it holds the point there: its part of the normal equations.
    fn hold(&self, state: &impl State, point: PointId) -> Block {
        let equation = self.observation.kind.equation(state);
        let own = equation.points.iter().flatten();
        let own = own.filter(|(p, ..)| *p == point);
        let (e, n) = own.fold((0.0, 0.0), |sum, (_, e, n)| (sum.0 + e, sum.1 + n));
        let weight = self.variance(&equation).recip();
        block::scale(block::outer([e, n], [e, n]), weight)
    }

    /// Observed less computed.
    fn misclosure(&self, equation: &Equation) -> f64 {
        let raw = self.observation.value - equation.computed;
        if equation.angular { around(raw) } else { raw }
    }
}

/// Of values that were measured twice and agree, the first: a tape pulled again is no third one, and two that only touch would leave the point
/// free along the touch. Those that disagree both stay.
pub(super) fn once(sights: Vec<Sight<'_>>) -> Vec<Sight<'_>> {
    distinct(sights.into_iter(), |sight| sight.observation)
}

/// The same of anything that has an observation.
pub(super) fn distinct<'a, T>(
    all: impl Iterator<Item = T>,
    observation: impl Fn(&T) -> &'a Observation,
) -> Vec<T> {
    let mut kept: Vec<T> = Vec::with_capacity(all.size_hint().0);
    for one in all {
        let own = observation(&one);
        if !kept.iter().any(|other| again(observation(other), own)) {
            kept.push(one);
        }
    }
    kept
}

/// Whether two values are of one tape, pulled twice.
fn again(a: &Observation, b: &Observation) -> bool {
    let same = match (a.kind, b.kind) {
        (Kind::Distance { from, to }, Kind::Distance { from: p, to: q }) => {
            (from, to) == (p, q) || (from, to) == (q, p)
        }
        _ => false,
    };
    same && (a.value - b.value).abs() <= ALARM * a.sigma.hypot(b.sigma)
}

/// The values from one inexact point share its error: each gets it as often as there are such values, so that all together weigh no more
/// than one without an error of its own would.
pub(super) fn share(sights: Vec<Sight<'_>>) -> Vec<Sight<'_>> {
    let doubts = sights.iter().flat_map(|sight| &sight.doubts);
    let mut all: Vec<PointId> = doubts.flatten().map(|(known, _)| *known).collect();
    all.sort_unstable();
    if all.windows(2).all(|pair| pair[0] != pair[1]) {
        return sights;
    }
    let count = |point: PointId| {
        let first = all.partition_point(|other| *other < point);
        all.partition_point(|other| *other <= point) - first
    };
    let shared = sights.into_iter().map(|mut sight| {
        for (known, doubt) in sight.doubts.iter_mut().flatten() {
            *doubt = block::scale(*doubt, count(*known) as f64);
        }
        sight.settled()
    });
    shared.collect()
}

struct Here<'a, K> {
    point: PointId,
    place: Plane,
    known: &'a K,
    site: Similarity,
    shifts: &'a [Plane],
}

impl<K: Fn(PointId) -> Option<Plane>> State for Here<'_, K> {
    fn place(&self, point: PointId) -> Plane {
        if point == self.point {
            self.place
        } else {
            (self.known)(point).unwrap_or(self.place)
        }
    }
    fn shift(&self, shift: ShiftId) -> Plane {
        let shift = self.shifts.get(usize::from(shift.0));
        shift.copied().unwrap_or_default()
    }
    fn site(&self) -> Similarity {
        self.site
    }
}

fn observer<K: Fn(PointId) -> Option<Plane>>(
    point: PointId,
    place: Plane,
    known: &K,
    site: Option<Similarity>,
) -> Here<'_, K> {
    let site = site.unwrap_or(Similarity {
        origin: (0.0, 0.0),
        parameters: [1.0, 0.0, 0.0, 0.0],
    });
    Here {
        point,
        place,
        known,
        site,
        shifts: &[],
    }
}

/// |residual|/σ of each value at a place.
pub(super) fn misfits<'s>(
    point: PointId,
    place: Plane,
    sights: &'s [Sight<'_>],
    known: &'s impl Fn(PointId) -> Option<Plane>,
    site: Option<Similarity>,
) -> impl Iterator<Item = f64> + 's {
    let here = observer(point, place, known, site);
    sights.iter().map(move |sight| sight.misfit(&here))
}

/// Weighted sum of squares of the values at a place; the shifts are those that coordinates share.
pub(super) fn squares(
    (point, place): (PointId, Plane),
    sights: &[Sight<'_>],
    known: &impl Fn(PointId) -> Option<Plane>,
    (site, shifts): (Option<Similarity>, &[Plane]),
) -> f64 {
    let here = Here {
        shifts,
        ..observer(point, place, known, site)
    };
    let misfits = sights.iter().map(|sight| sight.misfit(&here));
    misfits.map(|misfit| misfit * misfit).sum()
}

/// The normal equations of the values at a place.
pub(super) fn held(
    (point, place): (PointId, Plane),
    sights: &[Sight<'_>],
    known: &impl Fn(PointId) -> Option<Plane>,
    site: Option<Similarity>,
) -> Block {
    let here = observer(point, place, known, site);
    let holds = sights.iter().map(|sight| sight.hold(&here, point));
    holds.fold(block::ZERO, block::add)
}

/// The shortest of some lengths, metres; `None` where there are fewer than so many, or a direction among the values.
pub(super) fn shortest(sights: &[Sight<'_>], least: usize) -> Option<f64> {
    let lengths = || sights.iter().filter_map(Sight::length);
    let turned = |sight: &Sight<'_>| sight.observation.kind.is_angular();
    let plain = lengths().count() >= least && !sights.iter().any(turned);
    lengths().reduce(f64::min).filter(|_| plain)
}

/// Variance of a value's misclosure at a place.
pub(super) fn variance(
    point: PointId,
    place: Plane,
    sight: &Sight<'_>,
    known: &impl Fn(PointId) -> Option<Plane>,
    site: Option<Similarity>,
) -> f64 {
    let here = observer(point, place, known, site);
    sight.variance(&sight.observation.kind.equation(&here))
}

/// A place that a point may have.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spot {
    pub(super) place: Plane,
    /// Its covariance by the values that led there.
    pub(super) doubt: Block,
    /// Their weighted sum of squares.
    pub(super) squares: f64,
}

/// The normal equations of two unknowns.
#[derive(Default)]
struct Normal {
    ee: f64,
    en: f64,
    nn: f64,
    be: f64,
    bn: f64,
    squares: f64,
}

impl Normal {
    fn add(&mut self, (e, n): (f64, f64), misclosure: f64, weight: f64) {
        self.ee += e * e * weight;
        self.en += e * n * weight;
        self.nn += n * n * weight;
        self.be += e * misclosure * weight;
        self.bn += n * misclosure * weight;
    }

    fn determinant(&self) -> f64 {
        self.ee * self.nn - self.en * self.en
    }

    /// Step to the least sum of squares; `None` where the equations run side by side.
    fn step(&self) -> Option<Plane> {
        let determinant = self.determinant();
        let e = (self.nn * self.be - self.en * self.bn) / determinant;
        let n = (self.ee * self.bn - self.en * self.be) / determinant;
        (determinant > FLAT * self.ee * self.nn && e.is_finite() && n.is_finite()).then_some((e, n))
    }

    /// What the sum of squares comes to after a step, if the equations are straight.
    fn squares_after(&self, (e, n): Plane) -> f64 {
        self.squares - e * self.be - n * self.bn
    }

    /// Covariance; wide, not endless, where the equations run side by side.
    fn inverse(&self) -> Block {
        let square = 0.5 * (self.ee + self.nn);
        let determinant = self.determinant().max(FLAT * square * square);
        if determinant > 0.0 {
            let matrix = [[self.nn, -self.en], [-self.en, self.ee]];
            block::scale(matrix, determinant.recip())
        } else {
            block::ZERO
        }
    }
}

/// Steps of Gauss–Newton from `start`. `None` if they run away, come to a place that is `found` already, or make for a sum of squares of more
/// than `most`.
pub(super) fn refine(
    point: PointId,
    start: Plane,
    (found, most): (&dyn Fn(Plane) -> bool, f64),
    sights: &[Sight<'_>],
    known: &impl Fn(PointId) -> Option<Plane>,
    site: Option<Similarity>,
) -> Option<Spot> {
    let mut here = observer(point, start, known, site);
    let mut best: Option<(Plane, Normal)> = None;
    for _ in 0..12 {
        if found(here.place) {
            return None;
        }
        let mut normal = Normal::default();
        for sight in sights {
            let equation = sight.observation.kind.equation(&here);
            let misclosure = sight.misclosure(&equation);
            let weight = sight.variance(&equation).recip();
            normal.squares += misclosure * misclosure * weight;
            let own = equation.points.iter().flatten();
            for (_, e, n) in own.filter(|(p, ..)| *p == point) {
                normal.add((*e, *n), misclosure, weight);
            }
        }
        if let Some((_, least)) = &best
            && normal.squares > least.squares
        {
            break;
        }
        let step = normal.step();
        if step.is_some_and(|step| normal.squares_after(step) > most) {
            return None;
        }
        best = Some((here.place, normal));
        match step {
            Some((e, n)) if e.hypot(n) >= 1e-6 => here.place = (here.place.0 + e, here.place.1 + n),
            _ => break,
        }
    }
    best.map(|(place, normal)| Spot {
        place,
        doubt: normal.inverse(),
        squares: normal.squares,
    })
    .filter(|spot| spot.squares.is_finite())
}
