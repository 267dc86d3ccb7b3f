//! The valid job: what the files say, in metres and radians, with the place that each row came from.
//!
//! Guaranteed by the reader: every number is finite; every length is in metres, every angle in radians; names
//! are trimmed and not empty; `run` and `push` indices point into [`Job::runs`] and [`Job::pushes`]. *Not*
//! guaranteed: that a name used in a tie, a baseline or a measure is defined (`observe` finds out, with
//! `unknown-reference`).

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::sync::Arc;

use crate::limits::{Accuracy, Limits};
use crate::record::model::Operation;
use crate::units::LengthUnit;

/// A place in an input: `marks.csv:14`. Rows count from 1, the header's line included, as an editor shows them.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Source {
    /// File or sheet, as the user knows it (`marks.csv`, or `book.xlsx!marks`).
    pub file: Arc<str>,
    /// Line or spreadsheet row, from 1; 0 for the file as a whole.
    pub row: u32,
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.row {
            0 => f.write_str(&self.file),
            row => write!(f, "{}:{row}", self.file),
        }
    }
}

/// Whether a row takes part.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Use {
    /// In the computation.
    #[default]
    Yes,
    /// Left out of the computation and compared with its result.
    Check,
}

/// The whole job.
#[derive(Clone, Debug)]
pub struct Job {
    /// `[job]`.
    pub head: Head,
    /// `[grid]`.
    pub grid: Grid,
    /// How it came into `grid.crs` from the system that the files are in, where results were asked for in another.
    pub recast: Option<Operation>,
    /// `[equipment]`.
    pub equipment: Equipment,
    /// `[accuracy]` over the defaults.
    pub accuracy: Accuracy,
    /// `[limits]` over the defaults.
    pub limits: Limits,
    /// `[publish] columns`, as written.
    pub publish: Vec<String>,
    /// `[layers]`: names of the drawing's layers, by key.
    pub layers: BTreeMap<String, String>,
    /// Runs in the order of first mention.
    pub runs: Vec<Run>,
    /// Pushes; a run without any is one push.
    pub pushes: Vec<Push>,
    /// Reference points.
    pub control: Vec<Control>,
    /// Rows of `marks.csv`, in order.
    pub marks: Vec<MarkRow>,
    /// Rows of `measures.csv`.
    pub measures: Vec<Measure>,
    /// Rows of `camera.csv`.
    pub camera: Vec<CameraRow>,
    /// Rows of `levels.csv`, in book order.
    pub levels: Vec<LevelRow>,
    /// Receiver logs, parsed.
    pub logs: Vec<super::nmea::Log>,
    /// Remarks of the reader that are no findings (encoding, title rows, …), for the record.
    pub notes: Vec<Note>,
    /// Rows that take no part, with the reason.
    pub left_out: Vec<LeftOut>,
    /// Every input file with its hash.
    pub inputs: Vec<Input>,
    /// What became of every filled cell.
    pub cells: CellCount,
    /// Rows dropped by `--draft` because they can't be used.
    pub dropped: usize,
    /// Points that other rows may name and whose own can't be used.
    pub lost: LostPoints,
}

/// Points whose rows can't be used: what hangs on them says nothing of itself.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LostPoints {
    /// Their names.
    pub names: BTreeSet<Arc<str>>,
    /// A table of reference points can't be used as a whole: any name may be one of its.
    pub table: bool,
}

impl LostPoints {
    /// Whether a name may be one of them.
    #[must_use]
    pub fn may_be(&self, name: &str) -> bool {
        self.table || self.names.contains(name)
    }
}

/// A remark for the record: something decided or seen that no finding code fits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note {
    /// Where, if at one place.
    pub source: Option<Source>,
    /// One sentence.
    pub text: String,
}

/// A row that takes no part in the computation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// Which row.
    pub source: Source,
    /// Why (`use = no`, `comment`, `totals row`, …).
    pub reason: String,
    /// The row's filled cells as `column=text`.
    pub cells: Vec<(String, String)>,
}

