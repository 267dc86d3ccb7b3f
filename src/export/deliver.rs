//! All the files of one job, written and put in place together.

use std::io::Write;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::fields::Fields;
use super::flush::{Flushes, Pending};
use super::place::{Earlier, failed, file, place_later};
use super::{CORRECTIONS, Format, View, findings};
use crate::error::Error;
use crate::findings::Finding;
use crate::record::{self, AsBuilt};
use crate::sheet::SheetOptions;
use crate::watch;

/// What is to be delivered.
pub struct Delivery<'a> {
    /// Job id: the folder's name.
    pub id: &'a str,
    /// The record; `None` where the job has errors, and only findings are written. Without a hash it gets one, where that is shown; one that
    /// it has stays.
    pub record: Option<AsBuilt>,
    /// The record's file, where it has been made with the hash.
    pub file: Option<Vec<u8>>,
    /// Findings.
    pub findings: &'a [Finding],
    /// The workbook of corrections, where there is one.
    pub corrections: Option<&'a [u8]>,
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

/// What is written, and being flushed and put in place.
#[must_use = "whether it succeeded is known only when it was waited for"]
pub struct Delivering {
    placing: Pending<PathBuf>,
    root: PathBuf,
    files: Vec<&'static str>,
    absent: Vec<(&'static str, String)>,
}

impl Delivering {
    /// Waits until it is in place.
    ///
    /// # Errors
    /// [`Error::Write`]; earlier results then stand as they were.
    pub fn wait(self) -> Result<Delivered, Error> {
        Ok(Delivered {
            folder: self.placing.wait(&self.root)?,
            files: self.files,
            absent: self.absent,
        })
    }
}

/// Writes everything into `root/<id>`.
///
/// # Errors
/// [`Error::Write`]; earlier results then stand as they were.
pub fn deliver(root: &Path, delivery: Delivery<'_>) -> Result<Delivered, Error> {
    deliver_later(root, delivery)?.wait()
}

/// As [`deliver`], but flushed and put in place while the caller goes on.
///
/// # Errors
/// As [`deliver`], as far as it fails while it is written.
pub fn deliver_later(root: &Path, delivery: Delivery<'_>) -> Result<Delivering, Error> {
    let Delivery {
        id,
        mut record,
        file: mut sealed,
        findings,
        corrections,
        formats,
        fields,
        sheet,
    } = delivery;
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
    watch::begin();
    // Made once, and only where it is shown: it costs as much as writing the whole record.
    let shown = written.iter().any(|format| format.shows_hash());
    if let Some(bare) = record.take_if(|record| shown && record.hash.is_none()) {
        let (whole, file) = record::sealed(bare).map_err(|e| failed(root, &e))?;
        (record, sealed) = (Some(whole), Some(file));
    }
    watch::end("hash");
    let filling = Filling {
        record: record.as_ref(),
        file: sealed.as_deref(),
        written: &written,
        findings,
        corrections,
        fields,
        sheet,
    };
    let fill = |folder: &Path, flushes: &Flushes| filling.fill(folder, flushes);
    let earlier = if record.is_some() {
        Earlier::Replace
    } else {
        Earlier::Supersede
    };
    let placing = place_later(root, id, earlier, &fill)?;
    let mut files: Vec<&str> = written.iter().map(|format| format.file()).collect();
    files.extend([findings::CSV, findings::JSON]);
    files.extend(corrections.as_ref().map(|_| CORRECTIONS));
    Ok(Delivering {
        placing,
        root: root.to_owned(),
        files,
        absent,
    })
}

/// What a folder is filled with.
struct Filling<'a> {
    record: Option<&'a AsBuilt>,
    file: Option<&'a [u8]>,
    /// Formats that the record has.
    written: &'a [&'a dyn Format],
    findings: &'a [Finding],
    corrections: Option<&'a [u8]>,
    fields: Option<&'a Fields>,
    sheet: &'a SheetOptions,
}

impl Filling<'_> {
    fn fill(&self, folder: &Path, flushes: &Flushes) -> Result<(), Error> {
        self.formats(folder, flushes)?;
        watch::begin();
        if let Some(bytes) = self.corrections {
            file(folder, CORRECTIONS, flushes, &|out| out.write_all(bytes))?;
        }
        watch::end("corrections");
        let draft = self.record.and_then(|record| record.draft.as_ref());
        file(folder, findings::CSV, flushes, &|out| {
            findings::write_csv(self.findings, draft, out)
        })?;
        file(folder, findings::JSON, flushes, &|out| {
            findings::write_json(self.findings, draft, out)
        })?;
        watch::end("findings");
        Ok(())
    }

    /// At once: a large record's formats use all threads.
    fn formats(&self, folder: &Path, flushes: &Flushes) -> Result<(), Error> {
        watch::begin();
        let Some(record) = self.record else {
            return Ok(());
        };
        let view = match self.fields {
            Some(fields) => View::with_fields(record, fields)?,
            None => View::new(record),
        };
        let view = View {
            sheet: self.sheet.clone(),
            file: self.file,
            ..view
        };
        watch::end("tables");
        let write = |format: &&dyn Format| {
            watch::begin();
            let write = |out: &mut dyn Write| format.write(&view, out);
            let result = file(folder, format.file(), flushes, &write);
            watch::end(format.name());
            result
        };
        let results: Vec<Result<(), Error>> = self.written.par_iter().map(write).collect();
        results.into_iter().collect()
    }
}
