//! The stages, one statement each.

use std::path::Path;

use crate::crs::Crs;
use crate::error::Error;
use crate::findings::{Finding, Level, rules};
use crate::job::model::{Job, Note};
use crate::job::{self, JobPath, Tables};
use crate::math::ellipse::Ellipse;
use crate::math::stats::ELLIPSE_95;
use crate::record::build::{Parts, Survey};
use crate::record::{self, AsBuilt, model};
use crate::run::{Inputs, Traced};
use crate::units::LengthUnit;
use crate::watch;
use crate::{advice, height, observe, position, profile, run, transmitter};

/// What the caller may ask for.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Unit of the results; the job's if absent.
    pub unit: Option<LengthUnit>,
    /// Build a draft without the rows that can't be used.
    pub draft: bool,
    /// Another projected CRS for the results.
    pub crs: Option<String>,
    /// Keep the tables as typed, for the workbook of corrections.
    pub tables: bool,
    /// Leave out the record's hash, which costs as much as writing the record: what delivers it makes it, where it is shown.
    pub no_hash: bool,
}

/// What became of one job.
#[derive(Debug)]
pub struct Outcome {
    /// Job id.
    pub job: String,
    /// The record; of what is usable, if some rows were not. `None` if nothing could be computed.
    pub record: Option<AsBuilt>,
    /// All findings, errors first.
    pub findings: Vec<Finding>,
    /// What reading the files has to say besides: how they were read, and the columns that are kept and not used.
    pub remarks: Vec<String>,
    /// What became of every filled cell.
    pub cells: model::Cells,
    /// The tables as typed, where they were asked for and there is something to correct.
    pub tables: Option<Tables>,
}

impl Outcome {
    /// Some finding is an error: no deliverables but the findings, unless a draft is asked for.
    #[must_use]
    pub fn blocked(&self) -> bool {
        self.findings
            .iter()
            .any(|finding| finding.level == Level::Error)
    }
}

/// Reads and computes one job: a folder with `job.toml`, or a workbook.
///
/// # Errors
/// A job that can't be read at all, or a result CRS that is not known.
pub fn run(path: &Path, options: &Options) -> Result<Outcome, Error> {
    watch::begin();
    let reading = job::read(&JobPath::of(path), &|code| crs_unit(code))?;
    let (mut job, mut findings) = (reading.job, reading.findings);
    let mut remarks = remarks(&job, &reading.kept);
    let tables = options
        .tables
        .then_some(reading.tables)
        .filter(|tables| mendable(tables, &mut remarks));
    let mut record = None;
    watch::end("reading");
    if reading.usable {
        let own =
            Crs::new(&job.grid.crs, job.grid.unit).map_err(|error| unreadable(path, &error))?;
        let crs = match &options.crs {
            Some(code) => elsewhere(&mut job, &own, code)?,
            None => own,
        };
        let (built, found) = compute(&job, &crs, options, std::mem::take(&mut findings));
        record = Some(built.map_err(|error| unreadable(path, &error))?);
        findings = found;
    }
    let cells = model::Cells {
        used: job.cells.used,
        kept: job.cells.kept,
        named: job.cells.named,
    };
    Ok(Outcome {
        job: job.head.id,
        record,
        tables: tables.filter(|_| !findings.is_empty()),
        findings,
        remarks,
        cells,
    })
}

/// Whether a workbook of corrections is worth making; a remark where it is not.
fn mendable(tables: &Tables, remarks: &mut Vec<String>) -> bool {
    let (rows, most) = (tables.rows(), job::corrections::MOST_ROWS);
    if rows > most {
        remarks.push(format!(
            "no corrections.xlsx: the job has {rows} rows, and a workbook to be mended by hand is made for up to {most};              findings.csv names every row concerned"
        ));
    }
    rows <= most
}

fn remarks(job: &Job, kept: &[String]) -> Vec<String> {
    let notes = job.notes.iter().map(|note| match &note.source {
        Some(source) => format!("{source}: {}", note.text),
        None => note.text.clone(),
    });
    let kept = kept
        .iter()
        .map(|columns| format!("kept for the record and not used: {columns}"));
    notes.chain(kept).collect()
}

/// Tells the job in another system; a note says by which operation, and how good that is.
fn elsewhere(job: &mut Job, own: &Crs, code: &str) -> Result<Crs, Error> {
    let usage = |error: &dyn std::fmt::Display| Error::Usage(format!("--crs {code}: {error}"));
    let crs = Crs::new(code, job.grid.unit).map_err(|error| usage(&error))?;
    let operation = observe::recast::recast(job, own, &crs).map_err(|error| usage(&error))?;
    let how = operation.map_or_else(String::new, |operation| {
        let accuracy = operation
            .accuracy_m
            .map_or_else(|| "not stated".to_owned(), |metres| format!("{metres} m"));
        format!(
            ", by the operation \"{}\" (accuracy: {accuracy}, not in the ellipses)",
            operation.name
        )
    });
    job.notes.push(Note {
        source: None,
        text: format!(
            "The job is in {}; its results were asked for in {}{how}.",
            own.code(),
            crs.code()
        ),
    });
    Ok(crs)
}

