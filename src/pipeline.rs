//! The stages, one statement each.

use std::collections::HashSet;
use std::path::Path;

use crate::crs::Crs;
use crate::error::Error;
use crate::findings::{Code, Finding, Level, rules};
use crate::height::{Grounds, Heights};
use crate::job::corrections::{Begun, EARLY_ROWS};
use crate::job::model::{Job, Note};
use crate::job::sections::Sections;
use crate::job::{self, JobPath, Tables};
use crate::math::ellipse::Ellipse;
use crate::math::stats::ELLIPSE_95;
use crate::observe::{FrameFacts, Observations, Observed, Problem};
use crate::position::Adjusted;
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
    /// Make the workbook of corrections, where there is something to correct.
    pub corrections: bool,
    /// What becomes of the record's hash.
    pub seal: Seal,
    /// The caller can take a job of at least so many marks in sections.
    pub in_sections: Option<usize>,
}

/// What becomes of a record's hash.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Seal {
    /// It is made.
    #[default]
    Hash,
    /// It is made, and the record's file kept, which it is made of.
    File,
    /// Left out, since it costs as much as writing the record: what delivers the record makes it, where it is shown.
    Later,
}

/// What became of one job.
#[derive(Debug)]
pub struct Outcome {
    /// Job id.
    pub job: String,
    /// The job's own unit, in which are the plain numbers of what is given beside it; `None` of a large job, which takes nothing.
    pub unit: Option<LengthUnit>,
    /// The record; of what is usable, if some rows were not. `None` if nothing could be computed.
    pub record: Option<AsBuilt>,
    /// The record's file, where it was asked for.
    pub file: Option<Vec<u8>>,
    /// All findings, errors first.
    pub findings: Vec<Finding>,
    /// The record's notes but for those of site plans, which come later; without a record, how the files were read. Then the columns
    /// that are kept and not used.
    pub remarks: Vec<String>,
    /// What became of every filled cell.
    pub cells: model::Cells,
    /// The workbook of corrections, where it was asked for and there is something to correct.
    pub corrections: Option<Vec<u8>>,
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
            unit: None,
            record: None,
            file: None,
            findings: Vec::new(),
            remarks: Vec::new(),
            cells: model::Cells::default(),
            corrections: None,
            large: Some(Box::new(large)),
        });
    }
    watch::begin();
    let reading = job::read(&JobPath::of(path), &|code| crs_unit(code))?;
    let (mut job, mut findings) = (reading.job, reading.findings);
    let tables = options
        .corrections
        .then_some(&reading.tables)
        .filter(|tables| mendable(tables));
    watch::end("reading");
    let (record, file, corrections) = if reading.usable {
        let own =
            Crs::new(&job.grid.crs, job.grid.unit).map_err(|error| unreadable(path, &error))?;
        let crs = match &options.crs {
            Some(code) => elsewhere(&mut job, &own, code)?,
            None => own,
        };
        let read = std::mem::take(&mut findings);
        let read = (read, tables);
        let built = compute(&job, &crs, options, read, None).map_err(|e| unreadable(path, &e))?;
        findings.clone_from(&built.record.findings);
        (Some(built.record), built.file, built.corrections)
    } else {
        (None, None, corrections(tables, Ok(None), &findings, None))
    };
    let mut remarks = match &record {
        Some(record) => remarks(&record.notes, &reading.kept, &record.published),
        None => remarks(
            &job.notes.iter().map(note).collect::<Vec<_>>(),
            &reading.kept,
            &[],
        ),
    };
    remarks.extend((options.corrections && tables.is_none()).then(|| unmended(&reading.tables)));
    let cells = model::Cells {
        used: job.cells.used,
        kept: job.cells.kept,
        named: job.cells.named,
    };
    Ok(Outcome {
        job: job.head.id,
        unit: Some(job.grid.unit),
        record,
        file,
        corrections: corrections.transpose()?,
        findings,
        remarks,
        cells,
        large: None,
    })
}

