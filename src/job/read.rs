//! A job's files become a [`Job`].

use std::collections::HashSet;
use std::path::Path;
use std::sync::Arc;

use super::files::Raw;
use super::model::{Input, Job, LostPoints, Note, Source};
use super::row::{Tally, aside};
use super::rows::{self, Names, Refers, Runs};
use super::schema::marks;
use super::settings::{self, CrsUnit, Settings};
use super::table::{Sheet, Tables, lay_out};
use super::{JobPath, files, nmea, points, template};
use crate::error::Error;
use crate::findings::{Code, Finding, Level};
use crate::record::model::NO_GEOREFERENCE;
use crate::units::counted;

/// A job, what reading it has to say, and its tables as typed.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The job, without the rows that can't be used.
    pub job: Job,
    /// All findings of reading.
    pub findings: Vec<Finding>,
    /// The tables as typed, for the workbook of corrections.
    pub tables: Tables,
    /// Columns that are none of ours and are kept for the record, as `file: names`.
    pub kept: Vec<String>,
    /// The unit and the coordinate system are known. If not, the job holds no rows, and later stages have nothing to say.
    pub usable: bool,
}

/// Reads a job. `crs_unit` gives metres in the unit of a coordinate system, or why it is not known.
///
/// Rows that can't be used are left out, each with a finding of level error. An error only if the job can't be opened at all.
pub fn read(path: &JobPath, crs_unit: CrsUnit<'_>) -> Result<Reading, Error> {
    let mut tally = Tally::default();
    let raw = match path {
        JobPath::Folder(folder) => files::folder(folder, &mut tally)?,
        JobPath::Workbook(book) => files::workbook(book, &mut tally)?,
    };
    Ok(understand(raw, folder(path), crs_unit, tally))
}

/// What the files of a job, which stand in `folder`, mean.
pub(super) fn understand(
    mut raw: Raw,
    folder: &Path,
    crs_unit: CrsUnit<'_>,
    mut tally: Tally,
) -> Reading {
    let (mut sheets, found) = settings::to_sheets(&raw.settings_file, &raw.sections, raw.counted);
    tally.findings.extend(found);
    let written = tally.findings.len();
    let settings = settings::read(&sheets, &raw.settings_file, crs_unit, &mut tally);
    if settings.usable && settings.grid.crs.eq_ignore_ascii_case("local") {
        tally.notes.push(Note {
            source: None,
            text: format!("No asbuilt.geojson and asbuilt.kml: {NO_GEOREFERENCE}."),
        });
    }
    once_a_line(&mut tally.findings, written);
    raw.tables.extend(points::tables(
        &settings.points,
        folder,
        &settings.grid.crs,
        crs_unit,
        &mut raw.inputs,
        &mut tally,
    ));
    // A file of marks that can't be read was named already.
    let named = tally
        .findings
        .iter()
        .any(|finding| finding.source.as_deref() == Some(&*raw.marks_file));
    for (spec, table) in raw.tables {
        files::remarks(&table, &mut tally);
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
    if !named && !tables.sheets.iter().any(holds_marks) {
        let none = !tables.sheets.iter().any(is_marks);
        files::missing_marks(&raw.marks_file, none, &mut tally);
    }
    examples(&tables, &mut tally);
    unpublished(&tables, &settings.publish, &mut tally);
    let kept = tables.kept(&settings.publish);
    let logs = raw
        .logs
        .iter()
        .map(|(name, bytes)| read_log(name, bytes, settings.typing.day, &mut tally))
        .collect();
    let (job, usable) = assemble(&tables, settings, raw.inputs, logs, &mut tally);
    Reading {
        kept,
        job,
        findings: tally.findings,
        tables,
        usable,
    }
}

/// Whether a table is of marks.
fn is_marks(sheet: &Sheet) -> bool {
    sheet.spec.name == "marks" && !sheet.settings
}

/// The rows of a table that are some of its own: no headings, comments or totals.
fn typed(sheet: &Sheet) -> impl Iterator<Item = usize> + '_ {
    let heading = sheet.layout.heading.into_iter();
    heading.flat_map(move |heading| {
        let rows = heading + 1..sheet.table.height();
        rows.filter(move |row| aside(sheet, *row, heading).is_none())
    })
}

/// Whether a table is of marks and has rows, or rows that can't be used as was said of its heading.
fn holds_marks(sheet: &Sheet) -> bool {
    let is_table = is_marks(sheet) && sheet.layout.heading.is_some();
    is_table && (sheet.layout.unusable || typed(sheet).next().is_some())
}

/// Names the template's own rows once marks stand there that are not: they count like any others, and are nobody's.
fn examples(tables: &Tables, tally: &mut Tally) {
    let own = |sheet: &Sheet| typed(sheet).any(|row| !template::is_example(sheet, row));
    if !tables
        .sheets
        .iter()
        .any(|sheet| is_marks(sheet) && own(sheet))
    {
        return;
    }
    for sheet in tables.sheets.iter().filter(|sheet| !sheet.settings) {
        for row in typed(sheet).filter(|row| template::is_example(sheet, *row)) {
            let source = sheet.table.source(row);
            let message = format!(
                "{source}: this is the template's example row as `aslaid new` writes it, and counts like any other row of the job: take it \
                 out, or write over it"
            );
            let finding = Finding::new(Code::Implausible, message).at(&source);
            tally.findings.push(finding);
        }
    }
}

