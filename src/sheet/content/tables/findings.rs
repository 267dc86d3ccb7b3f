//! What the checks say, most serious first; what is said of several marks in the same words, once.

use super::{Names, Row, Table, words};
use crate::findings::{Finding, groups};
use crate::record::AsBuilt;
use crate::sheet::content::figures as f;

pub fn table(record: &AsBuilt) -> Option<Table> {
    let columns = vec![
        words("Level"),
        words("What"),
        words("Where"),
        words("Finding, and what to do"),
        words("Row"),
    ];
    let names = Names::of(record);
    let row = |group: &[&Finding]| {
        let (first, others) = group.split_first()?;
        let mut message = first.message.clone();
        if !others.is_empty() {
            message += &format!(" The same of {}.", groups::names(others).join(", "));
        }
        let cells = vec![
            first.level.word().to_owned(),
            first.code.word().to_owned(),
            f::text(Some(&groups::place(first))),
            message,
            f::text(first.source.as_deref()),
        ];
        let about = first.mark.as_deref().and_then(|m| names.feature(m));
        Some(Row::new(cells).about(about))
    };
    let groups = groups::same(&record.findings);
    let rows = groups.iter().filter_map(|group| row(group)).collect();
    Table::new("findings", "Findings", columns, rows)
}
