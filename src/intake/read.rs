//! Deliveries as they come: records that `build` wrote, or plain files that the field file describes.

use std::path::{Path, PathBuf};

use serde::Deserialize;

use super::fields::Fields;
use super::plain;
use super::report::Status;
use crate::error::{json_wrong, unread};
use crate::export::load;
use crate::record::model::SCHEMA;
use crate::record::{AsBuilt, unaltered};
use crate::sheet::{Verdict, verify};

/// Largest delivery, bytes (our choice: a record of a hundred thousand marks fits).
const MAX_BYTES: u64 = 256 << 20;

/// The record in a folder of results.
const RECORD: &str = "record.json";

/// What this version writes into its records.
const GENERATOR: &str = concat!("aslaid ", env!("CARGO_PKG_VERSION"));

/// A delivery that could be read.
#[derive(Clone, Debug)]
pub struct Delivery {
    /// File, and supplier's job in it where a file has several.
    pub source: String,
    /// The record, as delivered or as a plain delivery says.
    pub record: AsBuilt,
    /// It is as `build` wrote it.
    pub unaltered: bool,
    /// Why the sheet that lies beside the record is not drawn from it.
    pub sheet: Option<String>,
}

/// One that could not, or was withdrawn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// File.
    pub source: String,
    /// Refused, or superseded.
    pub status: Status,
    /// `unreadable`, `schema`, `columns` or `superseded`.
    pub code: &'static str,
    /// What is wrong and what to do.
    pub message: String,
    /// Supplier, if known.
    pub supplier: Option<String>,
    /// Job, if known.
    pub job: Option<String>,
}

impl Refusal {
    /// Code and message of a file that can't be read.
    pub(super) fn why(why: &dyn std::fmt::Display) -> (&'static str, String) {
        let message = format!("The file can't be read: {why}. Mend it and send it again.");
        ("unreadable", message)
    }

    fn unreadable(path: &Path, why: &dyn std::fmt::Display) -> Self {
        let (code, message) = Self::why(why);
        Self::file(path, code, message)
    }

    pub(super) fn file(path: &Path, code: &'static str, message: String) -> Self {
        Self {
            source: path.display().to_string(),
            status: Status::Refused,
            code,
            message,
            supplier: None,
            job: None,
        }
    }
}

/// The deliveries in a file, or in a folder of results.
#[must_use]
pub fn deliveries(path: &Path, fields: &Fields) -> Vec<Result<Delivery, Refusal>> {
    if load::withdrawn(path) {
        let message = format!("Passed over: {}.", load::WITHDRAWN);
        return vec![Err(Refusal {
            status: Status::Superseded,
            ..Refusal::file(path, "superseded", message)
        })];
    }
    let file: PathBuf = if path.is_dir() {
        path.join(RECORD)
    } else {
        path.to_owned()
    };
    let about = match std::fs::metadata(&file) {
        Ok(about) => about,
        Err(_) if path.is_dir() => return vec![Err(no_record(path))],
        Err(why) => return vec![Err(Refusal::unreadable(&file, &unread(&why)))],
    };
    if !about.is_file() || about.len() > MAX_BYTES {
        let why = format!("it is no file, or larger than {} MiB", MAX_BYTES >> 20);
        return vec![Err(Refusal::unreadable(&file, &why))];
    }
    let ending = file
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase())
        .unwrap_or_default();
    match ending.as_str() {
        "json" => vec![record(&file)],
        "csv" | "geojson" | "gpkg" => plain::deliveries(&file, fields),
        _ => {
            let why = "a delivery is a folder of results, a record.json, or a .csv, .geojson or .gpkg that the field file describes";
            vec![Err(Refusal::unreadable(&file, &why))]
        }
    }
}

/// A folder without a record: of a job with errors, of several results, or of anything.
fn no_record(folder: &Path) -> Refusal {
    let below = || {
        let entries = std::fs::read_dir(folder).ok()?;
        let mut folders = entries.filter_map(|entry| Some(entry.ok()?.path()));
        folders.find(|folder| folder.join(RECORD).is_file())
    };
    let message = if load::has_errors(folder) {
        format!("There is no {RECORD} in it: {}.", load::NO_RECORD)
    } else if below().is_some() {
        format!(
            "It holds no results itself, but folders of results. Name those: {}.",
            folder.join("*").display()
        )
    } else {
        format!("There is no {RECORD} in it. Send the folder as `build` wrote it.")
    };
    Refusal::file(folder, "unreadable", message)
}

fn record(path: &Path) -> Result<Delivery, Refusal> {
    let bytes = std::fs::read(path).map_err(|why| Refusal::unreadable(path, &unread(&why)))?;
    let Head { schema } = serde_json::from_slice(&bytes)
        .map_err(|why| Refusal::unreadable(path, &json_wrong(&why)))?;
    let schema = schema.as_ref().and_then(serde_json::Value::as_str);
    if schema != Some(SCHEMA) {
        let message = format!(
            "The record is of schema \"{}\", not \"{SCHEMA}\": build it again with this version of the program.",
            schema.unwrap_or_default()
        );
        return Err(Refusal::file(path, "schema", message));
    }
    match serde_json::from_slice(&bytes) {
        Ok(record) => Ok(Delivery {
            source: path.display().to_string(),
            sheet: sheet(path, &bytes, &record),
            unaltered: unaltered(&record, &bytes),
            record,
        }),
        Err(why) => {
            let message = format!(
                "The record does not fit its schema: {}. Send the file as `build` wrote it.",
                json_wrong(&why)
            );
            Err(Refusal::file(path, "schema", message))
        }
    }
}

/// What says which schema a record is of.
#[derive(Deserialize)]
struct Head {
    schema: Option<serde_json::Value>,
}

/// Why the sheet beside a record is not drawn from it; nothing where there is none, or where nobody can tell: a sheet may be drawn by
/// another version.
fn sheet(path: &Path, bytes: &[u8], record: &AsBuilt) -> Option<String> {
    let file = path.with_file_name("sheet.pdf");
    let about = std::fs::metadata(&file).ok()?;
    if path.file_name()? != RECORD || !about.is_file() || about.len() > MAX_BYTES {
        return None;
    }
    let Ok(sheet) = std::fs::read(&file) else {
        return Some(
            "The sheet.pdf beside it can't be read. Send the folder as `build` wrote it."
                .to_owned(),
        );
    };
    // Of a record that can't be drawn nobody can tell.
    match verify(&sheet, bytes).ok()? {
        Verdict::NoSheet => Some(
            "The sheet.pdf beside it is cut off, or is no sheet of this program. Send the folder as `build` wrote it, and a signed or \
             scanned copy under another name."
                .to_owned(),
        ),
        Verdict::Other { .. } => Some(
            "The sheet.pdf beside it is drawn from another record. Send the folder as `build` wrote it."
                .to_owned(),
        ),
        Verdict::Redrawn if record.generator == GENERATOR => Some(
            "The sheet.pdf beside it was changed after it was drawn. Send the folder as `build` wrote it."
                .to_owned(),
        ),
        _ => None,
    }
}
