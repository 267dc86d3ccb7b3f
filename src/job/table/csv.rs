//! Text files: encoding, separator, quoted cells, the line of every row.

use std::sync::Arc;

use super::heading::{normal, recognised};
use super::{Table, caps};
use crate::job::schema::TableSpec;

/// Reads a text file as a table. An error says why it can't be read at all.
pub fn read(file: Arc<str>, bytes: Vec<u8>, spec: &TableSpec) -> Result<Table, String> {
    let mut table = Table::new(file);
    let text = decode(bytes, &mut table.notes)?;
    let separator = separator(&text, &table.file, &|top| by_spec(top, spec));
    fill(&text, separator, &mut table);
    Ok(table)
}

/// Reads a text file whose first row holds the names of its columns, which are somebody else's: `names` are those that are looked for,
/// and tell the separator.
pub fn read_headed(file: Arc<str>, bytes: Vec<u8>, names: &[&str]) -> Result<Table, String> {
    let mut table = Table::new(file);
    let text = decode(bytes, &mut table.notes)?;
    let names: Vec<String> = names.iter().map(|name| normal(name).name).collect();
    let found = |top: &Table| {
        let cells = top.filled(0);
        let known = cells.filter(|(_, text)| names.contains(&normal(text).name));
        (known.count(), top.width(0))
    };
    let separator = separator(&text, &table.file, &found);
    fill(&text, separator, &mut table);
    Ok(table)
}

fn fill(text: &str, (separator, start): (u8, usize), table: &mut Table) {
    table.decimal_comma = separator != b',';
    table.delimited = true;
    parse(
        text.get(start..).unwrap_or_default(),
        separator,
        u32::from(start > 0) + 1,
        usize::MAX,
        table,
    );
}

/// Text whose lines are its rows and whose cells are what stands between separators: no quotation marks, no lone carriage returns.
/// Its separator, and where the line after the heading begins, if its first line is the heading; `None` for any other text.
pub fn plain(text: &str, file: &Arc<str>, spec: &TableSpec) -> Option<(u8, usize)> {
    let ends_line = |at: usize| text.as_bytes().get(at + 1) == Some(&b'\n');
    let bytes = text.as_bytes();
    if memchr::memchr(b'"', bytes).is_some() || !memchr::memchr_iter(b'\r', bytes).all(ends_line) {
        return None;
    }
    let (separator, start) = separator(text, file, &|top| by_spec(top, spec));
    let heading = memchr::memchr(b'\n', bytes)? + 1;
    let mut top = Table::new(Arc::clone(file));
    parse(text, separator, 1, super::layout::TOP, &mut top);
    let (layout, _) = super::lay_out(&top, spec, false);
    (start == 0 && layout.heading == Some(0) && top.line(0) == 1).then_some((separator, heading))
}

/// Some rows of a text that is [`plain`], the first of them in line `line`, with the heading.
pub fn read_rows(file: Arc<str>, (heading, rows): (&str, &str), separator: u8, line: u32) -> Table {
    let mut table = Table::new(file);
    table.decimal_comma = separator != b',';
    table.delimited = true;
    parse(heading, separator, 1, usize::MAX, &mut table);
    parse(rows, separator, line, usize::MAX, &mut table);
    table
}

/// Reads a text file that has no heading of ours, or none: `columns` are the names of its columns in their order. A first line
/// without a figure is taken for a heading of its own, and left out.
pub fn read_points(file: Arc<str>, bytes: Vec<u8>, columns: &[&str]) -> Result<Table, String> {
    let mut table = Table::new(file);
    let text = decode(bytes, &mut table.notes)?;
    let first = text.lines().next().unwrap_or_default();
    let bare = !first.contains(|letter: char| letter.is_ascii_digit()) && !first.trim().is_empty();
    let start = if bare {
        table
            .notes
            .push(format!("the first line is taken for a heading: {first}"));
        text.find('\n').map_or(text.len(), |at| at + 1)
    } else {
        0
    };
    let body = text.get(start..).unwrap_or_default();
    let separator = part(body, columns.len());
    table.decimal_comma = separator != ',';
    table.delimited = true;
    for name in columns {
        table.push(name);
    }
    table.end_row(0);
    parse(
        body,
        separator as u8,
        u32::from(start > 0) + 1,
        usize::MAX,
        &mut table,
    );
    Ok(table)
}

/// What parts the cells of lines without a heading: what every line near the top has enough of for so many columns. Commas come
/// last, since they may be decimal ones.
fn part(text: &str, columns: usize) -> char {
    let filled = |line: &&str| !line.trim().is_empty() && !line.starts_with('#');
    let top: Vec<&str> = text
        .lines()
        .filter(filled)
        .take(super::layout::TOP)
        .collect();
    let (mut best, mut most) = (',', 0);
    for candidate in ['\t', ';', '|', ','] {
        let counts = top.iter().map(|line| line.matches(candidate).count());
        let found = counts.min().unwrap_or(0).min(columns.saturating_sub(1));
        if found > most {
            (best, most) = (candidate, found);
        }
    }
    best
}

