//! The tables of a job as data: every column with its form, its meaning and an example.
//!
//! Reading, `aslaid new`, the JSON Schema and the advice on misspelt columns are all driven from here: a further
//! column is one line, a further cell form one variant of [`Form`].

use super::table::{normal, numbered};

mod form;
mod json;
mod settings;
mod tables;

pub(super) use form::{Cell, Form, Sign, Typing, baseline, clock, id, name, yes_no};
pub use json::schema;
pub(super) use settings::{equipment, grid, head, layers, points, publish, run, sections};
pub(super) use tables::{camera, control, levels, marks, measures, pushes, runs};

/// One column of a table, or one key of `job.toml`.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    /// Its name in the files.
    pub name: &'static str,
    /// How its cells are read.
    pub form: Form,
    /// The table can't do without it.
    pub required: bool,
    /// What it is, in plain words.
    pub meaning: &'static str,
    /// An example cell, empty if the example row leaves it out.
    pub example: &'static str,
}

/// A table, or a section of `job.toml`.
#[derive(Clone, Copy, Debug)]
pub struct TableSpec {
    /// Sheet name; the file is this with `.csv`.
    pub name: &'static str,
    /// What the table holds, in one sentence.
    pub meaning: &'static str,
    /// Columns.
    pub columns: &'static [Column],
    /// Columns that come numbered, with `N` for the number; they follow `columns` in index.
    pub numbered: &'static [Column],
    /// The column that a row can't do without; a row that lacks it may be a line of totals.
    pub key: usize,
}

impl TableSpec {
    /// Index of the column of this name.
    pub(super) fn position(&self, name: &str) -> Option<usize> {
        self.columns.iter().position(|column| column.name == name)
    }
}

/// The tables of a job, in the order in which they are read.
pub(super) static TABLES: [&TableSpec; 7] = [
    &runs::TABLE,
    &pushes::TABLE,
    &control::TABLE,
    &marks::TABLE,
    &measures::TABLE,
    &camera::TABLE,
    &levels::TABLE,
];

/// The table that a row's place (`marks.csv:14`, `book.xlsx!marks:14`) lies in.
#[must_use]
pub fn table_of(source: &str) -> Option<&'static str> {
    let file = source.rsplit_once(':').map_or(source, |(file, _)| file);
    let name = match file.rsplit_once('!') {
        Some((_, sheet)) => normal(sheet).name,
        None => file.to_lowercase().strip_suffix(".csv")?.to_owned(),
    };
    let mut all = TABLES.iter().map(|spec| spec.name);
    all.find(|table| *table == name)
}

/// Whether a table has a column of this name. All others are the job's own, and nobody else's business.
#[must_use]
pub fn is_column(table: &str, column: &str) -> bool {
    let mut all = TABLES.iter().filter(|spec| spec.name == table);
    all.any(|spec| spec.position(column).is_some() || numbered(column, spec).is_some())
}

/// Declares a table: a constant for each column's index, and the table as data.
macro_rules! table {
    ($name:literal, $meaning:literal, key $key:ident, numbered $numbered:expr;
     $($id:ident $column:literal $form:expr, $need:ident, $about:literal, $example:literal;)*) => {
        #[allow(non_camel_case_types, clippy::upper_case_acronyms, dead_code, reason = "only numbers the constants below")]
        enum Index { $($id),* }
        $(#[doc = $about] #[allow(dead_code, reason = "`use` is found by its name in every table")] pub const $id: usize = Index::$id as usize;)*
        #[doc = $meaning]
        pub static TABLE: crate::job::schema::TableSpec = crate::job::schema::TableSpec {
            name: $name,
            meaning: $meaning,
            columns: &[$(crate::job::schema::Column {
                name: $column, form: $form, required: crate::job::schema::table!(@$need), meaning: $about, example: $example,
            },)*],
            numbered: $numbered,
            key: $key,
        };
    };
    (@required) => { true };
    (@optional) => { false };
}
pub(super) use table;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_unique_and_examples_are_of_their_form() {
        for spec in TABLES.iter().copied().chain(sections()) {
            for (at, column) in spec.columns.iter().enumerate() {
                assert_eq!(
                    spec.position(column.name),
                    Some(at),
                    "{}.{}",
                    spec.name,
                    column.name
                );
                assert!(!column.meaning.is_empty(), "{}.{}", spec.name, column.name);
                if !column.example.is_empty() {
                    let cell = Cell {
                        text: column.example,
                        kind: crate::job::table::Kind::Text,
                    };
                    let read = column
                        .form
                        .check(cell, &Typing::plain(crate::units::LengthUnit::Foot));
                    assert!(read.is_ok(), "{}.{}: {read:?}", spec.name, column.name);
                }
            }
        }
    }
}
