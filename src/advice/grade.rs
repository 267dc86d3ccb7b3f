//! Runs whose grade can't be told from the least one: what would tell it, or that no reading from the surface can.

use super::Known;
use super::invert::{Reading, pair};
use crate::height::GroundFrom;
use crate::math::block;
use crate::math::stats::NORMAL_95;
use crate::profile::minimum::least_grade;
use crate::profile::{self, Profile};
use crate::record::model::Advice;
use crate::run::{GroundAt, GroundOrigin, Located, Traced, Vertex, VertexKind};
use crate::transmitter::{Basis, Depth, depth};
use crate::units::{fixed, rough};

/// No more runs than this are spoken of, the most open questions first.
const RUNS: usize = 3;
/// Runs of more marks are left alone: a lateral has none, and trials cost the cube of them.
const MARKS: usize = 64;

/// A run whose grade is open.
struct Open<'a> {
    traced: &'a Traced,
    grade: f64,
    least: f64,
    /// Half-width at 95 %.
    bound: f64,
}

impl Open<'_> {
    fn distance(&self) -> f64 {
        (self.grade - self.least).abs()
    }

    fn told_by(&self, bound: f64) -> bool {
        bound < self.distance()
    }
}

pub(super) fn advise(known: &Known<'_>) -> Vec<Advice> {
    let runs = known.traced.iter().zip(known.profiles);
    let mut open: Vec<Open<'_>> = runs
        .filter_map(|(traced, profile)| question(known, traced, profile))
        .collect();
    let openness = |open: &Open<'_>| open.distance() / open.bound;
    open.sort_by(|a, b| openness(a).total_cmp(&openness(b)));
    open.truncate(RUNS);
    open.sort_by_key(|open| open.traced.run);
    open.iter().filter_map(|open| answer(known, open)).collect()
}

fn question<'a>(known: &Known<'_>, traced: &'a Traced, profile: &Profile) -> Option<Open<'a>> {
    let line = profile.line.as_ref()?;
    let open = Open {
        traced,
        grade: line.grade,
        least: least_grade(known.job().runs.get(traced.run)?)?,
        bound: NORMAL_95 * line.sigma,
    };
    (traced.marks.len() <= MARKS && open.distance() <= open.bound).then_some(open)
}

fn answer(known: &Known<'_>, open: &Open<'_>) -> Option<Advice> {
    let run = known.job().runs.get(open.traced.run)?;
    let bound = |traced: &Traced| {
        let line = profile::grade_line(known.inputs, traced)?;
        Some(NORMAL_95 * line.sigma)
    };
    let found = format!(
        "Run {}: its grade of {} ± {} % can't be told from the least one of {} %",
        run.id,
        percent(open.grade),
        percent(open.bound),
        percent(open.least)
    );
    let by_one = readings(known, open.traced)
        .chain(between(known, open.traced))
        .filter_map(|(what, traced)| Some((what, bound(&traced)?)))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .filter(|(_, then)| open.told_by(*then));
    let (text, then) = if let Some((what, then)) = by_one {
        let text = format!("{found}. {what} would tell, with ± {} %.", percent(then));
        (text, Some(then))
    } else if let Some(then) = bound(&everything(known, open.traced)).filter(|b| open.told_by(*b)) {
        let text = format!(
            "{found}. A mark between each two neighbours, with levelled ground and depth readings, would tell, with ± {} %.",
            percent(then)
        );
        (text, Some(then))
    } else {
        beyond(known, open, &run.id, bound(&exposed(known, open.traced)?)?)
    };
    Some(Advice {
        about: run.id.to_string(),
        concern: "grade".to_owned(),
        text,
        now: Some(100.0 * open.bound),
        then: then.map(|then| 100.0 * then),
    })
}

/// No reading from the surface can tell; whether exposing both ends could.
fn beyond(known: &Known<'_>, open: &Open<'_>, run: &str, then: f64) -> (String, Option<f64>) {
    let depths = || open.traced.marks.iter().filter_map(|mark| mark.depth);
    let deep = depths().map(|depth| depth.value).sum::<f64>() / depths().count().max(1) as f64;
    let text = format!(
        "Run {run}: at {} {} deep over {} {}, readings from the surface can't prove the least grade of {} %: it is {} ± \
         {} %. ",
        fixed(known.unit.of(deep), 1),
        known.unit,
        fixed(known.unit.of(open.traced.length()), 0),
        known.unit,
        percent(open.least),
        percent(open.grade),
        percent(open.bound)
    );
    if then > open.bound * (1.0 - super::WORTH) {
        return (text + "Exposing both ends would hardly narrow that.", None);
    }
    let enough = if open.told_by(then) {
        ""
    } else {
        ", which would still not tell"
    };
    let text = format!("{text}Expose both ends: ± {} %{enough}.", percent(then));
    (text, Some(then))
}

fn percent(ratio: f64) -> String {
    rough(100.0 * ratio)
}

