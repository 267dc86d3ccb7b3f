//! Tables as CSV: RFC 4180 with CRLF, UTF-8 with a byte-order mark, the header always.
//!
//! The byte-order mark is our choice: without it the commonest spreadsheet reads UTF-8 as its own code page and
//! mangles every accent.
//!
//! **Inert.** A spreadsheet executes a cell that begins like a formula. Text whose first character is one of
//! [`FORMULA_STARTS`], or an apostrophe, is written with one more apostrophe before it; [`unguard`] takes it off again.
//! Numbers are never touched, and no text is lost: see [`guard`].

use std::borrow::Cow;
use std::io::{self, Write};

use super::geojson::Extent;
use super::sections::BySection;
use super::table::{Row, Table};
use super::value::Value;
use super::{Format, View, append, draft};
use crate::record::AsBuilt;

/// Characters that make a spreadsheet take a cell for a formula, or that let one slip in behind them: also the
/// full-width forms, which some of them treat alike.
pub const FORMULA_STARTS: &[char] = &['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];

const BYTE_ORDER_MARK: &[u8] = "\u{feff}".as_bytes();

/// A table of the record as a file.
#[derive(Debug)]
pub struct Csv {
    name: &'static str,
    file: &'static str,
    table: &'static str,
    about: &'static str,
}

/// One row a mark.
pub const POINTS: Csv = Csv {
    name: "points",
    file: "points.csv",
    table: "mark",
    about: "one row a mark, grid coordinates",
};
/// One row a vertex.
pub const PROFILE: Csv = Csv {
    name: "profile",
    file: "profile.csv",
    table: "profile",
    about: "one row a vertex of each run, in order of flow",
};
/// One row a camera observation.
pub const CAMERA: Csv = Csv {
    name: "camera",
    file: "camera.csv",
    table: "camera",
    about: "each camera observation with its computed place",
};
/// One row a point to be set out.
pub const TIES: Csv = Csv {
    name: "ties",
    file: "ties.csv",
    table: "ties",
    about: "distances from the best two or three references",
};

/// One row a crossing or near place; only where a plan was laid under the job.
pub const CROSSINGS: Csv = Csv {
    name: "crossings",
    file: "crossings.csv",
    table: "crossing",
    about: "where runs cross or come near what site plans show (--plan)",
};

impl Format for Csv {
    fn name(&self) -> &'static str {
        self.name
    }

    fn file(&self) -> &'static str {
        self.file
    }

    fn about(&self) -> &'static str {
        self.about
    }

    fn shows_hash(&self) -> bool {
        false
    }

    fn absent(&self, record: &AsBuilt) -> Option<String> {
        let planless = self.table == CROSSINGS.table && record.plans.is_empty();
        planless.then(|| "no site plan was laid under the job (--plan)".to_owned())
    }

    fn write(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
        let Some(table) = view.table(self.table) else {
            return Ok(());
        };
        write_table(table, table.rows(view.record), out)
    }

    fn by_section(&self) -> Option<&dyn BySection> {
        Some(self)
    }
}

impl BySection for Csv {
    fn begin(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
        view.table(self.table)
            .map_or(Ok(()), |table| write_head(table, out))
    }

    fn rows(&self, view: &View<'_>, out: &mut Vec<u8>) -> io::Result<()> {
        let Some(table) = view.table(self.table) else {
            return Ok(());
        };
        append_rows(table, table.rows(view.record), out);
        Ok(())
    }

    fn between(&self) -> &'static [u8] {
        b""
    }

    fn end(&self, _: &Extent, _: &mut dyn Write) -> io::Result<()> {
        Ok(())
    }
}

/// Writes a table: its header, then a line a row.
///
/// In a draft the last column is headed by the draft's words, so that a table without rows carries them too.
pub fn write_table<'a>(
    table: &Table,
    rows: impl Iterator<Item = Row<'a>>,
    out: &mut dyn Write,
) -> io::Result<()> {
    write_head(table, out)?;
    super::rows::write(rows, out, &|_, rows, bytes| {
        append_rows(table, rows.iter().copied(), bytes);
        Ok(())
    })
}

