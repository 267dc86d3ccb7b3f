//! The sheet's code: a QR symbol ([ISO/IEC 18004](crate::sources::Source::Iso18004)) that ties the paper to its record.
//!
//! It holds plain text that any reader shows: `aslaid 1|supplier/job|r1|hash|A e,n e,n|…`, the runs by the coordinates of their
//! upstream and downstream ends.

use std::fmt::Write as _;

use qrcode::{Color, EcLevel, QrCode};

use super::Error;
use super::content::{figures, head};
use super::draw::{Drawing, Item, Pen, Rect};
use crate::record::AsBuilt;

/// More makes the modules too small for a telephone to read off 30 mm (our choice).
const LONGEST: usize = 260;
/// Light modules around the symbol that a reader needs (ISO/IEC 18004).
const QUIET: usize = 4;

/// The text in the code.
#[must_use]
pub fn text(record: &AsBuilt) -> String {
    let identity = |text: &str, most: usize| {
        text.replace('|', "/")
            .chars()
            .take(most)
            .collect::<String>()
    };
    let supplier = identity(record.job.supplier.as_deref().unwrap_or(""), 40);
    let mut text = format!("aslaid 1|{supplier}/{}|", identity(&record.job.id, 40));
    // Writing into a string can't fail.
    if let Some(revision) = record.job.revision {
        let _ = write!(text, "r{revision}");
    }
    let _ = write!(text, "|{}", head::hash(record));
    let decimals = if record.frame.crs_unit_metres < 0.5 {
        1
    } else {
        2
    };
    for run in &record.runs {
        let (Some(first), Some(last)) = (run.vertices.first(), run.vertices.last()) else {
            continue;
        };
        let place = |e: f64, n: f64| {
            format!(
                "{},{}",
                figures::fixed(e, decimals),
                figures::fixed(n, decimals)
            )
        };
        let ends = format!(
            "|{} {} {}",
            identity(&run.run, 12),
            place(first.easting, first.northing),
            place(last.easting, last.northing)
        );
        if text.len() + ends.len() > LONGEST {
            break;
        }
        text.push_str(&ends);
    }
    text
}

/// The symbol with its quiet zone, in a square of `side` millimetres.
pub fn draw(record: &AsBuilt, side: f64) -> Result<Drawing, Error> {
    let code = QrCode::with_error_correction_level(text(record), EcLevel::M)
        .map_err(|why| Error::Code(why.to_string()))?;
    let width = code.width();
    let module = side / (width + 2 * QUIET) as f64;
    let mut drawing = Drawing::new(side, side);
    let colors = code.to_colors();
    for (y, row) in colors.chunks(width).enumerate() {
        let mut x = 0;
        // Dark modules side by side are one shape: no light seams between them.
        for stretch in row.chunk_by(|a, b| a == b) {
            if stretch.first() == Some(&Color::Dark) {
                let at = |n: usize| (n + QUIET) as f64 * module;
                let rect = Rect::new(at(x), at(y), stretch.len() as f64 * module, module);
                drawing.push(Item::rect(Pen::Module, rect));
            }
            x += stretch.len();
        }
    }
    Ok(drawing)
}
