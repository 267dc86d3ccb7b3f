//! The stages, one statement each.

use std::path::Path;

use crate::crs::Crs;
use crate::error::Error;
use crate::findings::{Finding, Level, rules};
use crate::job::model::{Job, Note};
use crate::job::sections::Sections;
use crate::job::{self, JobPath, Tables};
use crate::math::ellipse::Ellipse;
use crate::math::stats::ELLIPSE_95;
use crate::observe::FrameFacts;
use crate::record::build::{Parts, Survey};
use crate::record::{self, AsBuilt, model};
use crate::run::{Inputs, Traced};
use crate::units::LengthUnit;
use crate::watch::{self, after};
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
    /// The caller can take a job of at least so many marks in sections.
    pub in_sections: Option<usize>,
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
    /// A large job that is still to be computed, a section at a time; then nothing else is here but its id.
    pub large: Option<Box<Large>>,
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
    if let Some(least) = options.in_sections
        && let Some(large) = Large::open(path, least, options)
    {
        return Ok(Outcome {
            job: large.job.clone(),
            record: None,
            findings: Vec::new(),
            remarks: Vec::new(),
            cells: model::Cells::default(),
            tables: None,
            large: Some(Box::new(large)),
        });
    }
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
        let read = std::mem::take(&mut findings);
        let built = compute(&job, &crs, options, read, None).map_err(|e| unreadable(path, &e))?;
        findings.clone_from(&built.findings);
        record = Some(built);
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
        large: None,
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

/// The record of a job; of a section of one, with the frame of the whole, without what only the whole has: measurements, advice and
/// the system's definition. An error where the section shares an unknown with others.
fn compute(
    job: &Job,
    crs: &Crs,
    options: &Options,
    read: Vec<Finding>,
    whole: Option<&FrameFacts>,
) -> std::io::Result<AsBuilt> {
    let unit = options.unit.unwrap_or(job.grid.unit);
    let observed = after("observing", observe::observe_in(job, crs, whole));
    let (observations, limits) = (&observed.observations, &job.limits);
    if whole.is_some() && !observations.shifts.is_empty() {
        return Err(std::io::Error::other(
            "positions share a shift, and so all runs do",
        ));
    }
    let adjusted = after("adjusting", position::adjust(observations, limits));
    let heights = after("heights", height::heights(job, observations, limits));
    let inputs = Inputs {
        job,
        observations,
        places: &adjusted,
        grounds: &heights,
    };
    let sensed = transmitter::sense(job, observations, &adjusted);
    watch::end("transmitter");
    let traced = after("run", run::trace(inputs, &sensed));
    let profiles = after("profile", profile::profiles(inputs, &traced));

    let survey = Survey {
        job,
        crs,
        observed: &observed,
        adjusted: &adjusted,
        heights: &heights,
        unit,
    };
    let semi_major = semi_major(&traced, observations.marks.len());
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

    let known = advice::Known {
        inputs,
        adjusted: &adjusted,
        sensed: &sensed,
        traced: &traced,
        profiles: &profiles,
        unit,
    };
    let quality = survey.quality();
    let draft = options.draft && findings.iter().any(|finding| finding.level == Level::Error);
    let advice = whole.map_or_else(|| advice::advise(&known), |_| Vec::new());
    watch::end("advice");
    let built = record::build(Parts {
        inputs,
        sensed: &sensed,
        traced: &traced,
        profiles: &profiles,
        unit,
        frame: survey.frame(whole.is_none()),
        to_wgs84: &|places| to_wgs84(crs, places),
        adjustment: survey.adjustment(),
        measurements: whole.map_or_else(|| survey.measurements(), |_| Vec::new()),
        quality: &|point| quality.get(point.0 as usize).copied().flatten(),
        checks: survey.checks(inputs, &traced),
        advice,
        findings,
        notes: observed.notes.iter().map(note).collect(),
        hash: !options.no_hash,
        draft,
    });
    watch::end("record");
    built
}

/// A large job whose runs share nothing, computed a section at a time: see [`Sections`].
#[derive(Debug)]
pub struct Large {
    sections: Sections,
    options: Options,
    crs: Crs,
    frame: FrameFacts,
    /// What reading any section says of the job.
    said: Vec<Finding>,
    job: String,
}

impl Large {
    /// The job in a folder, if it has at least so many marks and can be computed in sections.
    #[must_use]
    pub fn open(folder: &Path, least: usize, options: &Options) -> Option<Self> {
        if options.crs.is_some() || options.draft {
            return None;
        }
        let sections = Sections::open(folder, least, &|code| crs_unit(code))?;
        let first = sections.read(0, &|code| crs_unit(code))?;
        let plain = first
            .findings
            .iter()
            .all(|finding| finding.level != Level::Error);
        let crs = Crs::new(&first.job.grid.crs, first.job.grid.unit).ok()?;
        let frame = observe::frame_of(&first.job, &crs, sections.places())?;
        (first.usable && plain).then(|| Self {
            sections: sections.without_places(),
            options: options.clone(),
            crs,
            frame,
            said: first.findings,
            job: first.job.head.id,
        })
    }

    /// The job's id.
    #[must_use]
    pub fn job(&self) -> &str {
        &self.job
    }

    /// How many sections there are.
    #[must_use]
    pub fn sections(&self) -> usize {
        self.sections.len()
    }

    /// The record of a section: its runs, marks and findings are those that the whole job's record has, in its order. What reading
    /// says of the job as a whole is among the first section's findings.
    ///
    /// `None` where something concerns more than a run, or is an error: then the job has to be computed whole.
    #[must_use]
    pub fn section(&self, section: usize) -> Option<AsBuilt> {
        let metres = self.crs.unit_metres();
        watch::begin();
        let reading = after("reading", self.sections.read(section, &|_| Ok(metres)))?;
        if reading.findings != self.said || !reading.job.left_out.is_empty() {
            return None;
        }
        let read = if section == 0 {
            reading.findings
        } else {
            Vec::new()
        };
        let record = compute(
            &reading.job,
            &self.crs,
            &self.options,
            read,
            Some(&self.frame),
        )
        .ok()?;
        let own = |finding: &Finding| {
            finding.run.is_some() && finding.level != Level::Error
                || section == 0 && self.said.iter().any(|said| said.message == finding.message)
        };
        let operations = &record.frame.operations;
        let same = operations
            .iter()
            .all(|of| self.frame.operations.contains(of));
        (same && record.checks.is_empty() && record.findings.iter().all(own)).then_some(record)
    }
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
    watch::end("rules");
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
