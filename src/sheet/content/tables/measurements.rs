//! Every measurement with its residual, on the page only.

use super::{Names, Row, Table, figures, words};
use crate::record::AsBuilt;
use crate::sheet::content::figures as f;

pub fn table(record: &AsBuilt) -> Option<Table> {
    let columns = vec![
        words("Kind"),
        words("Points"),
        figures("Measured"),
        figures("One-sigma"),
        figures("Residual"),
        figures("Standardised"),
        figures("Redundancy"),
        words("Row"),
    ];
    let names = Names::of(record);
    let rows = record.measurements.iter();
    let rows = rows
        .map(|m| {
            Row::new(vec![
                m.kind.clone(),
                m.points.join(", "),
                f::fixed(m.value, 4),
                f::fixed(m.sigma, 4),
                f::fixed(m.residual, 4),
                f::number(m.standardised, 2),
                f::fixed(m.redundancy, 2),
                m.source.clone(),
            ])
            .about(m.points.iter().find_map(|p| names.feature(p)))
        })
        .collect();
    let note = "Residual: adjusted less measured. Standardised: residual over its own one-sigma; beyond 3.29 it does not fit the \
                others. Redundancy: 0 nothing checks it, 1 all of it is checked.";
    Some(
        Table::new("measurements", "Every measurement", columns, rows)?
            .noted(note)
            .page_only()
            .folded(),
    )
}
