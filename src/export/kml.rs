//! `asbuilt.kml`: [KML 2.2](crate::sources::Source::Kml), clamped to the ground, one folder a run.
//!
//! Written element by element, because a document of a million marks must not be held in memory and because a
//! carriage return in a note has to be written as a character reference to survive. Descriptions are HTML to the
//! programs that show them: text in them is escaped twice, once for each. Characters that XML can't hold (control
//! characters) become U+FFFD.

use std::collections::BTreeMap;
use std::io::{self, Write};

use super::geometry::{self, Shape};
use super::table::{Item, Row, Table};
use super::{Format, View, draft, geojson};
use crate::record::AsBuilt;
use crate::record::model::Draft;

/// The map for viewers of the globe.
#[derive(Debug)]
pub struct Kml;

impl Format for Kml {
    fn name(&self) -> &'static str {
        "kml"
    }

    fn file(&self) -> &'static str {
        "asbuilt.kml"
    }

    fn about(&self) -> &'static str {
        "OGC KML, clamped to the ground, one folder a run"
    }

    fn absent(&self, record: &AsBuilt) -> Option<String> {
        geojson::no_georeference(record)
    }

    fn write(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
        let record = view.record;
        out.write_all(HEAD.as_bytes())?;
        let title = record.job.title.as_deref().unwrap_or(&record.job.id);
        element(out, "name", &draft::title(record.draft.as_ref(), title))?;
        element(out, "description", &description(record))?;
        out.write_all(STYLES.as_bytes())?;
        let folders = by_run(view);
        for run in &record.runs {
            let rows = folders.get(run.run.as_str()).map_or(&[][..], Vec::as_slice);
            folder(out, &format!("Run {}", run.run), rows)?;
        }
        if let Some(rows) = folders.get("") {
            folder(out, "References", rows)?;
        }
        out.write_all(b"</Document>\n</kml>\n")
    }
}

const HEAD: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<kml xmlns=\"http://www.opengis.net/kml/2.2\">\n<Document>\n";

// Our choice: a line that shows on imagery, and labels small enough for marks a few metres apart.
const STYLES: &str = "<Style id=\"run\"><LineStyle><color>ff00a5ff</color><width>3</width></LineStyle></Style>\n\
     <Style id=\"mark\"><IconStyle><color>ff00a5ff</color><scale>0.6</scale></IconStyle><LabelStyle><scale>0.7</scale></LabelStyle></Style>\n\
     <Style id=\"camera\"><IconStyle><color>ffff5500</color><scale>0.5</scale></IconStyle><LabelStyle><scale>0.6</scale></LabelStyle></Style>\n\
     <Style id=\"reference\"><IconStyle><color>ffaaaaaa</color><scale>0.4</scale></IconStyle><LabelStyle><scale>0.5</scale></LabelStyle></Style>\n\
     <Style id=\"crossing\"><IconStyle><color>ff5500aa</color><scale>0.4</scale></IconStyle><LabelStyle><scale>0.5</scale></LabelStyle></Style>\n";

/// Rows by run; references under the empty name.
fn by_run<'a>(view: &'a View<'a>) -> BTreeMap<&'a str, Vec<(&'a Table, Row<'a>)>> {
    let mut folders: BTreeMap<&str, Vec<_>> = BTreeMap::new();
    for table in view.features() {
        for row in table.rows(view.record) {
            let run = match row.item {
                Item::Run(run) => &run.run,
                Item::Mark(mark) => &mark.run,
                Item::Camera(camera) => &camera.run,
                Item::Crossing(crossing) => &crossing.run,
                _ => "",
            };
            folders.entry(run).or_default().push((table, row));
        }
    }
    folders
}

