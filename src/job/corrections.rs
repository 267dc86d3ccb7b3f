//! The job's own tables as a workbook, the cells concerned marked, each with its findings as a comment: to be mended and sent
//! back. It reads as a job.

use std::collections::{BTreeMap, HashMap};
use std::fmt::Write as _;

use rust_xlsxwriter::{Workbook, Worksheet, XlsxError};

use super::book::{Formats, comment, finish, refuse, start};
use super::schema::{Column, TABLES, run, sections};
use super::table::{Kind, Sheet, Tables, normal};
use crate::error::Error;
use crate::findings::{Finding, Level};

/// Most rows of a job for which a workbook of corrections is made: our choice. Nobody mends more of them by hand, and each
/// cell of a workbook costs a hundred bytes of memory while it is written.
pub const MOST_ROWS: usize = 50_000;
/// Most rows of a sheet.
const ROWS: u32 = 1_048_576;
/// Longest comment on a cell.
const COMMENT: usize = 2_000;

/// A sheet to be written: cells by row and column, and which row each line of the job went to.
#[derive(Default)]
struct Page {
    cells: BTreeMap<(u32, u16), (String, Kind)>,
    /// Row by line of the file.
    rows: HashMap<(String, u32), u32>,
    /// Column by name in our spelling.
    columns: HashMap<String, u16>,
    heading: u32,
}

/// The workbook of corrections.
pub fn workbook(tables: &Tables, findings: &[Finding]) -> Result<Vec<u8>, Error> {
    let (mut book, formats) = start()?;
    fill(&mut book, &formats, tables, findings)
        .and_then(|()| finish(&mut book))
        .map_err(|error| refuse(&error))
}

fn fill(
    book: &mut Workbook,
    formats: &Formats,
    tables: &Tables,
    findings: &[Finding],
) -> Result<(), XlsxError> {
    list(
        book.add_worksheet().set_name("findings")?,
        formats,
        findings,
    )?;
    write(
        book.add_worksheet().set_name("job")?,
        formats,
        &settings_page(tables),
        findings,
    )?;
    for spec in TABLES {
        let sheets: Vec<&Sheet> = tables
            .sheets
            .iter()
            .filter(|sheet| sheet.spec.name == spec.name)
            // Points of others are mended where they come from; their heading stands on no line.
            .filter(|sheet| {
                let heading = sheet.layout.heading;
                heading.is_none_or(|row| sheet.settings || sheet.table.line(row) > 0)
            })
            .collect();
        let page = match sheets.as_slice() {
            [] => continue,
            [sheet] if !sheet.settings => table_page(sheet),
            sheets => runs_page(sheets),
        };
        write(
            book.add_worksheet().set_name(spec.name)?,
            formats,
            &page,
            findings,
        )?;
    }
    Ok(())
}

/// All findings, one a row.
fn list(sheet: &mut Worksheet, formats: &Formats, findings: &[Finding]) -> Result<(), XlsxError> {
    for (column, (name, width)) in (0..).zip([
        ("level", 10),
        ("code", 20),
        ("source", 24),
        ("message", 110),
    ]) {
        sheet.write_string_with_format(0, column, name, &formats.heading)?;
        sheet.set_column_width(column, width)?;
    }
    sheet.set_freeze_panes(1, 0)?;
    for (row, finding) in (1..ROWS).zip(findings) {
        let cells = [
            finding.level.word(),
            finding.code.word(),
            finding.source.as_deref().unwrap_or_default(),
            &finding.message,
        ];
        for (column, text) in (0..).zip(cells) {
            sheet.write_string_with_format(row, column, text, &formats.text)?;
        }
    }
    Ok(())
}

