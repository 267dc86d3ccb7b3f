//! What the camera saw, with its computed place.

use super::{Row, Table, figures, words};
use crate::record::AsBuilt;
use crate::record::model::Camera;
use crate::sheet::content::figures as f;
use crate::sheet::draw::Feature;
use crate::sheet::draw::plan::short_name;

pub fn table(record: &AsBuilt) -> Option<Table> {
    let columns = vec![
        words("No."),
        words("Run"),
        words("What was seen"),
        words("Clock"),
        figures("Counter"),
        figures("Station"),
        figures("Easting"),
        figures("Northing"),
        figures("a"),
        figures("b"),
        figures("Azimuth"),
        figures("Least top"),
        figures("Invert depth"),
        figures("Invert"),
        figures("± invert"),
        words("Remarks"),
        words("Row").page_only(),
    ];
    let rows = record
        .camera
        .iter()
        .enumerate()
        .map(|(i, c)| row(record, i, c))
        .collect();
    let note = "Places are interpolated between the marks by cable length, with the cable's own uncertainty in the ellipse.";
    Some(Table::new("camera", "Camera observations", columns, rows)?.noted(note))
}

fn row(record: &AsBuilt, i: usize, c: &Camera) -> Row {
    let unit = record.frame.unit;
    let mut remarks = Vec::new();
    if c.easting.is_none() {
        remarks.push("no place: too far from any mark".to_owned());
    }
    if c.extrapolated {
        remarks.push("outside the marks".to_owned());
    }
    if let Some(until) = &c.until {
        remarks.push(format!(
            "to counter {} (station {})",
            f::fixed(until.counter, 2),
            f::station(until.station, unit)
        ));
    }
    remarks.extend(c.photo.as_ref().map(|p| format!("photo {p}")));
    remarks.extend(c.note.clone());
    if c.dig {
        remarks.push("dig page".to_owned());
    }
    Row::new(vec![
        short_name(&c.id).to_owned(),
        c.run.clone(),
        c.what.clone(),
        f::text(c.clock.as_deref()),
        f::fixed(c.counter, 2),
        f::station(c.station, unit),
        f::length(c.easting),
        f::length(c.northing),
        f::length(c.ellipse.map(|e| e.semi_major_95)),
        f::length(c.ellipse.map(|e| e.semi_minor_95)),
        f::number(c.ellipse.map(|e| e.azimuth_95), 0),
        f::least(c.cover_least),
        f::length(c.invert_depth),
        f::length(c.invert),
        f::length(c.invert_95),
        f::text(Some(&remarks.join("; "))),
        c.source.clone(),
    ])
    .about(Some(Feature::Camera(i)))
}
