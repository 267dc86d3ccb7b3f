//! The files of a job, before anything in them is understood.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::sync::Arc;

use sha2::{Digest, Sha256};

use super::model::{Input, LeftOut, Note, Source};
use super::row::Tally;
use super::schema::{TABLES, TableSpec};
use super::settings::{self, Section};
use super::table::{Table, decode, near, normal, read_csv, read_workbook};
use super::{caps, points};
use crate::error::{Error, unread};
use crate::findings::{Code, Finding};

/// What the files hold, before anything is understood.
pub struct Raw {
    /// Where a setting is missed.
    pub settings_file: Arc<str>,
    /// Sections of the settings.
    pub sections: Vec<Section>,
    /// Settings come from a sheet, so their cells count.
    pub counted: bool,
    /// Tables.
    pub tables: Vec<(&'static TableSpec, Table)>,
    /// Receiver logs: name and content.
    pub logs: Vec<(String, Vec<u8>)>,
    /// Every file with its hash.
    pub inputs: Vec<Input>,
    /// Where marks are missed.
    pub marks_file: Arc<str>,
}

/// The files of a folder.
pub fn folder(folder: &Path, tally: &mut Tally) -> Result<Raw, Error> {
    let names = file_names(folder)?;
    let bytes = caps::read_file(&folder.join("job.toml"), caps::SETTINGS)?;
    let mut inputs = vec![input("job.toml", &bytes)];
    let settings_file: Arc<str> = Arc::from("job.toml");
    let mut remarks = Vec::new();
    let text = decode(bytes, &mut remarks).map_err(|why| Error::Read {
        path: folder.join("job.toml"),
        why,
    })?;
    tally.notes.extend(remarks.into_iter().map(|text| Note {
        source: Some(whole(&settings_file)),
        text,
    }));
    let (sections, found) = settings::read_toml(&settings_file, &text);
    tally.findings.extend(found);
    let mut tables = Vec::new();
    let mut marks_file: Arc<str> = Arc::from("marks.csv");
    for spec in TABLES {
        let wanted = format!("{}.csv", spec.name);
        let mut named = names
            .iter()
            .filter(|name| name.eq_ignore_ascii_case(&wanted));
        let Some(name) = named.next() else {
            continue;
        };
        for other in named {
            let message =
                format!("{other} is not read, because {name} is there too: keep one of them");
            let file: Arc<str> = Arc::from(other.as_str());
            tally
                .findings
                .push(Finding::new(Code::Duplicate, message).at(&whole(&file)));
        }
        if spec.name == "marks" {
            marks_file = Arc::from(name.as_str());
        }
        let file: Arc<str> = Arc::from(name.as_str());
        let read =
            caps::read_file(&folder.join(name), caps::FILE).map_err(|error| error.to_string());
        let table = read.and_then(|bytes| {
            inputs.push(input(name, &bytes));
            read_csv(Arc::clone(&file), bytes, spec).map_err(|why| format!("{name}: {why}"))
        });
        match table {
            Ok(table) => tables.push((spec, table)),
            Err(why) => tally
                .findings
                .push(Finding::new(Code::Unreadable, why).at(&whole(&file))),
        }
    }
    strangers(&names, &points::listed(&sections), tally);
    let mut logs = Vec::new();
    for name in names.iter().filter(|name| is_log(name)) {
        add_log(folder, name, &mut logs, &mut inputs, tally);
    }
    Ok(Raw {
        settings_file,
        sections,
        counted: false,
        tables,
        logs,
        inputs,
        marks_file,
    })
}

/// What tables are kept in beside CSV: a file of a table's name that ends so was meant as that table; a photo was not.
const OTHER_FORMS: [&str; 9] = [
    ".csv.txt", ".txt", ".xlsx", ".xlsm", ".xls", ".ods", ".numbers", ".tsv", ".tab",
];

/// Says which tables of the folder are not read, and which of them look misspelt or stand in another form.
fn strangers(names: &[String], points: &[String], tally: &mut Tally) {
    let ours = |stem: &str| TABLES.iter().find(|spec| spec.name == stem);
    for name in names.iter().filter(|name| !points.contains(name)) {
        let lower = name.to_lowercase();
        if let Some(stem) = lower.strip_suffix(".csv") {
            match TABLES.iter().find(|spec| near(spec.name, stem)) {
                _ if ours(stem).is_some() => {}
                Some(spec) => {
                    passed_over(
                        name,
                        name,
                        &format!("Did you mean {}.csv?", spec.name),
                        tally,
                    );
                }
                None => noted(name, "is none of the job's tables and is not read", tally),
            }
            continue;
        }
        let mut stems = OTHER_FORMS
            .iter()
            .filter_map(|form| lower.strip_suffix(form));
        let Some(spec) = stems.next().and_then(ours) else {
            continue;
        };
        let wanted = format!("{}.csv", spec.name);
        if names.iter().any(|name| name.eq_ignore_ascii_case(&wanted)) {
            noted(name, "is not read: the CSV file of its name is", tally);
        } else {
            let way_out = format!(
                "Save it as {wanted}, or put every table into one workbook, the settings in a sheet named job."
            );
            passed_over(name, name, &way_out, tally);
        }
    }
}

/// Says that a table, in this file, which was meant to be read is not.
fn passed_over(table: &str, file: &str, way_out: &str, tally: &mut Tally) {
    let message = format!("{table} is not read. {way_out}");
    tally
        .findings
        .push(Finding::new(Code::UnusedColumn, message).at(&whole(&Arc::from(file))));
}

fn noted(name: &str, text: &str, tally: &mut Tally) {
    tally.notes.push(Note {
        source: Some(whole(&Arc::from(name))),
        text: text.to_owned(),
    });
}

/// What there is to say of a table as a whole.
pub fn remarks(table: &Table, tally: &mut Tally) {
    let notes = table.notes.iter().map(|text| Note {
        source: Some(whole(&table.file)),
        text: text.clone(),
    });
    tally.notes.extend(notes);
}

/// The sheets of a workbook, with the logs beside it whose names begin like its own.
pub fn workbook(book: &Path, tally: &mut Tally) -> Result<Raw, Error> {
    let name = book
        .file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default();
    let bytes = caps::read_file(book, caps::FILE)?;
    let mut inputs = vec![input(&name, &bytes)];
    let sheets = read_workbook(&name, &bytes).map_err(|why| Error::Read {
        path: book.to_owned(),
        why,
    })?;
    let settings_file: Arc<str> = Arc::from(format!("{name}!job"));
    let (mut sections, mut tables) = (Vec::new(), Vec::new());
    for (title, table) in sheets {
        // What stands in brackets behind a heading is its unit; behind a sheet's name it makes another name of it.
        let name = normal(&title);
        let wanted = name.whole();
        if wanted == "job" {
            remarks(&table, tally);
            sections = settings::read_sheet(&table, tally);
        } else if let Some(spec) = TABLES.iter().find(|spec| spec.name == wanted) {
            tables.push((*spec, table));
        } else if !OWN_SHEETS.contains(&wanted.as_str()) {
            misnamed(&title, &name.name, &table.file, tally);
            keep_sheet(&table, tally);
        }
    }
    tables.sort_by_key(|(spec, _)| TABLES.iter().position(|of| of.name == spec.name));
    let stem = book
        .file_stem()
        .map(|stem| stem.to_string_lossy().to_lowercase())
        .unwrap_or_default();
    let folder = book
        .parent()
        .filter(|parent| !parent.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    let mut logs = Vec::new();
    for log in file_names(folder)?
        .iter()
        .filter(|log| is_log(log) && log.to_lowercase().starts_with(&stem))
    {
        add_log(folder, log, &mut logs, &mut inputs, tally);
    }
    Ok(Raw {
        settings_file,
        sections,
        counted: true,
        tables,
        logs,
        inputs,
        marks_file: Arc::from(format!("{name}!marks")),
    })
}

/// Sheets that `aslaid` writes into workbooks for people, and does not read back.
const OWN_SHEETS: [&str; 2] = ["findings", "how_to_fill_in"];

/// Says of a sheet that is none of ours which of them its name looks like.
fn misnamed(title: &str, name: &str, file: &Arc<str>, tally: &mut Tally) {
    let mut ours = TABLES.iter().map(|spec| spec.name).chain(["job"]);
    if let Some(like) = ours.find(|ours| near(ours, name)) {
        let (sheet, way_out) = (
            format!("The sheet {title}"),
            format!("Did you mean {like}?"),
        );
        passed_over(&sheet, file, &way_out, tally);
    }
}

/// A sheet that is none of ours goes into the record row by row.
fn keep_sheet(table: &Table, tally: &mut Tally) {
    for row in 0..table.height() {
        let cells: Vec<(String, String)> = table
            .filled(row)
            .map(|(place, text)| (format!("column_{}", place + 1), text.to_owned()))
            .collect();
        tally.cells.kept += cells.len();
        tally.left_out.push(LeftOut {
            source: table.source(row),
            reason: "none of the job's tables".to_owned(),
            cells,
        });
    }
}

/// Says that nothing was located: in a table, or because there is `none`.
pub fn missing_marks(file: &Arc<str>, none: bool, tally: &mut Tally) {
    let what = if none {
        "it is not there"
    } else {
        "there are no marks"
    };
    let message = format!("{file}: {what}; a job needs one row for each located point");
    tally
        .findings
        .push(Finding::new(Code::Unreadable, message).at(&whole(file)));
}

pub fn whole(file: &Arc<str>) -> Source {
    Source {
        file: Arc::clone(file),
        row: 0,
    }
}

pub(super) fn is_log(name: &str) -> bool {
    ends_in(name, "nmea")
}

/// Whether a file's name ends in a dot and `end`, whatever its case.
pub(super) fn ends_in(name: &str, end: &str) -> bool {
    let own = Path::new(name).extension();
    own.is_some_and(|own| own.eq_ignore_ascii_case(end))
}

/// Names of the files in a folder, sorted.
pub(super) fn file_names(folder: &Path) -> Result<Vec<String>, Error> {
    let refuse = |error: std::io::Error| Error::Read {
        path: folder.to_owned(),
        why: unread(&error),
    };
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).map_err(refuse)? {
        let entry = entry.map_err(refuse)?;
        if !entry.file_type().map_err(refuse)?.is_dir() {
            names.push(entry.file_name().to_string_lossy().into_owned());
        }
    }
    names.sort();
    Ok(names)
}

/// A file with its hash.
pub fn input(name: &str, bytes: &[u8]) -> Input {
    let hash = Sha256::digest(bytes);
    let sha256 = hash.iter().fold(String::new(), |mut text, byte| {
        // Writing to a String can't fail.
        let _ = write!(text, "{byte:02x}");
        text
    });
    Input {
        file: name.to_owned(),
        bytes: bytes.len() as u64,
        sha256,
    }
}

fn add_log(
    folder: &Path,
    name: &str,
    logs: &mut Vec<(String, Vec<u8>)>,
    inputs: &mut Vec<Input>,
    tally: &mut Tally,
) {
    match caps::read_file(&folder.join(name), caps::LOG) {
        Ok(bytes) => {
            inputs.push(input(name, &bytes));
            logs.push((name.to_owned(), bytes));
        }
        Err(error) => tally
            .findings
            .push(Finding::new(Code::Unreadable, error.to_string()).at(&whole(&Arc::from(name)))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sheet_whose_name_is_misspelt_is_named() {
        for (title, like) in [
            ("Camra", Some("camera")),
            ("marcs", Some("marks")),
            ("jobs", Some("job")),
            ("photos", None),
        ] {
            let mut tally = Tally::default();
            let file: Arc<str> = Arc::from(format!("b.xlsx!{title}"));
            misnamed(title, &normal(title).name, &file, &mut tally);
            let said: Vec<&str> = tally.findings.iter().map(|f| f.message.as_str()).collect();
            match like {
                Some(like) => assert!(
                    said[0].ends_with(&format!("Did you mean {like}?")),
                    "{said:?}"
                ),
                None => assert!(said.is_empty(), "{said:?}"),
            }
        }
    }
}
