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

/// All tables that have something to say.
#[must_use]
pub fn all(record: &AsBuilt) -> Vec<Table> {
    ALL.iter().filter_map(|make| make(record)).collect()
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
    pub fn for_paper(mut self) -> Self {
        let keep: Vec<bool> = self.columns.iter().map(|c| c.paper).collect();
        let kept = |cells: Vec<String>| {
            cells
                .into_iter()
                .zip(&keep)
                .filter(|(_, keep)| **keep)
                .map(|(cell, _)| cell)
                .collect()
        };
        for row in &mut self.rows {
            row.cells = kept(std::mem::take(&mut row.cells));
        }
        self.columns.retain(|c| c.paper);
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