/// What rows left out with `use = no` name in one of these columns, and where.
#[must_use]
pub fn left_out<'a>(rows: &'a [LeftOut], columns: &[&str]) -> BTreeMap<&'a str, &'a Source> {
    let mut names = BTreeMap::new();
    for row in rows.iter().filter(|row| row.reason == LEFT_OUT) {
        let of =
            |(column, _): &&(String, String)| columns.contains(&column.to_lowercase().as_str());
        if let Some((_, name)) = row.cells.iter().find(of) {
            names.entry(name.trim()).or_insert(&row.source);
        }
    }
    names
}

/// The reason of a row that its own `use` leaves out.
pub const LEFT_OUT: &str = "use = no";

/// An input file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Input {
    /// Name inside the job.
    pub file: String,
    /// Size in bytes.
    pub bytes: u64,
    /// SHA-256 in lower-case hexadecimal.
    pub sha256: String,
}

/// Every cell that holds something is one of these.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CellCount {
    /// Taken into the computation or the record's own fields.
    pub used: usize,
    /// Kept as an attribute or note.
    pub kept: usize,
    /// Named in a finding.
    pub named: usize,
}

/// `[job]`.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Head {
    /// Letters, digits, `. _ -`.
    pub id: String,
    /// Who made the record.
    pub supplier: Option<String>,
    /// Title.
    pub title: Option<String>,
    /// ISO 8601 date, `2026-05-14`.
    pub located_on: Option<String>,
    /// `located_by`, `client`, `site`, `address`, `parcel`, `permit`, `note`, `checked_by`, `licence`, `supersedes`.
    pub texts: BTreeMap<String, String>,
    /// Revision, from 0.
    pub revision: Option<u32>,
}

/// `[grid]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    /// `EPSG:2264`, or `local`.
    pub crs: String,
    /// Unit of plain numbers.
    pub unit: LengthUnit,
    /// Height datum: name, EPSG code, or `local`.
    pub vertical: Option<String>,
    /// Geoid model behind the heights, as named.
    pub geoid: Option<String>,
    /// Mean ground height of the site, metres.
    pub height: Option<f64>,
    /// Taped lengths run along the slope.
    pub taped_on_slope: bool,
    /// Distances are grid distances already.
    pub distances_on_grid: bool,
    /// Ellipsoidal height minus height in `vertical`, metres.
    pub geoid_separation: Option<f64>,
    /// Radians east; `None` takes the World Magnetic Model.
    pub declination: Option<f64>,
}

/// `[equipment]`; lengths in metres.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Equipment {
    /// Along the rod, from the lens back to the transmitter's centre; 0 where it is not given.
    pub lens_to_transmitter: Option<f64>,
    /// Transmitter axis above the invert.
    pub axis_above_invert: Option<f64>,
    /// Sensing point above the ground while end points and crossline are found.
    pub sensor_height: f64,
    /// Pole for heights and logs.
    pub antenna_height: f64,
    /// Signal readings are proportional to field strength.
    pub signal_is_linear: bool,
    /// `receiver`, `serial`, `frequency`, `last_checked`.
    pub texts: BTreeMap<String, String>,
}

/// The way the counter grows, or the end that has station 0.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Stream {
    /// Toward, or at, the downstream end.
    #[default]
    Down,
    /// Toward, or at, the upstream end.
    Up,
}

impl Stream {
    /// As the files have it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Down => "downstream",
            Self::Up => "upstream",
        }
    }
}

/// Least grade of a run.
#[derive(Clone, Debug, PartialEq)]
pub enum MinGrade {
    /// A ratio, 0.02 for 2 %.
    Ratio(f64),
    /// `IPC 704.1`, by diameter.
    Ipc704,
}

