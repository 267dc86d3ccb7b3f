//! The tables, each in its own file; one line in [`ALL`] adds one.

mod camera;
mod checks;
mod crossings;
mod findings;
mod marks;
mod measurements;
mod references;
mod remarks;
mod runs;
mod settings;
mod ties;

pub use crossings::asked;
pub use ties::side;

use std::collections::BTreeMap;

use super::figures::UNKNOWN;
use crate::record::AsBuilt;
use crate::sheet::draw::Feature;

/// How a column stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// Words: from the left, wrapped.
    Words,
    /// Figures: to the right, on one line.
    Figures,
}

/// A column.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Its head, with the unit.
    pub head: String,
    /// Words or figures.
    pub align: Align,
    /// On paper too; otherwise on the page only.
    pub paper: bool,
}

/// A row.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// One cell a column.
    pub cells: Vec<String>,
    /// What it is about, for links.
    pub feature: Option<Feature>,
}

/// A table.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// Short name for anchors.
    pub key: &'static str,
    /// Title.
    pub title: String,
    /// What its columns mean, where that is not plain.
    pub note: Option<String>,
    /// Columns.
    pub columns: Vec<Column>,
    /// Rows.
    pub rows: Vec<Row>,
    /// On paper too; otherwise on the page only.
    pub paper: bool,
    /// Folded on the page until asked for.
    pub folded: bool,
}

/// Makes a table of a record; `None` if there is nothing for it.
pub type Make = fn(&AsBuilt) -> Option<Table>;

/// Every table, in the order of sheet and page.
pub const ALL: &[Make] = &[
    findings::table,
    runs::table,
    marks::table,
    marks::notes,
    ties::table,
    camera::table,
    crossings::table,
    crossings::plans,
    references::table,
    checks::table,
    remarks::advice,
    remarks::notes,
    measurements::table,
    settings::sigmas,
    settings::limits,
    remarks::left_out,
    remarks::inputs,
];

/// All tables that have something to say, each without the columns in which nothing is said.
#[must_use]
pub fn all(record: &AsBuilt) -> Vec<Table> {
    let tables = ALL.iter().filter_map(|make| make(record));
    tables.map(Table::without_empty).collect()
}

fn words(head: impl Into<String>) -> Column {
    Column {
        head: head.into(),
        align: Align::Words,
        paper: true,
    }
}

fn figures(head: impl Into<String>) -> Column {
    Column {
        head: head.into(),
        align: Align::Figures,
        paper: true,
    }
}

impl Column {
    fn page_only(mut self) -> Self {
        self.paper = false;
        self
    }
}

impl Table {
    fn new(
        key: &'static str,
        title: impl Into<String>,
        columns: Vec<Column>,
        rows: Vec<Row>,
    ) -> Option<Self> {
        let table = Self {
            key,
            title: title.into(),
            note: None,
            columns,
            rows,
            paper: true,
            folded: false,
        };
        (!table.rows.is_empty()).then_some(table)
    }

    fn noted(mut self, note: impl Into<String>) -> Self {
        self.note = Some(note.into());
        self
    }

    fn page_only(mut self) -> Self {
        self.paper = false;
        self
    }

    fn folded(mut self) -> Self {
        self.folded = true;
        self
    }

    /// The table as paper has it: without the columns of the page.
    #[must_use]
    pub fn for_paper(self) -> Self {
        let keep: Vec<bool> = self.columns.iter().map(|c| c.paper).collect();
        self.keeping(&keep)
    }

    /// The table without the columns in which nothing is said; the first, which says what a row is about, stays.
    fn without_empty(self) -> Self {
        let said = |i: usize| {
            let mut cells = self.rows.iter().filter_map(|row| row.cells.get(i));
            cells.any(|cell| !cell.is_empty() && cell != UNKNOWN)
        };
        let keep: Vec<bool> = (0..self.columns.len()).map(|i| i == 0 || said(i)).collect();
        self.keeping(&keep)
    }

    fn keeping(mut self, keep: &[bool]) -> Self {
        fn kept<T>(all: Vec<T>, keep: &[bool]) -> Vec<T> {
            let all = all.into_iter().zip(keep);
            all.filter(|(_, keep)| **keep).map(|(one, _)| one).collect()
        }
        for row in &mut self.rows {
            row.cells = kept(std::mem::take(&mut row.cells), keep);
        }
        self.columns = kept(self.columns, keep);
        self
    }
}

impl Row {
    fn new(cells: Vec<String>) -> Self {
        Self {
            cells,
            feature: None,
        }
    }

    fn about(mut self, feature: Option<Feature>) -> Self {
        self.feature = feature;
        self
    }
}

/// Marks by name, which is unique in a job.
struct Names<'a>(BTreeMap<&'a str, usize>);

impl<'a> Names<'a> {
    fn of(record: &'a AsBuilt) -> Self {
        Self(
            record
                .marks
                .iter()
                .enumerate()
                .map(|(i, m)| (m.mark.as_str(), i))
                .collect(),
        )
    }

    fn feature(&self, name: &str) -> Option<Feature> {
        self.0.get(name).copied().map(Feature::Mark)
    }
}
