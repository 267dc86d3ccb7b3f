//! What stops a job. Every variant is something that the user can mend; everything else is a finding.

use std::fs::{self, File};
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

/// A job that can't be read at all, or a result that can't be written.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A file or folder that can't be read.
    #[error("{}: {why}", path.display())]
    Read {
        /// What.
        path: PathBuf,
        /// Why, and what to do.
        why: String,
    },
    /// A result that can't be written.
    #[error("{}: can't be written: {why}", path.display())]
    Write {
        /// What.
        path: PathBuf,
        /// Why, and what to do.
        why: String,
    },
    /// Records that can't be loaded into a database.
    #[error("{target}: nothing was loaded: {why}")]
    Load {
        /// The database, without its password.
        target: String,
        /// Why, and what to do.
        why: String,
    },
    /// A usage error that the argument parser can't see.
    #[error("{0}")]
    Usage(String),
}

/// The text of a file that the user named: a regular file (a link to one will do) of at most `most` bytes. An error is a
/// clause that says why; a device or a pipe would never end.
pub(crate) fn read_text(path: &Path, most: u64) -> Result<String, String> {
    let about = fs::metadata(path).map_err(|error| unread(&error))?;
    if !about.is_file() {
        return Err("is no regular file".to_owned());
    }
    if about.len() > most {
        return Err(format!(
            "holds {} bytes; at most {most} are read",
            about.len()
        ));
    }
    let file = File::open(path).map_err(|error| unread(&error))?;
    let mut text = String::new();
    file.take(most)
        .read_to_string(&mut text)
        .map_err(|error| unread(&error))?;
    Ok(text)
}

/// Most bytes of a file that says what other files mean (our choice: far above any).
pub(crate) const MOST_SAID: u64 = 1 << 22;

/// Why something can't be read, in plain words.
pub(crate) fn unread(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => "there is no such file or folder".to_owned(),
        io::ErrorKind::PermissionDenied => "there is no permission to read it".to_owned(),
        _ => error.to_string(),
    }
}
