//! The rules over transmitter, run and profile: what they read, and their registry.

use std::borrow::Cow;

use crate::findings::{Code, Finding};
use crate::job::model::{Job, MarkRow};
use crate::observe::MarkPoints;
use crate::profile::{Invert, Profile};
use crate::run::{Inputs, Located, Traced, VertexKind};
use crate::transmitter::{Depth, Sensed, centre_row, exposed_row};
use crate::units::{LengthUnit, fixed, length_text};

/// What the rules of this group read.
#[derive(Clone, Copy)]
pub struct Pipe<'a> {
    /// Job, observations, places, grounds.
    pub inputs: Inputs<'a>,
    /// What was sensed at each mark.
    pub sensed: &'a [Sensed],
    /// Runs.
    pub traced: &'a [Traced],
    /// Their profiles.
    pub profiles: &'a [Profile],
    /// Result unit.
    pub unit: LengthUnit,
}

/// Every rule of this group.
const RULES: &[fn(&Pipe<'_>) -> Vec<Finding>] = &[
    super::depth_disagrees::find,
    super::depth_single::find,
    super::depth_doubtful::find,
    super::depth_missing::find,
    super::implausible::find,
    super::ends_disagree::find,
    super::tilted::find,
    super::not_peak::find,
    super::one_end::find,
    super::signal_path::find,
    super::off_line::find,
    super::counter_order::find,
    super::doubles_back::find,
    super::path_too_long::find,
    super::openings::find,
    super::path_too_short::find,
    super::adverse_grade::find,
    super::main_end::find,
    super::low_grade::find,
    super::sag::find,
    super::shallow::find,
    super::above_ground::find,
    super::exposure::find,
    super::check_depth::find,
];

/// The findings of every rule of this group.
#[must_use]
pub fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    RULES.iter().flat_map(|rule| rule(pipe)).collect()
}

/// A mark as the rules see it.
pub(super) struct Seen<'a> {
    pub(super) points: &'a MarkPoints,
    /// The row over the transmitter, else that of the exposed pipe.
    pub(super) row: &'a MarkRow,
    pub(super) sensed: &'a Sensed,
    /// Depth of the exposed invert, if it was measured.
    pub(super) invert_depth: Option<f64>,
}

impl<'a> Seen<'a> {
    /// `None` where no row of the mark takes part.
    fn of(job: &'a Job, points: &'a MarkPoints, sensed: &'a Sensed) -> Option<Self> {
        let exposed = exposed_row(job, points);
        Some(Self {
            points,
            row: centre_row(job, points).or(exposed)?,
            sensed,
            invert_depth: exposed.and_then(|row| row.invert_depth),
        })
    }

    /// The mark as messages call it.
    pub(super) fn called(&self) -> Cow<'_, str> {
        super::called(&self.points.name)
    }
}

impl<'a> Pipe<'a> {
    /// Every mark with a row that takes part, in the order of first mention.
    pub(super) fn seen(&self) -> impl Iterator<Item = Seen<'a>> + use<'a> {
        let job = self.inputs.job;
        let marks = self.inputs.observations.marks.iter().zip(self.sensed);
        marks.filter_map(move |(points, sensed)| Seen::of(job, points, sensed))
    }

    /// Every placed mark, run by run in the direction of flow, with its run.
    pub(super) fn located(
        &self,
    ) -> impl Iterator<Item = (&'a Traced, &'a Located, Seen<'a>)> + use<'a> {
        let (job, observations, sensed) = (self.inputs.job, self.inputs.observations, self.sensed);
        let marks = self
            .traced
            .iter()
            .flat_map(|traced| traced.marks.iter().map(move |located| (traced, located)));
        marks.filter_map(move |(traced, located)| {
            let points = observations.marks.get(located.mark)?;
            let seen = Seen::of(job, points, sensed.get(located.mark)?)?;
            Some((traced, located, seen))
        })
    }

    /// Every placed mark with its depth and invert: measured, or by the ground there and the line between those beside it.
    pub(super) fn levels(
        &self,
    ) -> impl Iterator<Item = (&'a Traced, Seen<'a>, Option<Depth>, Option<Invert>)> + use<'a> {
        let (job, observations, sensed) = (self.inputs.job, self.inputs.observations, self.sensed);
        let runs = self.traced.iter().zip(self.profiles);
        runs.flat_map(move |(traced, profile)| {
            let levels = profile.depths.iter().zip(&profile.inverts);
            let vertices = traced.vertices.iter().zip(levels);
            vertices.filter_map(move |(vertex, (depth, invert))| {
                let VertexKind::Mark(mark) = vertex.kind else {
                    return None;
                };
                let mark = traced.marks.get(mark)?.mark;
                let seen = Seen::of(job, observations.marks.get(mark)?, sensed.get(mark)?)?;
                Some((traced, seen, *depth, *invert))
            })
        })
    }

