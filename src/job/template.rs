//! An empty job to fill in: every file with its heading and one worked row, all of it drawn from the schema.
//!
//! The worked rows are an invented lateral; together they read without a finding.

mod book;
mod text;

use std::fs;
use std::path::Path;

use super::schema::{Column, TABLES, TableSpec};
use super::table::Sheet;
use crate::error::Error;

pub use book::bytes as workbook;

/// The files of an empty job folder: name and content.
#[must_use]
pub fn folder() -> Vec<(String, String)> {
    let mut files = vec![("job.toml".to_owned(), text::job_toml())];
    files.extend(
        TABLES
            .iter()
            .map(|spec| (format!("{}.csv", spec.name), text::csv(spec))),
    );
    files
}

/// Writes an empty job folder; files that are there already are left alone, and are an error.
pub fn write_folder(folder: &Path) -> Result<(), Error> {
    let refuse = |path: &Path, why: String| Error::Write {
        path: path.to_owned(),
        why,
    };
    fs::create_dir_all(folder).map_err(|error| refuse(folder, error.to_string()))?;
    let files = self::folder();
    for (name, _) in &files {
        let path = folder.join(name);
        if path.exists() {
            return Err(refuse(
                &path,
                "it is there already; name a new folder".to_owned(),
            ));
        }
    }
    for (name, content) in files {
        let path = folder.join(name);
        fs::write(&path, content).map_err(|error| refuse(&path, error.to_string()))?;
    }
    Ok(())
}

/// Writes an empty job as a workbook; a file that is there already is left alone, and is an error.
pub fn write_workbook(path: &Path) -> Result<(), Error> {
    let refuse = |why: String| Error::Write {
        path: path.to_owned(),
        why,
    };
    if path.exists() {
        return Err(refuse("it is there already; name a new file".to_owned()));
    }
    fs::write(path, workbook()?).map_err(|error| refuse(error.to_string()))
}

/// Whether a row of a job is the worked row of the template, cell by cell.
pub(super) fn is_example(sheet: &Sheet, row: usize) -> bool {
    let columns = sheet.spec.columns.iter().zip(&sheet.layout.places);
    let mut cells = columns.filter_map(|(column, place)| {
        let cell = sheet.table.cell(row, (*place)?);
        Some((cell, column.example))
    });
    let mut told = 0;
    let same = cells.all(|(cell, example)| {
        told += usize::from(!example.is_empty());
        cell == example || alike(cell, example)
    });
    same && told >= TELLING
}

/// Cells that are the same in so many columns are no chance: our choice.
const TELLING: usize = 4;

/// Whether two cells hold the same number: a spreadsheet writes 3.80 as 3.8.
fn alike(cell: &str, example: &str) -> bool {
    let number = |text: &str| text.parse::<f64>().ok();
    number(cell)
        .zip(number(example))
        .is_some_and(|(a, b)| a == b)
}

/// The columns of a table as a heading shows them: the numbered ones three times.
fn headings(spec: &TableSpec) -> Vec<(String, &Column)> {
    let mut headings: Vec<(String, &Column)> = spec
        .columns
        .iter()
        .map(|column| (column.name.to_owned(), column))
        .collect();
    for number in 1..=3 {
        headings.extend(
            spec.numbered
                .iter()
                .map(|column| (column.name.replacen('N', &number.to_string(), 1), column)),
        );
    }
    headings
}