/// The workbook of corrections, where there is something to correct; begun already, or not; with the draft's words, if it is one.
fn corrections(
    tables: Option<&Tables>,
    begun: Result<Option<Begun<'_>>, Error>,
    findings: &[Finding],
    draft: Option<&str>,
) -> Option<Result<Vec<u8>, Error>> {
    let tables = tables.filter(|_| !findings.is_empty())?;
    watch::begin();
    let book = begun.and_then(|begun| begun.map_or_else(|| Begun::new(tables), Ok));
    let bytes = book.and_then(|book| book.finish(findings, draft));
    Some(after("corrections", bytes))
}

/// Whether a workbook of corrections is worth making.
fn mendable(tables: &Tables) -> bool {
    tables.rows() <= job::corrections::MOST_ROWS
}

/// Why none is made.
fn unmended(tables: &Tables) -> String {
    let (rows, most) = (tables.rows(), job::corrections::MOST_ROWS);
    format!(
        "no corrections.xlsx: the job has {rows} rows, and a workbook to be mended by hand is made for up to {most}; findings.csv names every row concerned"
    )
}

/// What is to be told beside the findings; not what the job itself says.
fn remarks(notes: &[model::Note], kept: &[String], published: &[String]) -> Vec<String> {
    let ours = notes.iter().filter(|note| !note.entered);
    let notes = ours.map(model::Note::line);
    let kept = kept
        .iter()
        .map(|columns| format!("kept for the record and not used: {columns}"));
    let public = published
        .iter()
        .map(|column| format!("published as entered, in every deliverable of the marks: {column}"));
    notes.chain(kept).chain(public).collect()
}

/// Tells the job in another system; a note says by which operation, and how good that is.
fn elsewhere(job: &mut Job, own: &Crs, code: &str) -> Result<Crs, Error> {
    let usage = |error: &dyn std::fmt::Display| Error::Usage(format!("--crs {code}: {error}"));
    let crs = Crs::new(code, job.grid.unit).map_err(|error| usage(&error))?;
    let crs = observe::recast::recast(job, own, &crs).map_err(|error| usage(&error))?;
    let how = job.recast.as_ref().map_or_else(String::new, |operation| {
        let accuracy = operation
            .accuracy_m
            .map_or_else(|| "not stated".to_owned(), |metres| format!("{metres} m"));
        let ballpark = if operation.ballpark {
            "; a ballpark operation, which leaves out the difference of the datums"
        } else {
            ""
        };
        format!(
            ", by the operation \"{}\" (accuracy: {accuracy}, not in the ellipses{ballpark})",
            operation.name
        )
    });
    job.notes.push(Note {
        source: None,
        text: format!(
            "The job is in {}; its results were asked for in {code}{how}.{}",
            own.code(),
            horizontal(code, &crs, job).map_or_else(String::new, |text| format!(" {text}")),
        ),
    });
    Ok(crs)
}

/// What to say where a code names a system of heights besides: they are the job's.
fn horizontal(code: &str, crs: &Crs, job: &Job) -> Option<String> {
    let plain = |code: &str| code.trim().to_ascii_uppercase().replace("EPSG:", "");
    let heights = job.grid.vertical.as_deref();
    (!crs.is_local() && plain(code) != plain(crs.code())).then(|| {
        format!(
            "Of {code} the horizontal part is taken ({}): heights stay in {} and are not converted.",
            crs.code(),
            heights.unwrap_or("the system that they are in, which `vertical` in [grid] may name")
        )
    })
}

/// What is computed of a job.
struct Computed {
    record: AsBuilt,
    file: Option<Vec<u8>>,
    corrections: Option<Result<Vec<u8>, Error>>,
}

