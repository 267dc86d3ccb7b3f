//! Workbooks: every sheet as a table, numbers as their format shows them, dates as the spreadsheet stored them.

use std::collections::HashSet;
use std::io::{Cursor, Read, Write};
use std::sync::Arc;

use calamine::{DataRef, ExcelDateTime, Reader, SheetVisible, Xlsx};
use memchr::memmem::Finder;

use super::merged::{Filling, Region};
use super::shown::Format;
use super::{Kind, Table, caps, normal};

/// The sheet that holds settings: each of its rows is a question of its own, however its cells are merged.
const SETTINGS: &str = "job";

/// Reads every sheet; `name` is the workbook's. An error says why it can't be read at all.
pub fn read(name: &str, bytes: &[u8]) -> Result<Vec<(String, Table)>, String> {
    let merges = unpacks(bytes)?;
    let mut book: Xlsx<_> =
        calamine::open_workbook_from_rs(Cursor::new(bytes)).map_err(|_| broken())?;
    let mut tables = Vec::new();
    let sheets = book.sheets_metadata().iter();
    let sheets: Vec<(String, bool)> = sheets
        .map(|sheet| (sheet.name.clone(), sheet.visible == SheetVisible::Visible))
        .collect();
    for (sheet, visible) in sheets {
        let mut table = Table::new(Arc::from(format!("{name}!{sheet}")));
        table.decimal_comma = true; // text cells: the separator is not a comma
        if !visible {
            let note = "the sheet is hidden, and is read like the others";
            table.notes.push(note.to_owned());
        }
        let mut regions = Vec::new();
        if merges && normal(&sheet).whole() != SETTINGS {
            // A sheet that can't be read for them can't be read below either, which says so.
            let found = book.merge_cells_by_sheet_name(&sheet).unwrap_or_default();
            regions.extend(found.iter().map(|of| Region::new(of.start, of.end)));
        }
        fill(&mut book, &sheet, regions, &mut table).map_err(|_| broken())?;
        tables.push((sheet, table));
    }
    Ok(tables)
}

/// What is said of a file that is no workbook. What the packed form lacks helps nobody who fills in sheets.
fn broken() -> String {
    "is no .xlsx workbook that can be read: it is damaged, or another kind of file with that ending. Open it in the spreadsheet and \
     save it as .xlsx again"
        .to_owned()
}

/// Refuses a workbook that unpacks to more than the limit: everything in it is unpacked once, into nothing, since the
/// sizes that an archive states may be lies. Says whether cells may be merged in it: looking for them takes reading a sheet twice.
fn unpacks(bytes: &[u8]) -> Result<bool, String> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|_| broken())?;
    let mut left = caps::UNPACKED;
    let mut sought = Sought::new(MERGED);
    for index in 0..archive.len() {
        let entry = archive.by_index(index).map_err(|_| broken())?;
        let taken = std::io::copy(&mut entry.take(left + 1), &mut sought).map_err(|_| broken())?;
        left = left.checked_sub(taken).ok_or_else(|| {
            format!(
                "unpacks to more than {} bytes; at most that is read",
                caps::UNPACKED
            )
        })?;
    }
    Ok(sought.found)
}

/// What every sheet with merged cells holds.
const MERGED: &[u8] = b"mergeCell";

/// Looks for some bytes in what goes by, and keeps nothing of it.
struct Sought {
    bytes: Finder<'static>,
    /// What went by, from where they may begin.
    tail: Vec<u8>,
    found: bool,
}

impl Sought {
    fn new(bytes: &'static [u8]) -> Self {
        Self {
            bytes: Finder::new(bytes),
            tail: Vec::new(),
            found: false,
        }
    }
}