/// Text of a file: UTF-8, UTF-16 with its mark, else Windows-1252 with a note.
pub fn decode(bytes: Vec<u8>, notes: &mut Vec<String>) -> Result<String, String> {
    for (mark, encoding) in [
        ([0xff, 0xfe], encoding_rs::UTF_16LE),
        ([0xfe, 0xff], encoding_rs::UTF_16BE),
    ] {
        if bytes.starts_with(&mark) {
            let (text, broken) = encoding.decode_with_bom_removal(&bytes);
            notes.push(format!("read as {}", encoding.name()));
            return if broken {
                Err("is no text: it begins like UTF-16 and does not go on so".to_owned())
            } else {
                Ok(text.into_owned())
            };
        }
    }
    if let Some(at) = bytes.iter().position(|byte| *byte == 0) {
        return Err(format!(
            "is no text: it holds a zero byte at {at}; save it as CSV (UTF-8)"
        ));
    }
    match String::from_utf8(bytes) {
        Ok(text) => Ok(match text.strip_prefix('\u{feff}') {
            Some(bare) => bare.to_owned(),
            None => text,
        }),
        Err(error) => {
            let valid = error.utf8_error().valid_up_to();
            let bytes = error.into_bytes();
            let line = bytes
                .iter()
                .take(valid)
                .filter(|byte| **byte == b'\n')
                .count()
                + 1;
            notes.push(format!(
                "is not UTF-8 (first in line {line}); read as Windows-1252"
            ));
            Ok(encoding_rs::WINDOWS_1252.decode(&bytes).0.into_owned())
        }
    }
}

/// How many names of columns of ours a row near the top has.
fn by_spec(top: &Table, spec: &TableSpec) -> (usize, usize) {
    let most = (0..top.height())
        .map(|row| recognised(top, row, spec))
        .max();
    (most.unwrap_or(0), 0)
}

/// The separator, and where the text begins: as a first line `sep=;` says, else the one by which the rows near the top
/// score best.
fn separator(text: &str, file: &Arc<str>, score: &dyn Fn(&Table) -> (usize, usize)) -> (u8, usize) {
    let first = text.lines().next().unwrap_or_default();
    if let Some(&[separator]) = first
        .trim_matches('"')
        .strip_prefix("sep=")
        .map(str::as_bytes)
        && (separator.is_ascii_punctuation() || separator == b'\t')
    {
        return (separator, text.find('\n').map_or(text.len(), |at| at + 1));
    }
    let by = |separator: u8| {
        let mut top = Table::new(Arc::clone(file));
        parse(text, separator, 1, super::layout::TOP, &mut top);
        score(&top)
    };
    let (mut best, mut most) = (b',', by(b','));
    for candidate in [b';', b'\t', b'|'] {
        let found = by(candidate);
        if found > most {
            (best, most) = (candidate, found);
        }
    }
    (best, 0)
}

/// Fills the table with the rows of the text, at most `rows` of them.
fn parse(text: &str, separator: u8, first_line: u32, rows: usize, table: &mut Table) {
    let bytes = text.as_bytes();
    let mut reader = Cells {
        text,
        at: 0,
        line: first_line,
        cell: String::new(),
        separator,
    };
    let mut row_line = first_line;
    let mut columns = 0;
    while reader.at < bytes.len() && table.height() < rows {
        let unclosed = reader.next_cell();
        if unclosed {
            table.spoil(
                row_line,
                "a quotation mark opens here and is never closed".to_owned(),
            );
        }
        if reader.cell.len() > caps::CELL {
            table.spoil(
                row_line,
                format!(
                    "a cell holds {} bytes; at most {} are read",
                    reader.cell.len(),
                    caps::CELL
                ),
            );
            reader.cell.clear();
            reader.cell.push('\u{2026}');
        }
        columns += 1;
        if columns > caps::COLUMNS {
            table.spoil(
                row_line,
                format!(
                    "it has more than {} columns; the file is read up to here",
                    caps::COLUMNS
                ),
            );
            break;
        }
        if !table.push(&reader.cell) {
            table.spoil(
                row_line,
                format!(
                    "there are more than {} cells; the file is read up to here",
                    caps::CELLS
                ),
            );
            break;
        }
        if reader.end_of_row() {
            table.end_row(row_line);
            row_line = reader.line;
            columns = 0;
        }
    }
    table.end_row(row_line);
}

struct Cells<'a> {
    text: &'a str,
    at: usize,
    line: u32,
    cell: String,
    separator: u8,
}

