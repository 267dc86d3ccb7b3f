//! `record.json`: the whole record, lossless, and its hash.
//!
//! Numbers are written in the shortest form that reads back as the same double; nothing is rounded. The file is
//! indented by two spaces, so that the hash can be checked with everyday tools: it is the SHA-256 of the file without
//! the one line that holds it (`grep -v '^  "hash": ' record.json | sha256sum`).

use std::io::{self, Write};

use super::{Format, View};
use crate::record::{self, AsBuilt};

/// The record.
#[derive(Debug)]
pub struct Json;

impl Format for Json {
    fn name(&self) -> &'static str {
        "record"
    }

    fn file(&self) -> &'static str {
        "record.json"
    }

    fn about(&self) -> &'static str {
        "the whole as-built record, lossless"
    }

    fn write(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
        match view.file {
            Some(file) => out.write_all(file),
            None => record::write_json(view.record, out),
        }
    }
}

/// The record with its own hash in it.
pub fn seal(mut record: AsBuilt) -> io::Result<AsBuilt> {
    record.hash = None;
    record.hash = Some(record::hash(&record)?);
    Ok(record)
}
