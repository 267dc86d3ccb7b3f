//! A raw table: the cells of a file or a sheet as typed, compact, with the line of every row.
//!
//! One text buffer and the end of every cell in it; no allocation a cell. A million rows of ten columns cost their
//! text and four bytes a cell.

mod csv;
mod heading;
mod layout;
mod merged;
mod shown;
mod workbook;

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

pub(crate) use csv::read_headed;
pub(super) use csv::{decode, plain, read as read_csv, read_points, read_rows};
pub(super) use heading::numbered;
pub(crate) use heading::{near, normal};
pub(super) use layout::{Heading, Layout, lay_out};
pub(super) use workbook::read as read_workbook;

use super::caps;
use super::model::Source;
use super::schema::TableSpec;

/// What a workbook says that a cell holds; everything in a text file is text.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Kind {
    /// Text.
    #[default]
    Text,
    /// A number, as the shortest text that reads back as the same.
    Number,
    /// A date or time, as ISO 8601.
    Date,
    /// `yes` or `no`.
    Bool,
    /// A spreadsheet's error value.
    Error,
}

#[derive(Clone, Copy, Debug)]
struct RowSpan {
    /// Index of its first cell.
    first: u32,
    /// Line in the file, from 1.
    line: u32,
}

/// The cells of one table, blank rows left out.
#[derive(Clone, Debug)]
pub struct Table {
    /// File or sheet, as the user knows it.
    pub file: Arc<str>,
    /// A comma in a number is a decimal comma.
    pub decimal_comma: bool,
    /// Cells are parted by a separator, so that one too many of them shifts the rest.
    pub(super) delimited: bool,
    text: String,
    ends: Vec<u32>,
    /// Empty where everything is text.
    kinds: Vec<Kind>,
    /// Line of each cell, where cells of one row come from several lines.
    lines: Vec<u32>,
    rows: Vec<RowSpan>,
    /// First cell of the row being built.
    open: usize,
    /// Rows that can't be taken as they stand: line and reason.
    bad: Vec<(u32, String)>,
    /// By line the first of them: every row may be bad, so they are not searched.
    first_bad: HashMap<u32, usize>,
    /// Remarks: encoding, separator.
    pub(super) notes: Vec<String>,
}

impl Table {
    /// An empty table.
    pub(super) fn new(file: Arc<str>) -> Self {
        Self {
            file,
            decimal_comma: false,
            delimited: false,
            text: String::new(),
            ends: Vec::new(),
            kinds: Vec::new(),
            lines: Vec::new(),
            rows: Vec::new(),
            open: 0,
            bad: Vec::new(),
            first_bad: HashMap::new(),
            notes: Vec::new(),
        }
    }

    /// Number of rows, the heading and titles included.
    #[must_use]
    pub fn height(&self) -> usize {
        self.rows.len()
    }

    /// Number of cells of a row, blank ones included.
    #[must_use]
    pub fn width(&self, row: usize) -> usize {
        let first = self.rows.get(row).map_or(0, |span| span.first as usize);
        let next = self
            .rows
            .get(row + 1)
            .map_or(self.ends.len(), |span| span.first as usize);
        next.saturating_sub(first)
    }

    /// The cell's text as typed; empty outside the row.
    #[must_use]
    pub fn raw(&self, row: usize, column: usize) -> &str {
        let Some(cell) = self.index(row, column) else {
            return "";
        };
        let start = cell
            .checked_sub(1)
            .and_then(|before| self.ends.get(before))
            .map_or(0, |end| *end as usize);
        let end = self.ends.get(cell).map_or(0, |end| *end as usize);
        self.text.get(start..end).unwrap_or_default()
    }

    /// The cell's text without blanks at its ends.
    #[must_use]
    pub fn cell(&self, row: usize, column: usize) -> &str {
        trim(self.raw(row, column))
    }

    /// What the cell holds.
    #[must_use]
    pub fn kind(&self, row: usize, column: usize) -> Kind {
        if self.kinds.is_empty() {
            return Kind::Text;
        }
        self.index(row, column)
            .and_then(|cell| self.kinds.get(cell))
            .copied()
            .unwrap_or_default()
    }

    /// Line of the row in its file, from 1.
    #[must_use]
    pub fn line(&self, row: usize) -> u32 {
        self.rows.get(row).map_or(0, |span| span.line)
    }

    /// Line of the cell: the row's, but for settings.
    pub(super) fn cell_line(&self, row: usize, column: usize) -> u32 {
        let own = self
            .index(row, column)
            .and_then(|cell| self.lines.get(cell))
            .copied();
        own.filter(|line| *line > 0)
            .unwrap_or_else(|| self.line(row))
    }

    /// Where the row is.
    #[must_use]
    pub fn source(&self, row: usize) -> Source {
        Source {
            file: Arc::clone(&self.file),
            row: self.line(row),
        }
    }

    /// The filled cells of a row: column and text.
    pub fn filled(&self, row: usize) -> impl Iterator<Item = (usize, &str)> {
        (0..self.width(row))
            .map(move |column| (column, self.cell(row, column)))
            .filter(|(_, text)| !text.is_empty())
    }

