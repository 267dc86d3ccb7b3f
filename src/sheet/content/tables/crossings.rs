//! What site plans show across or near the runs.

use super::{Row, Table, figures, words};
use crate::record::AsBuilt;
use crate::record::model::{Crossing, Requirement};
use crate::sheet::content::figures as f;
use crate::sheet::draw::Feature;
use crate::sheet::draw::plan::{short_name, what};

pub fn table(record: &AsBuilt) -> Option<Table> {
    let columns = vec![
        words("No."),
        words("Run"),
        words("How"),
        words("What the plan shows"),
        figures("Station"),
        figures("Easting"),
        figures("Northing"),
        figures("Clearance in plan"),
        figures("± clearance"),
        figures("Top of pipe"),
        figures("Least top"),
        words("Passes"),
        figures("Clearance in height"),
        figures("± height"),
        words("Separation asked for"),
        words("Layer"),
        words("Row").page_only(),
    ];
    let rows = record.crossings.iter().enumerate();
    let rows = rows.map(|(i, c)| row(record, i, c)).collect();
    let note = "From the site plans named under \u{201c}Site plans\u{201d}: what they don't show is not here. Clearances are between outsides \
                where the widths are known; a negative one in height means that the two would overlap.";
    Some(Table::new("crossings", "Crossings and lines near by", columns, rows)?.noted(note))
}

fn row(record: &AsBuilt, i: usize, c: &Crossing) -> Row {
    Row::new(vec![
        short_name(&c.id).to_owned(),
        c.run.clone(),
        c.meeting.word().to_owned(),
        what(c),
        f::station(Some(c.station), record.frame.unit),
        f::fixed(c.easting, 2),
        f::fixed(c.northing, 2),
        f::fixed(c.clearance, 2),
        f::length(c.clearance_95),
        f::length(c.cover),
        f::least(c.cover_least),
        f::text(c.passes.as_deref()),
        f::length(c.vertical_clearance),
        f::length(c.vertical_clearance_95),
        f::text(asked(c.requirement.as_ref()).as_deref()),
        c.layer.clone(),
        c.source.clone(),
    ])
    .about(Some(Feature::Crossing(i)))
}

/// `vertical 0.46: not met (water utility's standard 4.2)`.
#[must_use]
pub fn asked(requirement: Option<&Requirement>) -> Option<String> {
    let r = requirement?;
    let from = r.source.as_ref().map(|s| format!(" ({s})"));
    Some(format!(
        "{} {}: {}{}",
        r.direction.word(),
        f::fixed(r.required, 2),
        r.verdict.word(),
        from.unwrap_or_default()
    ))
}

/// The plans that were laid under the job.
pub fn plans(record: &AsBuilt) -> Option<Table> {
    let columns = vec![
        words("File"),
        words("Layer"),
        words("Taken for"),
        words("That is"),
        words("Used"),
        figures("Features"),
        words("Placed"),
    ];
    let rows = record.plans.iter().map(|layer| {
        Row::new(vec![
            layer.file.clone(),
            layer.layer.clone(),
            layer.role.clone(),
            layer.role_from.clone(),
            if layer.used { "yes" } else { "no" }.to_owned(),
            layer.features.to_string(),
            layer.placed.clone(),
        ])
    });
    Some(Table::new("plans", "Site plans", columns, rows.collect())?.folded())
}