/// One run; lengths in metres.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// Run id.
    pub id: Arc<str>,
    /// Inside diameter.
    pub diameter: Option<f64>,
    /// Wall thickness.
    pub wall: Option<f64>,
    /// `material`, `system`, `from`, `to`, `asset`, `main_asset`, `status`, `parcel`, `address`.
    pub texts: BTreeMap<String, String>,
    /// The way the counter grows.
    pub pushed: Stream,
    /// Least grade to check against.
    pub min_grade: Option<MinGrade>,
    /// The end with station 0 (`Up` is the default).
    pub station_from: Stream,
    /// Transmitter axis above invert, if the run says its own.
    pub axis_above_invert: Option<f64>,
    /// Run that this one joins.
    pub joins: Option<Arc<str>>,
    /// Its own row, or `[run_default]`, can't be used and was left out: what is missing here may stand there, and which way it
    /// flows is not known.
    pub lost: bool,
    /// Where it was said.
    pub source: Source,
}

/// One push of the camera.
#[derive(Clone, Debug, PartialEq)]
pub struct Push {
    /// Push name.
    pub id: Arc<str>,
    /// Index into [`Job::runs`].
    pub run: usize,
    /// Its direction.
    pub pushed: Stream,
    /// Counter with the lens at the opening, metres.
    pub counter_at_start: f64,
    /// Mark or point that is the opening.
    pub start: Option<Arc<str>>,
    /// Note.
    pub note: Option<String>,
    /// Row.
    pub source: Source,
}

/// Latitude and longitude in radians, and where they come from.
#[derive(Clone, Debug, PartialEq)]
pub struct Geographic {
    /// Latitude, radians, north positive.
    pub latitude: f64,
    /// Longitude, radians, east positive.
    pub longitude: f64,
    /// Height above the ellipsoid, metres.
    pub height: Option<f64>,
    /// Datum as written; `None` takes the default of its table and fix.
    pub datum: Option<String>,
    /// Kind of fix.
    pub fix: Option<Fix>,
    /// A mark's that it has from a reference point: in the CRS's own datum unless that is named, and of the point, not of an antenna above it.
    pub surveyed: bool,
}

/// Kind of GNSS solution.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fix {
    /// Autonomous.
    Single,
    /// Differential.
    Dgnss,
    /// Carrier phase, ambiguities not fixed.
    Float,
    /// Carrier phase, ambiguities fixed.
    Rtk,
}

/// A reference point, known or to be solved.
#[derive(Clone, Debug, PartialEq)]
pub struct Control {
    /// Name.
    pub point: Arc<str>,
    /// Easting, northing, metres (CRS value × its unit).
    pub grid: Option<(f64, f64)>,
    /// Geographic position.
    pub geographic: Option<Geographic>,
    /// Site grid x, y, metres.
    pub site: Option<(f64, f64)>,
    /// Elevation, metres.
    pub elevation: Option<f64>,
    /// Horizontal one-sigma, each axis, metres.
    pub sigma: Option<f64>,
    /// Vertical one-sigma, metres.
    pub sigma_v: Option<f64>,
    /// Description.
    pub description: Option<String>,
    /// May be used in the tie sheet.
    pub permanent: bool,
    /// In the computation, or only compared.
    pub usage: Use,
    /// Row.
    pub source: Source,
    /// Columns the tool does not know: name and text.
    pub attributes: Vec<(Arc<str>, String)>,
}

/// What a row of `marks.csv` located.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// The spot over the transmitter.
    #[default]
    Centre,
    /// Ground point ahead where the field is vertical.
    EndAhead,
    /// Ground point behind where the field is vertical.
    EndBehind,
    /// The strongest signal, marked besides the crossline.
    Peak,
    /// The pipe itself.
    Exposed,
}

impl Role {
    /// What the names of its points have after their mark's.
    #[must_use]
    pub const fn suffix(self) -> &'static str {
        match self {
            Self::Centre => "",
            Self::EndAhead => " ahead",
            Self::EndBehind => " behind",
            Self::Peak => " peak",
            Self::Exposed => " exposed",
        }
    }
}

