//! Records to load: where they lie, and whether they may be loaded at all.

use std::fs;
use std::path::{Path, PathBuf};

use super::{Identity, Version};
use crate::error::{Error, json_wrong, unread};
use crate::export::place::SUPERSEDED;
use crate::record::{AsBuilt, unaltered};

const FILE: &str = "record.json";

/// Records that lie below some paths.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Found {
    /// Their files.
    pub records: Vec<PathBuf>,
    /// Folders that were passed over, each with the reason: a clause.
    pub passed: Vec<(PathBuf, &'static str)>,
}

/// Why there is no record of a job that has errors.
pub const NO_RECORD: &str = "its job has errors and therefore no record; mend what its findings.csv names and build it again";
/// Why results are none any more.
pub const WITHDRAWN: &str =
    "`build` has withdrawn these results: the job has errors since; mend them and build it again";

/// Whether a folder of results, or the one that a file lies in, is one that `build` has withdrawn.
#[must_use]
pub fn withdrawn(path: &Path) -> bool {
    let whole = path.canonicalize();
    let whole = whole.as_deref().unwrap_or(path);
    let folder = if whole.is_dir() {
        Some(whole)
    } else {
        whole.parent()
    };
    folder
        .and_then(Path::file_name)
        .is_some_and(|name| name.to_string_lossy().ends_with(SUPERSEDED))
}

/// Whether a folder holds the findings of a job, and no record.
#[must_use]
pub fn has_errors(folder: &Path) -> bool {
    folder.join("findings.csv").is_file() && !folder.join(FILE).exists()
}

/// Every `record.json` that the paths name: a file, a result folder, or a folder of result folders, searched in the order
/// of names; hidden ones are passed over, and so are, with a word, superseded ones and those of jobs with errors.
///
/// # Errors
/// [`Error::Read`] for a path that can't be read, that is superseded, or below which there is none.
pub fn find(paths: &[PathBuf]) -> Result<Found, Error> {
    let mut found = Found::default();
    for path in paths {
        let (before, passed) = (found.records.len(), found.passed.len());
        if withdrawn(path) {
            return Err(failed(path, WITHDRAWN.to_owned()));
        }
        if path.is_file() {
            found.records.push(path.clone());
        } else {
            search(path, &mut found)?;
        }
        if found.records.len() == before {
            let why = if has_errors(path) {
                NO_RECORD.to_owned()
            } else if let Some((folder, why)) = found.passed.get(passed) {
                format!(
                    "there is no record to load below it; {}: {why}",
                    folder.display()
                )
            } else {
                format!("there is no {FILE} in it; load what `aslaid build` wrote")
            };
            return Err(failed(path, why));
        }
    }
    Ok(found)
}

fn search(folder: &Path, found: &mut Found) -> Result<(), Error> {
    let file = folder.join(FILE);
    if file.is_file() {
        found.records.push(file);
        return Ok(());
    }
    if has_errors(folder) {
        found.passed.push((folder.to_owned(), NO_RECORD));
        return Ok(());
    }
    let wrong = |why: std::io::Error| failed(folder, unread(&why));
    let mut below = Vec::new();
    for entry in fs::read_dir(folder).map_err(wrong)? {
        let entry = entry.map_err(wrong)?;
        let name = entry.file_name().to_string_lossy().into_owned();
        // Links aren't followed: they could lead round in a circle.
        let is_folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
        if is_folder && name.ends_with(SUPERSEDED) {
            found.passed.push((entry.path(), WITHDRAWN));
        } else if is_folder && !name.starts_with('.') {
            below.push(entry.path());
        }
    }
    below.sort();
    below.iter().try_for_each(|folder| search(folder, found))
}

/// Reads a record, and holds it against the hash that it states.
pub(super) fn read(path: &Path) -> Result<AsBuilt, Error> {
    let bytes = fs::read(path).map_err(|e| failed(path, unread(&e)))?;
    let record: AsBuilt = serde_json::from_slice(&bytes).map_err(|e| {
        failed(
            path,
            format!("is no record of this program: {}", json_wrong(&e)),
        )
    })?;
    if !unaltered(&record, &bytes) {
        return Err(failed(
            path,
            "does not have the hash that it states: it was changed after it was built, be it in its spaces or lines only, or built by another \
             version; take the file as it was built, or build it again"
                .to_owned(),
        ));
    }
    Ok(record)
}

/// Whose record it is and which; refuses those that have no place in a database.
pub(super) fn identity(path: &Path, record: &AsBuilt) -> Result<(Identity, Version), Error> {
    let refuse = |why: &str| Err(failed(path, why.to_owned()));
    if record.draft.is_some() {
        return refuse(
            "is a draft, and a database holds finished records; mend the job's errors and build it again",
        );
    }
    if record.frame.local {
        return refuse(
            "is in site coordinates, and nothing says where on the earth that is; tie the job to a coordinate system",
        );
    }
    let supplier = record.job.supplier.as_deref().unwrap_or_default();
    if supplier.trim().is_empty() || record.job.id.trim().is_empty() {
        return refuse(
            "names no supplier, and a record is told by its supplier and job; give [job] supplier in job.toml",
        );
    }
    let Some(hash) = record.hash.clone() else {
        return refuse("states no hash; build it again");
    };
    let identity = Identity {
        supplier: supplier.replace('\0', "\u{fffd}"),
        job: record.job.id.clone(),
    };
    let revision = record.job.revision.map(i64::from);
    Ok((identity, Version { revision, hash }))
}

fn failed(path: &Path, why: String) -> Error {
    Error::Read {
        path: path.to_owned(),
        why,
    }
}
