//! A field file: the names, types, units and values that somebody else's schema wants, for every table-shaped format.
//!
//! TOML. Each table of the record (`run`, `mark`, `camera`, `reference`,
//! `crossing`, `profile`, `ties`) can have a section, which
//! lists its columns in the order wanted; a table without a section stays as it is. Columns that a section does not list
//! are left out, unless it says `others = "keep"`.
//!
//! ```toml
//! [run]
//! others = "drop"
//! [[run.column]]
//! from = "material"                # a column of ours
//! name = "MATERIAL"                # `from`'s name if left out
//! type = "integer"                 # text, integer or number; `from`'s type if left out
//! values = { PVC = 3, clay = 7 }   # by the value as text
//! otherwise = 99                   # what isn't in `values`; without it such a value is refused
//! [[run.column]]
//! from = "length"
//! name = "LENGTH_FT"
//! unit = "us-ft"                   # m, ft or us-ft: lengths and coordinates
//! decimals = 2
//! [[run.column]]
//! name = "OWNER"
//! value = "City of Example"        # the same in every row
//! ```
//!
//! A value that isn't known stays unknown, whatever `values` and `otherwise` say.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::table::{Column, Table};
use super::value::Kind;
use crate::error::{Error, MOST_SAID, read_text};
use crate::record::AsBuilt;
use crate::units::LengthUnit;

mod apply;
mod convert;
mod file;

pub use convert::Conversion;
pub use file::schema;

/// A field file, read and checked by itself; [`Fields::apply`] holds it against a record.
#[derive(Clone, Debug)]
pub struct Fields {
    path: PathBuf,
    sections: BTreeMap<String, Section>,
}

#[derive(Clone, Debug)]
struct Section {
    keep_others: bool,
    columns: Vec<Wanted>,
}

/// A column as the file wants it.
#[derive(Clone, Debug)]
struct Wanted {
    /// Line of the file, from 1.
    line: usize,
    name: String,
    from: Option<String>,
    fixed: Option<Constant>,
    kind: Option<Kind>,
    unit: Option<LengthUnit>,
    decimals: Option<u8>,
    values: BTreeMap<String, Constant>,
    otherwise: Option<Constant>,
}

/// A value that the file itself gives.
#[derive(Clone, Debug, PartialEq)]
enum Constant {
    Text(String),
    Integer(i64),
    Real(f64),
}

impl Constant {
    const fn kind(&self) -> Kind {
        match self {
            Self::Text(_) => Kind::Text,
            Self::Integer(_) => Kind::Integer,
            Self::Real(_) => Kind::Real,
        }
    }

    /// As a value of a type; a text or a fraction is no integer.
    fn as_kind(&self, kind: Kind) -> Option<Self> {
        Some(match (self, kind) {
            (Self::Integer(value), Kind::Real) => Self::Real(*value as f64),
            (Self::Integer(value), Kind::Text) => Self::Text(value.to_string()),
            (Self::Real(value), Kind::Text) => Self::Text(value.to_string()),
            (same, kind) if same.kind() == kind => same.clone(),
            _ => return None,
        })
    }
}

impl Fields {
    /// Reads a field file.
    ///
    /// # Errors
    /// [`Error::Read`] with the line that is wrong, and what to write.
    pub fn read(path: &Path) -> Result<Self, Error> {
        let text = read_text(path, MOST_SAID).map_err(|why| Error::Read {
            path: path.to_owned(),
            why: format!("the field file can't be read: {why}"),
        })?;
        Self::parse(path, &text)
    }

    /// Reads the text of a field file; `path` is for messages.
    ///
    /// # Errors
    /// As [`Fields::read`].
    pub fn parse(path: &Path, text: &str) -> Result<Self, Error> {
        let sections = file::parse(text).map_err(|problem| problem.error(path))?;
        Ok(Self {
            path: path.to_owned(),
            sections,
        })
    }

    /// The tables with the columns that the file wants.
    ///
    /// # Errors
    /// [`Error::Read`] with the line, where the file names a column that there isn't, or a value of the record has no
    /// place in it.
    pub fn apply(&self, tables: Vec<Table>, record: &AsBuilt) -> Result<Vec<Table>, Error> {
        apply::apply(self, tables, record).map_err(|problem| problem.error(&self.path))
    }
}

/// What is wrong, and on which line.
#[derive(Debug)]
struct Problem {
    line: usize,
    why: String,
}

impl Problem {
    fn new(line: usize, why: impl Into<String>) -> Self {
        Self {
            line,
            why: why.into(),
        }
    }

    fn error(self, path: &Path) -> Error {
        Error::Read {
            path: path.to_owned(),
            why: format!("line {}: {}", self.line, self.why),
        }
    }
}

/// Names of the columns of a table, for messages.
fn names(columns: &[Column]) -> String {
    let names: Vec<&str> = columns.iter().map(|column| column.name.as_str()).collect();
    names.join(", ")
}

#[cfg(test)]
mod tests;
