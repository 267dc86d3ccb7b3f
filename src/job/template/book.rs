//! An empty job as a workbook: a sheet a table, headings with their meaning, drop-downs for the fixed words.

use rust_xlsxwriter::{DataValidation, Workbook, Worksheet, XlsxError};

use super::headings;
use crate::error::Error;
use crate::job::book::{Formats, comment, finish, start};
use crate::job::schema::{Column, Form, TABLES, TableSpec, sections};

/// How many rows below the heading get drop-downs.
const ROWS: u32 = 1_000;

/// The workbook.
pub fn bytes() -> Result<Vec<u8>, Error> {
    let (mut book, formats) = start()?;
    fill(&mut book, &formats)
        .and_then(|()| finish(&mut book))
        .map_err(|error| crate::job::book::refuse(&error))
}

fn fill(book: &mut Workbook, formats: &Formats) -> Result<(), XlsxError> {
    questions(book.add_worksheet().set_name("job")?, formats)?;
    for spec in TABLES {
        table(book.add_worksheet().set_name(spec.name)?, spec, formats)?;
    }
    help(book.add_worksheet().set_name("how to fill in")?, formats)
}

/// The `job` sheet: one row a key, in plain words, with the key beside it.
fn questions(sheet: &mut Worksheet, formats: &Formats) -> Result<(), XlsxError> {
    for (column, (name, width)) in (0..).zip([
        ("question", 70),
        ("answer", 30),
        ("example", 24),
        ("key", 34),
    ]) {
        sheet.write_string_with_format(0, column, name, &formats.heading)?;
        sheet.set_column_width(column, width)?;
    }
    sheet.set_freeze_panes(1, 0)?;
    let mut row = 1;
    for section in sections() {
        for column in section.columns.iter().filter(|column| column.name != "use") {
            let words = if section.name == "run_default" {
                format!("Runs, unless they say otherwise: {}", column.meaning)
            } else {
                column.meaning.to_owned()
            };
            let answer = if section.name == "run_default" {
                ""
            } else {
                column.example
            };
            sheet.write_string_with_format(row, 0, words, &formats.text)?;
            if answer.is_empty() {
                sheet.write_blank(row, 1, &formats.text)?;
            } else {
                sheet.write_string_with_format(row, 1, answer, &formats.text)?;
            }
            sheet.write_string_with_format(row, 2, column.example, &formats.text)?;
            sheet.write_string_with_format(
                row,
                3,
                format!("{}.{}", section.name, column.name),
                &formats.text,
            )?;
            comment(
                sheet,
                row,
                1,
                &format!("Accepted: {}", column.form.accepted()),
            )?;
            choices(sheet, row, row, 1, column)?;
            row += 1;
        }
    }
    Ok(())
}

/// A table's sheet: its heading and the worked row.
fn table(sheet: &mut Worksheet, spec: &TableSpec, formats: &Formats) -> Result<(), XlsxError> {
    sheet.set_freeze_panes(1, 0)?;
    for (at, (name, column)) in (0..).zip(headings(spec)) {
        sheet.set_column_width(at, 14)?;
        // Text, so that the spreadsheet does not turn 12-6 into a date.
        sheet.set_column_format(at, &formats.text)?;
        sheet.write_string_with_format(0, at, &name, &formats.heading)?;
        comment(
            sheet,
            0,
            at,
            &format!("{}. Accepted: {}", column.meaning, column.form.accepted()),
        )?;
        if !column.example.is_empty() {
            sheet.write_string_with_format(1, at, column.example, &formats.text)?;
        }
        choices(sheet, 1, ROWS, at, column)?;
    }
    Ok(())
}

/// A drop-down for the fixed words of a column.
fn choices(
    sheet: &mut Worksheet,
    first: u32,
    last: u32,
    at: u16,
    column: &Column,
) -> Result<(), XlsxError> {
    let words: &[&str] = match column.form {
        Form::Word(words) => words,
        Form::YesNo => &["yes", "no"],
        _ => return Ok(()),
    };
    sheet.add_data_validation(
        first,
        at,
        last,
        at,
        &DataValidation::new().allow_list_strings(words)?,
    )?;
    Ok(())
}

fn help(sheet: &mut Worksheet, formats: &Formats) -> Result<(), XlsxError> {
    sheet.set_column_width(0, 110)?;
    let lines = [
        "Answer the questions of the sheet job: the column answer. What you leave blank takes its default.",
        "Fill in one row for each located point in marks, and the reference points in control. The other sheets may stay empty.",
        "Row 2 of each sheet is a worked example: overwrite it, or put a # before it.",
        "Lengths without a unit are in the job's unit; a cell or a heading can name its own: 3.81 m, 12' 6 1/2\", depth_1 (in).",
        "Point at a heading to see what belongs there.",
    ];
    for (row, line) in (0..).zip(lines) {
        sheet.write_string_with_format(row, 0, line, &formats.text)?;
    }
    Ok(())
}
