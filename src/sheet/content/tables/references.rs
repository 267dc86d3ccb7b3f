//! Reference points.

use super::{Row, Table, figures, words};
use crate::record::AsBuilt;
use crate::sheet::content::figures as f;
use crate::sheet::draw::Feature;

pub fn table(record: &AsBuilt) -> Option<Table> {
    let columns = vec![
        words("Point"),
        words("Description"),
        figures("Easting"),
        figures("Northing"),
        figures("Elevation"),
        figures("a"),
        figures("b"),
        words("Known by"),
        words("Permanent"),
        words("Row").page_only(),
    ];
    let rows = record.references.iter().enumerate();
    let rows = rows
        .map(|(i, r)| {
            let bound = |v: Option<f64>| {
                if r.ellipse.is_none() && !r.solved {
                    "exact".to_owned()
                } else {
                    f::length(v)
                }
            };
            Row::new(vec![
                r.point.clone(),
                f::text(r.description.as_deref()),
                f::fixed(r.easting, 2),
                f::fixed(r.northing, 2),
                f::length(r.elevation),
                bound(r.ellipse.map(|e| e.semi_major_95)),
                bound(r.ellipse.map(|e| e.semi_minor_95)),
                if r.solved {
                    "this job's measurements"
                } else {
                    "given coordinates"
                }
                .to_owned(),
                if r.permanent { "yes" } else { "no" }.to_owned(),
                f::text(r.source.as_deref()),
            ])
            .about(Some(Feature::Reference(i)))
        })
        .collect();
    let note = "“Exact”: no uncertainty was given, and the point is taken as it was given.";
    Some(Table::new("references", "Reference points", columns, rows)?.noted(note))
}
