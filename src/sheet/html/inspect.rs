//! Every number behind a mark, an observation or a reference, as data that the page's script shows.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::record::AsBuilt;
use crate::record::model::{Camera, Crossing, Ellipse, Mark, Reference};
use crate::sheet::content::figures as f;
use crate::sheet::content::tables::asked;
use crate::sheet::draw::plan::{full_name, what};

/// Named groups of names and values; values that aren't known are left out.
#[derive(Default)]
struct Groups(Vec<Value>);

impl Groups {
    fn add(&mut self, name: &str, facts: Vec<(&str, Option<String>)>) {
        let known: Vec<Value> = facts
            .into_iter()
            .filter_map(|(k, v)| Some(json!([k, v?])))
            .collect();
        if !known.is_empty() {
            self.0.push(json!([name, known]));
        }
    }

    /// Further columns of a mark that the job publishes; the rest stay in the record, whoever gets the page.
    fn published(&mut self, record: &AsBuilt, attributes: &BTreeMap<String, String>) {
        self.add(
            "Further columns, as entered",
            attributes
                .iter()
                .filter(|(column, _)| record.publishes(column))
                .map(|(k, v)| (k.as_str(), Some(v.clone())))
                .collect(),
        );
    }
}

/// The page's data: one entry a feature, keyed as in the drawings.
#[must_use]
pub fn data(record: &AsBuilt) -> Value {
    let mut rows: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (i, m) in record.measurements.iter().enumerate() {
        for point in &m.points {
            rows.entry(point).or_default().push(i);
        }
    }
    let mut said: BTreeMap<&str, Vec<Value>> = BTreeMap::new();
    for finding in &record.findings {
        if let Some(mark) = &finding.mark {
            said.entry(mark)
                .or_default()
                .push(json!([finding.level.word(), finding.message]));
        }
    }
    let measured = |name: &str| rows.get(name).cloned().unwrap_or_default();
    let mut all = serde_json::Map::new();
    for (i, m) in record.marks.iter().enumerate() {
        let entry = json!({
            "n": m.mark, "s": summary(record, m), "g": mark(record, m).0, "q": measured(&m.mark),
            "w": said.get(m.mark.as_str()).cloned().unwrap_or_default(),
        });
        all.insert(format!("m{i}"), entry);
    }
    for (i, c) in record.camera.iter().enumerate() {
        let name = format!("{} {}", full_name(record, &c.id, &c.run), c.what);
        let summary = format!(
            "{name}, station {}",
            f::station(c.station, record.frame.unit)
        );
        all.insert(
            format!("c{i}"),
            json!({ "n": name, "s": summary, "g": camera(record, c).0, "q": [], "w": [] }),
        );
    }
    for (i, r) in record.references.iter().enumerate() {
        let summary = format!("reference {}", r.point);
        let entry = json!({
            "n": r.point, "s": summary, "g": reference(record, r).0, "q": measured(&r.point),
            "w": said.get(r.point.as_str()).cloned().unwrap_or_default(),
        });
        all.insert(format!("r{i}"), entry);
    }
    for (i, c) in record.crossings.iter().enumerate() {
        let name = format!("{} {}", full_name(record, &c.id, &c.run), what(c));
        let station = f::station(Some(c.station), record.frame.unit);
        let summary = format!("{} {name}, station {station}", c.meeting.word());
        all.insert(
            format!("x{i}"),
            json!({ "n": name, "s": summary, "g": crossing(record, c).0, "q": [], "w": [] }),
        );
    }
    Value::Object(all)
}

fn summary(record: &AsBuilt, m: &Mark) -> String {
    let unit = record.frame.unit;
    let mut text = format!("Mark {}, station {}", m.mark, f::station(m.station, unit));
    if let Some(cover) = m.cover {
        text += &format!(
            ", top of pipe {} {unit} deep, at least {}",
            f::fixed(cover, 2),
            f::least(m.cover_least)
        );
    }
    text
}

fn ellipse(ellipse: Option<Ellipse>, unit: &str) -> Option<String> {
    let e = ellipse?;
    Some(format!(
        "{} by {} {unit}, major axis at azimuth {}°",
        f::fixed(e.semi_major_95, 3),
        f::fixed(e.semi_minor_95, 3),
        f::fixed(e.azimuth_95, 1)
    ))
}