/// One taped tie.
#[derive(Clone, Debug, PartialEq)]
pub struct Tie {
    /// Reference point.
    pub from: Arc<str>,
    /// Length, metres, as taped.
    pub length: f64,
    /// 1-based number of the tie in the row (`tie_2` is 2).
    pub number: u16,
}

/// `baseline`, `station`, `offset`; metres, offset right positive.
#[derive(Clone, Debug, PartialEq)]
pub struct BaselineOffset {
    /// Start of the line.
    pub from: Arc<str>,
    /// End of the line.
    pub to: Arc<str>,
    /// Along the line from its start.
    pub station: f64,
    /// Square off it, right positive.
    pub offset: f64,
}

/// The direction of a polar measurement.
#[derive(Clone, Debug, PartialEq)]
pub enum PolarDirection {
    /// Clockwise from a backsight, radians.
    Angle {
        /// Point sighted for zero.
        backsight: Arc<str>,
        /// Clockwise angle, radians.
        angle: f64,
    },
    /// A bearing, radians clockwise from the named north.
    Bearing {
        /// Which north.
        north: North,
        /// Clockwise from it, radians.
        bearing: f64,
    },
}

/// Which north a bearing refers to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum North {
    /// Compass.
    #[default]
    Magnetic,
    /// True north.
    True,
    /// Grid north.
    Grid,
}

/// `setup` with `angle` or `bearing`, and `distance`.
#[derive(Clone, Debug, PartialEq)]
pub struct Polar {
    /// Instrument point.
    pub setup: Arc<str>,
    /// Direction, if measured.
    pub direction: Option<PolarDirection>,
    /// Distance, metres, if measured.
    pub distance: Option<f64>,
}

/// Side of the line ref 1 → ref 2.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Left of it.
    Left,
    /// Right of it.
    Right,
}

/// Every way in which a row can give its place; several at once are all used. What few rows have stands in boxes: a job may
/// hold a million marks.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Placing {
    /// Station and offset.
    pub baseline: Option<Box<BaselineOffset>>,
    /// Taped ties.
    pub ties: Vec<Tie>,
    /// For two ties.
    pub side: Option<Side>,
    /// Polar.
    pub polar: Option<Box<Polar>>,
    /// GNSS.
    pub gnss: Option<Box<Geographic>>,
    /// Antenna above the ground for this row, metres.
    pub pole: Option<f64>,
    /// Window of the receiver log: seconds since 1970-01-01 UTC, or of the day if `located_on` dates it.
    pub window: Option<(f64, f64)>,
    /// Easting, northing, metres.
    pub grid: Option<(f64, f64)>,
    /// Horizontal one-sigma of GNSS or grid coordinates, each axis.
    pub sigma: Option<f64>,
    /// Vertical one-sigma.
    pub sigma_v: Option<f64>,
    /// Elevation from elsewhere, metres.
    pub elevation: Option<f64>,
}

/// How the receiver was made to give its depths.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ReadBy {
    /// By itself.
    #[default]
    Automatic,
    /// By hand.
    Manual,
}

/// How the transmitter lies, as the operator saw it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Attitude {
    /// Level as far as seen.
    #[default]
    Level,
    /// Tilted.
    Tilted,
    /// Upright.
    Vertical,
}

/// How the mark was found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum FoundBy {
    /// On the line across the transmitter where its field is level.
    #[default]
    Crossline,
    /// At the strongest signal.
    Peak,
}

/// Receiver's signal at the mark and about it, in its own unit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Signals {
    /// At the mark.
    pub at: Option<f64>,
    /// Ahead.
    pub ahead: Option<f64>,
    /// Behind.
    pub behind: Option<f64>,
    /// Left.
    pub left: Option<f64>,
    /// Right.
    pub right: Option<f64>,
    /// Step to each side, metres.
    pub step: Option<f64>,
    /// Seen to fall off on every side.
    pub checked: bool,
}

