//! The field book of a simulated job: tables of cells, still in metres and radians.

use super::frame::Crs;
use super::scenario::Unit;

/// One filled cell.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Text as it stands.
    Text(String),
    /// Metres, to be written in the job's unit.
    Length(f64),
    /// Metres read off a levelling staff, to be written finer than other lengths.
    Staff(f64),
    /// Metres, to be written in the coordinate system's unit.
    Grid(f64),
    /// Radians, to be written in degrees.
    Angle(f64),
    /// Longitude or latitude in radians, to be written in degrees with all the digits that count.
    Geographic(f64),
}

impl Cell {
    /// The number, whatever its kind.
    pub fn number(&self) -> Option<f64> {
        match self {
            Self::Text(_) => None,
            Self::Length(x)
            | Self::Staff(x)
            | Self::Grid(x)
            | Self::Angle(x)
            | Self::Geographic(x) => Some(*x),
        }
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self::Text(text)
    }
}

/// A row: its filled cells by column, in the order in which they were filled.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Row(pub Vec<(String, Cell)>);

impl Row {
    /// Fills a cell, in place of what was there.
    pub fn set(&mut self, column: &str, cell: impl Into<Cell>) {
        self.0.retain(|(name, _)| name != column);
        self.0.push((column.to_owned(), cell.into()));
    }

    /// A cell.
    pub fn get(&self, column: &str) -> Option<&Cell> {
        self.0
            .iter()
            .find(|(name, _)| name == column)
            .map(|(_, cell)| cell)
    }

    /// A text, or nothing where the cell is empty or no text.
    pub fn text(&self, column: &str) -> &str {
        match self.get(column) {
            Some(Cell::Text(text)) => text,
            _ => "",
        }
    }

    /// A number.
    pub fn number(&self, column: &str) -> Option<f64> {
        self.get(column).and_then(Cell::number)
    }

    /// Renames columns; those of the list that are absent stay so.
    pub fn rename(&mut self, pairs: &[(&str, &str)]) {
        for (name, _) in &mut self.0 {
            if let Some((_, to)) = pairs.iter().find(|(from, _)| from == name) {
                (*to).clone_into(name);
            }
        }
    }

    /// Replaces a number by a function of it, where there is one.
    pub fn change(&mut self, column: &str, f: impl Fn(f64) -> f64) {
        for (_, cell) in self.0.iter_mut().filter(|(name, _)| name == column) {
            if let Cell::Length(x)
            | Cell::Staff(x)
            | Cell::Grid(x)
            | Cell::Angle(x)
            | Cell::Geographic(x) = cell
            {
                *x = f(*x);
            }
        }
    }
}

/// A run's head.
#[derive(Clone, Debug)]
pub struct RunHead {
    /// Run id.
    pub id: String,
    /// Pushed against the flow.
    pub upstream: bool,
    /// The run that it joins.
    pub joins: Option<String>,
}

/// All of a job, before it is written down.
#[derive(Clone, Debug)]
pub struct Book {
    /// Job id.
    pub id: String,
    /// Coordinate system.
    pub crs: &'static Crs,
    /// Unit of plain numbers.
    pub unit: Unit,
    /// Figures in full.
    pub exact: bool,
    /// Mean ground height.
    pub height: f64,
    /// Magnetic declination, degrees east.
    pub declination: f64,
    /// Lens back to the transmitter.
    pub lens: f64,
    /// Transmitter's axis above the invert.
    pub axis: f64,
    /// Sensing point above the ground.
    pub sensor_height: f64,
    /// Signal readings are proportional to the field.
    pub linear: bool,
    /// Antenna above the ground.
    pub antenna: f64,
    /// Grid distance over ground distance.
    pub scale: f64,
    /// Runs.
    pub runs: Vec<RunHead>,
    /// `control.csv`.
    pub control: Vec<Row>,
    /// `marks.csv`.
    pub marks: Vec<Row>,
    /// `measures.csv`.
    pub measures: Vec<Row>,
    /// `camera.csv`.
    pub camera: Vec<Row>,
    /// `levels.csv`.
    pub levels: Vec<Row>,
    /// `pushes.csv`.
    pub pushes: Vec<Row>,
    /// Lines of the receiver log.
    pub log: Vec<String>,
}

/// A row of several cells.
#[macro_export]
macro_rules! row {
    ($($column:expr => $cell:expr),* $(,)?) => {{
        let mut row = $crate::simulation::book::Row::default();
        $(row.set($column, $cell);)*
        row
    }};
}
