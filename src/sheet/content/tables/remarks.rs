//! Advice, notes, rows left out, input files.

use super::{Names, Row, Table, figures, words};
use crate::record::AsBuilt;
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

pub fn left_out(record: &AsBuilt) -> Option<Table> {
    let columns = vec![words("Row"), words("Why"), words("Its cells")];
    let row = |l: &crate::record::model::LeftOut| {
        let cells: Vec<String> = l.cells.iter().map(|(k, v)| format!("{k} = {v}")).collect();
        Row::new(vec![l.source.clone(), l.reason.clone(), cells.join("; ")])
    };
    let table = Table::new(
        "left-out",
        "Rows that took no part",
        columns,
        record.left_out.iter().map(row).collect(),
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
