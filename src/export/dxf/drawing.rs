//! The drawing's entities.

use std::collections::BTreeSet;
use std::io;

use super::Ground;
use super::layers::Names;
use super::pairs::{self, Pairs};
use super::skeleton::APPLICATION;
use crate::export::View;
use crate::export::geometry::{self, Place, Shape};
use crate::export::table::{Item, Row, Table};
use crate::export::value::{Value, round};
use crate::export::wkb::{self, Bounds};
use crate::record::AsBuilt;
use crate::record::model::{Draft, Run};
use crate::units::fixed;

/// Bytes of extended data that one entity gets; the limit is 16 383, and brackets and codes need room.
const EXTENDED: usize = 15_000;
/// Characters on a line of the notice.
const NOTICE: usize = 90;

/// Where a shape of the record's grid lies in the drawing.
pub type Placed<'a> = dyn Fn(Shape) -> io::Result<Shape> + 'a;

/// A form of line whose vertices are entities of their own.
struct Polyline {
    line: &'static str,
    vertex: &'static str,
    /// Its vertices have elevations.
    spatial: bool,
}

const SPATIAL: Polyline = Polyline {
    line: "AcDb3dPolyline",
    vertex: "AcDb3dPolylineVertex",
    spatial: true,
};
const FLAT: Polyline = Polyline {
    line: "AcDb2dPolyline",
    vertex: "AcDb2dVertex",
    spatial: false,
};

/// Writes entities.
pub struct Drawing<'a> {
    out: Pairs<'a>,
    names: Names<'a>,
    /// Block record that owns the entities.
    owner: u64,
    /// From the record's grid to the drawing's coordinates.
    place: &'a Placed<'a>,
    /// Height of text.
    text: f64,
    /// Metres in one unit of the drawing.
    metres: f64,
    record: &'a AsBuilt,
    /// Runs that carry storm water.
    storm: BTreeSet<&'a str>,
}

impl<'a> Drawing<'a> {
    pub fn new(
        out: Pairs<'a>,
        names: Names<'a>,
        text: f64,
        record: &'a AsBuilt,
        owner: u64,
        ground: &'a Ground<'a>,
    ) -> Self {
        let is_storm = |run: &&Run| {
            run.texts
                .get("system")
                .is_some_and(|system| system == "storm")
        };
        let storm = record.runs.iter().filter(is_storm);
        Self {
            out,
            names,
            owner,
            place: ground.place,
            text,
            metres: ground.metres,
            record,
            storm: storm.map(|run| run.run.as_str()).collect(),
        }
    }

