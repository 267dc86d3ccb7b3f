//! The record from every stage's result, in result units, geographic places in bulk.

mod accuracy;
mod camera;
mod cautions;
mod geographic;
mod head;
mod joint;
mod marks;
mod notes;
mod references;
mod runs;
mod scale;
mod survey;
mod ties;

pub use cautions::CAUTIONS;
pub use survey::Survey;

use std::collections::{BTreeMap, HashSet};

use super::model::{
    Adjustment, Advice, AsBuilt, Cells, Check, Draft, Frame, Input, LeftOut, Measurement, Note,
    SCHEMA,
};
use crate::findings::Finding;
use crate::observe::PointId;
use crate::profile::Profile;
use crate::run::{Inputs, Traced};
use crate::transmitter::Sensed;
use crate::units::LengthUnit;
use scale::Scale;
use ties::Tying;

/// What the adjustment says of one point's own measurements.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PointQuality {
    /// Sum of their redundancy numbers.
    pub redundancy: f64,
    /// Largest absolute standardised residual, where there is one.
    pub largest_residual: Option<f64>,
}

/// Metres east and north to WGS 84 longitude and latitude in radians, in bulk; `None` for a grid without georeference or
/// where the transformation fails.
pub type ToWgs84<'a> = dyn Fn(&[(f64, f64)]) -> Option<Vec<(f64, f64)>> + Sync + 'a;

/// Everything that goes into a record.
pub struct Parts<'a> {
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
    /// Coordinate system and units; `crs_unit_metres` decides the coordinates.
    pub frame: Frame,
    /// Transformation to WGS 84.
    pub to_wgs84: &'a ToWgs84<'a>,
    /// The adjustment as a whole.
    pub adjustment: Adjustment,
    /// Residuals.
    pub measurements: Vec<Measurement>,
    /// What the adjustment says of a point.
    pub quality: &'a (dyn Fn(PointId) -> Option<PointQuality> + Sync),
    /// Comparisons: check shots and exposures.
    pub checks: Vec<Check>,
    /// What to measure next.
    pub advice: Vec<Advice>,
    /// Findings of every stage.
    pub findings: Vec<Finding>,
    /// Remarks of the stages, beside the job's own.
    pub notes: Vec<Note>,
    /// What it leaves out, if it is a draft.
    pub draft: Option<Draft>,
}

/// Builds the record, without its hash.
#[must_use]
pub fn build(parts: Parts<'_>) -> AsBuilt {
    let job = parts.inputs.job;
    let scale = Scale {
        unit: parts.unit,
        crs_unit: positive(parts.frame.crs_unit_metres),
    };
    let mut findings = parts.findings;
    findings.sort_by(|a, b| b.level.cmp(&a.level).then(a.code.cmp(&b.code)));
    let view = View {
        inputs: parts.inputs,
        sensed: parts.sensed,
        traced: parts.traced,
        profiles: parts.profiles,
        quality: parts.quality,
        scale,
        codes: codes_by_mark(&findings),
        accuracy: accuracy::accuracy(&parts.checks, scale, job.limits.alarm),
        like_sights: parts
            .inputs
            .observations
            .marks
            .iter()
            .filter(|mark| mark.name.starts_with('c'))
            .map(|mark| (mark.run, &*mark.name))
            .collect(),
        run_ids: job.runs.iter().map(|run| &*run.id).collect(),
        compared: by_mark(&parts.inputs.observations.compared),
    };
    let mut record = AsBuilt {
        schema: SCHEMA.to_owned(),
        generator: concat!("aslaid ", env!("CARGO_PKG_VERSION")).to_owned(),
        hash: None,
        draft: parts.draft,
        job: head::head(job),
        frame: parts.frame,
        equipment: head::equipment(job, scale),
        accuracy: view.accuracy.clone(),
        sigmas: head::sigmas(job, parts.unit),
        limits: head::limits(job, parts.unit),
        adjustment: parts.adjustment,
        pushes: runs::pushes(&view),
        runs: runs::runs(&view),
        marks: marks::marks(&view),
        camera: camera::camera(&view),
        references: references::references(&view),
        ties: Vec::new(),
        plans: Vec::new(),
        underlay: Vec::new(),
        crossings: Vec::new(),
        measurements: parts.measurements,
        checks: parts.checks,
        advice: parts.advice,
        findings,
        notes: notes::notes(&view, parts.notes),
        left_out: job.left_out.iter().map(left_out).collect(),
        inputs: job.inputs.iter().map(input).collect(),
        cells: cells(job.cells),
        cautions: CAUTIONS.map(str::to_owned).to_vec(),
        published: job.publish.clone(),
        layers: job.layers.clone(),
    };
    let tying = Tying {
        accuracy: &job.accuracy,
        scale,
        ground_to_grid: record.frame.combined_factor.unwrap_or(1.0),
    };
    record.notes.extend(notes::of_further_rows(&record.marks));
    record.ties = ties::ties(&tying, &record.marks, &record.camera, &record.references);
    geographic::set(
        &mut record,
        parts.to_wgs84,
        &geographic::heights(&view),
        scale,
    );
    record
}

