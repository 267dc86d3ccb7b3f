//! `findings.csv`, `findings.json`: what the checks say. They are always written, also where there is no record.

use std::io::{self, Write};

use serde::Serialize;

use super::table::{self, Item, Row, Table};
use super::{csv, draft};
use crate::findings::Finding;
use crate::record::model::Draft;

/// The table.
pub const CSV: &str = "findings.csv";
/// The same as a JSON array.
pub const JSON: &str = "findings.json";

/// Writes the table.
pub fn write_csv(
    findings: &[Finding],
    draft: Option<&Draft>,
    out: &mut dyn Write,
) -> io::Result<()> {
    let Some(table) = declared(draft) else {
        return Ok(());
    };
    csv::write_table(&table, rows(findings), out)
}

fn rows(findings: &[Finding]) -> impl Iterator<Item = Row<'_>> {
    findings.iter().map(|finding| Row {
        record: None,
        item: Item::Finding(finding),
    })
}

fn declared(draft: Option<&Draft>) -> Option<Table> {
    let mut table = table::declared()
        .into_iter()
        .find(|table| table.name == "findings")?;
    table.columns.extend(draft::column(draft));
    Some(table)
}

/// A finding as JSON has it; in a draft each says so.
#[derive(Serialize)]
struct Entry<'a> {
    #[serde(flatten)]
    finding: &'a Finding,
    #[serde(skip_serializing_if = "Option::is_none")]
    draft: Option<&'a str>,
}

/// Appends rows of the table.
pub(super) fn append_csv(findings: &[Finding], out: &mut Vec<u8>) {
    let Some(table) = declared(None) else {
        return;
    };
    csv::append_rows(&table, rows(findings), out);
}

/// Appends entries of the array, each after a comma.
pub(super) fn append_json(findings: &[Finding], out: &mut Vec<u8>) -> io::Result<()> {
    let entries: Vec<Entry<'_>> = findings
        .iter()
        .map(|finding| Entry {
            finding,
            draft: None,
        })
        .collect();
    let mut array = Vec::new();
    serde_json::to_writer_pretty(&mut array, &entries)?;
    out.push(b',');
    out.extend_from_slice(array.get(1..array.len() - 2).unwrap_or_default());
    Ok(())
}

/// Writes the array.
pub fn write_json(
    findings: &[Finding],
    draft: Option<&Draft>,
    out: &mut dyn Write,
) -> io::Result<()> {
    let words = draft.map(Draft::words);
    let entries = findings.iter().map(|finding| Entry {
        finding,
        draft: words.as_deref(),
    });
    serde_json::to_writer_pretty(&mut *out, &entries.collect::<Vec<_>>())?;
    out.write_all(b"\n")
}
