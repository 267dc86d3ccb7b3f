//! What all workbooks that `aslaid` writes have in common.

use std::path::PathBuf;

use rust_xlsxwriter::{
    Color, DocProperties, ExcelDateTime, Format, Note, Workbook, Worksheet, XlsxError,
};

use crate::error::Error;

/// Cell formats.
pub struct Formats {
    /// Text that the spreadsheet leaves as typed.
    pub text: Format,
    /// Bold text on grey.
    pub heading: Format,
    /// A cell with a finding of level error, warning, note.
    pub marked: [Format; 3],
}

/// A workbook without a clock in it: its date of making is always the same day, so that equal jobs give equal bytes.
pub fn start() -> Result<(Workbook, Formats), Error> {
    let mut book = Workbook::new();
    // At the usual level (6) half of the time is spent on 15 % fewer bytes.
    book.set_zip_compression_level(2);
    properties(&mut book, DocProperties::new()).map_err(|error| refuse(&error))?;
    let text = Format::new().set_num_format("@");
    let fill = |colour: u32| text.clone().set_background_color(Color::RGB(colour));
    let formats = Formats {
        heading: text
            .clone()
            .set_bold()
            .set_background_color(Color::RGB(0x00D9_D9D9)),
        marked: [fill(0x00F4_B6B0), fill(0x00FF_E08A), fill(0x00CF_E2F3)],
        text,
    };
    Ok((book, formats))
}

/// Gives the workbook a title.
pub fn entitle(book: &mut Workbook, title: &str) -> Result<(), XlsxError> {
    properties(book, DocProperties::new().set_title(title))
}

fn properties(book: &mut Workbook, properties: DocProperties) -> Result<(), XlsxError> {
    let day = ExcelDateTime::from_ymd(2000, 1, 1)?;
    book.set_properties(&properties.set_creation_datetime(&day));
    Ok(())
}

/// The bytes of the workbook.
pub fn finish(book: &mut Workbook) -> Result<Vec<u8>, XlsxError> {
    book.save_to_buffer()
}

/// Puts a comment on a cell.
pub fn comment(sheet: &mut Worksheet, row: u32, column: u16, text: &str) -> Result<(), XlsxError> {
    let note = Note::new(text)
        .add_author_prefix(false)
        .set_width(360)
        .set_height(110);
    sheet.insert_note(row, column, &note)?;
    Ok(())
}

/// A workbook that can't be written.
pub fn refuse(error: &XlsxError) -> Error {
    Error::Write {
        path: PathBuf::from("workbook"),
        why: error.to_string(),
    }
}
