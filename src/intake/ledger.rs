//! Where accepted records go, and what is there already.

use std::fmt::Write as _;
use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use super::mains::Tap;
use crate::error::{Error, json_wrong, plain, unread};
use crate::export::load::intake::{self as load, Meets};
use crate::export::load::{Identity, Options, Target, Version};
use crate::record::hash::digest;
use crate::record::{AsBuilt, write_json};

/// Longest name that a file system takes, bytes.
const LONGEST: usize = 255;

/// Ending of a record's file.
const ENDING: &str = ".json";

/// What is on file. A record's identity is its supplier and job; accepting one replaces the record of the same identity, whole or not
/// at all.
pub trait Ledger {
    /// Every record on file, in an order that depends on nothing but the records.
    fn on_file(&self) -> Result<Vec<AsBuilt>, Error>;

    /// What is there besides, put there by `load`: identities and versions, the records themselves are not kept.
    fn loaded(&self) -> Result<Vec<(Identity, Version)>, Error> {
        Ok(Vec::new())
    }

    /// Why a record has no place there, however good it is; nothing, where it has.
    fn takes(&self, record: &AsBuilt) -> Result<(), String> {
        let _ = record;
        Ok(())
    }

    /// Puts a record on file, with the mains that its laterals meet.
    fn accept(&mut self, record: &AsBuilt, taps: &[Tap]) -> Result<(), Error>;
}

/// A folder of records: `SUPPLIER/JOB.json`, each renamed into place when it is whole. An earlier revision is not kept.
#[derive(Clone, Debug)]
pub struct Folder {
    root: PathBuf,
}

impl Folder {
    /// A folder, made if it is missing.
    ///
    /// # Errors
    /// It can't be made.
    pub fn open(root: &Path) -> Result<Self, Error> {
        fs::create_dir_all(root).map_err(|why| failed(root, &why))?;
        Ok(Self {
            root: root.to_owned(),
        })
    }

    fn path(&self, record: &AsBuilt) -> PathBuf {
        let supplier = record.job.supplier.as_deref().unwrap_or_default();
        let job = safe(&record.job.id, LONGEST - ENDING.len());
        self.root
            .join(safe(supplier, LONGEST))
            .join(format!("{job}{ENDING}"))
    }
}

/// A database: records go through [`crate::export::load`], each by a transaction of its own.
#[derive(Clone, Debug)]
pub struct Database {
    into: Target,
    options: Options,
    /// Coordinate system that its tables hold.
    crs: String,
}

impl Database {
    /// A database whose tables hold the coordinate system `crs`, that of the mains.
    #[must_use]
    pub fn new(into: Target, options: Options, crs: &str) -> Self {
        Self {
            into,
            options,
            crs: crs.to_owned(),
        }
    }
}

impl Ledger for Database {
    fn on_file(&self) -> Result<Vec<AsBuilt>, Error> {
        load::documents(&self.into, &self.options)
    }

    fn loaded(&self) -> Result<Vec<(Identity, Version)>, Error> {
        load::loaded(&self.into, &self.options)
    }

    fn takes(&self, record: &AsBuilt) -> Result<(), String> {
        if record.frame.crs != self.crs {
            return Err(format!(
                "The record is in {}, and the database holds {}: build it again with --crs {}.",
                record.frame.crs, self.crs, self.crs
            ));
        }
        let further = load::further_columns(record);
        if further.is_empty() {
            return Ok(());
        }
        Err(format!(
            "The record publishes columns that the database does not have ({}): take them out of [publish] in job.toml and build it again.",
            further.join(", ")
        ))
    }

    fn accept(&mut self, record: &AsBuilt, taps: &[Tap]) -> Result<(), Error> {
        let meets: Vec<Meets<'_>> = taps
            .iter()
            .map(|tap| Meets {
                run: &tap.run,
                main: &tap.main,
                station: tap.station,
                from: tap.from.as_deref(),
                distance: tap.distance,
                distance_95: tap.distance_95,
                above: tap.above,
                above_95: tap.above_95,
                or: tap.or.as_deref(),
            })
            .collect();
        load::put(record, &meets, &self.into, &self.options)
    }
}

fn failed(path: &Path, why: &io::Error) -> Error {
    let why = match why.kind() {
        io::ErrorKind::AlreadyExists | io::ErrorKind::NotADirectory => {
            "a file stands where a folder is needed; name another place with --into".to_owned()
        }
        _ => plain(why),
    };
    Error::Write {
        path: path.to_owned(),
        why,
    }
}

/// A name as a file name: letters, digits and `-` stay, any other byte is written `_xx`, so that no two names share one. What would be
/// longer than `most` bytes ends in `__` and its hash instead; no name is written whole with two underscores in a row.
fn safe(name: &str, most: usize) -> String {
    let mut safe = String::new();
    for byte in name.bytes() {
        if byte.is_ascii_alphanumeric() || byte == b'-' {
            safe.push(char::from(byte));
        } else {
            // Writing to a string can't fail.
            let _ = write!(safe, "_{byte:02x}");
        }
    }
    if safe.len() > most {
        let end = format!("__{}", digest(name.as_bytes()));
        safe.truncate(most.saturating_sub(end.len()));
        safe.push_str(&end);
    }
    safe
}

impl Ledger for Folder {
    fn on_file(&self) -> Result<Vec<AsBuilt>, Error> {
        let mut files = Vec::new();
        for supplier in listed(&self.root)? {
            if supplier.is_dir() {
                files.extend(
                    listed(&supplier)?
                        .into_iter()
                        .filter(|file| file.extension().is_some_and(|ending| ending == "json")),
                );
            }
        }
        files
            .iter()
            .map(|file| {
                let broken = |why: String| Error::Read {
                    path: file.clone(),
                    why,
                };
                let text = fs::read_to_string(file).map_err(|why| broken(unread(&why)))?;
                serde_json::from_str(&text).map_err(|why| broken(json_wrong(&why)))
            })
            .collect()
    }

    fn accept(&mut self, record: &AsBuilt, _: &[Tap]) -> Result<(), Error> {
        let path = self.path(record);
        let folder = path.parent().unwrap_or(&self.root);
        fs::create_dir_all(folder).map_err(|why| failed(folder, &why))?;
        // A temporary file has another ending: what a killed run leaves is never read.
        let mut file = tempfile::Builder::new()
            .suffix(".part")
            .tempfile_in(folder)
            .map_err(|why| failed(folder, &why))?;
        let mut text = Vec::new();
        write_json(record, &mut text)
            .and_then(|()| file.write_all(&text))
            .map_err(|why| failed(&path, &why))?;
        file.as_file()
            .sync_all()
            .map_err(|why| failed(&path, &why))?;
        file.persist(&path)
            .map_err(|why| failed(&path, &why.error))?;
        Ok(())
    }
}

/// What a folder holds, by name.
fn listed(folder: &Path) -> Result<Vec<PathBuf>, Error> {
    let failed = |why: std::io::Error| Error::Read {
        path: folder.to_owned(),
        why: unread(&why),
    };
    let entries = fs::read_dir(folder).map_err(failed)?;
    let mut paths = entries
        .map(|entry| Ok(entry?.path()))
        .collect::<Result<Vec<_>, _>>()
        .map_err(failed)?;
    paths.sort();
    Ok(paths)
}