    /// What the rest of the file is written to.
    pub fn done(self) -> Pairs<'a> {
        self.out
    }

    /// A feature with its attributes and labels.
    pub fn feature(&mut self, table: &Table, row: Row<'_>) -> io::Result<()> {
        let shape = (self.place)(geometry::projected(row))?;
        let layer = self.layer(table, row, &shape);
        match &shape {
            Shape::Nowhere => Ok(()),
            Shape::Point(place) => {
                self.out.entity("POINT", self.owner, &layer)?;
                self.out.pair(100, "AcDbPoint")?;
                self.out
                    .place(10, place.x, place.y, place.z.unwrap_or(0.0))?;
                self.attributes(table, row)?;
                self.labels(row, *place)
            }
            Shape::Line(places) if wkb::has_z(&shape) => {
                self.polyline(table, row, places, &layer, &SPATIAL)
            }
            Shape::Line(places) if !self.out.dialect().short => {
                self.polyline(table, row, places, &layer, &FLAT)
            }
            Shape::Line(places) => {
                self.out.entity("LWPOLYLINE", self.owner, &layer)?;
                self.out.pair(100, "AcDbPolyline")?;
                self.out.pair(90, places.len())?;
                self.out.pair(70, 0)?;
                for place in places {
                    self.out.pair(10, place.x)?;
                    self.out.pair(20, place.y)?;
                }
                self.attributes(table, row)
            }
        }
    }

    /// A line of vertices of their own: with elevation, or, for versions before the short form, without.
    fn polyline(
        &mut self,
        table: &Table,
        row: Row<'_>,
        places: &[Place],
        layer: &str,
        form: &Polyline,
    ) -> io::Result<()> {
        let line = self.out.entity("POLYLINE", self.owner, layer)?;
        self.out.pairs(&[(100, form.line), (66, "1")])?;
        self.out.place(10, 0.0, 0.0, 0.0)?;
        self.out.pair(70, if form.spatial { 8 } else { 0 })?;
        self.attributes(table, row)?;
        for place in places {
            self.out.entity("VERTEX", line, layer)?;
            self.out.pairs(&[(100, "AcDbVertex"), (100, form.vertex)])?;
            let z = place.z.filter(|_| form.spatial).unwrap_or(0.0);
            self.out.place(10, place.x, place.y, z)?;
            if form.spatial {
                self.out.pair(70, 32)?;
            }
        }
        self.out.entity("SEQEND", line, layer)?;
        Ok(())
    }

    fn layer(&self, table: &Table, row: Row<'_>, shape: &Shape) -> String {
        let run = match row.item {
            Item::Run(run) => Some(&run.run),
            Item::Mark(mark) => Some(&mark.run),
            _ => None,
        };
        let is_storm = run.is_some_and(|run| self.storm.contains(run.as_str()));
        let system = if is_storm { "_storm" } else { "" };
        let key = format!("{}{system}", table.name);
        if wkb::has_z(shape) {
            self.names.of(&key)
        } else {
            self.names.without_elevation(&key)
        }
    }

    /// The name of what is there, and the invert's elevation below it.
    fn labels(&mut self, row: Row<'_>, place: Place) -> io::Result<()> {
        let Some(name) = label(row) else {
            return Ok(());
        };
        let (x, y) = beside(place, self.text);
        let layer = self.names.of("label");
        self.write(name, x, y, place.z, &layer)?;
        if let Some(invert) = invert(self.record, self.metres, row) {
            let below = y - BELOW * self.text;
            self.write(&invert, x, below, place.z, &layer)?;
        }
        Ok(())
    }

    fn write(&mut self, text: &str, x: f64, y: f64, z: Option<f64>, layer: &str) -> io::Result<()> {
        self.out.entity("TEXT", self.owner, layer)?;
        self.out.pair(100, "AcDbText")?;
        self.out
            .place(10, round(x, 4), round(y, 4), z.unwrap_or(0.0))?;
        self.out.pair(40, self.text)?;
        self.out.text(1, &pairs::drawn(text))?;
        self.out.pair(100, "AcDbText")
    }

    fn attributes(&mut self, table: &Table, row: Row<'_>) -> io::Result<()> {
        if !self.out.dialect().attributes {
            return Ok(());
        }
        self.out.pair(1001, APPLICATION)?;
        let mut room = EXTENDED;
        for column in &table.columns {
            let value = column.value(row);
            if value.is_absent() {
                continue;
            }
            let size = pairs::escaped(&column.name).len() + pairs::escaped(&value.text()).len();
            let Some(left) = room.checked_sub(size + 16) else {
                let why = Value::from("columns beyond 16 kB are in record.json");
                return self.attribute("omitted", &why);
            };
            room = left;
            self.attribute(&column.name, &value)?;
        }
        Ok(())
    }

    fn attribute(&mut self, name: &str, value: &Value<'_>) -> io::Result<()> {
        self.out.pair(1002, "{")?;
        self.out.extended_text(name)?;
        match value {
            Value::Real(number) => self.out.pair(1040, number)?,
            Value::Integer(number) => match i32::try_from(*number) {
                Ok(number) => self.out.pair(1071, number)?,
                Err(_) => self.out.pair(1040, *number as f64)?,
            },
            other => self.out.extended_text(&other.text())?,
        }
        self.out.pair(1002, "}")
    }

    /// What must be read before the drawing is used, below it: draft, job, units, cautions.
    pub fn notice(&mut self, x: f64, y: f64, system: &str) -> io::Result<()> {
        let layer = self.names.of("notice");
        for (line, down) in notice(self.record, system) {
            self.write(&line, x, y - down * self.text, None, &layer)?;
        }
        Ok(())
    }
}

