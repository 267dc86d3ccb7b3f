//! What is told of a job: findings in plain words, what became of its cells, what to measure next, what was written.

use std::path::{Path, PathBuf};

use super::output::Output;
use super::{Status, listing};
use crate::error::Error;
use crate::export::deliver::Delivered;
use crate::findings::{Finding, Level};
use crate::pipeline::Outcome;
use crate::record::model::Cells;
use crate::units::counted;

/// What became of one job.
pub struct Report {
    path: PathBuf,
    told: Result<Told, Error>,
}

struct Told {
    job: String,
    findings: Vec<Finding>,
    /// Marks and runs, where anything could be computed.
    size: Option<(usize, usize)>,
    cells: Option<Cells>,
    remarks: Vec<String>,
    advice: Vec<String>,
    /// Rows that a draft leaves out.
    draft: Option<usize>,
    delivered: Option<Result<Delivered, Error>>,
    /// Errors keep the deliverables back.
    blocked: bool,
}

impl Report {
    /// A job that can't be read.
    pub fn stopped(path: &Path, error: Error) -> Self {
        Self {
            path: path.to_owned(),
            told: Err(error),
        }
    }

    /// A job that was computed; [`Report::delivered`] adds what was written. With `errors_only`, other findings are not
    /// kept: a large job has a million of them, and nobody asked.
    pub fn of(path: &Path, outcome: &Outcome, errors_only: bool) -> Self {
        let told = |finding: &&Finding| !errors_only || finding.level == Level::Error;
        let record = outcome.record.as_ref();
        let told = Told {
            job: outcome.job.clone(),
            findings: outcome.findings.iter().filter(told).cloned().collect(),
            size: record.map(|record| (record.marks.len(), record.runs.len())),
            cells: Some(outcome.cells),
            remarks: outcome.remarks.clone(),
            advice: record.map_or_else(Vec::new, |record| {
                record.advice.iter().map(|a| a.text.clone()).collect()
            }),
            draft: record.and_then(|record| Some(record.draft.as_ref()?.left_out)),
            delivered: None,
            blocked: false,
        };
        Self {
            path: path.to_owned(),
            told: Ok(told),
        }
    }

    /// Adds what was written, or why nothing could be.
    pub fn delivered(mut self, delivered: Result<Delivered, Error>, blocked: bool) -> Self {
        if let Ok(told) = &mut self.told {
            told.delivered = Some(delivered);
            told.blocked = blocked;
        }
        self
    }

    /// How it ended.
    pub fn status(&self) -> Status {
        match &self.told {
            Err(_)
            | Ok(Told {
                delivered: Some(Err(_)),
                ..
            }) => Status::Stopped,
            Ok(told)
                if told
                    .findings
                    .iter()
                    .any(|finding| finding.level == Level::Error) =>
            {
                Status::Findings
            }
            Ok(_) => Status::Done,
        }
    }

    fn print(&self, quiet: bool, output: &mut Output) {
        match &self.told {
            Ok(told) => told.print(&self.path, quiet, output),
            Err(error) => output.problem(error),
        }
    }
}

impl Told {
    fn print(&self, path: &Path, quiet: bool, output: &mut Output) {
        let shown: Vec<&Finding> = self
            .findings
            .iter()
            .filter(|f| !quiet || f.level == Level::Error)
            .collect();
        if !quiet || !shown.is_empty() {
            let size = self.size.map_or_else(String::new, |(marks, runs)| {
                format!(": {}, {}", counted(marks, "mark"), counted(runs, "run"))
            });
            output.line(&format!("{}{size}", self.title(path)));
        }
        for line in listing::lines(&shown) {
            output.line(&format!("  {line}"));
        }
        if !quiet {
            self.print_sums(output);
        }
        match &self.delivered {
            Some(Ok(delivered)) if !quiet => self.print_delivered(delivered, output),
            Some(Err(error)) => output.problem(error),
            _ => {}
        }
    }

