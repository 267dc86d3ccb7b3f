//! The rules over observing, positions and heights: what they read, and their registry.

use std::borrow::Cow;
use std::path::Path;

use crate::crs::Crs;
use crate::findings::Finding;
use crate::height::Heights;
use crate::job::model::{Job, Source};
use crate::observe::{Observation, Observed, PointId, PointRole, Subject};
use crate::position::Adjusted;
use crate::units::{LengthUnit, length_text, rough};

/// What the rules of this group read.
#[derive(Clone, Copy)]
pub struct Survey<'a> {
    /// The job.
    pub job: &'a Job,
    /// Its coordinate system.
    pub crs: &'a Crs,
    /// Stage 2.
    pub observed: &'a Observed,
    /// Stage 3.
    pub adjusted: &'a Adjusted,
    /// Stage 5.
    pub heights: &'a Heights,
    /// 95 % semi-major axis of a mark's stated ellipse, metres, by index into `observed.observations.marks`.
    pub semi_major: &'a (dyn Fn(usize) -> Option<f64> + Sync),
    /// Result unit.
    pub unit: LengthUnit,
}

/// Every rule of this group.
const RULES: &[fn(&Survey<'_>) -> Vec<Finding>] = &[
    super::unreadable::find,
    super::unknown_reference::find,
    super::duplicate::find,
    super::undetermined::find,
    super::no_datum::find,
    super::outside_crs::find,
    super::gnss_fix::find,
    super::blunder::find,
    super::references::find,
    super::misfit::find,
    super::unchecked::find,
    super::weak::find,
    super::check_shot::find,
    super::level_misclosure::find,
    super::heights_apart::find,
    super::grid_fit_residual::find,
    super::scale_suspect::find,
];

/// The findings of every rule of this group.
#[must_use]
pub fn find(survey: &Survey<'_>) -> Vec<Finding> {
    RULES.iter().flat_map(|rule| rule(survey)).collect()
}

impl Survey<'_> {
    /// A length in the result unit, to the millimetre or a hundredth of a foot.
    pub(super) fn length(&self, metres: f64) -> String {
        length_text(metres, self.unit)
    }

    /// A length in the result unit, as large as a bound is worth.
    pub(super) fn rough(&self, metres: f64) -> String {
        format!("{} {}", rough(self.unit.of(metres)), self.unit)
    }

    /// Name of a point.
    pub(super) fn name(&self, point: PointId) -> &str {
        self.observed
            .observations
            .points
            .get(point.0 as usize)
            .map_or("?", |point| &point.name)
    }

    /// A point as messages call it.
    pub(super) fn called(&self, point: PointId) -> Cow<'_, str> {
        super::called(self.name(point))
    }

    /// The row that a point stands in; none of one that only measurements name.
    pub(super) fn source(&self, point: PointId) -> Option<&Source> {
        let points = &self.observed.observations.points;
        match points.get(point.0 as usize)?.role {
            PointRole::Mark(row) => Some(&self.job.marks.get(row)?.source),
            PointRole::Control(row) => Some(&self.job.control.get(row)?.source),
            PointRole::Auxiliary => None,
        }
    }

    /// Puts a finding at the job's settings: their file, as a whole.
    pub(super) fn at_settings(&self, finding: Finding) -> Finding {
        let is_book = |file: &str| {
            let extension = Path::new(file).extension();
            extension.is_some_and(|extension| extension.eq_ignore_ascii_case("xlsx"))
        };
        let inputs = self.job.inputs.iter().map(|input| input.file.as_str());
        let mut settings = inputs.filter(|file| *file == "job.toml" || is_book(file));
        let Some(file) = settings.next() else {
            return finding;
        };
        let sheet = if is_book(file) { "!job" } else { "" };
        finding.at(&Source {
            file: format!("{file}{sheet}").into(),
            row: 0,
        })
    }

    /// Adds a point's run and mark to a finding.
    pub(super) fn about(&self, finding: Finding, point: PointId) -> Finding {
        let role = self
            .observed
            .observations
            .points
            .get(point.0 as usize)
            .map(|point| point.role);
        match role {
            Some(PointRole::Mark(row)) => match self.job.marks.get(row) {
                Some(row) => {
                    let name = self.name(point);
                    let mark = name.strip_suffix(row.role.suffix()).unwrap_or(name);
                    self.in_run(finding, Some(row.run)).mark(mark)
                }
                None => finding,
            },
            _ => finding.mark(self.name(point)),
        }
    }

    /// Adds a row's subject to a finding.
    pub(super) fn subject(&self, finding: Finding, subject: &Subject) -> Finding {
        self.in_run(finding, subject.run)
            .mark(&*subject.name)
            .at(&subject.source)
    }

    pub(super) fn in_run(&self, finding: Finding, run: Option<usize>) -> Finding {
        match run.and_then(|run| self.job.runs.get(run)) {
            Some(run) => finding.run(&*run.id),
            None => finding,
        }
    }

    /// Which point of a measurement it is about: a mark's, else the last.
    pub(super) fn point_of(&self, observation: &Observation) -> Option<PointId> {
        let points = &self.observed.observations.points;
        let is_mark = |p: &PointId| {
            points
                .get(p.0 as usize)
                .is_some_and(|point| matches!(point.role, PointRole::Mark(_)))
        };
        let named: Vec<PointId> = observation.kind.points().into_iter().flatten().collect();
        named
            .iter()
            .rev()
            .copied()
            .find(is_mark)
            .or(named.last().copied())
    }

    /// A measurement in words: `tie_2 from P1 to A3 (marks.csv:7)`.
    pub(super) fn describe(&self, observation: &Observation) -> String {
        use crate::observe::Kind;
        let name = |point| self.called(point);
        let what = match observation.kind {
            Kind::Distance { from, to } => format!("distance {} to {}", name(from), name(to)),
            Kind::Station { from, to, at } => {
                format!("station of {} on {}>{}", name(at), name(from), name(to))
            }
            Kind::Offset { from, to, at } => {
                format!("offset of {} from {}>{}", name(at), name(from), name(to))
            }
            Kind::Angle { at, from, to } => {
                format!("angle at {} from {} to {}", name(at), name(from), name(to))
            }
            Kind::Azimuth { from, to } => format!("bearing {} to {}", name(from), name(to)),
            Kind::East { at, .. } => format!("easting of {}", name(at)),
            Kind::North { at, .. } => format!("northing of {}", name(at)),
            Kind::SiteX { at } => format!("x of {}", name(at)),
            Kind::SiteY { at } => format!("y of {}", name(at)),
        };
        format!("{what} ({}, {})", observation.column, observation.source)
    }
}
