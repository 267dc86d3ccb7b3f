//! Runs of the record, with their vertices.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::View;
use super::joint::joint;
use super::marks::{cover, evidence};
use crate::job::model::{MinGrade, Push as JobPush, Run as JobRun, Stream};
use crate::math::stats::NORMAL_95;
use crate::profile::minimum::least_grade;
use crate::profile::{Figure, Profile};
use crate::record::model::{Evidence, Push, Run, Vertex, VertexKind};
use crate::run::{Traced, VertexKind as Kind};
use crate::transmitter::Depth;

/// Distances counted from the end that the run names.
pub(super) struct Stationing<'a> {
    down: bool,
    length: f64,
    along: &'a [Option<f64>],
}

impl<'a> Stationing<'a> {
    pub fn of(run: &JobRun, traced: &Traced, profile: Option<&'a Profile>) -> Self {
        Self {
            down: run.station_from == Stream::Down,
            length: traced.length(),
            along: profile.map_or(&[], |profile| &profile.along),
        }
    }

    pub fn station(&self, from_upstream: f64) -> f64 {
        if self.down {
            self.length - from_upstream
        } else {
            from_upstream
        }
    }

    /// Length along the pipe; from the downstream end it needs every invert on the way.
    pub fn along(&self, vertex: usize) -> Option<f64> {
        let here = (*self.along.get(vertex)?)?;
        if self.down {
            Some((*self.along.last()?)? - here)
        } else {
            Some(here)
        }
    }
}

/// Runs that have a mark, in the job's order.
pub(super) fn runs(view: &View<'_>) -> Vec<Run> {
    view.traced
        .par_iter()
        .filter_map(|traced| run(view, traced))
        .collect()
}

fn run(view: &View<'_>, traced: &Traced) -> Option<Run> {
    let (job, scale) = (view.inputs.job, view.scale);
    let (run, profile) = (job.runs.get(traced.run)?, view.profiles.get(traced.run)?);
    if traced.vertices.is_empty() {
        return None;
    }
    let vertices: Vec<Vertex> = (0..traced.vertices.len())
        .filter_map(|index| vertex(view, run, traced, profile, index))
        .collect();
    let depths = || profile.depths.iter().flatten().map(|depth| depth.value);
    let covers = depths().filter_map(|depth| cover(view, traced.run, depth));
    let length = |figure: Option<Figure>| figure.map(|figure| scale.length(figure.value));
    let bound =
        |figure: Option<Figure>| figure.map(|figure| scale.length(NORMAL_95 * figure.sigma));
    Some(Run {
        id: view.id(&[&run.id]),
        run: run.id.to_string(),
        length: length(profile.in_space.or(profile.length)),
        length_plan: length(profile.length),
        length_95: bound(profile.in_space.or(profile.length)),
        fall: length(profile.fall),
        fall_95: bound(profile.fall),
        grade: profile.line.map(|line| 100.0 * line.grade),
        grade_95: profile.line.map(|line| 100.0 * NORMAL_95 * line.sigma),
        grade_uniform: profile.uniform(),
        min_cover: covers.reduce(f64::min).map(|cover| scale.length(cover)),
        max_depth: depths().reduce(f64::max).map(|depth| scale.length(depth)),
        diameter: run.diameter.map(|diameter| scale.length(diameter)),
        wall: run.wall.map(|wall| scale.length(wall)),
        axis_above_invert: run.axis_above_invert.map(|axis| scale.length(axis)),
        min_grade: least_grade(run).map(|ratio| 100.0 * ratio),
        min_grade_from: (run.min_grade == Some(MinGrade::Ipc704)).then(|| IPC_704_1.to_owned()),
        pushed: run.pushed.word().to_owned(),
        station_from: run.station_from.word().to_owned(),
        joins: run.joins.as_ref().map(ToString::to_string),
        marks: traced.marks.len(),
        evidence: vertices
            .iter()
            .map(|vertex| vertex.evidence)
            .min()
            .unwrap_or(Evidence::Located),
        texts: texts(run, job.head.texts.get("permit")),
        vertices,
        source: (run.source.row > 0).then(|| run.source.to_string()),
    })
}

