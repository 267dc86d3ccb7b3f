//! Stage 11: the drawing and the page. Content (what), layout (where, millimetres), PDF and HTML (how).
//!
//! | in | out |
//! | --- | --- |
//! | the record | [`fn@html`]: one self-contained page |
//! | the record, paper, dig pages | [`pdf()`]: the sheet |
//! | the files of a sheet and a record | [`verify()`]: whether they belong together |
//! | paper | [`form()`]: the blank field form |
//!
//! Everything is drawn from the record alone: no clock, no chance, no file but the two faces that the crate carries. The
//! same record gives the same bytes.

mod code;
pub mod content;
pub mod draw;
pub mod font;
mod form;
mod html;
mod layout;
pub mod options;
mod pdf;
mod verify;

pub use form::form;
pub use options::{Dig, Paper, SheetOptions};
pub use verify::{Verdict, verify};

use crate::record::AsBuilt;

/// Why a document can't be made. None of it is the job's fault.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A face that the crate carries can't be read.
    #[error("the sheet's type face can't be read: {0}")]
    Font(String),
    /// The PDF writer refuses.
    #[error("the PDF can't be written: {0}")]
    Pdf(String),
    /// The code would hold more than it can.
    #[error("the sheet's code can't be made: {0}")]
    Code(String),
}

/// The page: one file that works offline, `report.html`.
pub fn html(record: &AsBuilt) -> Result<Vec<u8>, Error> {
    Ok(html::page(record, &font::Fonts::new()?).into_bytes())
}

/// The drawing to hand over: plan and profile to scale, title block, tables, dig pages, `sheet.pdf`.
pub fn pdf(record: &AsBuilt, options: &SheetOptions) -> Result<Vec<u8>, Error> {
    pdf_of(record, options, &options.chosen(record))
}

/// The same with the dig pages by their observations' places in the record.
fn pdf_of(record: &AsBuilt, options: &SheetOptions, chosen: &[usize]) -> Result<Vec<u8>, Error> {
    let fonts = font::Fonts::new()?;
    let paper = options.paper(record);
    let pages = layout::sheets(record, paper, chosen, &fonts)?;
    let about = pdf::About {
        title: format!(
            "{}: {}",
            content::head::WHAT_IT_IS,
            content::head::title(record)
        ),
        creator: record.generator.clone(),
        keywords: verify::keywords(record, paper, chosen),
    };
    pdf::write(&pages, about, &fonts)
}
