//! A job's files become a [`Job`].

use std::fs;
use std::path::Path;
use std::sync::Arc;

use sha2::{Digest, Sha256};

use super::model::{Input, Job, LeftOut, Note, Source};
use super::row::Tally;
use super::rows::{Names, Refers, Runs};
use super::schema::{TABLES, TableSpec, marks};
use super::settings::{self, CrsUnit, Section, Settings};
use super::table::{Sheet, Table, Tables, lay_out, near, normal, read_csv, read_workbook};
use super::{JobPath, caps, nmea, rows};
use crate::error::Error;
use crate::findings::{Code, Finding, Level};

/// A job, what reading it has to say, and its tables as typed.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The job, without the rows that can't be used.
    pub job: Job,
    /// All findings of reading.
    pub findings: Vec<Finding>,
    /// The tables as typed, for the workbook of corrections.
    pub tables: Tables,
    /// The unit and the coordinate system are known. If not, the job holds no rows, and later stages have nothing to say.
    pub usable: bool,
}

/// What the files hold, before anything is understood.
struct Raw {
    /// Where a setting is missed.
    settings_file: Arc<str>,
    sections: Vec<Section>,
    /// Settings come from a sheet, so their cells count.
    counted: bool,
    tables: Vec<(&'static TableSpec, Table)>,
    logs: Vec<(String, Vec<u8>)>,
    inputs: Vec<Input>,
}

/// Reads a job. `crs_unit` gives metres in the unit of a coordinate system, or why it is not known.
///
/// Rows that can't be used are left out, each with a finding of level error. An error only if the job can't be opened at all.
pub fn read(path: &JobPath, crs_unit: CrsUnit<'_>) -> Result<Reading, Error> {
    let mut tally = Tally::default();
    let raw = match path {
        JobPath::Folder(folder) => folder_files(folder, &mut tally)?,
        JobPath::Workbook(book) => workbook_files(book, &mut tally)?,
    };
    let (mut sheets, found) = settings::to_sheets(&raw.settings_file, &raw.sections, raw.counted);
    tally.findings.extend(found);
    let written = tally.findings.len();
    let settings = settings::read(&sheets, &raw.settings_file, crs_unit, &mut tally);
    once_a_line(&mut tally.findings, written);
    for (spec, table) in raw.tables {
        for note in &table.notes {
            tally.notes.push(Note {
                source: Some(Source {
                    file: Arc::clone(&table.file),
                    row: 0,
                }),
                text: note.clone(),
            });
        }
        let (layout, found) = lay_out(&table, spec, false);
        tally.findings.extend(found);
        sheets.push(Sheet {
            spec,
            table,
            layout,
            counted: true,
            settings: false,
        });
    }
    let tables = Tables { sheets };
    let logs = raw
        .logs
        .iter()
        .map(|(name, bytes)| read_log(name, bytes, settings.typing.day, &mut tally))
        .collect();
    let (job, usable) = assemble(&tables, settings, raw.inputs, logs, &mut tally);
    Ok(Reading {
        job,
        findings: tally.findings,
        tables,
        usable,
    })
}

/// A line that is not TOML was said to be so; what was made of it to go on is not worth a further finding.
fn once_a_line(findings: &mut Vec<Finding>, written: usize) {
    let values = findings.split_off(written.min(findings.len()));
    let said: Vec<Option<String>> = findings
        .iter()
        .filter(|finding| finding.code == Code::Unreadable)
        .map(|finding| finding.source.clone())
        .collect();
    findings.extend(
        values
            .into_iter()
            .filter(|finding| !said.contains(&finding.source)),
    );
}

/// Reads the tables in the order in which they need each other.
fn assemble(
    tables: &Tables,
    settings: Settings,
    inputs: Vec<Input>,
    logs: Vec<nmea::Log>,
    tally: &mut Tally,
) -> (Job, bool) {
    let typing = settings.typing;
    let table = |name: &str| {
        tables
            .sheets
            .iter()
            .find(|sheet| sheet.spec.name == name && !sheet.settings)
    };
    let mut runs = Runs::default();
    for name in ["run_default", "runs"] {
        tables
            .sheets
            .iter()
            .filter(|sheet| sheet.spec.name == name)
            .for_each(|sheet| rows::runs(sheet, typing, tally, &mut runs));
    }
    if let Some(sheet) = table("marks") {
        rows::mentioned(sheet, marks::RUN, &mut runs);
    }
    runs.check_joins(tally);
    let mut names = Names::default();
    let pushes = table("pushes")
        .map(|sheet| rows::pushes(sheet, typing, tally, &runs, &mut names))
        .unwrap_or_default();
    let refers = Refers::new(&runs, &pushes);
    let control = table("control")
        .map(|sheet| rows::control(sheet, typing, tally, &mut names))
        .unwrap_or_default();
    let marks = table("marks")
        .map(|sheet| rows::marks(sheet, typing, tally, &refers, &mut names))
        .unwrap_or_default();
    let measures = table("measures")
        .map(|sheet| rows::measures(sheet, typing, tally, &mut names))
        .unwrap_or_default();
    let camera = table("camera")
        .map(|sheet| rows::camera(sheet, typing, tally, &refers))
        .unwrap_or_default();
    let levels = table("levels")
        .map(|sheet| rows::levels(sheet, typing, tally, &mut names))
        .unwrap_or_default();
    let mut job = Job {
        head: settings.head,
        grid: settings.grid,
        equipment: settings.equipment,
        accuracy: settings.accuracy,
        limits: settings.limits,
        publish: settings.publish,
        runs: runs.list,
        pushes,
        control,
        marks,
        measures,
        camera,
        levels,
        logs,
        notes: Vec::new(),
        left_out: Vec::new(),
        inputs,
        cells: tally.cells,
        dropped: 0,
    };
    if !settings.usable {
        tally.dropped += job.control.len()
            + job.marks.len()
            + job.measures.len()
            + job.camera.len()
            + job.levels.len();
        (job.control, job.marks, job.measures) = (Vec::new(), Vec::new(), Vec::new());
        (job.camera, job.levels) = (Vec::new(), Vec::new());
    }
    job.notes = std::mem::take(&mut tally.notes);
    job.left_out = std::mem::take(&mut tally.left_out);
    job.dropped = tally.dropped;
    (job, settings.usable)
}

/// The files of a folder.
fn folder_files(folder: &Path, tally: &mut Tally) -> Result<Raw, Error> {
    let names = file_names(folder)?;
    let bytes = caps::read_file(&folder.join("job.toml"), caps::SETTINGS)?;
    let mut inputs = vec![input("job.toml", &bytes)];
    let settings_file: Arc<str> = Arc::from("job.toml");
    let mut remarks = Vec::new();
    let text = super::table::decode(bytes, &mut remarks).map_err(|why| Error::Read {
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
    for spec in TABLES {
        let wanted = format!("{}.csv", spec.name);
        let Some(name) = names.iter().find(|name| name.eq_ignore_ascii_case(&wanted)) else {
            if spec.name == "marks" {
                missing_marks(&Arc::from(wanted), tally);
            }
            continue;
        };
        let file: Arc<str> = Arc::from(name.as_str());
        let read =
            caps::read_file(&folder.join(name), caps::FILE).map_err(|error| error.to_string());
        let table = read.and_then(|bytes| {
            inputs.push(input(name, &bytes));
            read_csv(Arc::clone(&file), bytes, spec).map_err(|why| format!("{name}: {why}"))
        });
        match table {
            Ok(table) => {
                if table.height() == 0 && spec.name == "marks" {
                    missing_marks(&file, tally);
                }
                tables.push((spec, table));
            }
            Err(why) => tally
                .findings
                .push(Finding::new(Code::Unreadable, why).at(&whole(&file))),
        }
    }
    strangers(&names, tally);
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
    })
}

/// Says which tables of the folder are not read, and which of them look misspelt.
fn strangers(names: &[String], tally: &mut Tally) {
    for name in names {
        let Some(stem) = name.to_lowercase().strip_suffix(".csv").map(str::to_owned) else {
            continue;
        };
        if TABLES.iter().any(|spec| spec.name == stem) {
            continue;
        }
        let source = whole(&Arc::from(name.as_str()));
        match TABLES.iter().find(|spec| near(spec.name, &stem)) {
            Some(spec) => {
                let message = format!("{name} is not read. Did you mean {}.csv?", spec.name);
                tally
                    .findings
                    .push(Finding::new(Code::UnusedColumn, message).at(&source));
            }
            None => tally.notes.push(Note {
                source: Some(source),
                text: "is none of the job's tables and is not read".to_owned(),
            }),
        }
    }
}

/// The sheets of a workbook, with the logs beside it whose names begin like its own.
fn workbook_files(book: &Path, tally: &mut Tally) -> Result<Raw, Error> {
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
        let wanted = normal(&title).name;
        if wanted == "job" {
            sections = settings::read_sheet(&table, tally);
        } else if let Some(spec) = TABLES.iter().find(|spec| spec.name == wanted) {
            tables.push((*spec, table));
        } else if !OWN_SHEETS.contains(&wanted.as_str()) {
            keep_sheet(&table, tally);
        }
    }
    if !tables
        .iter()
        .any(|(spec, table)| spec.name == "marks" && table.height() > 0)
    {
        missing_marks(&Arc::from(format!("{name}!marks")), tally);
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
    })
}