/// The table of least grades, as the job names it.
const IPC_704_1: &str = "IPC 704.1";

/// Pushes of the job, in its order.
pub(super) fn pushes(view: &View<'_>) -> Vec<Push> {
    let push = |push: &JobPush| Push {
        push: push.id.to_string(),
        run: view.run_id(push.run).to_owned(),
        pushed: push.pushed.word().to_owned(),
        counter_at_start: view.scale.length(push.counter_at_start),
        start: push.start.as_ref().map(ToString::to_string),
        source: push.source.to_string(),
    };
    view.inputs.job.pushes.iter().map(push).collect()
}

/// What the job says of the run in words; the permit is the whole job's.
fn texts(run: &JobRun, permit: Option<&String>) -> BTreeMap<String, String> {
    let mut texts = run.texts.clone();
    if let Some(permit) = permit {
        let own = texts.entry("permit".to_owned());
        own.or_insert_with(|| permit.clone());
    }
    texts
}

fn vertex(
    view: &View<'_>,
    run: &JobRun,
    traced: &Traced,
    profile: &Profile,
    index: usize,
) -> Option<Vertex> {
    let scale = view.scale;
    let at = traced.vertices.get(index)?;
    let stationing = Stationing::of(run, traced, Some(profile));
    let invert = profile.inverts.get(index).copied().flatten();
    let grade = profile.grades.get(index).copied().flatten();
    let located = match at.kind {
        Kind::Mark(mark) => traced.marks.get(mark),
        Kind::Bend(_) | Kind::Junction(_) => None,
    };
    // A junction was located where the branch's last mark was.
    let shown_by = match at.kind {
        Kind::Junction(branch) => view.traced.get(branch).and_then(|of| of.marks.last()),
        Kind::Mark(_) | Kind::Bend(_) => located,
    };
    let depth = profile.depths.get(index).copied().flatten();
    let name = match at.kind {
        Kind::Mark(_) => located.map(|located| view.inputs.mark_name(located.mark)),
        Kind::Junction(branch) => junction_mark(view, branch),
        Kind::Bend(_) => None,
    };
    Some(Vertex {
        kind: match at.kind {
            Kind::Mark(_) => VertexKind::Mark,
            Kind::Bend(_) => VertexKind::Bend,
            Kind::Junction(_) => VertexKind::Junction,
        },
        mark: name.map(str::to_owned),
        station: scale.length(stationing.station(at.station)),
        along_pipe: stationing.along(index).map(|along| scale.length(along)),
        easting: scale.grid(at.e),
        northing: scale.grid(at.n),
        geographic: None,
        ellipse: scale.ellipse(at.covariance),
        ground: located
            .and_then(|located| located.ground)
            .map(|ground| scale.length(ground.z)),
        transmitter_depth: depth
            .filter(Depth::is_measured)
            .map(|depth| scale.length(depth.value)),
        cover: depth
            .and_then(|depth| cover(view, traced.run, depth.value))
            .map(|cover| scale.length(cover)),
        invert: invert.map(|invert| scale.length(invert.z)),
        invert_95: invert.map(|invert| scale.length(NORMAL_95 * invert.variance.sqrt())),
        grade: grade.map(|grade| 100.0 * grade.value),
        grade_95: grade.map(|grade| 100.0 * NORMAL_95 * grade.sigma),
        depth_95: depth.map(|depth| scale.length(NORMAL_95 * depth.variance().sqrt())),
        joint: joint(view, traced, index),
        evidence: shown_by.map_or(Evidence::Inferred, evidence),
    })
}

/// Name of the mark at which a branch joins: its last downstream.
fn junction_mark<'a>(view: &View<'a>, branch: usize) -> Option<&'a str> {
    let last = view.traced.get(branch)?.marks.last()?;
    view.inputs
        .observations
        .marks
        .get(last.mark)
        .map(|points| points.name.as_ref())
}
