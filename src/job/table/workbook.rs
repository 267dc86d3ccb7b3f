//! Workbooks: every sheet as a table, numbers and dates as the spreadsheet stored them.

use std::collections::HashSet;
use std::io::{Cursor, Read};
use std::sync::Arc;

use calamine::{DataRef, ExcelDateTime, Reader, Xlsx};

use super::{Kind, Table, caps};
/// Reads every sheet; `name` is the workbook's. An error says why it can't be read at all.
pub fn read(name: &str, bytes: &[u8]) -> Result<Vec<(String, Table)>, String> {
    unpacks(bytes)?;
    let mut book: Xlsx<_> =
        calamine::open_workbook_from_rs(Cursor::new(bytes)).map_err(|_| broken())?;
    let mut tables = Vec::new();
    for sheet in book.sheet_names() {
        let mut table = Table::new(Arc::from(format!("{name}!{sheet}")));
        table.decimal_comma = true; // text cells: the separator is not a comma
        fill(&mut book, &sheet, &mut table).map_err(|_| broken())?;
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
/// sizes that an archive states may be lies.
fn unpacks(bytes: &[u8]) -> Result<(), String> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|_| broken())?;
    let mut left = caps::UNPACKED;
    for index in 0..archive.len() {
        let entry = archive.by_index(index).map_err(|_| broken())?;
        let taken =
            std::io::copy(&mut entry.take(left + 1), &mut std::io::sink()).map_err(|_| broken())?;
        left = left.checked_sub(taken).ok_or_else(|| {
            format!(
                "unpacks to more than {} bytes; at most that is read",
                caps::UNPACKED
            )
        })?;
    }
    Ok(())
}

/// Fills a table with a sheet's cells, each row at its own number.
fn fill(
    book: &mut Xlsx<Cursor<&[u8]>>,
    sheet: &str,
    table: &mut Table,
) -> Result<(), calamine::XlsxError> {
    let mut cells = match book.worksheet_cells_reader(sheet) {
        Ok(cells) => cells,
        Err(calamine::XlsxError::NotAWorksheet(_)) => return Ok(()),
        Err(error) => return Err(error),
    };
    let percent = percentages(cells.styles());
    let (mut row, mut next) = (0, 0);
    let mut blank = HashSet::new();
    while let Some((cell, style)) = cells.next_cell_with_style_id()? {
        let (at, column) = cell.get_position();
        let (text, kind) = text(
            cell.get_value(),
            percent.get(style).copied().unwrap_or(false),
        );
        if text.is_empty() {
            if blank.len() < BLANKS {
                blank.insert((at, column));
            }
            continue;
        }
        if at != row {
            table.end_row(row.saturating_add(1));
            (row, next) = (at, 0);
        }
        let line = at.saturating_add(1);
        if column as usize >= caps::COLUMNS || text.len() > caps::CELL || column < next {
            table.spoil(
                line,
                format!(
                    "a cell is beyond column {}, longer than {} bytes, or out of order",
                    caps::COLUMNS,
                    caps::CELL
                ),
            );
            continue;
        }
        while next < column {
            if !table.push_kind("", Kind::Text) {
                break;
            }
            next += 1;
        }
        if !table.push_kind(&text, kind) {
            table.spoil(
                line,
                format!(
                    "there are more than {} cells; the sheet is read up to here",
                    caps::CELLS
                ),
            );
            break;
        }
        next += 1;
    }
    table.end_row(row.saturating_add(1));
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

/// Which cell formats show a percentage.
fn percentages(styles: &[calamine::Style]) -> Vec<bool> {
    let shows = |style: &calamine::Style| {
        style
            .number_format
            .as_ref()
            .is_some_and(|format| format.format_code.contains('%'))
    };
    styles.iter().map(shows).collect()
}

/// A cell's text and kind.
fn text(value: &DataRef<'_>, percent: bool) -> (String, Kind) {
    match value {
        DataRef::Empty => (String::new(), Kind::Text),
        DataRef::String(text) => (text.clone(), Kind::Text),
        DataRef::SharedString(text) => ((*text).to_owned(), Kind::Text),
        DataRef::Int(number) => (number.to_string(), Kind::Number),
        // A percentage is stored as its ratio; two more digits than it can have shown.
        DataRef::Float(number) if percent => {
            (format!("{} %", (number * 1e14).round() / 1e12), Kind::Text)
        }
        DataRef::Float(number) => (number.to_string(), Kind::Number),
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
