//! `report.html`: one self-contained page to look at.

use std::io::{self, Write};

use super::{Format, View};
use crate::sheet;

/// The page.
#[derive(Debug)]
pub struct Report;

impl Format for Report {
    fn name(&self) -> &'static str {
        "report"
    }

    fn file(&self) -> &'static str {
        "report.html"
    }

    fn about(&self) -> &'static str {
        "one page with plan, profile and every number behind them"
    }

    fn write(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
        let bytes = sheet::html(view.record).map_err(io::Error::other)?;
        out.write_all(&bytes)
    }
}