impl Cells<'_> {
    /// Puts the next cell into `cell` and stops at what ends it. True if its quotation mark is never closed: the mark is
    /// then taken as a letter.
    fn next_cell(&mut self) -> bool {
        self.cell.clear();
        let rest = self.text.get(self.at..).unwrap_or_default();
        let mut unclosed = false;
        if rest.starts_with('"') {
            if let Some(length) = self.quoted(rest) {
                self.at += length;
            } else {
                unclosed = true;
                self.cell.clear();
            }
        }
        let rest = self.text.get(self.at..).unwrap_or_default();
        let ends = |byte: &u8| *byte == self.separator || *byte == b'\n' || *byte == b'\r';
        let end = rest.as_bytes().iter().position(ends).unwrap_or(rest.len());
        self.cell.push_str(rest.get(..end).unwrap_or_default());
        self.at += end;
        unclosed
    }

    /// Unquotes the cell at the start of `rest`; the bytes that it takes.
    fn quoted(&mut self, rest: &str) -> Option<usize> {
        let mut at = 1;
        loop {
            let part = rest.get(at..)?;
            let end = part.find('"')?;
            self.cell.push_str(part.get(..end)?);
            at += end + 1;
            if !part.get(end + 1..)?.starts_with('"') {
                break;
            }
            self.cell.push('"');
            at += 1;
        }
        let lines = rest
            .get(..at)?
            .bytes()
            .filter(|byte| *byte == b'\n')
            .count();
        self.line = self
            .line
            .saturating_add(u32::try_from(lines).unwrap_or(u32::MAX));
        Some(at)
    }

    /// Steps over what ended the cell; true at the end of a row.
    fn end_of_row(&mut self) -> bool {
        let rest = self.text.as_bytes().get(self.at..).unwrap_or_default();
        let length = match rest {
            [b'\r', b'\n', ..] => 2,
            [b'\r' | b'\n', ..] => 1,
            [_, ..] => {
                self.at += 1;
                return false;
            }
            [] => 0,
        };
        self.at += length;
        self.line = self.line.saturating_add(1);
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::schema::camera;

    fn table(text: &[u8]) -> Table {
        read(Arc::from("camera.csv"), text.to_vec(), &camera::TABLE).unwrap()
    }

    fn cells(table: &Table) -> Vec<(u32, Vec<&str>)> {
        (0..table.height())
            .map(|row| {
                (
                    table.line(row),
                    (0..table.width(row)).map(|c| table.raw(row, c)).collect(),
                )
            })
            .collect()
    }

    #[test]
    fn quotes_lines_blank_rows_and_endings() {
        let table = table(b"\xef\xbb\xbfrun,counter,what\r\n\r\nA,1,\"two\nlines, \"\"quoted\"\"\"\r\n,,\nA,12'6\",x\rA,,\"a\"b");
        assert_eq!(
            cells(&table),
            [
                (1, vec!["run", "counter", "what"]),
                (3, vec!["A", "1", "two\nlines, \"quoted\""]),
                (6, vec!["A", "12'6\"", "x"]),
                (7, vec!["A", "", "ab"]),
            ]
        );
    }

    #[test]
    fn separators() {
        for (text, comma) in [
            ("run;counter;what\nA;1,5;x, y\n", true),
            ("run\tcounter\twhat\nA\t1,5\tx, y\n", true),
            ("run,counter,what\nA,\"1,5\",\"x, y\"\n", false),
            ("sep=;\nrun;counter;what\nA;1,5;x, y\n", true),
        ] {
            let table = table(text.as_bytes());
            assert_eq!(table.raw(1, 1), "1,5", "{text}");
            assert_eq!(table.decimal_comma, comma, "{text}");
        }
        assert_eq!(table(b"sep=;\nrun;counter;what\nA;1;x\n").line(1), 3);
    }

    #[test]
    fn what_parts_points() {
        for (text, parts) in [
            ("A1,541300.5,1443600.25,stake; blue\nA2,1,2,\n", ','),
            ("A1;541300,5;1443600,25;stake, blue\n", ';'),
            ("# a; b; c; d\nA1\t5\t6\tx, y, z, w\n", '\t'),
            ("A1 5 6 x\n", ','),
        ] {
            assert_eq!(part(text, 4), parts, "{text}");
        }
    }

    #[test]
    fn an_unclosed_quote_costs_its_row_only() {
        let table = table(b"run,counter,what\nA,1,\"x\nA,2,y\nA,3,z\n");
        assert_eq!(table.height(), 4);
        assert!(table.spoilt(2).is_some());
        assert!(table.spoilt(3).is_none());
    }

    #[test]
    fn encodings() {
        let table = table(b"run,counter,what\nA,1,Stra\xdfe \x80\n");
        assert_eq!(table.raw(1, 2), "Straße €");
        assert!(table.notes[0].contains("line 2"));
        let utf16: Vec<u8> = "\u{feff}run\tcounter\twhat\nA\t1\tü\n"
            .encode_utf16()
            .flat_map(u16::to_le_bytes)
            .collect();
        assert_eq!(
            super::read(Arc::from("camera.csv"), utf16, &camera::TABLE)
                .unwrap()
                .raw(1, 2),
            "ü"
        );
        assert!(read(Arc::from("camera.csv"), b"a\0b".to_vec(), &camera::TABLE).is_err());
    }

    #[test]
    fn caps() {
        let wide = table(",".repeat(5000).as_bytes());
        assert!(wide.broken().next().is_some() || wide.spoilt(1).is_some());
        let long = table(format!("run,counter,what\nA,1,{}\n", "x".repeat(40_000)).as_bytes());
        assert!(long.spoilt(2).unwrap().contains("40000"));
    }
}
