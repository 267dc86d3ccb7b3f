//! Rows whose lengths are in another unit than they were read in: feet or centimetres in a metric job, metres or inches in one in feet.
//!
//! One by one such lengths look like several wrong tapes, and the wrong ones among them are blamed. So each row with three tapes or more
//! from known points, one of them a gross error, is looked at by itself: where no place fits its lengths as they were read, and one does
//! with all of them in another unit, that is what is wrong. The cable to the next marks must reach there; where nobody counted one, there must
//! be four tapes, since one wrong tape of three leaves two which fit each other in any unit.

use std::collections::{BTreeMap, BTreeSet};
use std::iter;

use super::Adjusted;
use super::solve::{self, Look};
use crate::limits::Limits;
use crate::observe::{CableHint, Kind, Observation, Observations, PointId, PointRole};
use crate::position::snoop::GROSS;
use crate::units::{LengthUnit, OtherUnit};

/// Tapes of one row, of which at least one can be spared.
const LEAST: usize = 3;

/// Under this factor a length is much shorter than it was read: our choice.
const MUCH: f64 = 0.1;
/// One-sigma of a tape however short, metres: our choice.
const SHORT: f64 = 0.02;

/// Lengths of a row that fit one place in another unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Slip {
    /// Where they were measured to.
    pub point: PointId,
    /// Indices into [`Observations::plane`].
    pub observations: Vec<usize>,
    /// What they are in.
    pub unit: OtherUnit,
}

/// The rows that are in another unit.
pub(super) fn find(observations: &Observations, adjusted: &Adjusted, limits: &Limits) -> Vec<Slip> {
    let others = observations.unit.map_or(&[][..], LengthUnit::others);
    let gross = GROSS * limits.alarm;
    let residual = |&i: &usize| adjusted.residuals.get(i)?.standardised;
    let is_gross = |i: &usize| residual(i).is_some_and(|size| size.abs() >= gross);
    let out: BTreeSet<PointId> = adjusted.undetermined.iter().map(|un| un.point).collect();
    if out.is_empty() && !(0..adjusted.residuals.len()).any(|i| is_gross(&i)) {
        return Vec::new();
    }
    let mut rows: BTreeMap<_, Vec<usize>> = BTreeMap::new();
    for (i, observation) in observations.plane.iter().enumerate() {
        if let Some((_, to)) = taped(observations, observation) {
            rows.entry((to, &observation.source)).or_default().push(i);
        }
    }
    rows.retain(|(to, _), tapes| {
        tapes.len() >= LEAST && (out.contains(to) || tapes.iter().any(is_gross))
    });
    // Each by itself: in the unit that it was read in, or another.
    let alone = |((point, _), tapes): (&(PointId, _), &Vec<usize>)| {
        let mut units = iter::once(None).chain(others.iter().copied().map(Some));
        let found = units.find_map(|unit| {
            let times = unit.map_or(1.0, |unit| unit.times);
            let place = fits(observations, *point, tapes, times, limits)?;
            Some(Alone { unit, place })
        });
        (*point, found)
    };
    let alone: BTreeMap<PointId, Option<Alone>> = rows.iter().map(alone).collect();
    let place = |point: PointId| match alone.get(&point) {
        Some(found) => found.as_ref().map(|found| found.place),
        None => adjusted.coordinates(point),
    };
    let slip = |((point, _), tapes): ((PointId, _), Vec<usize>)| {
        let found = alone.get(&point)?.as_ref()?;
        let unit = found.unit?;
        let is_reached = || {
            reached(observations, (point, found.place), &place, limits)
                .unwrap_or(tapes.len() > LEAST)
        };
        is_reached().then(|| Slip {
            point,
            unit,
            observations: tapes.clone(),
        })
    };
    rows.into_iter().filter_map(slip).collect()
}

/// Where a row's tapes meet by themselves.
struct Alone {
    /// The unit that they are in; as they were read, if absent.
    unit: Option<OtherUnit>,
    place: (f64, f64),
}