/// One row of `marks.csv`.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkRow {
    /// Row.
    pub source: Source,
    /// Index into [`Job::runs`].
    pub run: usize,
    /// Mark name.
    pub mark: Arc<str>,
    /// Index into [`Job::pushes`].
    pub push: Option<usize>,
    /// Counter at the lens, metres.
    pub counter: Option<f64>,
    /// What was located.
    pub role: Role,
    /// In the computation, or only compared.
    pub usage: Use,
    /// Where it is.
    pub placing: Placing,
    /// Ground elevation, metres.
    pub ground: Option<f64>,
    /// Readings as first turned, half a turn on, a quarter, three quarters; metres, lift not yet subtracted.
    pub readings: [Option<f64>; 4],
    /// How they were got.
    pub read_by: ReadBy,
    /// Receiver's lowest point above the ground, metres.
    pub lift: f64,
    /// As the operator saw it.
    pub attitude: Attitude,
    /// How the mark was found.
    pub found_by: FoundBy,
    /// Taped from the mark to the end point ahead, metres.
    pub end_ahead: Option<f64>,
    /// Taped from the mark to the end point behind, metres.
    pub end_behind: Option<f64>,
    /// Signals, where any were noted.
    pub signals: Option<Box<Signals>>,
    /// Given tilt, radians, lens end up positive.
    pub tilt: Option<f64>,
    /// Exposed: measured, ground to invert, metres.
    pub invert_depth: Option<f64>,
    /// What is on the pipe here.
    pub fitting: Option<String>,
    /// As a named professional assigned it: level and by whom.
    pub quality: Option<Box<(String, Option<String>)>>,
    /// Photo file name.
    pub photo: Option<String>,
    /// Note.
    pub note: Option<String>,
    /// Columns the tool does not know: name and text.
    pub attributes: Vec<(Arc<str>, String)>,
}

/// What `measures.csv` measured; metres and radians.
#[derive(Clone, Debug, PartialEq)]
pub enum MeasureKind {
    /// Taped from–to.
    Distance,
    /// Clockwise at `at`, from backsight to target.
    Angle {
        /// Instrument point.
        at: Arc<str>,
    },
    /// From–to, clockwise from the named north.
    Bearing {
        /// Which north.
        north: North,
    },
    /// Height of `to` above `from`.
    HeightDifference,
}

/// One row of `measures.csv`.
#[derive(Clone, Debug, PartialEq)]
pub struct Measure {
    /// What.
    pub kind: MeasureKind,
    /// From, or the backsight.
    pub from: Arc<str>,
    /// To, or the target.
    pub to: Arc<str>,
    /// Metres or radians.
    pub value: f64,
    /// One-sigma, metres or radians.
    pub sigma: Option<f64>,
    /// Note.
    pub note: Option<String>,
    /// In the computation, or only compared.
    pub usage: Use,
    /// Row.
    pub source: Source,
}

/// One row of `camera.csv`.
#[derive(Clone, Debug, PartialEq)]
pub struct CameraRow {
    /// Index into [`Job::runs`].
    pub run: usize,
    /// Index into [`Job::pushes`].
    pub push: Option<usize>,
    /// Counter at the lens, metres.
    pub counter: f64,
    /// Counter at the end of a stretch, metres.
    pub until: Option<f64>,
    /// What was seen.
    pub what: String,
    /// Position on the wall, 1 to 12.
    pub clock: Option<String>,
    /// Note.
    pub note: Option<String>,
    /// Photo file name.
    pub photo: Option<String>,
    /// A dig page is asked for.
    pub dig: bool,
    /// Row.
    pub source: Source,
    /// Columns the tool does not know.
    pub attributes: Vec<(Arc<str>, String)>,
}

/// One row of `levels.csv`; metres.
#[derive(Clone, Debug, PartialEq)]
pub struct LevelRow {
    /// Point.
    pub point: Arc<str>,
    /// Backsight reading.
    pub backsight: Option<f64>,
    /// Intermediate sight.
    pub intermediate: Option<f64>,
    /// Foresight.
    pub foresight: Option<f64>,
    /// Length of the set-up's sights.
    pub distance: Option<f64>,
    /// Row.
    pub source: Source,
}
