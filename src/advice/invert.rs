//! The mark whose invert is known least, and which reading would help: depths and grounds.

use super::Known;
use crate::height::GroundFrom;
use crate::limits::Accuracy;
use crate::math::stats::NORMAL_95;
use crate::record::model::Advice;
use crate::run::{GroundAt, GroundOrigin, Located, VertexKind};
use crate::transmitter::{Accepted, Basis, Depth, Ends, Readings, depth, dipole, ends};

/// Depth taken where the job has none at all, metres (our choice: a usual lateral).
const USUAL_DEPTH: f64 = 1.5;

/// A reading that could still be taken at a mark.
#[derive(Clone, Copy)]
pub(super) enum Reading {
    /// Levelling the ground.
    Ground,
    /// Reading the depth, and half a turn on.
    Pair,
    /// The second pair, a quarter turn on.
    SecondPair,
    /// Taping to both end points.
    Ends,
}

impl Reading {
    pub const ALL: [Self; 4] = [Self::Ground, Self::Pair, Self::SecondPair, Self::Ends];

    /// As the subject of a sentence.
    pub fn sentence(self, mark: &str) -> String {
        match self {
            Self::Ground => format!("Levelling the ground at {mark}"),
            Self::Pair => format!("A pair of depth readings at {mark}"),
            Self::SecondPair => {
                format!(
                    "A second pair of depth readings at {mark}, a quarter turn on, if it agrees,"
                )
            }
            Self::Ends => format!("Tapes from {mark} to both of its end points"),
        }
    }

    /// The mark as it would be with this reading; `None` where it would change nothing.
    pub fn taken(self, known: &Known<'_>, mark: &Located) -> Option<Located> {
        let mut with = mark.clone();
        match self {
            Self::Ground => with.ground = Some(levelled(known, mark)?),
            _ => with.depth = Some(self.depth(known, mark)?),
        }
        Some(with)
    }

    fn depth(self, known: &Known<'_>, mark: &Located) -> Option<Depth> {
        let accuracy = &known.job().accuracy;
        let readings = known.sensed.get(mark.mark)?.readings.as_ref();
        match (self, readings, mark.depth) {
            (Self::Pair, None, _) if !mark.exposed => {
                let near = mark.depth.map(|depth| depth.value);
                let pair = pair(accuracy, near.unwrap_or_else(|| known.usual_depth(mark)))?;
                let tilt = mark.shift.map(|shift| shift.tilt);
                Some(depth::by_readings(&pair, true, tilt.as_ref(), accuracy))
            }
            (Self::SecondPair, Some(readings), Some(depth)) => {
                let open = readings.accepted == Accepted::All
                    && readings.depths[2].is_none()
                    && readings.depths[3].is_none()
                    && depth.basis == Basis::Readings;
                let pair = pair(accuracy, readings.depth).filter(|_| open)?;
                // What a tilt adds to the readings' own doubt stays.
                let tilt = (depth.sigma.powi(2) - readings.sigma.powi(2)).max(0.0);
                let sigma = (pair.sigma.powi(2) + tilt).sqrt();
                Some(Depth { sigma, ..depth })
            }
            (Self::Ends, None, None) => by_ends(known, mark),
            _ => None,
        }
    }
}

/// The ground levelled at the mark; `None` where it was given or levelled already.
fn levelled(known: &Known<'_>, mark: &Located) -> Option<GroundAt> {
    let good = [GroundFrom::Given, GroundFrom::Levelled].map(GroundOrigin::Known);
    if mark
        .ground
        .is_some_and(|ground| good.contains(&ground.from))
    {
        return None;
    }
    Some(GroundAt {
        z: mark.ground.map_or(0.0, |ground| ground.z),
        terms: [(mark.point, 0.0); 2],
        own: known.job().accuracy.ground.powi(2),
        from: GroundOrigin::Known(GroundFrom::Given),
    })
}

/// A first pair that agrees on this depth.
pub(super) fn pair(accuracy: &Accuracy, value: f64) -> Option<Readings> {
    depth::accept([Some(value), Some(value), None, None], 0.0, accuracy, 1.0)
}

