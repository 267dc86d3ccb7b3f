//! Stage 12: the record as files. Comes in: the [`AsBuilt`]. Goes out: files, put in place whole or not at all.
//!
//! Exporters compute nothing but what their format demands. Columns are declared once, in [`columns`]; rounding and
//! types once, in [`value`]. A new format is one file with a [`Format`] and one line in [`FORMATS`].

use std::io::{self, Write};

use crate::error::Error;
use crate::record::AsBuilt;
use crate::sheet::SheetOptions;

mod append;
pub mod columns;
pub mod csv;
pub mod deliver;
pub mod draft;
pub mod dxf;
pub mod fields;
pub mod findings;
pub mod flush;
pub mod geojson;
pub mod geometry;
pub mod gpkg;
pub mod in_plan;
pub mod kml;
pub mod load;
mod lock;
pub mod parquet;
pub mod place;
pub mod record;
pub mod report;
pub mod rows;
pub mod schema;
pub mod sections;
pub mod sheet;
pub mod system;
pub mod table;
pub mod value;
pub mod wkb;

/// What a format draws from: the record, and its tables as they are to be written.
#[derive(Debug)]
pub struct View<'a> {
    /// The record.
    pub record: &'a AsBuilt,
    /// Its tables, feature tables first.
    pub tables: Vec<table::Table>,
    /// Paper and dig pages of the sheet.
    pub sheet: SheetOptions,
    /// The record's file, where it has been made with the hash.
    pub file: Option<&'a [u8]>,
}

impl<'a> View<'a> {
    /// The record with its own columns.
    #[must_use]
    pub fn new(record: &'a AsBuilt) -> Self {
        Self::of(record, table::of(record))
    }

    /// The record with the columns of a field file.
    ///
    /// # Errors
    /// A value that the field file has no place for, with the file's line.
    pub fn with_fields(record: &'a AsBuilt, fields: &fields::Fields) -> Result<Self, Error> {
        let tables = fields.apply(table::of(record), record)?;
        Ok(Self::of(record, tables))
    }

    fn of(record: &'a AsBuilt, mut tables: Vec<table::Table>) -> Self {
        table::mark_draft(&mut tables, record);
        Self {
            record,
            tables,
            sheet: SheetOptions::default(),
            file: None,
        }
    }

    /// A table by name.
    #[must_use]
    pub fn table(&self, name: &str) -> Option<&table::Table> {
        self.tables.iter().find(|table| table.name == name)
    }

    /// The tables whose rows are features.
    pub fn features(&self) -> impl Iterator<Item = &table::Table> {
        self.tables.iter().filter(|table| table.spatial)
    }
}

/// A deliverable.
pub trait Format: Sync {
    /// Its word in `--formats`.
    fn name(&self) -> &'static str;

    /// The file that it writes.
    fn file(&self) -> &'static str;

    /// What it is, in one line.
    fn about(&self) -> &'static str;

    /// Why this record has no such file, and what is missing; `None` if it has one.
    fn absent(&self, record: &AsBuilt) -> Option<String> {
        let _ = record;
        None
    }

    /// Whether it states the record's hash, which has to be made before it is written.
    fn shows_hash(&self) -> bool {
        true
    }

    /// Writes it. The same record gives the same bytes.
    fn write(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()>;

    /// How its rows are made a section at a time; `None` if it needs the record as a whole.
    fn by_section(&self) -> Option<&dyn sections::BySection> {
        None
    }
}

/// Every format, in the order in which they are listed and written.
pub const FORMATS: &[&dyn Format] = &[
    &record::Json,
    &geojson::GeoJson,
    &kml::Kml,
    &csv::POINTS,
    &csv::PROFILE,
    &csv::CAMERA,
    &csv::TIES,
    &csv::CROSSINGS,
    &gpkg::GeoPackage,
    &dxf::Dxf,
    &parquet::GeoParquet,
    &sheet::Sheet,
    &report::Report,
];

/// Files in a site plan's own coordinates, written where they are asked for: `--merge-plan`, `--plan-system`.
const PLAN_FILES: &[&str] = &[dxf::merge::MERGED, dxf::merge::IN_PLAN, in_plan::FILE];

/// Files besides those of [`FORMATS`] that a result folder of ours can hold.
const FURTHER_FILES: &[&str] = &[findings::CSV, findings::JSON, CORRECTIONS];

/// The job's tables with what the findings are about marked in them; only with findings.
pub const CORRECTIONS: &str = "corrections.xlsx";

/// Whether a file of this name is one of ours.
#[must_use]
pub fn is_ours(file: &str) -> bool {
    FURTHER_FILES.contains(&file) || is_deliverable(file)
}

/// Whether a file of this name is a deliverable: what a job with errors must not leave looking current.
#[must_use]
pub fn is_deliverable(file: &str) -> bool {
    PLAN_FILES.contains(&file) || FORMATS.iter().any(|format| format.file() == file)
}

/// The formats that `--formats` names: words, file names, or `csv` for every table; all of them where it is empty.
///
/// `findings` is accepted, and adds nothing: the findings are always written.
///
/// # Errors
/// A word that names none, with the words that do.
pub fn select(words: &[String]) -> Result<Vec<&'static dyn Format>, Error> {
    let matches = |format: &dyn Format, word: &str| {
        let kind = format.file().rsplit('.').next();
        format.name() == word || format.file() == word || (word == "csv" && kind == Some("csv"))
    };
    let words: Vec<String> = words
        .iter()
        .map(|word| word.trim().to_ascii_lowercase())
        .collect();
    for word in words.iter().filter(|word| *word != "findings") {
        if !FORMATS.iter().any(|format| matches(*format, word)) {
            let known: Vec<&str> = FORMATS.iter().map(|format| format.name()).collect();
            return Err(Error::Usage(format!(
                "--formats: no format is called \"{word}\"; there are {}, csv (every table) and findings (always written)",
                known.join(", ")
            )));
        }
    }
    let wanted =
        |format: &dyn Format| words.is_empty() || words.iter().any(|word| matches(format, word));
    Ok(FORMATS
        .iter()
        .copied()
        .filter(|format| wanted(*format))
        .collect())
}