/// Sheets that `aslaid` writes into workbooks for people, and does not read back.
pub(super) const OWN_SHEETS: [&str; 2] = ["findings", "how_to_fill_in"];

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

fn missing_marks(file: &Arc<str>, tally: &mut Tally) {
    let message = format!("{file}: there are no marks; a job needs one row for each located point");
    tally
        .findings
        .push(Finding::new(Code::Unreadable, message).at(&whole(file)));
}

fn whole(file: &Arc<str>) -> Source {
    Source {
        file: Arc::clone(file),
        row: 0,
    }
}

fn is_log(name: &str) -> bool {
    Path::new(name)
        .extension()
        .is_some_and(|end| end.eq_ignore_ascii_case("nmea"))
}

/// Names of the files in a folder, sorted.
fn file_names(folder: &Path) -> Result<Vec<String>, Error> {
    let refuse = |error: std::io::Error| Error::Read {
        path: folder.to_owned(),
        why: error.to_string(),
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

fn input(name: &str, bytes: &[u8]) -> Input {
    let hash = Sha256::digest(bytes);
    let sha256 = hash.iter().map(|byte| format!("{byte:02x}")).collect();
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

/// Parses a log; its broken lines are counted and the first of them named, in a note.
fn read_log(name: &str, bytes: &[u8], located_on: Option<i64>, tally: &mut Tally) -> nmea::Log {
    const NAMED: usize = 10;
    let log = nmea::parse(name, bytes, located_on);
    if let Some((first, _)) = log.broken.first() {
        let named: Vec<String> = log
            .broken
            .iter()
            .take(NAMED)
            .map(|(line, why)| format!("line {line} {why}"))
            .collect();
        let more = log.broken.len().saturating_sub(NAMED);
        let more = if more > 0 {
            format!("; and {more} more")
        } else {
            String::new()
        };
        let message = format!(
            "{name}: {} lines can't be used: {}{more}. The {} positions of the log that can be read are used",
            log.broken.len(),
            named.join("; "),
            log.epochs.len(),
        );
        let source = Source {
            file: Arc::from(name),
            row: *first,
        };
        tally.findings.push(
            Finding::new(Code::Unreadable, message)
                .level(Level::Note)
                .at(&source),
        );
    }
    log
}
