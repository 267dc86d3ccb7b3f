//! Rows of a table while they are read: every cell ends up used, kept, or named in a finding.

mod cells;
mod numbered;
mod verdict;
mod walk;

pub use cells::Row;
pub use walk::rows;
pub(super) use walk::{aside, is_total};

use super::model::{CellCount, LeftOut, Note};
use crate::findings::Finding;

/// What reading has to say besides the job itself.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// Findings, in the order of the files.
    pub findings: Vec<Finding>,
    /// Remarks.
    pub notes: Vec<Note>,
    /// Rows that take no part.
    pub left_out: Vec<LeftOut>,
    /// What became of every filled cell.
    pub cells: CellCount,
    /// Rows that can't be used.
    pub dropped: usize,
}

/// The text in quotation marks, shortened.
pub fn quoted(text: &str) -> String {
    match text.char_indices().nth(60) {
        Some((at, _)) => format!("{:?}\u{2026}", text.get(..at).unwrap_or_default()),
        None => format!("{text:?}"),
    }
}
