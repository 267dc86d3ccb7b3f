//! The job's own tables as a workbook, the cells concerned marked, each with its findings as a comment: to be mended and sent
//! back. It reads as a job.

use std::borrow::Cow;
use std::collections::{BTreeMap, HashMap};
use std::fmt::Write as _;

use rust_xlsxwriter::{Workbook, Worksheet, XlsxError};

use super::book::{Formats, comment, entitle, finish, refuse, start};
use super::schema::{Column, TABLES, run, sections};
use super::table::{Kind, Sheet, Tables, normal};
use crate::error::Error;
use crate::findings::{Finding, Level};

/// Most rows of a job for which a workbook of corrections is made: our choice. Nobody mends more of them by hand, and each
/// cell of a workbook costs a hundred bytes of memory while it is written.
pub const MOST_ROWS: usize = 50_000;
/// From so many rows on it is begun before it is known whether anything is to be corrected: our choice. Of so many something is, and
/// filling the sheets takes as long as the adjustment.
pub const EARLY_ROWS: usize = 2_000;
/// Most rows of a sheet.
const ROWS: u32 = 1_048_576;
/// Longest comment on a cell.
const COMMENT: usize = 2_000;

/// A line of a file, or a key of the settings.
type Line<'a> = (Cow<'a, str>, u32);

/// A sheet to be written: cells by row and column, and which row each line of the job went to.
#[derive(Default)]
struct Page<'a> {
    /// In any order; of several for one place the last counts.
    cells: Vec<((u32, u16), Cow<'a, str>, Kind)>,
    /// Row by line of the file.
    rows: HashMap<Line<'a>, u32>,
    /// Column by name in our spelling.
    columns: HashMap<String, u16>,
    heading: u32,
}

/// The workbook of corrections.
///
/// # Errors
/// What a workbook can't hold.
pub fn workbook(tables: &Tables, findings: &[Finding]) -> Result<Vec<u8>, Error> {
    Begun::new(tables)?.finish(findings, None)
}

/// The workbook before its findings are known: most of the work of a large one.
pub struct Begun<'a> {
    book: Workbook,
    formats: Formats,
    /// The pages, in the order of the sheets after the findings'.
    pages: Vec<Page<'a>>,
}

impl<'a> Begun<'a> {
    /// With the tables as typed.
    ///
    /// # Errors
    /// What a workbook can't hold.
    pub fn new(tables: &'a Tables) -> Result<Self, Error> {
        let (book, formats) = start()?;
        let mut this = Self {
            book,
            formats,
            pages: Vec::new(),
        };
        this.fill(tables).map_err(|error| refuse(&error))?;
        Ok(this)
    }

    fn fill(&mut self, tables: &'a Tables) -> Result<(), XlsxError> {
        self.book.add_worksheet().set_name("findings")?;
        self.add("job", settings_page(tables))?;
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
            self.add(spec.name, page)?;
        }
        Ok(())
    }

    fn add(&mut self, name: &str, mut page: Page<'a>) -> Result<(), XlsxError> {
        page.sort();
        page.write(self.book.add_worksheet().set_name(name)?, &self.formats)?;
        self.pages.push(page);
        Ok(())
    }

    /// With the findings at their cells, packed; with the draft's words, if it goes with one.
    ///
    /// # Errors
    /// What a workbook can't hold.
    pub fn finish(mut self, findings: &[Finding], draft: Option<&str>) -> Result<Vec<u8>, Error> {
        self.mark(findings, draft)
            .and_then(|()| finish(&mut self.book))
            .map_err(|error| refuse(&error))
    }

    fn mark(&mut self, findings: &[Finding], draft: Option<&str>) -> Result<(), XlsxError> {
        if let Some(words) = draft {
            entitle(&mut self.book, words)?;
        }
        let mut sheets = self.book.worksheets_mut().iter_mut();
        if let Some(first) = sheets.next() {
            list(first, &self.formats, findings, draft)?;
        }
        for (sheet, page) in sheets.zip(&self.pages) {
            page.mark(sheet, &self.formats, findings)?;
        }
        Ok(())
    }
}

/// All findings, one a row; the draft's words head a column of their own, as in findings.csv.
fn list(
    sheet: &mut Worksheet,
    formats: &Formats,
    findings: &[Finding],
    draft: Option<&str>,
) -> Result<(), XlsxError> {
    if let Some(words) = draft {
        sheet.write_string_with_format(0, 4, words, &formats.heading)?;
        sheet.set_column_width(4, 28)?;
    }
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
fn table_page(sheet: &Sheet) -> Page<'_> {
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
            .insert((Cow::Borrowed(&*table.file), table.line(row)), at);
        for (place, text) in table.filled(row) {
            page.put(at, place, text, table.kind(row, place));
        }
    }
    for (place, name) in sheet.layout.names.iter().enumerate() {
        page.name(name, place);
    }
    page.rows
        .insert((Cow::Borrowed(&*table.file), 0), page.heading);
    page
}

