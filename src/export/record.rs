//! `record.json`: the whole record, lossless, and its hash.
//!
//! Numbers are written in the shortest form that reads back as the same double; nothing is rounded. The file is
//! indented by two spaces, so that the hash can be checked with everyday tools: it is the SHA-256 of the file without
//! the one line that holds it (`grep -v '^  "hash": ' record.json | sha256sum`).

use std::io::{self, Write};

use sha2::{Digest, Sha256};

use super::{Format, View};
use crate::record::AsBuilt;

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
        write(view.record, out)
    }
}

fn write(record: &AsBuilt, out: &mut dyn Write) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, record)?;
    out.write_all(b"\n")
}

/// The record with its own hash in it.
pub fn seal(mut record: AsBuilt) -> io::Result<AsBuilt> {
    record.hash = None;
    let mut digest = Sha256::new();
    write(&record, &mut digest)?;
    record.hash = Some(format!("{:x}", digest.finalize()));
    Ok(record)
}