/// Where the files of a job stand.
fn folder(path: &JobPath) -> &Path {
    match path {
        JobPath::Folder(folder) => folder,
        JobPath::Workbook(book) => book
            .parent()
            .filter(|parent| !parent.as_os_str().is_empty())
            .unwrap_or(Path::new(".")),
    }
}

/// Says which columns are to be published and are none of marks.
fn unpublished(tables: &Tables, publish: &[String], tally: &mut Tally) {
    let marks = || tables.sheets.iter().filter(|sheet| is_marks(sheet));
    for name in publish {
        if !marks().any(|sheet| sheet.layout.names.iter().any(|of| **of == **name)) {
            let text = format!("publish names the column {name}, which marks has not");
            tally.notes.push(Note { source: None, text });
        }
    }
}

/// A line that is not TOML was said to be so; what was made of it to go on is not worth a further finding.
fn once_a_line(findings: &mut Vec<Finding>, written: usize) {
    let values = findings.split_off(written.min(findings.len()));
    let said: HashSet<Option<String>> = findings
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
    let all = |name: &str| -> Vec<&Sheet> {
        let named = |sheet: &&Sheet| sheet.spec.name == name && !sheet.settings;
        tables.sheets.iter().filter(named).collect()
    };
    let table = |name: &str| all(name).first().copied();
    let mut runs = Runs::default();
    for name in ["run_default", "runs"] {
        tables
            .sheets
            .iter()
            .filter(|sheet| sheet.spec.name == name)
            .for_each(|sheet| rows::runs(sheet, typing, tally, &mut runs));
    }
    for sheet in all("marks") {
        rows::mentioned(sheet, marks::RUN, &mut runs);
    }
    runs.check_marks(tally);
    runs.check_joins(tally);
    let axis = settings.equipment.axis_above_invert;
    runs.check_pipes(axis, settings.grid.unit, tally);
    let mut names = Names::default();
    let pushes = table("pushes").map(|sheet| rows::pushes(sheet, typing, tally, &runs, &mut names));
    let rows::Pushes { list: pushes, lost } = pushes.unwrap_or_default();
    let refers = Refers::new(&runs, &pushes, lost);
    let mut control = rows::control(&all("control"), typing, tally, &mut names);
    let mut marks = rows::marks(&all("marks"), typing, tally, &refers, &mut names);
    points::adopt(&settings.points, &mut control, &mut marks, &mut tally.notes);
    let measures = table("measures").map(|sheet| rows::measures(sheet, typing, tally, &mut names));
    let camera = table("camera").map(|sheet| rows::camera(sheet, typing, tally, &refers));
    let levels = table("levels").map(|sheet| rows::levels(sheet, typing, tally, &mut names));
    let lost = LostPoints {
        names: names.lost,
        table: no_points(&all("control"), &settings.points.files, &tally.findings),
    };
    let job = Job {
        head: settings.head,
        grid: settings.grid,
        recast: None,
        equipment: settings.equipment,
        accuracy: settings.accuracy,
        limits: settings.limits,
        publish: settings.publish,
        layers: settings.layers,
        runs: runs.list,
        pushes,
        control,
        marks,
        measures: measures.unwrap_or_default(),
        camera: camera.unwrap_or_default(),
        levels: levels.unwrap_or_default(),
        logs,
        notes: std::mem::take(&mut tally.notes),
        left_out: std::mem::take(&mut tally.left_out),
        inputs,
        cells: tally.cells,
        dropped: tally.dropped,
        lost,
    };
    (
        if settings.usable {
            job
        } else {
            without_rows(job)
        },
        settings.usable,
    )
}

/// Whether a table of reference points can't be used as a whole.
fn no_points(sheets: &[&Sheet], files: &[String], findings: &[Finding]) -> bool {
    let table = |source: &str| {
        source.eq_ignore_ascii_case("control.csv") || files.iter().any(|file| file == source)
    };
    // What can't be read at all is named without a row.
    let unread = |finding: &Finding| {
        finding.level == Level::Error && finding.source.as_deref().is_some_and(table)
    };
    sheets.iter().any(|sheet| sheet.layout.unusable) || findings.iter().any(unread)
}

/// Without a unit or a coordinate system the rows mean nothing.
fn without_rows(job: Job) -> Job {
    let rows = job.control.len()
        + job.marks.len()
        + job.measures.len()
        + job.camera.len()
        + job.levels.len();
    Job {
        control: Vec::new(),
        marks: Vec::new(),
        measures: Vec::new(),
        camera: Vec::new(),
        levels: Vec::new(),
        dropped: job.dropped + rows,
        ..job
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
            "{name}: {} can't be used: {}{more}. What can be read of the log is used: {}",
            counted(log.broken.len(), "line"),
            named.join("; "),
            counted(log.epochs.len(), "position"),
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
