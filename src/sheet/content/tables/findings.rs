//! What the checks say, most serious first.

use super::{Names, Row, Table, words};
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
    let rows = record.findings.iter();
    let rows = rows
        .map(|finding| {
            let place = [
                finding.run.as_ref().map(|r| format!("run {r}")),
                finding.mark.clone(),
            ];
            let place: Vec<String> = place.into_iter().flatten().collect();
            Row::new(vec![
                finding.level.word().to_owned(),
                finding.code.word().to_owned(),
                f::text(Some(&place.join(", "))),
                finding.message.clone(),
                f::text(finding.source.as_deref()),
            ])
            .about(finding.mark.as_deref().and_then(|m| names.feature(m)))
        })
        .collect();
    Table::new("findings", "Findings", columns, rows)
}
