//! Check shots and exposures: the difference found against the bound stated.

use super::{Names, Row, Table, figures, words};
use crate::record::AsBuilt;
use crate::sheet::content::figures as f;

pub fn table(record: &AsBuilt) -> Option<Table> {
    let columns = vec![
        words("Point"),
        words("What"),
        figures("Difference found"),
        figures("Stated bound"),
        words("Verdict"),
        words("By"),
        words("Row"),
    ];
    let names = Names::of(record);
    let rows = record.checks.iter();
    let rows = rows
        .map(|c| {
            Row::new(vec![
                c.point.clone(),
                c.what.clone(),
                f::fixed(c.difference, 2),
                f::fixed(c.bound, 2),
                if c.inside { "inside" } else { "outside" }.to_owned(),
                c.from.clone(),
                c.source.clone(),
            ])
            .about(names.feature(&c.point))
        })
        .collect();
    let note = format!(
        "Kept out of the computation and compared with its result; lengths in {}.",
        record.frame.unit
    );
    Some(Table::new("checks", "Check shots and exposures", columns, rows)?.noted(note))
}