    fn index(&self, row: usize, column: usize) -> Option<usize> {
        (column < self.width(row))
            .then(|| self.rows.get(row).map(|span| span.first as usize + column))?
    }

    /// Adds a cell to the row being built; false if the table is full.
    pub(super) fn push(&mut self, text: &str) -> bool {
        self.text.push_str(text);
        match u32::try_from(self.text.len()) {
            Ok(end) if self.ends.len() < caps::CELLS => {
                self.ends.push(end);
                true
            }
            _ => false,
        }
    }

    /// Adds a cell with its kind.
    pub(super) fn push_kind(&mut self, text: &str, kind: Kind) -> bool {
        if kind != Kind::Text || !self.kinds.is_empty() {
            self.kinds.resize(self.ends.len(), Kind::Text);
            self.kinds.push(kind);
        }
        self.push(text)
    }

    /// Adds a cell with its kind and its own line.
    pub(super) fn push_line(&mut self, text: &str, kind: Kind, line: u32) {
        self.lines.resize(self.ends.len(), 0);
        self.lines.push(line);
        self.push_kind(text, kind);
    }

    /// Closes the row being built; a blank one is dropped.
    pub(super) fn end_row(&mut self, line: u32) {
        let first = self.open;
        let start = first
            .checked_sub(1)
            .and_then(|before| self.ends.get(before))
            .map_or(0, |end| *end as usize);
        if trim(self.text.get(start..).unwrap_or_default()).is_empty() {
            self.text.truncate(start);
            self.ends.truncate(first);
            self.kinds.truncate(first);
            self.lines.truncate(first);
            return;
        }
        self.rows.push(RowSpan {
            first: u32::try_from(first).unwrap_or(u32::MAX),
            line,
        });
        self.open = self.ends.len();
    }

    /// Says that a row can't be taken as it stands.
    pub(super) fn spoil(&mut self, line: u32, why: String) {
        self.first_bad.entry(line).or_insert(self.bad.len());
        self.bad.push((line, why));
    }

    /// Why a row can't be taken as it stands.
    pub(crate) fn spoilt(&self, line: u32) -> Option<&str> {
        let first = self.bad.get(*self.first_bad.get(&line)?);
        first.map(|(_, why)| why.as_str())
    }

    /// Reasons that concern no row that is in the table.
    pub(crate) fn broken(&self) -> impl Iterator<Item = &(u32, String)> {
        let lines: HashSet<u32> = if self.bad.is_empty() {
            HashSet::new()
        } else {
            self.rows.iter().map(|span| span.line).collect()
        };
        self.bad
            .iter()
            .filter(move |(line, _)| !lines.contains(line))
    }
}

/// Takes blanks of every kind and byte-order marks off both ends.
pub(super) fn trim(text: &str) -> &str {
    if let [first, .., last] | [first @ last] = text.as_bytes()
        && first.is_ascii_graphic()
        && last.is_ascii_graphic()
    {
        return text;
    }
    text.trim_matches(|letter: char| {
        letter.is_whitespace() || matches!(letter, '\u{feff}' | '\u{200b}')
    })
}

/// A table with its meaning: which column is where.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// What the table holds.
    pub(super) spec: &'static TableSpec,
    /// The cells.
    pub(super) table: Table,
    /// Which column is where.
    pub(super) layout: Layout,
    /// Its cells take part in the count of cells.
    pub(super) counted: bool,
    /// It is a section of settings: no titles, comments or totals.
    pub(super) settings: bool,
}

/// Every table of a job, as typed: for the workbook of corrections.
#[derive(Clone, Debug, Default)]
pub struct Tables {
    /// Sections of `job.toml` or of the `job` sheet, then the tables.
    pub(super) sheets: Vec<Sheet>,
}

impl Tables {
    /// Rows of all tables, headings and titles included.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.sheets.iter().map(|sheet| sheet.table.height()).sum()
    }

    /// Columns that are none of ours, and were not named in a finding: `file: names`, by table.
    pub(super) fn kept(&self, published: &[String]) -> Vec<String> {
        let tables = self.sheets.iter().filter(|sheet| !sheet.settings);
        tables.filter_map(|sheet| sheet.kept(published)).collect()
    }
}

impl Sheet {
    /// Whether a column of marks is one that the job publishes.
    fn publishes(&self, place: usize, published: &[String]) -> bool {
        let name = self.layout.names.get(place);
        self.spec.name == "marks"
            && name.is_some_and(|name| published.iter().any(|of| **of == **name))
    }

    fn kept(&self, published: &[String]) -> Option<String> {
        let heading = self.layout.heading?;
        let (headings, named) = (&self.layout.headings, &self.layout.named);
        let other = |place: &usize| {
            headings.get(*place) == Some(&Heading::Other)
                && !named.get(*place).copied().unwrap_or(false)
                && !self.publishes(*place, published)
        };
        let names: Vec<&str> = (0..headings.len())
            .filter(other)
            .map(|place| self.table.cell(heading, place))
            .collect();
        (!names.is_empty()).then(|| format!("{}: {}", self.table.file, names.join(", ")))
    }
}
