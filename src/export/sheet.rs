//! `sheet.pdf`: the drawing to hand over.

use std::io::{self, Write};

use super::{Format, View};
use crate::sheet;

/// The sheet.
#[derive(Debug)]
pub struct Sheet;

impl Format for Sheet {
    fn name(&self) -> &'static str {
        "sheet"
    }

    fn file(&self) -> &'static str {
        "sheet.pdf"
    }

    fn about(&self) -> &'static str {
        "the drawing to hand over: plan to scale, profile, tables"
    }

    fn write(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
        let bytes = sheet::pdf(view.record, &view.sheet).map_err(io::Error::other)?;
        out.write_all(&bytes)
    }
}