fn mark(record: &AsBuilt, m: &Mark) -> Groups {
    let unit = record.frame.unit.symbol();
    let long = |v: Option<f64>| v.map(|v| format!("{} {unit}", f::fixed(v, 3)));
    let coordinate = |v: f64| Some(f::fixed(v, 3));
    let degrees = |v: Option<f64>| v.map(|v| format!("{}°", f::fixed(v, 1)));
    let mut groups = Groups::default();
    groups.add(
        "Place of the pipe (transmitter)",
        vec![
            ("Easting", coordinate(m.easting)),
            ("Northing", coordinate(m.northing)),
            ("95 % ellipse", ellipse(m.ellipse, unit)),
            ("95 % circle, radius", long(m.horizontal_95)),
            ("Longitude", m.geographic.map(|g| f::fixed(g.longitude, 8))),
            ("Latitude", m.geographic.map(|g| f::fixed(g.latitude, 8))),
            ("Redundancy", m.redundancy.map(|r| f::fixed(r, 2))),
            (
                "Largest standardised residual",
                m.largest_residual.map(|r| f::fixed(r, 2)),
            ),
        ],
    );
    groups.add(
        "Along the run",
        vec![
            ("Run", Some(m.run.clone())),
            (
                "Station",
                m.station.map(|s| format!("{} {unit}", f::fixed(s, 3))),
            ),
            ("Along the pipe", long(m.along_pipe)),
            ("Counter as entered", m.counter.map(|c| f::fixed(c, 3))),
            (
                "Direction of the push, grid azimuth",
                degrees(m.axis_azimuth),
            ),
            ("± direction", degrees(m.axis_azimuth_95)),
        ],
    );
    groups.add(
        "Depth and height",
        vec![
            ("Top of pipe below ground", long(m.cover)),
            ("At least (one-sided 95 %)", long(m.cover_least)),
            ("Invert below ground", long(m.invert_depth)),
            ("Transmitter below ground", long(m.transmitter_depth)),
            ("± depth", long(m.depth_95)),
            ("Depth by", Some(m.depth_basis.word().to_owned())),
            ("Ground", long(m.ground)),
            ("Ground from", m.ground_from.clone()),
            ("Invert", long(m.invert)),
            ("± invert", long(m.invert_95)),
        ],
    );
    readings(&mut groups, m, unit);
    paint(&mut groups, m, unit);
    groups.add(
        "Evidence",
        vec![
            ("Evidence", Some(m.evidence.word().to_owned())),
            ("Bounds are", Some(m.accuracy_basis.word().to_owned())),
            ("Fitting", m.fitting.clone()),
            ("Quality level, as assigned", m.quality_level.clone()),
            ("Assigned by", m.quality_by.clone()),
            ("Findings", m.findings.clone()),
            ("Note", m.note.clone()),
            ("Photo", m.photo.clone()),
            ("Row", Some(m.source.clone())),
            (
                "Further rows",
                (!m.further_sources.is_empty()).then(|| m.further_sources.join(", ")),
            ),
        ],
    );
    groups.published(record, &m.attributes);
    groups
}

fn readings(groups: &mut Groups, m: &Mark, unit: &str) {
    let long = |v: Option<f64>| v.map(|v| format!("{} {unit}", f::fixed(v, 3)));
    if let Some(r) = &m.reading {
        let [first, half, quarter, three] = r.depths;
        groups.add(
            "Readings, less lift",
            vec![
                ("As first turned", long(first)),
                ("Half a turn on", long(half)),
                ("A quarter turn", long(quarter)),
                ("Three quarters", long(three)),
                ("Read by", Some(r.read_by.clone())),
                ("Accepted", Some(r.accepted.clone())),
                (
                    "Spread of the pair",
                    r.spread.map(|s| format!("{} %", f::fixed(s * 100.0, 1))),
                ),
                ("One-sigma", long(Some(r.sigma))),
            ],
        );
    }
    if let Some(e) = &m.ends {
        groups.add(
            "End points",
            vec![
                ("Ahead", long(e.ahead)),
                ("Behind", long(e.behind)),
                ("Depth that they give", long(e.depth)),
                ("± depth", long(e.depth_95)),
            ],
        );
    }
}

fn paint(groups: &mut Groups, m: &Mark, unit: &str) {
    let long = |v: f64| Some(format!("{} {unit}", f::fixed(v, 3)));
    groups.add(
        "Paint mark on the ground",
        vec![
            ("Easting", Some(f::fixed(m.paint.easting, 3))),
            ("Northing", Some(f::fixed(m.paint.northing, 3))),
            (
                "95 % ellipse of measuring alone",
                ellipse(m.paint.ellipse, unit),
            ),
        ],
    );
    if let Some(c) = &m.correction {
        groups.add(
            "Correction from paint to transmitter",
            vec![
                ("Moved along the push", long(c.along)),
                ("For a tilt of", Some(format!("{}°", f::fixed(c.tilt, 2)))),
                ("Tilt from", Some(c.tilt_from.clone())),
            ],
        );
    }
    if let Some(p) = &m.predicted {
        groups.add(
            "What the surface said before it was exposed",
            vec![
                ("Easting", Some(f::fixed(p.easting, 3))),
                ("Northing", Some(f::fixed(p.northing, 3))),
                ("95 % ellipse", ellipse(p.ellipse, unit)),
                ("Invert below ground", p.invert_depth.and_then(long)),
                ("± depth", p.depth_95.and_then(long)),
            ],
        );
    }
}