/// The record of a job, from what reading found and the tables to be corrected; of a section of one, with the frame of the whole, without
/// what only the whole has: measurements, advice and the system's definition. An error where the section shares an unknown with others.
fn compute(
    job: &Job,
    crs: &Crs,
    options: &Options,
    (read, tables): (Vec<Finding>, Option<&Tables>),
    whole: Option<&FrameFacts>,
) -> std::io::Result<Computed> {
    let unit = options.unit.unwrap_or(job.grid.unit);
    let large = tables.filter(|tables| tables.rows() >= EARLY_ROWS);
    let (observed, begun) = rayon::join(
        || observe_and_adjust(job, crs, whole),
        || large.map(Begun::new).transpose(),
    );
    watch::begin();
    let (observed, adjusted) = observed?;
    let observations = &observed.observations;
    let heights = heights(job, observations, whole.is_some())?;
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
    let of_survey = rules::survey::Survey {
        job,
        crs,
        observed: &observed,
        adjusted: &adjusted,
        heights: &heights,
        semi_major: &|mark| semi_major.get(mark).copied().flatten(),
        unit,
    };
    let of_pipe = rules::pipe::Pipe {
        inputs,
        sensed: &sensed,
        traced: &traced,
        profiles: &profiles,
        unit,
    };
    let sources = read.iter().filter(|_| options.draft);
    let said = sources.map(|finding| finding.source.clone()).collect();
    let findings = all_findings(job, read, &of_survey, &of_pipe);

    let known = advice::Known {
        inputs,
        adjusted: &adjusted,
        sensed: &sensed,
        traced: &traced,
        profiles: &profiles,
        unit,
    };
    let quality = survey.quality();
    let advice = whole.map_or_else(|| advice::advise(&known), |_| Vec::new());
    watch::end("advice");
    let parts = Parts {
        inputs,
        sensed: &sensed,
        traced: &traced,
        profiles: &profiles,
        unit,
        frame: survey.frame(whole.is_none()),
        to_wgs84: &|places| to_wgs84(crs, observed.frame.site, places),
        adjustment: survey.adjustment(),
        measurements: whole.map_or_else(|| survey.measurements(), |_| Vec::new()),
        quality: &|point| quality.get(point.0 as usize).copied().flatten(),
        checks: survey.checks(inputs, &traced),
        advice,
        draft: draft(job, options, (&findings, &said)),
        findings,
        notes: notes(job, crs, &observed),
    };
    build(parts, options, (tables, begun))
}

/// The heights; an error where those of a section can only be held against each other over the whole job.
fn heights(job: &Job, observations: &Observations, section: bool) -> std::io::Result<Heights> {
    let heights = after("heights", height::heights(job, observations, &job.limits));
    if section && !heights.doubts.is_empty() {
        return Err(std::io::Error::other(
            "heights are held against each other over the whole job",
        ));
    }
    Ok(heights)
}

/// The measurements and the places; an error where a section shares an unknown with others.
fn observe_and_adjust(
    job: &Job,
    crs: &Crs,
    whole: Option<&FrameFacts>,
) -> std::io::Result<(Observed, Adjusted)> {
    let mut observed = after("observing", observe::observe_in(job, crs, whole, None));
    if job.grid.taped_on_slope {
        // Heights ask for no places.
        let heights = height::heights(job, &observed.observations, &job.limits);
        let height_of = |point| heights.ground(point).map(|ground| ground.z);
        observed = observe::observe_in(job, crs, whole, Some(&height_of));
    }
    let observations = &observed.observations;
    if whole.is_some() && !observations.shifts.is_empty() {
        return Err(std::io::Error::other(
            "positions share a shift, and so all runs do",
        ));
    }
    let undeclined = |problem: &Problem| matches!(problem, Problem::NoDeclination { .. });
    if whole.is_some() && observed.problems.iter().any(undeclined) {
        return Err(std::io::Error::other(
            "a declination lacks the whole job, and is told once",
        ));
    }
    let adjusted = after("adjusting", position::adjust(observations, &job.limits));
    Ok((observed, adjusted))
}

