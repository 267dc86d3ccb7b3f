//! What stops a job. Every variant is something that the user can mend; everything else is a finding.

use std::io;
use std::path::PathBuf;

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

/// Why something can't be read, in plain words.
pub(crate) fn unread(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => "there is no such file or folder".to_owned(),
        io::ErrorKind::PermissionDenied => "there is no permission to read it".to_owned(),
        _ => error.to_string(),
    }
}