/// The run with one further reading at one of its marks.
fn readings<'a>(
    known: &'a Known<'_>,
    traced: &'a Traced,
) -> impl Iterator<Item = (String, Traced)> + 'a {
    let all = traced.marks.iter().enumerate();
    all.flat_map(|(index, mark)| Reading::ALL.map(|reading| (index, mark, reading)))
        .filter_map(|(index, mark, reading)| {
            let mut with = traced.clone();
            *with.marks.get_mut(index)? = reading.taken(known, mark)?;
            Some((reading.sentence(known.name(mark)), with))
        })
}

/// The run with one mark more, midway between two neighbours.
fn between<'a>(
    known: &'a Known<'_>,
    traced: &'a Traced,
) -> impl Iterator<Item = (String, Traced)> + 'a {
    pairs(traced).filter_map(|[a, b]| {
        let mut with = traced.clone();
        insert(known, &mut with, [a, b])?;
        let name = |index: usize| traced.marks.get(index).map(|mark| known.name(mark));
        let what = format!("A further mark between {} and {}", name(a)?, name(b)?);
        Some((what, with))
    })
}

/// Neighbouring marks along the vertices, by index into [`Traced::marks`].
fn pairs(traced: &Traced) -> impl Iterator<Item = [usize; 2]> + '_ {
    let marks = || {
        traced
            .vertices
            .iter()
            .filter_map(|vertex| match vertex.kind {
                VertexKind::Mark(index) => Some(index),
                _ => None,
            })
    };
    marks().zip(marks().skip(1)).map(|(a, b)| [a, b])
}

/// All that readings from the surface could add: grounds levelled, second pairs, and a mark between each two neighbours.
fn everything(known: &Known<'_>, traced: &Traced) -> Traced {
    let mut with = traced.clone();
    for mark in &mut with.marks {
        for reading in Reading::ALL {
            if let Some(taken) = reading.taken(known, mark) {
                *mark = taken;
            }
        }
    }
    let gaps: Vec<[usize; 2]> = pairs(&with).collect();
    for gap in gaps {
        insert(known, &mut with, gap);
    }
    with
}

/// Puts a mark midway between two, with ground and depth of default one-sigmas.
fn insert(known: &Known<'_>, traced: &mut Traced, [a, b]: [usize; 2]) -> Option<()> {
    let accuracy = &known.job().accuracy;
    let (one, other) = (traced.marks.get(a)?, traced.marks.get(b)?);
    let value = f64::midpoint(one.depth?.value, other.depth?.value);
    let readings = pair(accuracy, value)?;
    let mark = Located {
        e: f64::midpoint(one.e, other.e),
        n: f64::midpoint(one.n, other.n),
        own: block::isotropic(accuracy.placing(value.max(0.0)).powi(2)),
        depth: Some(depth::by_readings(&readings, false, None, accuracy)),
        ground: Some(GroundAt {
            z: f64::midpoint(one.ground?.z, other.ground?.z),
            terms: [(one.point, 0.0); 2],
            own: accuracy.ground.powi(2),
            from: GroundOrigin::Known(GroundFrom::Given),
        }),
        exposed: false,
        peak: None,
        predicted: None,
        ..one.clone()
    };
    let at = |index: usize| {
        let is = |vertex: &Vertex| vertex.kind == VertexKind::Mark(index);
        traced.vertices.iter().position(is)
    };
    let (from, to) = (at(a)?, at(b)?);
    let vertex = Vertex {
        kind: VertexKind::Mark(traced.marks.len()),
        e: mark.e,
        n: mark.n,
        covariance: mark.covariance(),
        station: f64::midpoint(
            traced.vertices.get(from)?.station,
            traced.vertices.get(to)?.station,
        ),
    };
    let before = traced
        .vertices
        .iter()
        .take_while(|other| other.station <= vertex.station)
        .count();
    traced.vertices.insert(before, vertex);
    traced.marks.push(mark);
    Some(())
}

/// The run with the pipe exposed at both of its outermost known inverts.
fn exposed(known: &Known<'_>, traced: &Traced) -> Option<Traced> {
    let mut with = traced.clone();
    let has = |index: &usize| {
        traced
            .marks
            .get(*index)
            .is_some_and(|mark| mark.depth.is_some() && mark.ground.is_some())
    };
    let known_marks = || {
        let kinds = traced.vertices.iter().map(|vertex| vertex.kind);
        kinds.filter_map(|kind| match kind {
            VertexKind::Mark(index) => Some(index),
            _ => None,
        })
    };
    let ends = [known_marks().find(has)?, known_marks().rfind(has)?];
    for index in ends {
        let mark = with.marks.get_mut(index)?;
        mark.depth = Some(Depth {
            value: mark.depth?.value,
            sigma: known.job().accuracy.exposed,
            common: 0.0,
            basis: Basis::Exposed,
        });
        (mark.own, mark.shared, mark.exposed) = (block::ZERO, [0.0; 2], true);
    }
    Some(with)
}