/// A table as typed, each row at its own number.
fn table_page(sheet: &Sheet) -> Page {
    let mut page = Page::default();
    let table = &sheet.table;
    let mut next = 0;
    for row in 0..table.height() {
        // A cell of several lines makes the lines of the file run ahead of a sheet's rows; they never fall behind.
        let at = table.line(row).saturating_sub(1).max(next);
        next = at.saturating_add(1);
        if sheet.layout.heading == Some(row) {
            page.heading = at;
        }
        page.rows
            .insert((table.file.to_string(), table.line(row)), at);
        for (place, text) in table.filled(row) {
            page.put(at, place, text, table.kind(row, place));
        }
    }
    for (place, name) in sheet.layout.names.iter().enumerate() {
        page.name(name, place);
    }
    page.rows.insert((table.file.to_string(), 0), page.heading);
    page
}

/// `[[run]]` and `runs.csv` in one sheet.
fn runs_page(sheets: &[&Sheet]) -> Page {
    let mut page = Page::default();
    let mut width = 0;
    for name in sheets.iter().flat_map(|sheet| &sheet.layout.names) {
        if !page.columns.contains_key(&**name) {
            page.name(name, width);
            page.put(0, width, name, Kind::Text);
            width += 1;
        }
    }
    let mut next = 1;
    for sheet in sheets {
        let table = &sheet.table;
        let first = sheet.layout.heading.map_or(0, |heading| heading + 1);
        for row in first..table.height() {
            page.rows
                .insert((table.file.to_string(), table.line(row)), next);
            for (place, text) in table.filled(row) {
                page.rows
                    .insert((table.file.to_string(), table.cell_line(row, place)), next);
                let column = sheet
                    .layout
                    .names
                    .get(place)
                    .and_then(|name| page.columns.get(&**name))
                    .copied();
                page.put(
                    next,
                    column.map_or(width + place, usize::from),
                    text,
                    table.kind(row, place),
                );
            }
            next += 1;
        }
        page.rows.entry((table.file.to_string(), 0)).or_insert(0);
    }
    page
}

/// The settings as questions and answers: all that are given, and all that could be.
fn settings_page(tables: &Tables) -> Page {
    let mut page = Page::default();
    for (place, name) in ["question", "answer", "example", "key"]
        .into_iter()
        .enumerate()
    {
        page.put(0, place, name, Kind::Text);
        page.name(name, place);
    }
    let mut next = 1;
    for spec in sections() {
        let sheet = tables
            .sheets
            .iter()
            .find(|sheet| sheet.spec.name == spec.name);
        let given: Vec<(&str, &str, Kind, u32)> = sheet.map(answers).unwrap_or_default();
        let known = spec.columns.iter().filter(|column| {
            column.name
                != run::TABLE
                    .columns
                    .get(run::USE)
                    .map_or("", |column| column.name)
        });
        let mut keys: Vec<(&str, Option<&Column>)> =
            known.map(|column| (column.name, Some(column))).collect();
        keys.extend(
            given
                .iter()
                .filter(|(key, ..)| spec.position(key).is_none())
                .map(|(key, ..)| (*key, None)),
        );
        for (key, column) in keys {
            let answer = given.iter().find(|(name, ..)| *name == key);
            page.put(
                next,
                0,
                column.map_or("(not used)", |column| column.meaning),
                Kind::Text,
            );
            page.put(
                next,
                2,
                column.map_or("", |column| column.example),
                Kind::Text,
            );
            page.put(next, 3, &format!("{}.{key}", spec.name), Kind::Text);
            if let Some((_, text, kind, line)) = answer {
                page.put(next, 1, text, *kind);
                let file = sheet.map_or(String::new(), |sheet| sheet.table.file.to_string());
                page.rows.insert((file.clone(), *line), next);
                page.rows.entry((file, 0)).or_insert(0);
            }
            // A finding about a key finds its row by the key's name.
            page.rows.insert((format!("key {key}"), 0), next);
            next += 1;
        }
    }
    page
}

/// Key, text, kind and line of every value that a section gives.
fn answers(sheet: &Sheet) -> Vec<(&str, &str, Kind, u32)> {
    let Some(heading) = sheet.layout.heading else {
        return Vec::new();
    };
    let row = heading + 1;
    let names = sheet.layout.names.iter().enumerate();
    names
        .map(|(place, name)| {
            (
                &**name,
                sheet.table.cell(row, place),
                sheet.table.kind(row, place),
                sheet.table.cell_line(row, place),
            )
        })
        .collect()
}

