//! Sigmas and limits in force.

use super::{Column, Row, Table, figures, words};
use crate::record::AsBuilt;
use crate::record::model::Setting;
use crate::sheet::content::figures as f;

fn columns() -> Vec<Column> {
    vec![
        words("Name"),
        figures("Value"),
        words("Unit"),
        words("Set by"),
        words("Source of the default"),
    ]
}

fn rows(settings: &[Setting]) -> Vec<Row> {
    let row = |s: &Setting| {
        Row::new(vec![
            s.name.clone(),
            s.value.map_or_else(|| "none".to_owned(), f::plain),
            if s.unit == "1" {
                f::UNKNOWN.to_owned()
            } else {
                s.unit.clone()
            },
            if s.given { "the job" } else { "default" }.to_owned(),
            s.source.clone(),
        ])
    };
    settings.iter().map(row).collect()
}

pub fn sigmas(record: &AsBuilt) -> Option<Table> {
    let table = Table::new(
        "sigmas",
        "One-sigmas in force",
        columns(),
        rows(&record.sigmas),
    )?;
    Some(table.page_only().folded())
}

pub fn limits(record: &AsBuilt) -> Option<Table> {
    let table = Table::new("limits", "Limits in force", columns(), rows(&record.limits))?;
    Some(table.page_only().folded())
}
