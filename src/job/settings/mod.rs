//! The settings of a job, whether `job.toml` or a workbook's `job` sheet gives them.

mod sheet;
mod values;
mod written;

use std::sync::Arc;

pub use sheet::read as read_sheet;
pub use values::{CrsUnit, Settings, crs_name, read};
pub use written::read as read_toml;

use super::schema::{TableSpec, run, sections};
use super::table::{Kind, Sheet, Table, lay_out};
use crate::findings::Finding;

/// One key as written.
#[derive(Clone, Debug)]
pub struct Entry {
    /// Key.
    pub key: String,
    /// Value as text.
    pub text: String,
    /// What it is.
    pub kind: Kind,
    /// Line or spreadsheet row.
    pub line: u32,
}

/// The entries of one section; `run` may come several times.
#[derive(Clone, Debug)]
pub struct Section {
    /// Name.
    pub name: String,
    /// Line of its first word.
    pub line: u32,
    /// Entries.
    pub entries: Vec<Entry>,
}

/// The section's specification, if there is such a section.
pub fn spec(name: &str) -> Option<&'static TableSpec> {
    if name == "run" {
        Some(&run::TABLE)
    } else {
        sections().into_iter().find(|spec| spec.name == name)
    }
}

/// Sections as sheets: the keys as headings, so that settings are read like every other table.
pub fn to_sheets(
    file: &Arc<str>,
    sections: &[Section],
    counted: bool,
) -> (Vec<Sheet>, Vec<Finding>) {
    let mut sheets: Vec<Sheet> = Vec::new();
    let mut findings = Vec::new();
    let mut names: Vec<&str> = Vec::new();
    for section in sections {
        if !names.contains(&section.name.as_str()) {
            names.push(&section.name);
        }
    }
    for name in names {
        let Some(spec) = spec(name) else { continue };
        let of: Vec<&Section> = sections
            .iter()
            .filter(|section| section.name == name)
            .collect();
        let table = to_table(file, &of);
        let (layout, found) = lay_out(&table, spec, true);
        findings.extend(found);
        sheets.push(Sheet {
            spec,
            table,
            layout,
            counted,
            settings: true,
        });
    }
    (sheets, findings)
}

fn to_table(file: &Arc<str>, sections: &[&Section]) -> Table {
    let mut table = Table::new(Arc::clone(file));
    table.decimal_comma = true; // no separator is in the way of one
    let mut keys: Vec<(&str, u32)> = Vec::new();
    for entry in sections.iter().flat_map(|section| &section.entries) {
        if !keys.iter().any(|(key, _)| *key == entry.key) {
            keys.push((&entry.key, entry.line));
        }
    }
    for (key, line) in &keys {
        table.push_line(key, Kind::Text, *line);
    }
    table.end_row(sections.first().map_or(0, |section| section.line));
    for section in sections {
        for (key, _) in &keys {
            match section.entries.iter().find(|entry| entry.key == *key) {
                Some(entry) => table.push_line(&entry.text, entry.kind, entry.line),
                None => table.push_line("", Kind::Text, 0),
            }
        }
        table.end_row(section.line);
    }
    table
}
