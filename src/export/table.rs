//! The tables that every table-shaped format is drawn from. Columns are declared once, in [`super::columns`].

use crate::findings::Finding;
use crate::record::AsBuilt;
use crate::record::model::{Camera, Crossing, Frame, Mark, Reference, Run, Tie, Vertex};

use super::columns;
use super::fields::Conversion;
use super::value::{Quantity, Value};

/// What a row is about.
#[derive(Clone, Copy, Debug)]
pub enum Item<'a> {
    /// A run.
    Run(&'a Run),
    /// A mark.
    Mark(&'a Mark),
    /// A camera observation.
    Camera(&'a Camera),
    /// A reference point.
    Reference(&'a Reference),
    /// A vertex of a run.
    Vertex(&'a Run, &'a Vertex),
    /// Ties of a point.
    Tie(&'a Tie),
    /// Where a run crosses or comes near something of a plan.
    Crossing(&'a Crossing),
    /// A finding.
    Finding(&'a Finding),
}

/// One row: an item, and the record that it is part of. Findings stand without one where nothing could be computed.
#[derive(Clone, Copy, Debug)]
pub struct Row<'a> {
    /// The record.
    pub record: Option<&'a AsBuilt>,
    /// The item.
    pub item: Item<'a>,
}

/// Where a column's value comes from.
#[derive(Clone, Debug)]
pub enum Getter {
    /// The record's own field.
    Field(for<'a> fn(Row<'a>) -> Value<'a>),
    /// A column of `marks.csv` that the job publishes, by its name as [`plain`] writes it.
    Published(String),
    /// The same text in every row.
    Fixed(String),
    /// Another column's values as a field file wants them.
    Converted(Box<Conversion>),
}

/// A column of a table.
#[derive(Clone, Debug)]
pub struct Column {
    /// Name: the same in every format.
    pub name: String,
    /// Type, unit and rounding.
    pub quantity: Quantity,
    /// Never absent.
    pub required: bool,
    /// What it is, in one line.
    pub meaning: String,
    /// Where its values come from.
    pub getter: Getter,
}

impl Column {
    /// The cell of a row, rounded as every writer rounds it.
    #[must_use]
    pub fn value<'a>(&'a self, row: Row<'a>) -> Value<'a> {
        self.unrounded(row).rounded(self.quantity)
    }

    /// The cell of a row as the record has it; what a field file converts is rounded as it says.
    #[must_use]
    pub fn unrounded<'a>(&'a self, row: Row<'a>) -> Value<'a> {
        match &self.getter {
            Getter::Field(get) => get(row),
            Getter::Published(key) => published(row, key),
            Getter::Fixed(text) => Value::from(text),
            // A value that can't be converted was refused before anything was written.
            Getter::Converted(conversion) => conversion.value(row).unwrap_or(Value::Absent),
        }
    }

    /// Whether it holds the values of our column of this name, whatever it is called.
    #[must_use]
    pub fn holds(&self, name: &str) -> bool {
        match &self.getter {
            Getter::Converted(conversion) => conversion.unchanged() == Some(name),
            _ => self.name == name,
        }
    }

    /// The unit of its numbers, for people.
    #[must_use]
    pub fn unit<'a>(&'a self, frame: &'a Frame) -> Option<&'a str> {
        match &self.getter {
            Getter::Converted(conversion) => conversion.unit(frame),
            _ => self.quantity.unit(frame),
        }
    }
}

/// Rows of a record.
type Rows = for<'a> fn(&'a AsBuilt) -> Box<dyn Iterator<Item = Item<'a>> + 'a>;

/// A table: its columns, and the rows that a record has for it.
#[derive(Clone, Debug)]
pub struct Table {
    /// `mark`, `run`, `camera`, `reference`, `profile`, `ties`, `findings`.
    pub name: &'static str,
    /// Whether its rows are features with a geometry.
    pub spatial: bool,
    /// What a row is.
    pub meaning: &'static str,
    /// Columns in order.
    pub columns: Vec<Column>,
    rows: Rows,
}

impl Table {
    /// The record's rows, in the record's order.
    pub fn rows<'a>(&self, record: &'a AsBuilt) -> impl Iterator<Item = Row<'a>> + use<'a> {
        (self.rows)(record).map(move |item| Row {
            record: Some(record),
            item,
        })
    }
}

/// Name of the table of crossings.
const CROSSING: &str = "crossing";

/// The tables as declared: feature tables first, in the order in which formats write them.
#[must_use]
pub fn declared() -> Vec<Table> {
    vec![
        feature("run", "a run of pipe", columns::run(), |r| {
            Box::new(r.runs.iter().map(Item::Run))
        }),
        feature(
            "mark",
            "a located point of a run: the transmitter's place",
            columns::mark(),
            |r| Box::new(r.marks.iter().map(Item::Mark)),
        ),
        feature("camera", "a camera observation", columns::camera(), |r| {
            Box::new(r.camera.iter().map(Item::Camera))
        }),
        feature(
            "reference",
            "a reference point",
            columns::reference(),
            |r| Box::new(r.references.iter().map(Item::Reference)),
        ),
        feature(
            CROSSING,
            "where a run crosses or comes near something of a site plan",
            columns::crossing(),
            |r| Box::new(r.crossings.iter().map(Item::Crossing)),
        ),
        plain_table(
            "profile",
            "a vertex of a run, in order of flow",
            columns::profile(),
            vertices,
        ),
        plain_table(
            "ties",
            "a point to be set out by tapes",
            columns::ties(),
            |r| Box::new(r.ties.iter().map(Item::Tie)),
        ),
        plain_table(
            "findings",
            "what the checks say",
            columns::findings(),
            |r| Box::new(r.findings.iter().map(Item::Finding)),
        ),
    ]
}

fn feature(name: &'static str, meaning: &'static str, own: Vec<Column>, rows: Rows) -> Table {
    let columns = columns::common().into_iter().chain(own).collect();
    Table {
        name,
        spatial: true,
        meaning,
        columns,
        rows,
    }
}

fn plain_table(
    name: &'static str,
    meaning: &'static str,
    columns: Vec<Column>,
    rows: Rows,
) -> Table {
    Table {
        name,
        spatial: false,
        meaning,
        columns,
        rows,
    }
}

fn vertices(record: &AsBuilt) -> Box<dyn Iterator<Item = Item<'_>> + '_> {
    Box::new(record.runs.iter().flat_map(|run| {
        run.vertices
            .iter()
            .map(move |vertex| Item::Vertex(run, vertex))
    }))
}

/// The tables of a record: as declared, then the columns that the job publishes.
#[must_use]
pub fn of(record: &AsBuilt) -> Vec<Table> {
    let mut tables = declared();
    // Only a record that a plan was laid under has crossings to speak of.
    tables.retain(|table| table.name != CROSSING || !record.plans.is_empty());
    for table in &mut tables {
        if table.name == "mark" {
            for name in &record.published {
                let column = published_column(&table.columns, name);
                table.columns.push(column);
            }
        }
    }
    tables
}

/// The tables of a record, each with the column that only drafts have: a field file can't take it away.
pub fn mark_draft(tables: &mut [Table], record: &AsBuilt) {
    for table in tables {
        table
            .columns
            .extend(super::draft::column(record.draft.as_ref()));
    }
}

fn published_column(taken: &[Column], name: &str) -> Column {
    let key = plain(name);
    // A published column never takes the place of one of ours.
    let mut own = key.clone();
    while taken.iter().any(|column| column.name == own) {
        own.push_str("_entered");
    }
    Column {
        name: own,
        quantity: Quantity::Text,
        required: false,
        meaning: format!("column `{name}` of marks.csv, published as entered"),
        getter: Getter::Published(key),
    }
}

fn published<'a>(row: Row<'a>, key: &str) -> Value<'a> {
    let Item::Mark(mark) = row.item else {
        return Value::Absent;
    };
    mark.attributes
        .iter()
        .find(|(name, _)| plain(name) == key)
        .map_or(Value::Absent, |(_, text)| Value::from(text))
}

/// A column's name whatever its case, with underscores for spaces.
#[must_use]
pub fn plain(name: &str) -> String {
    name.trim().to_lowercase().replace(' ', "_")
}
