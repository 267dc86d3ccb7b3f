//! The record's own hash.

use std::io;

use sha2::{Digest, Sha256};

use super::model::AsBuilt;

/// Writes the record as JSON, indented by two spaces, so that the line of its hash stands alone; numbers in the shortest form
/// that reads back as the same double.
///
/// # Errors
/// A number that is not finite, or a failing writer.
pub fn write_json(record: &AsBuilt, mut out: impl io::Write) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut out, record)?;
    out.write_all(b"\n")
}

/// SHA-256 of the record's file without the one line that holds the hash, lower-case hexadecimal.
///
/// Everyday tools check it: `grep -v '^  "hash": ' record.json | sha256sum`.
///
/// # Errors
/// A record that can't be written as JSON: a number that is not finite.
pub fn hash(record: &AsBuilt) -> io::Result<String> {
    // A record is written in pieces of a few bytes.
    let mut digest = io::BufWriter::with_capacity(1 << 14, Sink(Sha256::new()));
    if record.hash.is_none() {
        write_json(record, &mut digest)?;
    } else {
        let bare = AsBuilt {
            hash: None,
            ..record.clone()
        };
        write_json(&bare, &mut digest)?;
    }
    let digest = digest
        .into_inner()
        .map_err(io::IntoInnerError::into_error)?;
    Ok(hex(&digest.0.finalize()))
}

/// The record with its own hash in it, and its file: both from writing it once.
///
/// # Errors
/// As [`hash`].
pub fn sealed(record: AsBuilt) -> io::Result<(AsBuilt, Vec<u8>)> {
    let mut record = AsBuilt {
        hash: None,
        ..record
    };
    let mut file = Vec::new();
    write_json(&record, &mut file)?;
    let hash = digest(&file);
    // The lines before it: the bracket, the schema, the generator. No text holds a line's end as such.
    let lines = memchr::memchr_iter(b'\n', &file);
    let at = lines.take(3).last().map_or(0, |end| end + 1);
    file.splice(at..at, format!("  \"hash\": \"{hash}\",\n").into_bytes());
    record.hash = Some(hash);
    Ok((record, file))
}

/// Whether the record is the one that its hash was made of; false without a hash.
#[must_use]
pub fn verify_hash(record: &AsBuilt) -> bool {
    record
        .hash
        .as_ref()
        .is_some_and(|stated| hash(record).is_ok_and(|found| found == *stated))
}

/// Whether a file is the record that was read of it, as it was built: its hash fits what lies on the disk, to the last byte, and what was
/// read. A key that no record has is in the file, and is not read.
#[must_use]
pub fn unaltered(record: &AsBuilt, file: &[u8]) -> bool {
    record.hash.as_deref() == Some(&file_hash(file)) && verify_hash(record)
}

/// What [`hash`] is for a record's file as it lies on the disk, to the last byte: a digit beyond a double's precision, which no
/// number that is read can show, changes it too.
#[must_use]
pub fn file_hash(file: &[u8]) -> String {
    let mut digest = Sha256::new();
    for line in file.split_inclusive(|byte| *byte == b'\n') {
        if !line.starts_with(b"  \"hash\": ") {
            digest.update(line);
        }
    }
    hex(&digest.finalize())
}

/// SHA-256 of bytes, lower-case hexadecimal.
#[must_use]
pub fn digest(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

fn hex(bytes: &[u8]) -> String {
    const DIGITS: [char; 16] = [
        '0', '1', '2', '3', '4', '5', '6', '7', '8', '9', 'a', 'b', 'c', 'd', 'e', 'f',
    ];
    let digit = |half: u8| DIGITS.get(usize::from(half)).copied().unwrap_or('0');
    bytes
        .iter()
        .flat_map(|byte| [digit(byte >> 4), digit(byte & 15)])
        .collect()
}

struct Sink(Sha256);

impl io::Write for Sink {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
