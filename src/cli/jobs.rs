//! The jobs that the arguments name.

use std::io::{self, BufRead};
use std::path::{Path, PathBuf};

use crate::error::Error;

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

// Until reading is merged: the same functions with the same signatures, from `crate::job`.

fn discover(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Error> {
    for path in paths {
        if !path.exists() {
            return Err(Error::Read {
                path: path.clone(),
                why: "there is no such file or folder".to_owned(),
            });
        }
    }
    Ok(paths.to_vec())
}

pub fn corrections(_: &crate::pipeline::Outcome) -> Result<Option<Vec<u8>>, Error> {
    Ok(None)
}

pub fn write_folder(path: &Path) -> Result<(), Error> {
    Err(Error::Write {
        path: path.to_owned(),
        why: "templates are not merged yet".to_owned(),
    })
}

pub fn write_workbook(path: &Path) -> Result<(), Error> {
    write_folder(path)
}