    /// Id and path; the path alone where the id can't be read.
    fn title(&self, path: &Path) -> String {
        if self.job.is_empty() {
            path.display().to_string()
        } else {
            format!("{} ({})", self.job, path.display())
        }
    }

    fn print_delivered(&self, delivered: &Delivered, output: &mut Output) {
        let folder = delivered.folder.display();
        output.line(&format!(
            "  written to {folder}: {}",
            delivered.files.join(", ")
        ));
        // What a note has said already is not said again.
        let said = |why: &String| self.remarks.iter().any(|remark| remark.contains(why));
        for (file, why) in delivered.absent.iter().filter(|(_, why)| !said(why)) {
            output.line(&format!("  no {file}: {why}"));
        }
        if let Some(rows) = self.draft {
            let rows = counted(rows, "row");
            output.line(&format!("  DRAFT, without {rows} that can't be used"));
        }
        if self.blocked {
            output.line(
                "  no deliverables while there are errors: mend the job, or the marked cells of corrections.xlsx, and \
                 build it again; --draft builds without the rows concerned",
            );
            let earlier = superseded(&delivered.folder);
            if earlier.exists() {
                output.line(&format!(
                    "  earlier results, no longer current, are in {}",
                    earlier.display()
                ));
            }
        }
    }

    fn print_sums(&self, output: &mut Output) {
        let of = |level| {
            self.findings
                .iter()
                .filter(|finding| finding.level == level)
                .count()
        };
        let counts = [
            (Level::Error, "error"),
            (Level::Warning, "warning"),
            (Level::Note, "note"),
        ];
        let counts: Vec<String> = counts
            .iter()
            .map(|(level, word)| counted(of(*level), word))
            .collect();
        output.line(&format!("  findings: {}", counts.join(", ")));
        if let Some(Cells { used, kept, named }) = self.cells {
            let sum = used + kept + named;
            output.line(&format!(
                "  cells: {used} used + {kept} kept + {named} named in findings = {sum} filled"
            ));
        }
        for text in &self.remarks {
            output.line(&format!("  note: {text}"));
        }
        for text in &self.advice {
            output.line(&format!("  next: {text}"));
        }
    }
}

/// Where results go that a job with errors had before.
fn superseded(folder: &Path) -> PathBuf {
    let mut name = folder.as_os_str().to_owned();
    name.push(".superseded");
    PathBuf::from(name)
}

/// Prints every job's report, and gives the status of the whole.
pub fn print_all(
    reports: &[Report],
    quiet: bool,
    json: bool,
    output: &mut Output,
) -> Result<Status, Error> {
    if json {
        print_json(reports, output)?;
    } else {
        for report in reports {
            report.print(quiet, output);
        }
    }
    if !json && !quiet && reports.len() > 1 {
        print_batch(reports, output);
    }
    Ok(reports
        .iter()
        .map(Report::status)
        .max()
        .unwrap_or(Status::Done))
}

/// The findings as one array; what stopped a job goes to standard error.
fn print_json(reports: &[Report], output: &mut Output) -> Result<(), Error> {
    let told = || {
        reports
            .iter()
            .filter_map(|report| report.told.as_ref().ok())
    };
    let findings: Vec<&Finding> = told().flat_map(|told| &told.findings).collect();
    let text = serde_json::to_vec_pretty(&findings).map_err(|e| Error::Usage(e.to_string()))?;
    output.bytes(&text);
    output.bytes(b"\n");
    for error in reports
        .iter()
        .filter_map(|report| report.told.as_ref().err())
    {
        output.problem(error);
    }
    for error in told().filter_map(|told| told.delivered.as_ref()?.as_ref().err()) {
        output.problem(error);
    }
    Ok(())
}

fn print_batch(reports: &[Report], output: &mut Output) {
    let of = |status| {
        reports
            .iter()
            .filter(|report| report.status() == status)
            .count()
    };
    output.line(&format!(
        "{}: {} done, {} with errors, {} stopped",
        counted(reports.len(), "job"),
        of(Status::Done),
        of(Status::Findings),
        of(Status::Stopped)
    ));
}