fn compute(
    job: &Job,
    crs: &Crs,
    options: &Options,
    read: Vec<Finding>,
) -> (std::io::Result<AsBuilt>, Vec<Finding>) {
    let unit = options.unit.unwrap_or(job.grid.unit);
    let observed = observe::observe(job, crs);
    watch::end("observing");
    let adjusted = position::adjust(&observed.observations, &job.limits);
    watch::end("adjusting");
    let heights = height::heights(job, &observed.observations, &job.limits);
    watch::end("heights");
    let inputs = Inputs {
        job,
        observations: &observed.observations,
        places: &adjusted,
        grounds: &heights,
    };
    let sensed = transmitter::sense(job, &observed.observations, &adjusted);
    watch::end("transmitter");
    let traced = run::trace(inputs, &sensed);
    watch::end("run");
    let profiles = profile::profiles(inputs, &traced);
    watch::end("profile");

    let survey = Survey {
        job,
        crs,
        observed: &observed,
        adjusted: &adjusted,
        heights: &heights,
        unit,
    };
    let semi_major = semi_major(&traced, observed.observations.marks.len());
    let mut findings = read;
    findings.extend(rules::survey::find(&rules::survey::Survey {
        job,
        crs,
        observed: &observed,
        adjusted: &adjusted,
        heights: &heights,
        semi_major: &|mark| semi_major.get(mark).copied().flatten(),
        unit,
    }));
    findings.extend(rules::pipe::find(&rules::pipe::Pipe {
        inputs,
        sensed: &sensed,
        traced: &traced,
        profiles: &profiles,
        unit,
    }));
    finish(job, &mut findings);
    watch::end("rules");

    let known = advice::Known {
        inputs,
        adjusted: &adjusted,
        sensed: &sensed,
        traced: &traced,
        profiles: &profiles,
        unit,
    };
    let quality = survey.quality();
    let advice = advice::advise(&known);
    watch::end("advice");
    let built = record::build(Parts {
        inputs,
        sensed: &sensed,
        traced: &traced,
        profiles: &profiles,
        unit,
        frame: survey.frame(),
        to_wgs84: &|places| to_wgs84(crs, places),
        adjustment: survey.adjustment(),
        measurements: survey.measurements(),
        quality: &|point| quality.get(point.0 as usize).copied().flatten(),
        checks: survey.checks(inputs, &traced),
        advice,
        findings: findings.clone(),
        notes: observed.notes.iter().map(note).collect(),
        hash: !options.no_hash,
        draft: options.draft && findings.iter().any(|finding| finding.level == Level::Error),
    });
    watch::end("record");
    (built, findings)
}

/// Semi-major axes of the marks' 95 % ellipses, metres, by mark.
fn semi_major(traced: &[Traced], marks: usize) -> Vec<Option<f64>> {
    let mut all = vec![None; marks];
    for located in traced.iter().flat_map(|run| &run.marks) {
        if let Some(slot) = all.get_mut(located.mark) {
            *slot = Some(Ellipse::of(located.covariance()).major * ELLIPSE_95);
        }
    }
    all
}

/// Gives every finding its job and puts them in order: errors first, then by code, as found.
fn finish(job: &Job, findings: &mut [Finding]) {
    for finding in findings.iter_mut() {
        finding.job.clone_from(&job.head.id);
    }
    findings.sort_by(|a, b| b.level.cmp(&a.level).then(a.code.cmp(&b.code)));
}

fn note(note: &Note) -> model::Note {
    model::Note {
        source: note.source.as_ref().map(ToString::to_string),
        text: note.text.clone(),
    }
}

fn to_wgs84(crs: &Crs, places: &[(f64, f64)]) -> Option<Vec<(f64, f64)>> {
    if crs.is_local() {
        return None;
    }
    crs.to_wgs84(places).ok().map(|(places, _)| places)
}

fn crs_unit(code: &str) -> Result<f64, String> {
    Crs::new(code, LengthUnit::Metre)
        .map(|crs| crs.unit_metres())
        .map_err(|error| error.to_string())
}

fn unreadable(path: &Path, error: &dyn std::fmt::Display) -> Error {
    Error::Read {
        path: path.to_owned(),
        why: error.to_string(),
    }
}
