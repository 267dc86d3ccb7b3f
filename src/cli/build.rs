//! `aslaid build`: computes, and writes the deliverables of each job.

use std::path::{Path, PathBuf};

use super::args::BuildArgs;
use super::output::Output;
use super::report::{self, Report};
use super::{Status, batch, jobs, times};
use crate::error::Error;
use crate::export::deliver::{Delivered, Delivering, Delivery, deliver_later};
use crate::export::fields::Fields;
use crate::export::{Format, sections};
use crate::findings::Level;
use crate::job::corrections::MOST_ROWS;
use crate::pipeline::{self, Large, Options, Outcome, Seal};
use crate::sheet::SheetOptions;

pub fn run(args: &BuildArgs, output: &mut Output) -> Result<Status, Error> {
    let formats = args.plans.formats(&args.formats)?;
    let fields = args.fields.as_deref().map(Fields::read).transpose()?;
    let jobs = jobs::named(&args.paths)?;
    let sheet = args.sheet_options();
    let errors_only = args.common.quiet && !args.common.json;
    let options = Options {
        draft: args.draft,
        corrections: true,
        // A plan changes the record.
        seal: if args.plans.none() && formats.iter().any(|format| format.shows_hash()) {
            Seal::File
        } else {
            Seal::Later
        },
        // What is told of the job as a whole (advice, sums), a plan and a field file need it whole; a smaller job may need its table
        // for a workbook of corrections, and a machine holds it with ease.
        in_sections: (errors_only
            && fields.is_none()
            && args.plans.none()
            && formats.iter().all(|format| format.by_section().is_some()))
        .then_some(MOST_ROWS),
        ..args.common.options()
    };
    let whole = Options {
        in_sections: None,
        ..options.clone()
    };
    let finish = |path: &Path, mut outcome: Outcome| -> batch::Ending {
        if let Some(large) = outcome.large.take() {
            let written = root(args.out.as_ref(), path)
                .and_then(|root| in_sections(&root, &large, &formats))
                .transpose();
            drop(large);
            if let Some(delivered) = written {
                let report = Report::of(path, &outcome, errors_only).delivered(delivered, false);
                return Box::new(move || report);
            }
            outcome = match pipeline::run(path, &whole) {
                Ok(outcome) => outcome,
                Err(error) => {
                    let report = Report::stopped(path, error);
                    return Box::new(move || report);
                }
            };
        }
        let further = named(path, &outcome).and_then(|()| args.plans.lay_under(&mut outcome));
        let report = Report::of(path, &outcome, errors_only);
        let blocked = outcome.blocked() && !args.draft;
        let delivered = further.and_then(|further| {
            let root = root(args.out.as_ref(), path)?;
            let further = further.iter().map(AsRef::as_ref);
            let formats: Vec<&dyn Format> = formats.iter().copied().chain(further).collect();
            write(&root, outcome, blocked, &formats, fields.as_ref(), &sheet)
        });
        Box::new(move || report.delivered(delivered.and_then(Delivering::wait), blocked))
    };
    times::begin();
    let reports = batch::run(&jobs, &args.common, &options, &finish)?;
    times::print();
    report::print_all(&reports, args.common.quiet, args.common.json, output)
}

/// An error where the job's id is not known: its results have no folder then. It says the first thing that is wrong, most likely why.
fn named(path: &Path, outcome: &Outcome) -> Result<(), Error> {
    if !outcome.job.is_empty() {
        return Ok(());
    }
    let mut errors = outcome.findings.iter();
    let first = errors.find(|finding| finding.level == Level::Error);
    let why = first.map_or("[job] id is missing", |finding| finding.message.as_str());
    Err(Error::Read {
        path: path.to_owned(),
        why: format!("nothing is written, since the job's id can't be read: {why}"),
    })
}

/// Writes a large job section by section; `None` if it has to be computed whole.
fn in_sections(
    root: &Path,
    large: &Large,
    formats: &[&dyn Format],
) -> Result<Option<Delivered>, Error> {
    let section = |at| large.section(at);
    sections::deliver(root, large.job(), (large.sections(), &section), formats)
}

fn root(out: Option<&PathBuf>, job: &Path) -> Result<PathBuf, Error> {
    out.map_or_else(|| jobs::beside(job), |out| Ok(out.clone()))
}

fn write(
    root: &Path,
    outcome: Outcome,
    blocked: bool,
    formats: &[&dyn Format],
    fields: Option<&Fields>,
    sheet: &SheetOptions,
) -> Result<Delivering, Error> {
    let Outcome {
        job,
        record,
        file,
        findings,
        corrections,
        ..
    } = outcome;
    let record = record.filter(|_| !blocked);
    let unknown = record
        .as_ref()
        .map_or_else(Vec::new, |record| sheet.unknown(record));
    if !unknown.is_empty() {
        return Err(Error::Usage(format!(
            "--dig: job {job} has no camera observation called {}; the sheet names them by their counter (c12.4)",
            unknown.join(", ")
        )));
    }
    deliver_later(
        root,
        Delivery {
            id: &job,
            record,
            file,
            findings: &findings,
            corrections: corrections.as_deref(),
            formats,
            fields,
            sheet,
        },
    )
}