fn camera(record: &AsBuilt, c: &Camera) -> Groups {
    let unit = record.frame.unit.symbol();
    let long = |v: Option<f64>| v.map(|v| format!("{} {unit}", f::fixed(v, 3)));
    let mut groups = Groups::default();
    groups.add(
        "What the camera saw",
        vec![
            ("Run", Some(c.run.clone())),
            ("Push", c.push.clone()),
            ("Counter as entered", Some(f::fixed(c.counter, 3))),
            ("Station", long(c.station)),
            ("Clock", c.clock.clone()),
            (
                "To counter",
                c.until.as_ref().map(|u| f::fixed(u.counter, 3)),
            ),
            ("Photo", c.photo.clone()),
            ("Note", c.note.clone()),
            ("Row", Some(c.source.clone())),
        ],
    );
    groups.add(
        "Computed place",
        vec![
            ("Easting", c.easting.map(|v| f::fixed(v, 3))),
            ("Northing", c.northing.map(|v| f::fixed(v, 3))),
            ("95 % ellipse", ellipse(c.ellipse, unit)),
            (
                "Extrapolated",
                c.extrapolated.then(|| "yes: outside the marks".to_owned()),
            ),
            ("Top of pipe at least", long(c.cover_least)),
            ("Invert below ground", long(c.invert_depth)),
            ("Transmitter below ground", long(c.transmitter_depth)),
            ("± depth", long(c.depth_95)),
            ("Invert", long(c.invert)),
            ("± invert", long(c.invert_95)),
        ],
    );
    groups
}

fn reference(record: &AsBuilt, r: &Reference) -> Groups {
    let unit = record.frame.unit.symbol();
    let mut groups = Groups::default();
    groups.add(
        "Reference point",
        vec![
            ("Description", r.description.clone()),
            ("Easting", Some(f::fixed(r.easting, 3))),
            ("Northing", Some(f::fixed(r.northing, 3))),
            ("95 % ellipse", ellipse(r.ellipse, unit)),
            (
                "Elevation",
                r.elevation.map(|e| format!("{} {unit}", f::fixed(e, 3))),
            ),
            (
                "Solved from measurements",
                r.solved.then(|| "yes".to_owned()),
            ),
            (
                "Permanent",
                Some(if r.permanent { "yes" } else { "no" }.to_owned()),
            ),
            ("Row", r.source.clone()),
        ],
    );
    groups
}

fn crossing(record: &AsBuilt, c: &Crossing) -> Groups {
    let unit = record.frame.unit.symbol();
    let long = |v: Option<f64>| v.map(|v| format!("{} {unit}", f::fixed(v, 3)));
    let mut groups = Groups::default();
    groups.add(
        "What the plan shows",
        vec![
            ("How", Some(c.meeting.word().to_owned())),
            ("Taken for", Some(c.role.clone())),
            ("Kind", c.kind.clone()),
            ("Name", c.name.clone()),
            ("Layer", Some(c.layer.clone())),
            ("Feature", Some(c.source.clone())),
        ],
    );
    groups.add(
        "Place on the run",
        vec![
            ("Run", Some(c.run.clone())),
            ("Station", long(Some(c.station))),
            ("Easting", Some(f::fixed(c.easting, 3))),
            ("Northing", Some(f::fixed(c.northing, 3))),
            ("95 % ellipse", ellipse(c.ellipse, unit)),
            ("± along the other's line", long(c.along_95)),
            ("Top of pipe below ground", long(c.cover)),
            ("At least (one-sided 95 %)", long(c.cover_least)),
            ("Invert", long(c.invert)),
            ("± invert", long(c.invert_95)),
        ],
    );
    groups.add(
        "Between them",
        vec![
            ("Distance to it as drawn", long(Some(c.distance))),
            ("Clearance in plan", long(Some(c.clearance))),
            ("± clearance", long(c.clearance_95)),
            ("The pipe passes", c.passes.clone()),
            ("Clearance in height", long(c.vertical_clearance)),
            ("± height", long(c.vertical_clearance_95)),
            ("Separation asked for", asked(c.requirement.as_ref())),
        ],
    );
    groups
}
