//! The jobs that the arguments name.

use std::io::{self, BufRead};
use std::path::{Path, PathBuf};

use crate::error::{Error, unread};
use crate::job;

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
            why: unread(&e),
        })?
    } else {
        job.to_owned()
    };
    Ok(whole.parent().unwrap_or(Path::new("")).join("results"))
}

/// The jobs behind the paths.
fn discover(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Error> {
    if let [path] = paths
        && let Some(command) = misspelt(path)
    {
        let why = format!(
            "there is no file or folder {}; did you mean the command {command}?",
            path.display()
        );
        return Err(Error::Usage(why));
    }
    let found = job::discover(paths)?;
    Ok(found.iter().map(|job| job.path().to_owned()).collect())
}

/// The command that a word looks like which names no file: `aslaid chekc` is taken for a job.
fn misspelt(path: &Path) -> Option<String> {
    let word = path.to_str().filter(|_| !path.exists())?;
    let commands = super::definition();
    let mut names = commands.get_subcommands().map(clap::Command::get_name);
    names.find(|name| job::near(name, word)).map(str::to_owned)
}
