//! The jobs that the arguments name.

use std::io::{self, BufRead};
use std::path::{Path, PathBuf};

use crate::error::Error;
use crate::job;
use crate::pipeline::Outcome;

/// Every job that the paths name; `-` stands for the paths on standard input, one a line.
pub fn named(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Error> {
    let mut all = Vec::new();
    for path in paths {
        if path.as_os_str() == "-" {
            for line in io::stdin().lock().lines() {
                let line =
                    line.map_err(|e| Error::Usage(format!("standard input can't be read: {e}")))?;
                all.extend(Some(PathBuf::from(line)).filter(|path| !path.as_os_str().is_empty()));
            }
        } else {
            all.push(path.clone());
        }
    }
    discover(&all)
}

/// Folder `results` beside a job: the default place of its results.
pub fn beside(job: &Path) -> Result<PathBuf, Error> {
    // `.` and `..` have no name, and so no parent that can be read off.
    let whole = if job.file_name().is_none() {
        job.canonicalize().map_err(|e| Error::Read {
            path: job.to_owned(),
            why: e.to_string(),
        })?
    } else {
        job.to_owned()
    };
    Ok(whole.parent().unwrap_or(Path::new("")).join("results"))
}

/// The jobs behind the paths.
fn discover(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Error> {
    let found = job::discover(paths)?;
    Ok(found.iter().map(|job| job.path().to_owned()).collect())
}

/// The workbook of corrections, where there is anything to correct.
pub fn corrections(outcome: &Outcome) -> Result<Option<Vec<u8>>, Error> {
    if outcome.findings.is_empty() {
        return Ok(None);
    }
    job::corrections::workbook(&outcome.tables, &outcome.findings).map(Some)
}