/// The record, and the workbook of corrections beside it: of many rows it takes longer.
fn build(
    parts: Parts<'_>,
    options: &Options,
    (tables, begun): (Option<&Tables>, Result<Option<Begun<'_>>, Error>),
) -> std::io::Result<Computed> {
    // A section has no tables.
    let findings = tables.map_or_else(Vec::new, |_| parts.findings.clone());
    let draft = parts.draft.as_ref().map(model::Draft::words);
    let (record, corrections) = rayon::join(
        || seal(after("record", record::build(parts)), options),
        || corrections(tables, begun, &findings, draft.as_deref()),
    );
    let (record, file) = record?;
    Ok(Computed {
        record,
        file,
        corrections,
    })
}

/// The record with its hash, and its file, as far as they are asked for.
fn seal(record: AsBuilt, options: &Options) -> std::io::Result<(AsBuilt, Option<Vec<u8>>)> {
    if options.seal == Seal::Later {
        return Ok((record, None));
    }
    let (record, file) = record::sealed(record)?;
    watch::end("hash");
    Ok((record, (options.seal == Seal::File).then_some(file)))
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
            options: Options {
                seal: Seal::Later,
                ..options.clone()
            },
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
        let computed = compute(
            &reading.job,
            &self.crs,
            &self.options,
            (read, None),
            Some(&self.frame),
        );
        let record = computed.ok()?.record;
        let own = |finding: &Finding| {
            finding.run.is_some() && finding.level != Level::Error
                || section == 0 && self.said.iter().any(|said| said.message == finding.message)
        };
        let known = self.frame.all_operations();
        let same = record.frame.operations.iter().all(|of| known.contains(of));
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

/// What reading found and what the rules find, every finding with its job, in order: errors first, then by code, as found.
fn all_findings(
    job: &Job,
    read: Vec<Finding>,
    survey: &rules::survey::Survey<'_>,
    pipe: &rules::pipe::Pipe<'_>,
) -> Vec<Finding> {
    let mut findings = read;
    findings.extend(rules::survey::find(survey));
    findings.extend(rules::pipe::find(pipe));
    for finding in &mut findings {
        finding.job.clone_from(&job.head.id);
    }
    findings.sort_by(|a, b| b.level.cmp(&a.level).then(a.code.cmp(&b.code)));
    watch::end("rules");
    findings
}

/// What a draft leaves out; `None` where none is asked for, or nothing is left out. `said` are the rows that reading had something to
/// say of: those of them that are lost are counted. A pipe above the ground is drawn there.
fn draft(
    job: &Job,
    options: &Options,
    (findings, said): (&[Finding], &HashSet<Option<String>>),
) -> Option<model::Draft> {
    let wrong = |finding: &&Finding| finding.level == Level::Error;
    let errors = findings.iter().filter(wrong);
    let later = errors
        .clone()
        .filter(|finding| finding.code != Code::AboveGround && !said.contains(&finding.source))
        .filter_map(|finding| finding.source.as_deref());
    let later: HashSet<&str> = later.collect();
    (options.draft && errors.count() > 0).then_some(model::Draft {
        left_out: job.dropped + later.len(),
    })
}

/// Remarks of the stages.
fn notes(job: &Job, crs: &Crs, observed: &Observed) -> Vec<model::Note> {
    let unused = height::unused(job);
    // Where results were asked for in another system, it has been said of that.
    let text = horizontal(&job.grid.crs, crs, job).filter(|_| job.recast.is_none());
    let of_heights = text.map(|text| Note { source: None, text });
    let further = unused.iter().chain(&of_heights);
    observed.notes.iter().chain(further).map(note).collect()
}

fn note(note: &Note) -> model::Note {
    model::Note::new(
        note.source.as_ref().map(ToString::to_string),
        note.text.clone(),
    )
}

/// Places in WGS 84, by the operation that is the best at the job's site ([`FrameFacts::to_wgs84`]).
fn to_wgs84(crs: &Crs, site: Option<(f64, f64)>, places: &[(f64, f64)]) -> Option<Vec<(f64, f64)>> {
    let placed = crs.to_wgs84_about(site?, places).ok();
    placed.map(|(places, _)| places)
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