/// What the builders of each part read.
struct View<'a> {
    inputs: Inputs<'a>,
    sensed: &'a [Sensed],
    traced: &'a [Traced],
    profiles: &'a [Profile],
    quality: &'a (dyn Fn(PointId) -> Option<PointQuality> + Sync),
    scale: Scale,
    codes: BTreeMap<String, String>,
    accuracy: super::model::Accuracy,
    /// Marks by run and name, of those that may be named as a camera observation is.
    like_sights: HashSet<(usize, &'a str)>,
    run_ids: HashSet<&'a str>,
    /// Rows of `job.marks` that are only compared, by the mark that each is about.
    compared: BTreeMap<usize, Vec<usize>>,
}

impl View<'_> {
    /// `supplier/job/…`, the parts that are there.
    fn id(&self, parts: &[&str]) -> String {
        let head = &self.inputs.job.head;
        let all = head
            .supplier
            .as_deref()
            .into_iter()
            .chain([head.id.as_str()])
            .chain(parts.iter().copied());
        all.collect::<Vec<_>>().join("/")
    }

    fn run_id(&self, run: usize) -> &str {
        self.inputs.job.runs.get(run).map_or("", |run| &run.id)
    }
}

fn by_mark(compared: &BTreeMap<usize, usize>) -> BTreeMap<usize, Vec<usize>> {
    let mut all: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (row, mark) in compared {
        all.entry(*mark).or_default().push(*row);
    }
    all
}

fn positive(value: f64) -> f64 {
    if value > 0.0 { value } else { 1.0 }
}

/// Codes of each mark's findings, sorted, space-separated.
fn codes_by_mark(findings: &[Finding]) -> BTreeMap<String, String> {
    let mut codes: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for finding in findings {
        if let Some(mark) = &finding.mark {
            codes.entry(mark).or_default().push(finding.code.word());
        }
    }
    let joined = codes.into_iter().map(|(mark, mut codes)| {
        codes.sort_unstable();
        codes.dedup();
        (mark.to_owned(), codes.join(" "))
    });
    joined.collect()
}

const fn cells(count: crate::job::model::CellCount) -> Cells {
    Cells {
        used: count.used,
        kept: count.kept,
        named: count.named,
    }
}

fn left_out(row: &crate::job::model::LeftOut) -> LeftOut {
    LeftOut {
        source: row.source.to_string(),
        reason: row.reason.clone(),
        cells: row.cells.iter().cloned().collect(),
    }
}

fn input(input: &crate::job::model::Input) -> Input {
    Input {
        file: input.file.clone(),
        bytes: input.bytes,
        sha256: input.sha256.clone(),
    }
}
