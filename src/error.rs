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
        return Err("it is no regular file".to_owned());
    }
    if about.len() > most {
        return Err(format!(
            "it holds {} bytes; at most {most} are read",
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
        _ => plain(error),
    }
}

/// What is wrong with a TOML file that the user named, in one line: its place, the line, and why.
pub(crate) fn toml_wrong(name: &str, text: &str, error: &toml::de::Error) -> Error {
    let start = error.span().map_or(0, |span| span.start.min(text.len()));
    let before = text.get(..start).unwrap_or_default();
    let number = 1 + before.matches('\n').count();
    let line = text.lines().nth(number - 1).unwrap_or_default().trim();
    let why = toml_why(error);
    Error::Usage(if line.is_empty() {
        format!("{name}:{number}: {why}")
    } else {
        format!("{name}:{number}: in `{line}`: {why}")
    })
}

/// Why a value or key of a TOML file can't be used, with the words that can.
pub(crate) fn toml_why(error: &toml::de::Error) -> String {
    let message = error.message().trim_end();
    let known = |what: &str| {
        let (wrong, known) = message.strip_prefix(what)?.split_once(", expected ")?;
        Some((
            wrong.to_owned(),
            known.trim_start_matches("one of ").to_owned(),
        ))
    };
    if let Some((wrong, known)) = known("unknown variant ") {
        return format!("{wrong} is not known; write {known}");
    }
    match known("unknown field ") {
        Some((wrong, known)) => format!("the key {wrong} is not known; known are {known}"),
        None => message.to_owned(),
    }
}

/// Why a JSON text is none, or does not hold what it should, in plain words.
pub(crate) fn json_wrong(error: &serde_json::Error) -> String {
    use serde_json::error::Category;

    let line = error.line();
    let text = error.to_string();
    let missing = text
        .strip_prefix("missing field `")
        .and_then(|rest| rest.split('`').next());
    match (error.classify(), missing) {
        (Category::Eof, _) => format!("it breaks off in line {line}"),
        (Category::Syntax, _) => format!(
            "it is no JSON from line {line}, column {} on",
            error.column()
        ),
        (_, Some(name)) => format!("`{name}` is missing in what ends in line {line}"),
        _ => format!("what stands in line {line} does not belong there"),
    }
}

/// The system's own words without its number for them.
pub(crate) fn plain(error: &io::Error) -> String {
    let text = error.to_string();
    match text.split_once(" (os error ") {
        Some((words, _)) => words.to_lowercase(),
        None => text,
    }
}
