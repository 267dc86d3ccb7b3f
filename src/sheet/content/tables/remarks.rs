//! Advice, notes, rows left out, input files.

use super::{Names, Row, Table, figures, words};
use crate::job::{is_column, table_of};
use crate::record::AsBuilt;
use crate::record::model::LeftOut;
use crate::sheet::content::figures as f;

pub fn advice(record: &AsBuilt) -> Option<Table> {
    let columns = vec![
        words("About"),
        words("What to measure, and what it would bring"),
    ];
    let names = Names::of(record);
    let rows = record.advice.iter();
    let rows = rows
        .map(|a| Row::new(vec![a.about.clone(), a.text.clone()]).about(names.feature(&a.about)))
        .collect();
    Table::new("advice", "What to measure next", columns, rows)
}

pub fn notes(record: &AsBuilt) -> Option<Table> {
    let columns = vec![words("Row"), words("Note")];
    let row = |n: &crate::record::model::Note| {
        Row::new(vec![f::text(n.source.as_deref()), n.text.clone()])
    };
    Table::new(
        "notes",
        "Notes",
        columns,
        record.notes.iter().map(row).collect(),
    )
}

/// Whether a cell of a row that took no part may leave the record: one in a column of ours, or in one that the job publishes.
fn may_leave(record: &AsBuilt, source: &str, column: &str) -> bool {
    let table = table_of(source);
    let ours = table.is_some_and(|table| is_column(table, column));
    ours || table == Some("marks") && record.publishes(column)
}

pub fn left_out(record: &AsBuilt) -> Option<Table> {
    let columns = vec![words("Row"), words("Why"), words("Its cells")];
    let row = |l: &LeftOut| {
        let shown = |column: &str| may_leave(record, &l.source, column);
        let cells = l.cells.iter().filter(|(column, _)| shown(column));
        let cells: Vec<String> = cells.map(|(k, v)| format!("{k} = {v}")).collect();
        let row = || Row::new(vec![l.source.clone(), l.reason.clone(), cells.join("; ")]);
        (!cells.is_empty()).then(row)
    };
    let table = Table::new(
        "left-out",
        "Rows that took no part",
        columns,
        record.left_out.iter().filter_map(row).collect(),
    )?;
    Some(table.page_only().folded())
}

pub fn inputs(record: &AsBuilt) -> Option<Table> {
    let columns = vec![words("File"), figures("Bytes"), words("SHA-256")];
    let row = |i: &crate::record::model::Input| {
        Row::new(vec![i.file.clone(), i.bytes.to_string(), i.sha256.clone()])
    };
    let table = Table::new(
        "inputs",
        "Input files",
        columns,
        record.inputs.iter().map(row).collect(),
    )?;
    let c = record.cells;
    let note = format!(
        "Filled cells: {} used, {} kept as attributes or notes, {} named in findings.",
        c.used, c.kept, c.named
    );
    Some(table.noted(note).page_only().folded())
}