impl Write for Sought {
    fn write(&mut self, part: &[u8]) -> std::io::Result<usize> {
        if !self.found {
            self.tail.extend_from_slice(part);
            self.found = self.bytes.find(&self.tail).is_some();
            let keep = self.bytes.needle().len() - 1;
            self.tail.drain(..self.tail.len().saturating_sub(keep));
        }
        Ok(part.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// Fills a table with a sheet's cells, each row at its own number.
fn fill(
    book: &mut Xlsx<Cursor<&[u8]>>,
    sheet: &str,
    regions: Vec<Region>,
    table: &mut Table,
) -> Result<(), calamine::XlsxError> {
    let mut cells = match book.worksheet_cells_reader(sheet) {
        Ok(cells) => cells,
        Err(calamine::XlsxError::NotAWorksheet(_)) => return Ok(()),
        Err(error) => return Err(error),
    };
    let formats: Vec<Option<Format>> = cells.styles().iter().map(format).collect();
    let mut blank = HashSet::new();
    let mut filling = Filling::new(table, regions);
    while let Some((cell, style)) = cells.next_cell_with_style_id()? {
        let (at, column) = cell.get_position();
        let format = formats.get(style).and_then(Option::as_ref);
        let (text, kind) = text(cell.get_value(), format);
        if text.is_empty() {
            if blank.len() < BLANKS {
                blank.insert((at, column));
            }
        } else if !filling.cell(at, column, text, kind) {
            break;
        }
    }
    filling.finish();
    drop(cells);
    unsolved(book, sheet, &blank, table)
}

/// Cells without a value that are looked at for a formula: more than any sheet of a job has.
const BLANKS: usize = 100_000;

/// Says of cells without a value that they hold a formula: what wrote them left its computing to the next program.
fn unsolved(
    book: &mut Xlsx<Cursor<&[u8]>>,
    sheet: &str,
    blank: &HashSet<(u32, u32)>,
    table: &mut Table,
) -> Result<(), calamine::XlsxError> {
    if blank.is_empty() {
        return Ok(());
    }
    let mut cells = book.worksheet_cells_reader(sheet)?;
    while let Some(cell) = cells.next_formula()? {
        let (at, column) = cell.get_position();
        if !cell.get_value().is_empty() && blank.contains(&(at, column)) {
            table.spoil(
                at.saturating_add(1),
                format!(
                    "column {} holds a formula and no value: open the workbook in a spreadsheet and save it there",
                    column + 1
                ),
            );
        }
    }
    Ok(())
}

/// What a cell's format changes of its number, if anything.
fn format(style: &calamine::Style) -> Option<Format> {
    Format::read(&style.number_format.as_ref()?.format_code)
}

/// A cell's text and kind.
fn text(value: &DataRef<'_>, format: Option<&Format>) -> (String, Kind) {
    let shown = |number: f64| format?.show(number);
    match value {
        DataRef::Empty => (String::new(), Kind::Text),
        DataRef::String(text) => (text.clone(), Kind::Text),
        DataRef::SharedString(text) => ((*text).to_owned(), Kind::Text),
        DataRef::Int(number) => match shown(*number as f64) {
            Some(shown) => (shown, Kind::Text),
            None => (number.to_string(), Kind::Number),
        },
        DataRef::Float(number) => match shown(*number) {
            Some(shown) => (shown, Kind::Text),
            None => (number.to_string(), Kind::Number),
        },
        DataRef::Bool(yes) => (if *yes { "yes" } else { "no" }.to_owned(), Kind::Bool),
        DataRef::DateTime(time) => (date_time(*time), Kind::Date),
        DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => (text.clone(), Kind::Date),
        DataRef::Error(error) => (error.to_string(), Kind::Error),
    }
}

/// ISO 8601 of a stored date: `2026-12-06`, `2026-12-06T13:02:05`, or a time of day alone.
fn date_time(time: ExcelDateTime) -> String {
    let (year, month, day, hour, minute, second, thousandth) = time.to_ymd_hms_milli();
    let mut clock = format!("{hour:02}:{minute:02}:{second:02}");
    if thousandth > 0 {
        clock = format!("{clock}.{thousandth:03}");
    }
    let stored = time.as_f64();
    if stored < 1.0 {
        return clock;
    }
    let date = format!("{year:04}-{month:02}-{day:02}");
    if stored.fract() == 0.0 {
        date
    } else {
        format!("{date}T{clock}")
    }
}