fn write_head(table: &Table, out: &mut dyn Write) -> io::Result<()> {
    out.write_all(BYTE_ORDER_MARK)?;
    let mut writer = ::csv::WriterBuilder::new()
        .terminator(::csv::Terminator::CRLF)
        .from_writer(&mut *out);
    writer.write_record(
        table
            .columns
            .iter()
            .map(|column| heading(column).into_owned()),
    )?;
    writer.flush()
}

/// Appends rows of a table.
pub(super) fn append_rows<'a>(
    table: &Table,
    rows: impl Iterator<Item = Row<'a>>,
    bytes: &mut Vec<u8>,
) {
    for row in rows {
        for (at, column) in table.columns.iter().enumerate() {
            if at > 0 {
                bytes.push(b',');
            }
            match (column.unrounded(row), column.quantity.decimals()) {
                (Value::Absent, _) => {}
                (Value::Real(value), Some(decimals)) => append::figure(value, decimals, bytes),
                (other, _) => write_text(&cell(&other), bytes),
            }
        }
        bytes.extend_from_slice(b"\r\n");
    }
}

/// Appends text; in quotation marks, with its own doubled, where it holds what ends a cell (RFC 4180, section 2).
fn write_text(text: &str, out: &mut Vec<u8>) {
    let special = |byte: &u8| matches!(byte, b',' | b'"' | b'\r' | b'\n');
    // Counted to the end: so they are looked at many at a time.
    if text.bytes().filter(special).count() == 0 {
        out.extend_from_slice(text.as_bytes());
        return;
    }
    out.push(b'"');
    for (at, part) in text.split('"').enumerate() {
        if at > 0 {
            out.extend_from_slice(b"\"\"");
        }
        out.extend_from_slice(part.as_bytes());
    }
    out.push(b'"');
}

fn heading(column: &super::table::Column) -> Cow<'_, str> {
    match &column.getter {
        super::table::Getter::Fixed(words) if column.name == draft::PROPERTY => {
            Cow::Owned(format!("{} ({words})", draft::PROPERTY))
        }
        _ => guard(&column.name),
    }
}

fn cell<'v>(value: &'v Value<'_>) -> Cow<'v, str> {
    match value {
        Value::Text(text) => guard(text),
        other => other.text(),
    }
}

/// Text made inert: one apostrophe before it, if it begins like a formula. Text that begins with an apostrophe gets one too, so that
/// whoever reads the file takes one leading apostrophe away, whatever follows.
#[must_use]
pub fn guard(text: &str) -> Cow<'_, str> {
    // Most texts begin with a letter or a digit, which one look tells.
    let plain = text
        .as_bytes()
        .first()
        .is_none_or(u8::is_ascii_alphanumeric);
    if !plain && (text.starts_with('\'') || text.starts_with(FORMULA_STARTS)) {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// The text as it was before [`guard`].
#[must_use]
pub fn unguard(cell: &str) -> &str {
    cell.strip_prefix('\'').unwrap_or(cell)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_formula_is_inert_and_comes_back() {
        for text in [
            "=1+1", "+1", "-1", "@x", "\tx", "\rx", "\nx", "＝1", "'=1", "''-x",
        ] {
            let written = guard(text);
            assert!(written.starts_with('\''), "{text}");
            assert_eq!(unguard(&written), text);
        }
    }

    #[test]
    fn an_apostrophe_at_the_beginning_is_doubled_whatever_follows() {
        for (text, written) in [("'tis", "''tis"), ("'", "''"), ("''", "'''")] {
            assert_eq!(guard(text), written);
            assert_eq!(unguard(written), text);
        }
    }

    #[test]
    fn other_text_is_left_alone() {
        for text in ["", "a=b", "it's", " =1", "12'-6 1/2\"", "é"] {
            assert_eq!(guard(text), text);
            assert_eq!(unguard(text), text);
        }
    }
}