    /// A finding about a mark.
    pub(super) fn of_mark(&self, code: Code, seen: &Seen<'_>, message: String) -> Finding {
        let finding = Finding::new(code, message)
            .at(&seen.row.source)
            .mark(&*seen.points.name);
        self.in_run(finding, seen.points.run)
    }

    /// A finding about a run.
    pub(super) fn of_run(&self, code: Code, traced: &Traced, message: String) -> Finding {
        let finding = Finding::new(code, message);
        let source = self.inputs.job.runs.get(traced.run).map(|run| &run.source);
        let finding = match source {
            Some(source) => finding.at(source),
            None => finding,
        };
        self.in_run(finding, traced.run)
    }

    /// A finding about a leg of a run, at the row of the mark that it begins at.
    pub(super) fn of_leg(
        &self,
        code: Code,
        traced: &Traced,
        from: usize,
        message: String,
    ) -> Finding {
        let finding = self
            .of_run(code, traced, message)
            .mark(self.vertex_name(traced, from));
        let vertex = traced.vertices.get(from).map(|vertex| vertex.kind);
        let Some(VertexKind::Mark(mark)) = vertex else {
            return finding;
        };
        match traced.marks.get(mark) {
            Some(located) => self.at_row(finding, located),
            None => finding,
        }
    }

    /// Puts a finding at the row that speaks for a mark.
    pub(super) fn at_row(&self, finding: Finding, located: &Located) -> Finding {
        match self.row(located) {
            Some(row) => finding.at(&row.source),
            None => finding,
        }
    }

    /// The row that speaks for a mark.
    pub(super) fn row(&self, located: &Located) -> Option<&'a MarkRow> {
        let (job, observations) = (self.inputs.job, self.inputs.observations);
        let points = observations.marks.get(located.mark)?;
        centre_row(job, points).or(exposed_row(job, points))
    }

    fn in_run(&self, finding: Finding, run: usize) -> Finding {
        match self.inputs.job.runs.get(run) {
            Some(run) => finding.run(&*run.id),
            None => finding,
        }
    }

    /// Every run with its profile, but for those whose own row could not be used: which way they flow and what is asked of them
    /// stands in that row, and a finding says so.
    pub(super) fn graded(&self) -> impl Iterator<Item = (&'a Traced, &'a Profile)> + use<'a> {
        let runs = &self.inputs.job.runs;
        let all = self.traced.iter().zip(self.profiles);
        all.filter(|(traced, _)| runs.get(traced.run).is_none_or(|run| !run.lost))
    }

    /// Name of the run.
    pub(super) fn run_name(&self, run: usize) -> &'a str {
        self.inputs.job.runs.get(run).map_or("?", |run| &run.id)
    }

    /// Name of the vertex: its mark, else where it is.
    pub(super) fn vertex_name(&self, traced: &Traced, vertex: usize) -> String {
        let Some(vertex) = traced.vertices.get(vertex) else {
            return "?".to_owned();
        };
        match vertex.kind {
            VertexKind::Mark(mark) => traced
                .marks
                .get(mark)
                .map_or("?", |located| self.inputs.mark_name(located.mark))
                .to_owned(),
            _ => format!("station {}", self.length(vertex.station)),
        }
    }

    /// A length in the result unit, to the millimetre or a hundredth of a foot.
    pub(super) fn length(&self, metres: f64) -> String {
        length_text(metres, self.unit)
    }

    /// Figures of lengths in the result unit, for the finding's fields.
    pub(super) fn figures(&self, finding: Finding, value: f64, limit: Option<f64>) -> Finding {
        finding.figures(self.unit.of(value), limit.map(|limit| self.unit.of(limit)))
    }
}

/// What a grade does with the flow: `falls by 2.0 %`, `rises by 0.4 %`.
pub(super) fn slope(grade: f64) -> String {
    let figure = percent(grade);
    match figure.strip_prefix('-') {
        Some(up) => format!("rises by {up}"),
        None => format!("falls by {figure}"),
    }
}

/// A ratio in percent.
pub(super) fn percent(ratio: f64) -> String {
    let value = 100.0 * ratio;
    // A bound is never said to be 0 that is not.
    let decimals = match value.abs() {
        0.1.. | 0.0 => 1,
        0.01.. => 2,
        _ => 3,
    };
    format!("{} %", fixed(value, decimals))
}
