//! What to measure next, and what readings from the surface can't answer: trial rows through the position stage, never a
//! second solver.
//!
//! Comes in: the results of stages 3 to 7. Goes out: at most one [`Advice`] for each of three marks (the largest ellipse, the
//! widest invert bound, the least checked position) and up to three runs whose grade can't be told from the least one.
//!
//! Every figure is the one that the record would state if the named measurement were added with its default one-sigma and
//! fitted: plane measurements by the adjustment's own covariance with the row added ([`Trials`], exact), with the doubt of
//! placing and tilt, which no tape takes away, in it; depths and grounds by the stages' own functions.
//! Advice is given only where it is worth a walk (`WORTH`).

use crate::findings::rules;
use crate::job::model::Job;
use crate::math::ellipse::Ellipse;
use crate::math::stats::ELLIPSE_95;
use crate::observe::{Observations, PointId};
use crate::position::Adjusted;
use crate::position::trial::Trials;
use crate::profile::Profile;
use crate::record::model::Advice;
use crate::run::{Inputs, Located, Traced};
use crate::transmitter::Sensed;
use crate::units::{LengthUnit, rough};

mod checked;
mod grade;
mod invert;
mod placing;

/// A measurement is advised only if it takes at least this part off the figure (our choice: less is not worth a walk).
const WORTH: f64 = 0.1;

/// What the advice rests on.
#[derive(Clone, Copy)]
pub struct Known<'a> {
    /// Job, observations, places, grounds.
    pub inputs: Inputs<'a>,
    /// The adjustment.
    pub adjusted: &'a Adjusted,
    /// What was sensed at each mark.
    pub sensed: &'a [Sensed],
    /// Runs.
    pub traced: &'a [Traced],
    /// Their profiles, in the same order.
    pub profiles: &'a [Profile],
    /// Result unit.
    pub unit: LengthUnit,
}

/// All advice for a job, in a fixed order.
#[must_use]
pub fn advise(known: &Known<'_>) -> Vec<Advice> {
    let trials = Trials::new(known.adjusted, known.inputs.observations);
    let mut advice = Vec::new();
    advice.extend(ellipse(known, &trials));
    advice.extend(invert::advise(known));
    advice.extend(checked::advise(known, &trials));
    advice.extend(grade::advise(known));
    advice
}

/// So many marks are tried, the worst first: whoever stands there can do something for one of few.
const TRIED: usize = 5;

/// For the mark with the largest ellipse that anything would help.
fn ellipse(known: &Known<'_>, trials: &Trials<'_>) -> Option<Advice> {
    let size = |mark: &Located| Ellipse::of(mark.covariance()).major * ELLIPSE_95;
    let worst = known.worst(|mark| Some(size(mark)));
    worst
        .into_iter()
        .find_map(|mark| smaller(known, trials, mark, &size))
}

fn smaller(
    known: &Known<'_>,
    trials: &Trials<'_>,
    mark: &Located,
    size: &impl Fn(&Located) -> f64,
) -> Option<Advice> {
    let now = size(mark);
    let then = |measured| {
        let with = Located {
            measured,
            ..mark.clone()
        };
        size(&with)
    };
    let (best, then) = placing::candidates(known, mark)
        .into_iter()
        .filter_map(|candidate| {
            let tried = trials.covariance(mark.point, &candidate.trials)?;
            Some((candidate, then(tried)))
        })
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let name = known.name(mark);
    let text = format!(
        "{} would cut the ellipse of {} from {} to {}.",
        best.what,
        rules::called(name),
        known.bare(now),
        known.length(then)
    );
    worth(now, then).then(|| known.advice(name, "ellipse", text, Some(now), Some(then)))
}

/// Whether a measurement takes enough off a figure.
fn worth(now: f64, then: f64) -> bool {
    then < now * (1.0 - WORTH)
}

impl<'a> Known<'a> {
    fn job(&self) -> &'a Job {
        self.inputs.job
    }

    fn observations(&self) -> &'a Observations {
        self.inputs.observations
    }

    /// Every mark with a place.
    fn marks(&self) -> impl Iterator<Item = &'a Located> {
        self.traced.iter().flat_map(|run| &run.marks)
    }

    /// The marks with the largest figures, the largest first: where nothing in reach helps the worst, something may help the next.
    fn worst(&self, figure: impl Fn(&Located) -> Option<f64>) -> Vec<&'a Located> {
        let marks = self.marks();
        let mut all: Vec<(&Located, f64)> = marks
            .filter_map(|mark| Some((mark, figure(mark)?)))
            .collect();
        all.sort_by(|a, b| b.1.total_cmp(&a.1));
        all.truncate(TRIED);
        all.into_iter().map(|(mark, _)| mark).collect()
    }

    fn name(&self, mark: &Located) -> &'a str {
        self.observations()
            .marks
            .get(mark.mark)
            .map_or("", |points| &points.name)
    }

    fn point_name(&self, point: PointId) -> &'a str {
        let points = &self.observations().points;
        points.get(point.0 as usize).map_or("", |point| &point.name)
    }

    /// A length in the result unit without its unit, as fine as a bound is worth.
    fn bare(&self, metres: f64) -> String {
        rough(self.unit.of(metres))
    }

    fn length(&self, metres: f64) -> String {
        format!("{} {}", self.bare(metres), self.unit)
    }

    fn advice(
        &self,
        about: &str,
        concern: &str,
        text: String,
        now: Option<f64>,
        then: Option<f64>,
    ) -> Advice {
        let figure = |metres: Option<f64>| metres.map(|metres| self.unit.of(metres));
        Advice {
            about: about.to_owned(),
            concern: concern.to_owned(),
            text,
            now: figure(now),
            then: figure(then),
        }
    }
}
