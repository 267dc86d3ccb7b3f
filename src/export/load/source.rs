//! Records to load: where they lie, and whether they may be loaded at all.

use std::fs;
use std::path::{Path, PathBuf};

use super::{Identity, Version};
use crate::error::Error;
use crate::export::record::seal;
use crate::record::AsBuilt;

const FILE: &str = "record.json";

/// Every `record.json` that the paths name: a file, a result folder, or a folder of result folders, searched in the order
/// of names; hidden and superseded ones are passed over.
///
/// # Errors
/// [`Error::Read`] for a path that can't be read, or below which there is none.
pub fn find(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Error> {
    let mut found = Vec::new();
    for path in paths {
        let before = found.len();
        if path.is_file() {
            found.push(path.clone());
        } else {
            search(path, &mut found)?;
        }
        if found.len() == before {
            return Err(failed(
                path,
                format!("there is no {FILE} in it; load what `aslaid build` wrote"),
            ));
        }
    }
    Ok(found)
}

fn search(folder: &Path, found: &mut Vec<PathBuf>) -> Result<(), Error> {
    let file = folder.join(FILE);
    if file.is_file() {
        found.push(file);
        return Ok(());
    }
    let mut below = Vec::new();
    for entry in fs::read_dir(folder).map_err(|e| failed(folder, e.to_string()))? {
        let entry = entry.map_err(|e| failed(folder, e.to_string()))?;
        let name = entry.file_name().to_string_lossy().into_owned();
        // Links aren't followed: they could lead round in a circle.
        let is_folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
        if is_folder && !name.starts_with('.') && !name.ends_with(".superseded") {
            below.push(entry.path());
        }
    }
    below.sort();
    below.iter().try_for_each(|folder| search(folder, found))
}

/// Reads a record, and holds it against the hash that it states.
pub(super) fn read(path: &Path) -> Result<AsBuilt, Error> {
    let bytes = fs::read(path).map_err(|e| failed(path, e.to_string()))?;
    let record: AsBuilt = serde_json::from_slice(&bytes)
        .map_err(|e| failed(path, format!("is no record of this program: {e}")))?;
    let stated = record.hash.clone();
    let sealed = seal(record).map_err(|e| failed(path, e.to_string()))?;
    if stated.is_none() || sealed.hash != stated {
        return Err(failed(
            path,
            "does not have the hash that it states: it was changed after it was built, or built by another version; build it again".to_owned(),
        ));
    }
    Ok(sealed)
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