impl Page {
    fn put(&mut self, row: u32, column: usize, text: &str, kind: Kind) {
        if let (Ok(column), true) = (u16::try_from(column), row < ROWS && !text.is_empty()) {
            self.cells.insert((row, column), (text.to_owned(), kind));
        }
    }

    fn name(&mut self, name: &str, column: usize) {
        if let Ok(column) = u16::try_from(column) {
            self.columns.entry(name.to_owned()).or_insert(column);
        }
    }

    /// The cells that a finding is about, if it is about this page.
    fn cells_of(&self, finding: &Finding) -> Vec<(u32, u16)> {
        let Some(source) = finding.source.as_deref() else {
            return Vec::new();
        };
        let (file, line) = source
            .rsplit_once(':')
            .and_then(|(file, line)| Some((file, line.parse().ok()?)))
            .unwrap_or((source, 0));
        let Some(row) = self.rows.get(&(file.to_owned(), line)).copied() else {
            return Vec::new();
        };
        let answer = self.columns.get("answer").copied();
        let key = |name: &String| self.rows.get(&(format!("key {name}"), 0)).copied();
        if let Some(answer) = answer {
            let row = if line == 0 {
                finding.columns.first().and_then(key).unwrap_or(row)
            } else {
                row
            };
            return vec![(row, answer)];
        }
        let columns: Vec<(u32, u16)> = finding
            .columns
            .iter()
            .filter_map(|name| self.columns.get(&normal(name).name))
            .map(|column| (row, *column))
            .collect();
        if columns.is_empty() {
            vec![(row, 0)]
        } else {
            columns
        }
    }
}

/// Writes a page, its cells with findings filled and commented.
fn write(
    sheet: &mut Worksheet,
    formats: &Formats,
    page: &Page,
    findings: &[Finding],
) -> Result<(), XlsxError> {
    let mut said: BTreeMap<(u32, u16), (Level, String)> = BTreeMap::new();
    for finding in findings {
        for cell in page
            .cells_of(finding)
            .into_iter()
            .filter(|(row, _)| *row < ROWS)
        {
            let (level, text) = said.entry(cell).or_insert((finding.level, String::new()));
            *level = finding.level.max(*level);
            if text.len() < COMMENT {
                let separator = if text.is_empty() { "" } else { "\n" };
                // Writing to a String can't fail.
                let _ = write!(text, "{separator}{}: {}", finding.code, finding.message);
            }
        }
    }
    let plain = page.columns.len().min(256) as u16;
    for column in 0..plain {
        sheet.set_column_format(column, &formats.text)?;
        sheet.set_column_width(column, 14)?;
    }
    for (&(row, column), (text, kind)) in &page.cells {
        let format = match said.get(&(row, column)) {
            Some((level, _)) => marked(formats, *level),
            None if row == page.heading => &formats.heading,
            // The column's own, which need not be looked up for every cell.
            None if column < plain && *kind != Kind::Number => {
                sheet.write_string(row, column, text)?;
                continue;
            }
            None => &formats.text,
        };
        match (kind, text.parse::<f64>()) {
            (Kind::Number, Ok(number)) => sheet.write_number_with_format(
                row,
                column,
                number,
                &format.clone().set_num_format("General"),
            )?,
            _ => sheet.write_string_with_format(row, column, text, format)?,
        };
    }
    for (&(row, column), (level, text)) in &said {
        if !page.cells.contains_key(&(row, column)) {
            sheet.write_blank(row, column, marked(formats, *level))?;
        }
        comment(sheet, row, column, text)?;
    }
    Ok(())
}

fn marked(formats: &Formats, level: Level) -> &rust_xlsxwriter::Format {
    let [error, warning, note] = &formats.marked;
    match level {
        Level::Error => error,
        Level::Warning => warning,
        Level::Note => note,
    }
}
