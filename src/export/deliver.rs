//! All the files of one job, written and put in place together.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::fields::Fields;
use super::place::{Earlier, failed, file, place};
use super::{CORRECTIONS, Format, View, findings, record};
use crate::error::Error;
use crate::findings::Finding;
use crate::record::AsBuilt;
use crate::sheet::SheetOptions;

/// What is to be delivered.
pub struct Delivery<'a> {
    /// Job id: the folder's name.
    pub id: &'a str,
    /// The record; `None` where the job has errors, and only findings are written.
    pub record: Option<AsBuilt>,
    /// Findings.
    pub findings: &'a [Finding],
    /// The corrections workbook, where there is one.
    pub corrections: Option<Vec<u8>>,
    /// Formats asked for.
    pub formats: &'a [&'a dyn Format],
    /// Names, units and values that somebody else's schema wants.
    pub fields: Option<&'a Fields>,
    /// Paper and dig pages of the sheet.
    pub sheet: &'a SheetOptions,
}

/// What was delivered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Delivered {
    /// Where.
    pub folder: PathBuf,
    /// Files, in the order of writing.
    pub files: Vec<&'static str>,
    /// Files that this record does not have, and why.
    pub absent: Vec<(&'static str, String)>,
}

/// Writes everything into `root/<id>`.
///
/// # Errors
/// [`Error::Write`]; earlier results then stand as they were.
pub fn deliver(root: &Path, delivery: Delivery<'_>) -> Result<Delivered, Error> {
    let Delivery {
        id,
        record,
        findings,
        corrections,
        formats,
        fields,
        sheet,
    } = delivery;
    let mut record = record;
    let mut absent = Vec::new();
    let mut written = Vec::new();
    if let Some(record) = &record {
        for format in formats {
            match format.absent(record) {
                Some(why) => absent.push((format.file(), why)),
                None => written.push(*format),
            }
        }
    }
    // Made once, and only where it is shown: it costs as much as writing the whole record.
    if written.iter().any(|format| format.shows_hash()) {
        record = record
            .map(record::seal)
            .transpose()
            .map_err(|e| failed(root, &e))?;
    }
    let draft = record.as_ref().and_then(|record| record.draft.as_ref());
    let fill = |folder: &Path| -> Result<(), Error> {
        if let Some(record) = &record {
            let view = match fields {
                Some(fields) => View::with_fields(record, fields)?,
                None => View::new(record),
            };
            let view = View {
                sheet: sheet.clone(),
                ..view
            };
            // At once: a large record's formats use all threads, a small one's flushes to the disk overlap.
            let results: Vec<Result<(), Error>> = written
                .par_iter()
                .map(|format| file(folder, format.file(), &|out| format.write(&view, out)))
                .collect();
            results.into_iter().collect::<Result<(), Error>>()?;
        }
        file(folder, findings::CSV, &|out| {
            findings::write_csv(findings, draft, out)
        })?;
        file(folder, findings::JSON, &|out| {
            findings::write_json(findings, draft, out)
        })?;
        corrections.as_ref().map_or(Ok(()), |bytes| {
            file(folder, CORRECTIONS, &|out| out.write_all(bytes))
        })
    };
    let earlier = if record.is_some() {
        Earlier::Replace
    } else {
        Earlier::Supersede
    };
    let folder = place(root, id, earlier, &fill)?;
    let mut files: Vec<&str> = written.iter().map(|format| format.file()).collect();
    files.extend([findings::CSV, findings::JSON]);
    files.extend(corrections.as_ref().map(|_| CORRECTIONS));
    Ok(Delivered {
        folder,
        files,
        absent,
    })
}