/// The observations as they were meant.
pub(super) fn meant(observations: &Observations, slips: &[Slip]) -> Observations {
    let mut meant = observations.clone();
    for slip in slips {
        for &i in &slip.observations {
            if let Some(observation) = meant.plane.get_mut(i) {
                *observation = times(observation, slip.unit.times);
            }
        }
    }
    meant
}

/// A length in another unit. It was measured as well as a longer one is, at least; one that is much shorter, much better than its figure said.
fn times(observation: &Observation, factor: f64) -> Observation {
    let sigma = if factor < MUCH {
        (observation.sigma * factor).hypot(SHORT)
    } else {
        observation.sigma * factor.sqrt().max(1.0)
    };
    Observation {
        value: observation.value * factor,
        measured: observation.measured * factor,
        sigma,
        ..observation.clone()
    }
}

/// The reference point of known coordinates and the mark of a taped distance.
fn taped(observations: &Observations, observation: &Observation) -> Option<(PointId, PointId)> {
    let Kind::Distance { from, to } = observation.kind else {
        return None;
    };
    let role = |point: PointId| Some(observations.points.get(point.0 as usize)?.role);
    let is_mark = |point| matches!(role(point), Some(PointRole::Mark(_)));
    let is_known = |point| matches!(role(point), Some(PointRole::Control(_)));
    [(from, to), (to, from)]
        .into_iter()
        .find(|&(known, mark)| is_known(known) && is_mark(mark))
}

/// The place that a row's tapes have by themselves, times a factor, from their references as these were given; `None` where there is none, or
/// one of them does not fit.
fn fits(
    observations: &Observations,
    point: PointId,
    tapes: &[usize],
    factor: f64,
    limits: &Limits,
) -> Option<(f64, f64)> {
    let mut own = Observations::default();
    let mut ids: BTreeMap<PointId, PointId> = BTreeMap::new();
    let mut id = |own: &mut Observations, of: PointId| {
        let next = PointId(own.points.len() as u32);
        *ids.entry(of).or_insert_with(|| {
            let known = observations.points.get(of.0 as usize);
            own.points.extend(known.cloned());
            next
        })
    };
    let mark = id(&mut own, point);
    for &i in tapes {
        let observation = observations.plane.get(i)?;
        let (known, _) = taped(observations, observation)?;
        let kind = Kind::Distance {
            from: id(&mut own, known),
            to: mark,
        };
        let tape = times(observation, factor);
        own.plane.push(Observation { kind, ..tape });
    }
    let given = observations.plane.iter();
    for observation in given.filter(|observation| observation.kind.coordinate_of().is_some()) {
        let of = |at: &PointId| ids.get(at).copied().filter(|at| *at != mark);
        let kind = match &observation.kind {
            Kind::East { at, .. } => of(at).map(|at| Kind::East { at, shift: None }),
            Kind::North { at, .. } => of(at).map(|at| Kind::North { at, shift: None }),
            _ => None,
        };
        own.plane.extend(kind.map(|kind| Observation {
            kind,
            ..observation.clone()
        }));
    }
    let found = solve::adjust(&own, limits, Look::Nowhere);
    let alarms = found.residuals.iter();
    let mut alarms = alarms.filter_map(|residual| residual.standardised);
    let fitting = alarms.all(|size| size.abs() <= limits.alarm);
    found.coordinates(mark).filter(|_| fitting)
}

/// Whether a mark lies no farther from its neighbours than the cable between them; `None` where no neighbour is counted and placed.
fn reached(
    observations: &Observations,
    (point, at): (PointId, (f64, f64)),
    place: &impl Fn(PointId) -> Option<(f64, f64)>,
    limits: &Limits,
) -> Option<bool> {
    let within = |hint: &CableHint| {
        let other = match (hint.a == point, hint.b == point) {
            (true, _) => hint.b,
            (_, true) => hint.a,
            _ => return None,
        };
        let (e, n) = place(other).filter(|_| hint.along)?;
        let apart = (e - at.0).hypot(n - at.1);
        Some(apart <= hint.length.abs() + limits.alarm * hint.sigma)
    };
    let all = observations.cables.iter().filter_map(within);
    all.reduce(|all, one| all && one)
}
