//! What an input may cost, in one place: hostile or mistaken files stop here, before they fill the memory.
//!
//! All of these are our choice: far above any field book, far below a machine's memory.

use std::fs::{self, File};
use std::io::Read;
use std::path::Path;

use crate::error::{Error, unread};

/// Largest file, bytes.
pub const FILE: u64 = 1 << 30;
/// Largest receiver log, bytes.
pub const LOG: u64 = 1 << 28;
/// Largest `job.toml`, bytes.
pub const SETTINGS: u64 = 1 << 20;
/// What a workbook may unpack to, bytes.
pub const UNPACKED: u64 = 1 << 29;
/// Largest cell, bytes.
pub const CELL: usize = 32_767;
/// Most columns of a table.
pub const COLUMNS: usize = 4_096;
/// Most cells of a table, blank ones included.
pub const CELLS: usize = 1 << 26;
/// Most findings of reading about one table; the rest are counted.
pub const FINDINGS: usize = 1_000;
/// Deepest nesting of folders that are searched for jobs.
pub const DEPTH: usize = 32;

/// The bytes of a regular file; links, devices and pipes are refused, and so is a file over the limit.
pub fn read_file(path: &Path, limit: u64) -> Result<Vec<u8>, Error> {
    let refuse = |why: String| Error::Read {
        path: path.to_owned(),
        why,
    };
    let about = fs::symlink_metadata(path).map_err(|error| refuse(unread(&error)))?;
    if about.file_type().is_symlink() {
        return Err(refuse("is a link: put the file itself here".to_owned()));
    }
    if !about.is_file() {
        return Err(refuse("is no regular file".to_owned()));
    }
    if about.len() > limit {
        return Err(refuse(format!(
            "holds {} bytes; at most {limit} are read",
            about.len()
        )));
    }
    let mut bytes = Vec::with_capacity(usize::try_from(about.len()).unwrap_or(0));
    // The file may grow while it is read, or have lied about its size.
    let file = File::open(path).map_err(|error| refuse(unread(&error)))?;
    file.take(limit + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| refuse(unread(&error)))?;
    if bytes.len() as u64 > limit {
        return Err(refuse(format!("holds more than {limit} bytes")));
    }
    Ok(bytes)
}