/// `[[run]]` and `runs.csv` in one sheet.
fn runs_page<'a>(sheets: &[&'a Sheet]) -> Page<'a> {
    let mut page = Page::default();
    let mut width = 0;
    for name in sheets.iter().flat_map(|sheet| &sheet.layout.names) {
        if !page.columns.contains_key(&**name) {
            page.name(name, width);
            page.put(0, width, &**name, Kind::Text);
            width += 1;
        }
    }
    let mut next = 1;
    for sheet in sheets {
        let table = &sheet.table;
        let first = sheet.layout.heading.map_or(0, |heading| heading + 1);
        for row in first..table.height() {
            page.rows
                .insert((Cow::Borrowed(&*table.file), table.line(row)), next);
            for (place, text) in table.filled(row) {
                page.rows.insert(
                    (Cow::Borrowed(&*table.file), table.cell_line(row, place)),
                    next,
                );
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
        page.rows
            .entry((Cow::Borrowed(&*table.file), 0))
            .or_insert(0);
    }
    page
}

/// The settings as questions and answers: all that are given, and all that could be.
fn settings_page(tables: &Tables) -> Page<'_> {
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
            page.put(next, 3, format!("{}.{key}", spec.name), Kind::Text);
            if let Some((_, text, kind, line)) = answer {
                page.put(next, 1, *text, *kind);
                let file = sheet.map_or("", |sheet| &*sheet.table.file);
                page.rows.insert((Cow::Borrowed(file), *line), next);
                page.rows.entry((Cow::Borrowed(file), 0)).or_insert(0);
            }
            // A finding about a key finds its row by the key's name.
            page.rows
                .insert((Cow::Owned(format!("key {key}")), 0), next);
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

impl<'a> Page<'a> {
    fn put(&mut self, row: u32, column: usize, text: impl Into<Cow<'a, str>>, kind: Kind) {
        let text = text.into();
        if let (Ok(column), true) = (u16::try_from(column), row < ROWS && !text.is_empty()) {
            self.cells.push(((row, column), text, kind));
        }
    }

    /// Puts the cells in order, one for each place.
    fn sort(&mut self) {
        self.cells.sort_by_key(|(place, ..)| *place);
        // The first of equals is kept where the later one has been put in its stead.
        self.cells.dedup_by(|later, kept| {
            let same = later.0 == kept.0;
            if same {
                std::mem::swap(later, kept);
            }
            same
        });
    }

    fn name(&mut self, name: &str, column: usize) {
        if let Ok(column) = u16::try_from(column) {
            self.columns.entry(name.to_owned()).or_insert(column);
        }
    }

    /// Writes all cells as typed.
    fn write(&self, sheet: &mut Worksheet, formats: &Formats) -> Result<(), XlsxError> {
        let plain = self.columns.len().min(256) as u16;
        for column in 0..plain {
            sheet.set_column_format(column, &formats.text)?;
            sheet.set_column_width(column, 14)?;
        }
        for (place, text, kind) in &self.cells {
            let &(row, column) = place;
            if row == self.heading {
                put(sheet, *place, (text, *kind), &formats.heading)?;
            } else if column < plain && *kind != Kind::Number {
                // The column's own format, which need not be looked up for every cell.
                sheet.write_string(row, column, &**text)?;
            } else {
                put(sheet, *place, (text, *kind), &formats.text)?;
            }
        }
        Ok(())
    }

    /// Fills the cells that have findings, and says those in comments.
    fn mark(
        &self,
        sheet: &mut Worksheet,
        formats: &Formats,
        findings: &[Finding],
    ) -> Result<(), XlsxError> {
        let mut said: BTreeMap<(u32, u16), (Level, String)> = BTreeMap::new();
        for finding in findings {
            let cells = self.cells_of(finding).into_iter();
            for cell in cells.filter(|(row, _)| *row < ROWS) {
                let (level, text) = said.entry(cell).or_insert((finding.level, String::new()));
                *level = finding.level.max(*level);
                if text.len() < COMMENT {
                    let separator = if text.is_empty() { "" } else { "\n" };
                    // Writing to a String can't fail.
                    let _ = write!(text, "{separator}{}: {}", finding.code, finding.message);
                }
            }
        }
        for (place, (level, text)) in &said {
            let format = marked(formats, *level);
            match self.cells.binary_search_by_key(place, |(at, ..)| *at) {
                Ok(at) => {
                    let (_, text, kind) = &self.cells[at];
                    put(sheet, *place, (text, *kind), format)?;
                }
                Err(_) => {
                    sheet.write_blank(place.0, place.1, format)?;
                }
            }
            comment(sheet, place.0, place.1, text)?;
        }
        Ok(())
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
        let Some(row) = self.rows.get(&(Cow::Borrowed(file), line)).copied() else {
            return Vec::new();
        };
        let answer = self.columns.get("answer").copied();
        let key = |name: &String| {
            self.rows
                .get(&(Cow::Owned(format!("key {name}")), 0))
                .copied()
        };
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

/// Writes a cell: a number as one, everything else as text.
fn put(
    sheet: &mut Worksheet,
    (row, column): (u32, u16),
    (text, kind): (&str, Kind),
    format: &rust_xlsxwriter::Format,
) -> Result<(), XlsxError> {
    match (kind, text.parse::<f64>()) {
        (Kind::Number, Ok(number)) => {
            let format = format.clone().set_num_format("General");
            sheet.write_number_with_format(row, column, number, &format)?
        }
        _ => sheet.write_string_with_format(row, column, text, format)?,
    };
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