/// Letters stand this far beside a place and above it, and the elevation this far below the name; heights of text.
const BESIDE: f64 = 0.7;
const BELOW: f64 = 1.5;

/// The name that is written at a place.
fn label(row: Row<'_>) -> Option<&str> {
    match row.item {
        Item::Mark(mark) => Some(&mark.mark),
        Item::Camera(camera) => Some(&camera.what),
        Item::Reference(reference) => Some(&reference.point),
        Item::Crossing(crossing) => Some(crossing.name.as_ref().unwrap_or(&crossing.layer)),
        _ => None,
    }
}

/// The invert's elevation in the drawing's unit, from the record's own figure: coordinates are rounded already.
fn invert(record: &AsBuilt, metres: f64, row: Row<'_>) -> Option<String> {
    let invert = match row.item {
        Item::Mark(mark) => mark.invert,
        Item::Camera(camera) => camera.invert,
        _ => None,
    };
    let factor = record.frame.unit.metres() / metres;
    invert.map(|invert| format!("inv {}", fixed(invert * factor, 2)))
}

fn beside(place: Place, text: f64) -> (f64, f64) {
    (place.x + BESIDE * text, place.y + BESIDE * text)
}

/// The lines of the notice, and how far below the features each stands, heights of text.
fn notice(record: &AsBuilt, system: &str) -> Vec<(String, f64)> {
    let paragraphs = paragraphs(record, system);
    let lines = paragraphs.iter().flat_map(|paragraph| wrapped(paragraph));
    let down = |(index, line)| (line, 4.0 + 1.6 * index as f64);
    lines.enumerate().map(down).collect()
}

/// The box of everything drawn: features, the letters beside them, the notice below them. A letter is taken to be as wide as it is high,
/// which few are; what has no elevation lies at 0, as the notice does.
pub fn drawn(
    view: &View<'_>,
    ground: &Ground<'_>,
    features: Bounds,
    text: f64,
) -> io::Result<Bounds> {
    let mut all = features;
    let mut line = |letters: &str, (x, y): (f64, f64)| {
        let wide = text * letters.chars().count() as f64;
        all.x = [all.x[0].min(x), all.x[1].max(x + wide)];
        all.y = [all.y[0].min(y), all.y[1].max(y + text)];
    };
    for row in view.features().flat_map(|table| table.rows(view.record)) {
        let Some(name) = label(row) else { continue };
        for place in (ground.place)(geometry::projected(row))?.places() {
            let (x, y) = beside(*place, text);
            line(name, (x, y));
            if let Some(invert) = invert(view.record, ground.metres, row) {
                line(&invert, (x, y - BELOW * text));
            }
        }
    }
    for (letters, down) in notice(view.record, &ground.system) {
        line(&letters, (features.x[0], features.y[0] - down * text));
    }
    let [low, high] = features.z.unwrap_or_default();
    all.z = Some([low.min(0.0), high.max(0.0)]);
    Ok(all)
}

fn paragraphs(record: &AsBuilt, system: &str) -> Vec<String> {
    let mut all: Vec<String> = record.draft.iter().map(Draft::words).collect();
    let title = record.job.title.as_deref();
    all.push(match title {
        Some(title) => format!("Job {}: {title}", record.job.id),
        None => format!("Job {}", record.job.id),
    });
    let vertical = record.frame.vertical.as_deref();
    let vertical = vertical.map_or_else(String::new, |datum| format!(" in {datum}"));
    all.push(format!(
        "{system}; elevations of the invert{vertical}, same unit"
    ));
    all.push(record.accuracy.statement.clone());
    all.extend(record.cautions.iter().cloned());
    all
}

/// A paragraph in lines that break at spaces.
fn wrapped(paragraph: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in paragraph.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < NOTICE => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_notice_breaks_at_spaces() {
        let lines = wrapped(&"word ".repeat(40));
        assert!(lines.len() > 1 && lines.iter().all(|line| line.len() <= NOTICE));
        assert_eq!(lines.join(" "), "word ".repeat(40).trim());
    }
}
