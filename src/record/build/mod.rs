//! The record from every stage's result, in result units, geographic places in bulk.

mod accuracy;
mod camera;
mod cautions;
mod head;
mod joint;
mod marks;
mod references;
mod runs;
mod scale;
mod survey;
mod ties;

pub use cautions::CAUTIONS;
pub use survey::Survey;

use std::collections::BTreeMap;

use super::hash::hash;
use super::model::{
    Adjustment, Advice, AsBuilt, Cells, Check, Draft, Frame, Geographic, Input, LeftOut,
    Measurement, Note, SCHEMA,
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
    /// A draft.
    pub draft: bool,
}

/// Builds the record.
///
/// # Errors
/// A figure that is not finite: a fault of the program, which the record must not hide.
pub fn build(parts: Parts<'_>) -> std::io::Result<AsBuilt> {
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
        accuracy: accuracy::accuracy(&parts.checks, scale),
    };
    let mut record = AsBuilt {
        schema: SCHEMA.to_owned(),
        generator: concat!("aslaid ", env!("CARGO_PKG_VERSION")).to_owned(),
        hash: None,
        draft: parts.draft.then_some(Draft {
            left_out: job.dropped,
        }),
        job: head::head(job),
        frame: parts.frame,
        equipment: head::equipment(job, scale),
        accuracy: view.accuracy.clone(),
        sigmas: head::sigmas(job, parts.unit),
        limits: head::limits(job, parts.unit),
        adjustment: parts.adjustment,
        runs: runs::runs(&view),
        marks: marks::marks(&view),
        camera: camera::camera(&view),
        references: references::references(&view),
        ties: Vec::new(),
        plans: Vec::new(),
        crossings: Vec::new(),
        measurements: parts.measurements,
        checks: parts.checks,
        advice: parts.advice,
        findings,
        notes: notes(&view, parts.notes),
        left_out: job.left_out.iter().map(left_out).collect(),
        inputs: job.inputs.iter().map(input).collect(),
        cells: cells(job.cells),
        cautions: CAUTIONS.map(str::to_owned).to_vec(),
        published: job.publish.clone(),
    };
    let tying = Tying {
        accuracy: &job.accuracy,
        scale,
        ground_to_grid: view.inputs.ground_to_grid(),
    };
    record.ties = ties::ties(&tying, &record.marks, &record.camera, &record.references);
    set_geographic(&mut record, parts.to_wgs84, &heights(&view), scale);
    record.hash = Some(hash(&record)?);
    Ok(record)
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

/// The reader's remarks, the stages', and what this stage takes for granted.
fn notes(view: &View<'_>, stages: Vec<Note>) -> Vec<Note> {
    let job = view.inputs.job;
    let read = job.notes.iter().map(|note| Note {
        source: note.source.as_ref().map(ToString::to_string),
        text: note.text.clone(),
    });
    let mut notes: Vec<Note> = read.chain(stages).collect();
    let without = |missing: &dyn Fn(&crate::job::model::Run) -> bool| {
        let names: Vec<&str> = job
            .runs
            .iter()
            .filter(|run| missing(run))
            .take(6)
            .map(|run| run.id.as_ref())
            .collect();
        match names.as_slice() {
            [] => None,
            [.., _] if names.len() > 5 => Some(format!("{} and more", names.join(", "))),
            _ => Some(names.join(", ")),
        }
    };
    if let Some(runs) = without(&|run| {
        run.axis_above_invert
            .or(job.equipment.axis_above_invert)
            .is_none()
    }) {
        let axis = view.scale.say(crate::run::AXIS_ABOVE_INVERT);
        notes.push(Note {
            source: None,
            text: format!("axis_above_invert is not given (run {runs}): {axis} is taken, which shifts every invert by as much."),
        });
    }
    if let Some(runs) = without(&|run| run.wall.is_none() && run.diameter.is_some()) {
        notes.push(Note {
            source: None,
            text: format!("The pipe's wall is not given (run {runs}): cover is to the top of the bore, not of the pipe."),
        });
    }
    notes
}

/// Heights of inverts above the ellipsoid: by the job's separation, else by a mark's own GNSS height.
fn heights(view: &View<'_>) -> Heights {
    let separation = view.inputs.job.grid.geoid_separation;
    let mut by_mark = BTreeMap::new();
    for traced in view.traced.iter().filter(|_| separation.is_none()) {
        for located in &traced.marks {
            if let Some(height) = marks::ellipsoidal(view, located) {
                by_mark.insert(view.inputs.mark_name(located.mark).to_owned(), height);
            }
        }
    }
    Heights {
        separation,
        by_mark,
    }
}

/// WGS 84 for everything with a place, in one transformation; heights of the inverts where they are known.
fn set_geographic(record: &mut AsBuilt, to_wgs84: &ToWgs84<'_>, heights: &Heights, scale: Scale) {
    let crs = scale.crs_unit;
    let mut slots: Vec<(&mut Option<Geographic>, Option<f64>)> = Vec::new();
    let mut points = Vec::new();
    for mark in &mut record.marks {
        points.push((mark.easting * crs, mark.northing * crs));
        slots.push((
            &mut mark.geographic,
            heights.of(Some(&mark.mark), mark.invert, scale),
        ));
    }
    for vertex in record.runs.iter_mut().flat_map(|run| &mut run.vertices) {
        points.push((vertex.easting * crs, vertex.northing * crs));
        slots.push((
            &mut vertex.geographic,
            heights.of(vertex.mark.as_deref(), vertex.invert, scale),
        ));
    }
    for camera in &mut record.camera {
        if let (Some(easting), Some(northing)) = (camera.easting, camera.northing) {
            points.push((easting * crs, northing * crs));
            slots.push((
                &mut camera.geographic,
                heights.of(None, camera.invert, scale),
            ));
        }
    }
    for reference in &mut record.references {
        points.push((reference.easting * crs, reference.northing * crs));
        slots.push((&mut reference.geographic, None));
    }
    let Some(lonlat) = in_chunks(&points, to_wgs84) else {
        return;
    };
    for ((slot, ellipsoidal_height), (longitude, latitude)) in slots.into_iter().zip(lonlat) {
        if longitude.is_finite() && latitude.is_finite() {
            let (longitude, latitude) = (longitude.to_degrees(), latitude.to_degrees());
            *slot = Some(Geographic {
                longitude,
                latitude,
                ellipsoidal_height,
            });
        }
    }
}

/// What ellipsoidal heights come from.
struct Heights {
    separation: Option<f64>,
    by_mark: BTreeMap<String, f64>,
}

impl Heights {
    fn of(&self, mark: Option<&str>, invert: Option<f64>, scale: Scale) -> Option<f64> {
        let by_separation = invert
            .zip(self.separation)
            .map(|(z, separation)| z * scale.unit.metres() + separation);
        by_separation.or_else(|| self.by_mark.get(mark?).copied())
    }
}

/// Points a chunk: enough to make a thread's own transformation worth its start.
const CHUNK: usize = 1 << 14;

fn in_chunks(points: &[(f64, f64)], to_wgs84: &ToWgs84<'_>) -> Option<Vec<(f64, f64)>> {
    use rayon::prelude::*;
    let chunks: Option<Vec<Vec<(f64, f64)>>> = points.par_chunks(CHUNK).map(to_wgs84).collect();
    Some(chunks?.concat()).filter(|all| all.len() == points.len())
}