fn by_ends(known: &Known<'_>, mark: &Located) -> Option<Depth> {
    let (accuracy, tilt) = (&known.job().accuracy, mark.shift?.tilt);
    let (near, sensor) = (known.usual_depth(mark), known.job().equipment.sensor_height);
    let separation = (near + sensor) * dipole::separation(tilt.angle);
    let tape = f64::hypot(accuracy.tape, accuracy.tape_fraction * separation / 2.0);
    let end = ends::placing(accuracy, near + sensor);
    let found = Ends {
        separation: Some((separation, (2.0 * (tape * tape + end * end)).sqrt())),
        ..Ends::default()
    };
    let (value, sigma) = found.depth(tilt.angle, tilt.sigma, sensor)?;
    Some(Depth {
        value,
        sigma,
        common: 0.0,
        basis: Basis::Ends,
    })
}

impl Known<'_> {
    /// The mean depth of the mark's run.
    fn usual_depth(&self, mark: &Located) -> f64 {
        let same = |other: &&Located| other.mark == mark.mark;
        let run = self
            .traced
            .iter()
            .find(|run| run.marks.iter().any(|other| same(&other)));
        let depths = || {
            run.into_iter()
                .flat_map(|run| &run.marks)
                .filter_map(|mark| mark.depth)
        };
        match depths().count() {
            0 => USUAL_DEPTH,
            count => depths().map(|depth| depth.value).sum::<f64>() / count as f64,
        }
    }
}

/// Variance of a mark's invert by its own ground and depth, metres²; infinite where one is missing; `None` where both are.
fn variance(known: &Known<'_>, mark: &Located) -> Option<f64> {
    match (mark.ground, mark.depth) {
        (Some(ground), Some(depth)) => {
            Some(depth.variance() + ground.variance(known.inputs.grounds))
        }
        (None, None) => None,
        _ => Some(f64::INFINITY),
    }
}

/// The mark whose invert is known least, and its variance, infinite where it is not known at all: its own, or what the inverts
/// about it say.
fn widest<'a>(known: &Known<'a>) -> Option<(&'a Located, f64)> {
    let mut widest: Option<(&Located, f64)> = None;
    for (traced, profile) in known.traced.iter().zip(known.profiles) {
        for (vertex, invert) in traced.vertices.iter().zip(&profile.inverts) {
            let VertexKind::Mark(index) = vertex.kind else {
                continue;
            };
            let Some(mark) = traced.marks.get(index) else {
                continue;
            };
            let variance = match invert {
                Some(invert) => Some(invert.variance),
                None => variance(known, mark),
            };
            if let Some(variance) = variance
                && widest.is_none_or(|(_, most)| variance > most)
            {
                widest = Some((mark, variance));
            }
        }
    }
    widest
}

pub(super) fn advise(known: &Known<'_>) -> Option<Advice> {
    let (mark, now) = widest(known)?;
    let bound = |variance: f64| NORMAL_95 * variance.sqrt();
    let now = Some(bound(now)).filter(|now| now.is_finite());
    let (best, then) = Reading::ALL
        .into_iter()
        .filter_map(|reading| {
            let then = variance(known, &reading.taken(known, mark)?)?;
            Some((reading, bound(then)))
        })
        .filter(|(_, then)| then.is_finite())
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let name = known.name(mark);
    let what = best.sentence(name);
    let text = match now {
        None => format!("{what} would give its invert, to ± {}.", known.length(then)),
        Some(now) => format!(
            "{what} would bring its invert's bound from ± {} to ± {}.",
            known.bare(now),
            known.length(then)
        ),
    };
    // Someone who has the height need not go there again.
    let waits = || {
        let points = known.inputs.observations.marks.get(mark.mark)?;
        let (row, _) = points.centre.or(points.exposed)?;
        let row = known.job().marks.get(row)?;
        crate::height::waits_for_separation(known.job(), row).then_some(())
    };
    let text = if matches!(best, Reading::Ground) && waits().is_some() {
        format!(
            "{text} Its GNSS height would do as well, once `geoid_separation` is given in [grid]."
        )
    } else {
        text
    };
    let worth = now.is_none_or(|now| super::worth(now, then));
    worth.then(|| known.advice(name, "invert", text, now, Some(then)))
}