fn folder(out: &mut dyn Write, name: &str, rows: &[(&Table, Row<'_>)]) -> io::Result<()> {
    out.write_all(b"<Folder>\n")?;
    element(out, "name", name)?;
    for (table, row) in rows {
        placemark(out, table, *row)?;
    }
    out.write_all(b"</Folder>\n")
}

fn placemark(out: &mut dyn Write, table: &Table, row: Row<'_>) -> io::Result<()> {
    let shape = geometry::geographic(row);
    out.write_all(b"<Placemark>")?;
    let name = match row.item {
        Item::Run(run) => &run.run,
        Item::Mark(mark) => &mark.mark,
        Item::Camera(camera) => &camera.what,
        Item::Crossing(crossing) => crossing.name.as_ref().unwrap_or(&crossing.layer),
        Item::Reference(reference) => &reference.point,
        _ => "",
    };
    element(out, "name", name)?;
    write!(out, "<styleUrl>#{}</styleUrl><ExtendedData>", table.name)?;
    for column in &table.columns {
        let value = column.value(row);
        if !value.is_absent() {
            write!(out, "<Data name=\"{}\">", escape(&column.name))?;
            element(out, "value", &value.text())?;
            out.write_all(b"</Data>")?;
        }
    }
    out.write_all(b"</ExtendedData>")?;
    match &shape {
        Shape::Nowhere => {}
        Shape::Point(_) => write_shape(out, "Point", "", &shape)?,
        Shape::Line(_) => write_shape(out, "LineString", "<tessellate>1</tessellate>", &shape)?,
    }
    out.write_all(b"</Placemark>\n")
}

// Clamped to the ground: a third coordinate would be ignored, and is left out.
fn write_shape(out: &mut dyn Write, kind: &str, before: &str, shape: &Shape) -> io::Result<()> {
    write!(
        out,
        "<{kind}>{before}<altitudeMode>clampToGround</altitudeMode><coordinates>"
    )?;
    for (index, place) in shape.places().iter().enumerate() {
        let space = if index == 0 { "" } else { " " };
        write!(out, "{space}{},{}", place.x, place.y)?;
    }
    write!(out, "</coordinates></{kind}>")
}

/// What the document's balloon says: who and when, accuracy, unit, cautions. HTML.
fn description(record: &AsBuilt) -> String {
    let mut lines: Vec<String> = record.draft.iter().map(Draft::words).collect();
    let located = record
        .job
        .located_on
        .as_ref()
        .map(|date| format!(", located on {date}"))
        .unwrap_or_default();
    let supplier = record
        .job
        .supplier
        .as_ref()
        .map(|name| format!(", by {name}"))
        .unwrap_or_default();
    lines.push(format!("Job {}{located}{supplier}.", record.job.id));
    lines.push(record.accuracy.statement.clone());
    lines.extend(record.frame.on_earth());
    lines.push(format!("Lengths are in {}.", record.frame.unit));
    lines.extend(record.cautions.iter().cloned());
    lines.extend(record.hash.iter().map(|hash| format!("Record {hash}")));
    lines.retain(|line| !line.is_empty());
    lines
        .iter()
        .flat_map(|line| ["<p>".to_owned(), escape(line), "</p>".to_owned()])
        .collect()
}

fn element(out: &mut dyn Write, name: &str, text: &str) -> io::Result<()> {
    write!(out, "<{name}>{}</{name}>", escape(text))
}

/// Text for XML, as content or in an attribute.
fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            // Written as they are, a reader would take CR for LF, and in attributes both for spaces.
            '\t' => escaped.push_str("&#9;"),
            '\n' => escaped.push_str("&#10;"),
            '\r' => escaped.push_str("&#13;"),
            '\u{fffe}' | '\u{ffff}' => escaped.push('\u{fffd}'),
            control if control < ' ' => escaped.push('\u{fffd}'),
            other => escaped.push(other),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markup_and_line_ends_survive_and_control_characters_are_replaced() {
        assert_eq!(
            escape("a<b> & \"c\"\r\n\u{1}"),
            "a&lt;b&gt; &amp; &quot;c&quot;&#13;&#10;\u{fffd}"
        );
    }
}
