//! Deliveries as they come: records that `build` wrote, or plain files that the field file describes.

use std::path::{Path, PathBuf};

use super::fields::Fields;
use super::plain;
use crate::record::AsBuilt;
use crate::record::model::SCHEMA;

/// Largest delivery, bytes (our choice: a record of a hundred thousand marks fits).
const MAX_BYTES: u64 = 256 << 20;

/// A delivery that could be read.
#[derive(Clone, Debug)]
pub struct Delivery {
    /// File, and supplier's job in it where a file has several.
    pub source: String,
    /// The record, as delivered or as a plain delivery says.
    pub record: AsBuilt,
}

/// One that could not.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// File.
    pub source: String,
    /// `unreadable` or `schema`.
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
    let file: PathBuf = if path.is_dir() {
        path.join("record.json")
    } else {
        path.to_owned()
    };
    let about = match std::fs::metadata(&file) {
        Ok(about) => about,
        Err(why) => return vec![Err(Refusal::unreadable(&file, &why))],
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

fn record(path: &Path) -> Result<Delivery, Refusal> {
    let text = std::fs::read_to_string(path).map_err(|why| Refusal::unreadable(path, &why))?;
    let value: serde_json::Value =
        serde_json::from_str(&text).map_err(|why| Refusal::unreadable(path, &why))?;
    let schema = value
        .get("schema")
        .and_then(serde_json::Value::as_str)
        .unwrap_or_default();
    if schema != SCHEMA {
        let message = format!(
            "The record is of schema \"{schema}\", not \"{SCHEMA}\": build it again with this version of the program."
        );
        return Err(Refusal::file(path, "schema", message));
    }
    match serde_json::from_value(value) {
        Ok(record) => Ok(Delivery {
            source: path.display().to_string(),
            record,
        }),
        Err(why) => {
            let message = format!(
                "The record does not fit its schema: {why}. Send the file as `build` wrote it."
            );
            Err(Refusal::file(path, "schema", message))
        }
    }
}
