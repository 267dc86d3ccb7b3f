//! The as-built record: what every deliverable is drawn from.
//!
//! **Units.** `easting`, `northing` and a reference's coordinates are in the CRS's own unit; every other length
//! is in the result unit (`frame.unit`); `longitude`, `latitude` are WGS 84 degrees and `ellipsoidal_height` is in
//! metres; angles are degrees; grades are percent, falling with the flow positive. Elevations (`ground`, `invert`) are
//! in the result unit. Exporters convert nothing but what their format demands (z of projected formats: CRS unit).
//!
//! **Guaranteed**: no number is NaN or infinite; what isn't known is `None`, never 0; runs' vertices are in the direction
//! of flow; marks are in run order, by station; references and findings are in a fixed order; nothing here depends on a
//! clock, a thread count or a hash order.
//!
//! **Limits**: strings are as entered, unescaped: every writer escapes for its own format.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::crs::{Crs, CrsError};
use crate::findings::Finding;
use crate::units::LengthUnit;

pub use super::crossing::{
    Crossing, Direction, Joint, Meeting, PlanLayer, PlanShape, Requirement, Separation,
};

/// Version of the record's schema.
pub const SCHEMA: &str = "aslaid record 1";

/// Why a job in site coordinates has no place on the Earth, and what is missing.
pub const NO_GEOREFERENCE: &str = "the job is in site coordinates and nothing ties it to the earth: give [grid] crs, and control points that have both x, y \
     and easting, northing";

/// The whole record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AsBuilt {
    /// [`SCHEMA`].
    pub schema: String,
    /// Program and version that made it.
    pub generator: String,
    /// SHA-256 of this record written without this field, lower-case hexadecimal.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub hash: Option<String>,
    /// Present only in a draft.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub draft: Option<Draft>,
    /// Who, where, when.
    pub job: JobHead,
    /// Coordinate system, units, datum operations.
    pub frame: Frame,
    /// Equipment as entered.
    pub equipment: Equipment,
    /// How the bounds were come by, and what bears them out.
    pub accuracy: Accuracy,
    /// Sigmas in force.
    pub sigmas: Vec<Setting>,
    /// Limits in force.
    pub limits: Vec<Setting>,
    /// The plane adjustment as a whole.
    pub adjustment: Adjustment,
    /// Pushes, where the job names them.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub pushes: Vec<Push>,
    /// Runs.
    pub runs: Vec<Run>,
    /// Marks, run by run, by station.
    pub marks: Vec<Mark>,
    /// Camera observations, run by run, by counter.
    pub camera: Vec<Camera>,
    /// Reference points, in the order of `control.csv`, then solved ones.
    pub references: Vec<Reference>,
    /// Ties for the sheet.
    pub ties: Vec<Tie>,
    /// Layers of the site plans that were laid under the job.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub plans: Vec<PlanLayer>,
    /// What they show about the job, to be drawn under the runs.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub underlay: Vec<PlanShape>,
    /// Where runs cross or come near what site plans show, run by run, by station.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub crossings: Vec<Crossing>,
    /// Every measurement with its residual.
    pub measurements: Vec<Measurement>,
    /// Check shots.
    pub checks: Vec<Check>,
    /// What to measure next, and what readings from the surface can't answer.
    pub advice: Vec<Advice>,
    /// What the checks say, errors first.
    pub findings: Vec<Finding>,
    /// Remarks that no finding code fits.
    pub notes: Vec<Note>,
    /// Rows that took no part.
    pub left_out: Vec<LeftOut>,
    /// Input files.
    pub inputs: Vec<Input>,
    /// What became of every filled cell.
    pub cells: Cells,
    /// The cautions that go with every deliverable.
    pub cautions: Vec<String>,
    /// Further columns of `marks.csv` that may leave the record, as `[publish] columns` names them.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub published: Vec<String>,
    /// Names that the job gives layers of its drawing, by key; see [`crate::export::dxf::layers`].
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub layers: BTreeMap<String, String>,
}

/// A draft leaves out rows that can't be used.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Draft {
    /// Rows left out because they can't be used.
    pub left_out: usize,
}

impl Draft {
    /// `DRAFT, 2 rows left out`: how every deliverable says it.
    #[must_use]
    pub fn words(&self) -> String {
        match self.left_out {
            0 => "DRAFT, no row left out".to_owned(),
            1 => "DRAFT, 1 row left out".to_owned(),
            count => format!("DRAFT, {count} rows left out"),
        }
    }
}

/// `[job]` of `job.toml`, as entered.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct JobHead {
    /// Job id.
    pub id: String,
    /// Who made the record.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub supplier: Option<String>,
    /// Title.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub title: Option<String>,
    /// Date, ISO 8601.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub located_on: Option<String>,
    /// Revision.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub revision: Option<u32>,
    /// `located_by`, `client`, `site`, `address`, `parcel`, `permit`, `note`, `checked_by`, `licence`, `supersedes`.
    #[serde(flatten)]
    pub texts: BTreeMap<String, String>,
}

/// Coordinate system, units, and how positions came into it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Frame {
    /// `EPSG:2264`, or `local`.
    pub crs: String,
    /// Its name.
    pub crs_name: String,
    /// The CRS that the job's own coordinates are in, where results were asked for in another.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub given_crs: Option<String>,
    /// No georeference: site coordinates.
    pub local: bool,
    /// Name of the CRS's unit.
    pub crs_unit: String,
    /// Metres in one of the CRS's unit.
    pub crs_unit_metres: f64,
    /// Result unit.
    pub unit: LengthUnit,
    /// Height datum, as entered.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub vertical: Option<String>,
    /// Geoid model, as entered.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub geoid: Option<String>,
    /// Ellipsoidal height minus height in `vertical`.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub geoid_separation: Option<f64>,
    /// Mean ground height of the site.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub height: Option<f64>,
    /// Point scale of the projection at the site.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub grid_scale: Option<f64>,
    /// R / (R + h).
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub height_factor: Option<f64>,
    /// Their product: grid distance over ground distance.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub combined_factor: Option<f64>,
    /// Grid convergence at the site, degrees: true azimuth = grid azimuth + convergence.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub convergence: Option<f64>,
    /// Magnetic declination, degrees east; absent where it is not known.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub declination: Option<f64>,
    /// Where the declination came from; where there is none, that compass bearings were taken without one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub declination_from: Option<String>,
    /// Datum operations used.
    pub operations: Vec<Operation>,
    /// `slope`, where taped lengths run along it; absent where they are level.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub taped: Option<String>,
    /// `grid`, where taped lengths are the grid's; absent where they are the ground's.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub distances: Option<String>,
    /// Site grid, if the job had one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub site_grid: Option<SiteGrid>,
    /// The CRS as PROJJSON, for formats that carry it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub projjson: Option<serde_json::Value>,
    /// The CRS as WKT2:2019, for formats that carry it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub wkt: Option<String>,
}

impl Frame {
    /// The coordinate system, ready to compute in: [by way of](Crs::by_way_of) the one that the coordinates were given in.
    ///
    /// # Errors
    /// A code that the registry doesn't have.
    pub fn system(&self) -> Result<Crs, CrsError> {
        let crs = Crs::new(&self.crs, self.unit)?;
        match &self.given_crs {
            Some(code) => Ok(crs.by_way_of(&Crs::new(code, self.unit)?)),
            None => Ok(crs),
        }
    }
}

/// A datum operation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Operation {
    /// From this CRS or datum.
    pub from: String,
    /// To this CRS.
    pub to: String,
    /// PROJ's name of the operation.
    pub name: String,
    /// Its stated accuracy, metres.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub accuracy_m: Option<f64>,
    /// Its area of use.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub area: Option<String>,
    /// Only a ballpark operation was to be had.
    pub ballpark: bool,
    /// It is one, and one of the two datums is of the time before satellites: it may lie hundreds of metres off.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub old_datum: bool,
    /// Coordinate epoch, where known.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub epoch: Option<f64>,
}

impl Operation {
    /// `good to 4 m`: how good its results are, in words; `None` where it adds nothing, or nothing is stated.
    #[must_use]
    pub fn worth(&self) -> Option<String> {
        let accuracy = self.accuracy_m.filter(|metres| *metres > 0.0);
        match (self.ballpark, accuracy) {
            (true, _) => Some(
                "a ballpark operation, which leaves out the difference of the datums".to_owned(),
            ),
            (false, Some(metres)) => Some(format!("good to {metres} m")),
            (false, None) => None,
        }
    }
}

impl Frame {
    /// What is to be known of the places on the Earth, beside their ellipses: by which operation they came there from the grid, if
    /// that one has an accuracy of its own. One sentence.
    #[must_use]
    pub fn on_earth(&self) -> Option<String> {
        let out = |of: &&Operation| of.from == self.crs_name && of.to == "WGS 84";
        let by = self.operations.iter().find(out)?;
        Some(format!(
            "Places on the Earth are by the operation \"{}\", {}: not in the ellipses.",
            by.name,
            by.worth()?
        ))
    }
}

/// The similarity from the site grid.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SiteGrid {
    /// Grid distance over site distance.
    pub scale: f64,
    /// Clockwise rotation from site north to grid north, degrees.
    pub rotation: f64,
    /// Easting of the site origin, CRS unit.
    pub easting: f64,
    /// Northing of the site origin, CRS unit.
    pub northing: f64,
    /// Points that both systems know.
    pub points: usize,
    /// Their residuals: point, easting, northing, result unit.
    pub residuals: Vec<(String, f64, f64)>,
}

/// Equipment as entered; lengths in the result unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Equipment {
    /// Lens back to the transmitter.
    pub lens_to_transmitter: f64,
    /// Transmitter axis above the invert.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub axis_above_invert: Option<f64>,
    /// Sensing point above the ground while end points and crossline are found; absent where it is on it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sensor_height: Option<f64>,
    /// Antenna above the ground, where a row does not say its own; absent where heights are the ground's.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub antenna_height: Option<f64>,
    /// Signal readings are proportional to field strength; absent where they are not said to be.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub signal_is_linear: bool,
    /// Receiver, serial, frequency, last check.
    #[serde(flatten)]
    pub texts: BTreeMap<String, String>,
}

/// What the bounds rest on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum AccuracyBasis {
    /// Propagated from stated sigmas.
    #[default]
    Modelled,
    /// Borne out by check shots or exposures of the job.
    Tested,
}

impl AccuracyBasis {
    /// The word in every file.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Modelled => "modelled",
            Self::Tested => "tested",
        }
    }
}

/// Statement of accuracy.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Accuracy {
    /// Basis.
    pub basis: AccuracyBasis,
    /// One or two sentences.
    pub statement: String,
    /// Comparisons made (check shots and exposures).
    pub compared: usize,
    /// How many lay inside their stated bound.
    pub inside: usize,
    /// Root mean square horizontal difference, result unit.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub rmse_horizontal: Option<f64>,
    /// Root mean square vertical difference, result unit.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub rmse_vertical: Option<f64>,
}

/// A sigma or limit in force.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Setting {
    /// Name in `job.toml`.
    pub name: String,
    /// Value in the result unit, degrees, or a plain number; absent where there is no limit.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub value: Option<f64>,
    /// `m`, `ft`, `us-ft`, `degree`, or `1`.
    pub unit: String,
    /// Set by the job.
    pub given: bool,
    /// Where the value comes from: the source of the default, or `the job`.
    pub source: String,
}

/// The adjustment as a whole: places, and heights with them.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Adjustment {
    /// Measurements of places.
    pub equations: usize,
    /// Unknowns of places, shared shifts among them.
    pub unknowns: usize,
    /// Spare measurements, which the variance factor is over: those of places and of heights. What is known of a shared shift beforehand counts,
    /// two values that only touch do not.
    pub redundancy: usize,
    /// Those of heights among them.
    #[serde(default)]
    pub redundancy_of_heights: usize,
    /// Parts that share no unknown.
    pub components: usize,
    /// A-posteriori variance factor.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub variance_factor: Option<f64>,
    /// Lower 2.5 % bound of it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub variance_lower: Option<f64>,
    /// Upper 97.5 % bound of it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub variance_upper: Option<f64>,
}

/// A 95 % error ellipse; lengths in the result unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Ellipse {
    /// Semi-major axis.
    pub semi_major_95: f64,
    /// Semi-minor axis.
    pub semi_minor_95: f64,
    /// Grid azimuth of the major axis, degrees, 0 to 180.
    pub azimuth_95: f64,
}

/// Geographic place, WGS 84.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Geographic {
    /// Degrees, east positive.
    pub longitude: f64,
    /// Degrees, north positive.
    pub latitude: f64,
    /// Metres above the ellipsoid, of the invert, where known.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ellipsoidal_height: Option<f64>,
}

/// How well a place is known to be the pipe's.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Evidence {
    /// From records.
    Records,
    /// Interpolated, or a bend that nothing located.
    Inferred,
    /// From the surface.
    Located,
    /// Seen and measured.
    Exposed,
}

impl Evidence {
    /// The word in every file.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Records => "records",
            Self::Inferred => "inferred",
            Self::Located => "located",
            Self::Exposed => "exposed",
        }
    }
}

/// What an accepted depth rests on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum DepthBasis {
    /// Readings of the receiver.
    Readings,
    /// The end points' distance.
    Ends,
    /// The pipe was seen and measured.
    Exposed,
    /// Nothing.
    #[default]
    None,
}

impl DepthBasis {
    /// The word in every file.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Readings => "readings",
            Self::Ends => "ends",
            Self::Exposed => "exposed",
            Self::None => "none",
        }
    }
}

/// One push of the camera, as entered; its note is among the notes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Push {
    /// Push name.
    pub push: String,
    /// Run id.
    pub run: String,
    /// `downstream` or `upstream`.
    pub pushed: String,
    /// Cable counter with the lens at the opening.
    pub counter_at_start: f64,
    /// Mark or point that is the opening.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub start: Option<String>,
    /// Row.
    pub source: String,
}

/// A run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Run {
    /// `supplier/job/run`.
    pub id: String,
    /// Run id.
    pub run: String,
    /// Length in 3D; in plan where the inverts aren't known.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub length: Option<f64>,
    /// Horizontal length of the run as drawn.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub length_plan: Option<f64>,
    /// 95 % bound of `length`: of the pipe's own, so that bends which may lie between two marks though none is drawn are in it, and that
    /// the drawn line goes to and fro between marks on one spot.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub length_95: Option<f64>,
    /// Fall from the upstream end to the downstream end.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub fall: Option<f64>,
    /// Its 95 % bound.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub fall_95: Option<f64>,
    /// Grade of the best line, percent.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub grade: Option<f64>,
    /// Its 95 % bound, percent.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub grade_95: Option<f64>,
    /// Whether a uniform grade fits (chi-square test at 95 %).
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub grade_uniform: Option<bool>,
    /// Least cover at a mark.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub min_cover: Option<f64>,
    /// Greatest transmitter depth at a mark.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub max_depth: Option<f64>,
    /// Inside diameter.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub diameter: Option<f64>,
    /// Wall thickness.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub wall: Option<f64>,
    /// Transmitter axis above the invert, where the run says its own.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub axis_above_invert: Option<f64>,
    /// Least grade that it is held against, percent.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub min_grade: Option<f64>,
    /// The table that the least grade is taken from, where the job names one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub min_grade_from: Option<String>,
    /// `downstream` or `upstream`.
    pub pushed: String,
    /// Station 0 is at the `upstream` or `downstream` end.
    pub station_from: String,
    /// Run that it joins.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub joins: Option<String>,
    /// Number of marks.
    pub marks: usize,
    /// Its weakest evidence.
    pub evidence: Evidence,
    /// `material`, `system`, `from`, `to`, `asset`, `main_asset`, `status`, `parcel`, `address`, `permit`.
    #[serde(flatten)]
    pub texts: BTreeMap<String, String>,
    /// Vertices in the direction of flow.
    pub vertices: Vec<Vertex>,
    /// Where it was said.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub source: Option<String>,
}

/// What a vertex of a run is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum VertexKind {
    /// A mark.
    Mark,
    /// A bend that nothing located.
    Bend,
    /// The place where a branch meets this run.
    Junction,
}

impl VertexKind {
    /// The word in every file.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Mark => "mark",
            Self::Bend => "bend",
            Self::Junction => "junction",
        }
    }
}

/// A vertex of a run: a row of `profile.csv`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Vertex {
    /// Kind.
    pub kind: VertexKind,
    /// Mark name, for marks and junctions.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub mark: Option<String>,
    /// Horizontal distance along the run.
    pub station: f64,
    /// Length along the pipe in 3D, where inverts are known.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub along_pipe: Option<f64>,
    /// CRS unit.
    pub easting: f64,
    /// CRS unit.
    pub northing: f64,
    /// WGS 84.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub geographic: Option<Geographic>,
    /// 95 % ellipse.
    #[serde(flatten)]
    pub ellipse: Option<Ellipse>,
    /// Ground elevation.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ground: Option<f64>,
    /// Ground to transmitter axis.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub transmitter_depth: Option<f64>,
    /// Ground to the outside top of the pipe.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub cover: Option<f64>,
    /// Invert elevation.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub invert: Option<f64>,
    /// Its 95 % bound.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub invert_95: Option<f64>,
    /// Grade to the next vertex downstream, percent, falling positive.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub grade: Option<f64>,
    /// Its 95 % bound.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub grade_95: Option<f64>,
    /// 95 % bound of the transmitter depth.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub depth_95: Option<f64>,
    /// How its errors go together with those of the next vertex downstream.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub joint: Option<Joint>,
    /// Evidence.
    pub evidence: Evidence,
}

/// A located point of a run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Mark {
    /// `supplier/job/run/mark`.
    pub id: String,
    /// Run id.
    pub run: String,
    /// Mark name.
    pub mark: String,
    /// Horizontal distance along the run.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub station: Option<f64>,
    /// Cable counter as entered.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub counter: Option<f64>,
    /// Length along the pipe in 3D.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub along_pipe: Option<f64>,
    /// The transmitter's place, CRS unit.
    pub easting: f64,
    /// The transmitter's place, CRS unit.
    pub northing: f64,
    /// The transmitter's place, WGS 84.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub geographic: Option<Geographic>,
    /// 95 % ellipse of the transmitter's place.
    #[serde(flatten)]
    pub ellipse: Option<Ellipse>,
    /// Radius of the circle that holds 95 %.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub horizontal_95: Option<f64>,
    /// Adjusted place of the paint: CRS unit, with its own ellipse.
    pub paint: Paint,
    /// Ground elevation.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ground: Option<f64>,
    /// Where the ground elevation came from: `ground`, `levelled`, `elevation`, `gnss`, `interpolated`.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ground_from: Option<String>,
    /// Ground to transmitter axis, accepted.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub transmitter_depth: Option<f64>,
    /// Its basis.
    pub depth_basis: DepthBasis,
    /// Ground to the outside top of the pipe.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub cover: Option<f64>,
    /// Lower one-sided 95 % bound of the cover.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub cover_least: Option<f64>,
    /// Invert elevation.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub invert: Option<f64>,
    /// Ground to invert.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub invert_depth: Option<f64>,
    /// 95 % bound of the invert's elevation.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub invert_95: Option<f64>,
    /// 95 % bound of the depth.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub depth_95: Option<f64>,
    /// Transmitter's tilt used, degrees, lens end up positive.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub tilt: Option<f64>,
    /// Grid azimuth of the pipe here in the push direction, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub axis_azimuth: Option<f64>,
    /// Its 95 % bound, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub axis_azimuth_95: Option<f64>,
    /// Evidence.
    pub evidence: Evidence,
    /// Basis of the bounds.
    pub accuracy_basis: AccuracyBasis,
    /// Redundancy of the position: sum of redundancy numbers of its own measurements.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub redundancy: Option<f64>,
    /// Largest absolute standardised residual of its own measurements.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub largest_residual: Option<f64>,
    /// Fix of its GNSS position.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub fix: Option<Fix>,
    /// What else its row says of how it was located.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub entered: Option<Box<Entered>>,
    /// Fitting.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub fitting: Option<String>,
    /// Note.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub note: Option<String>,
    /// Photo file name.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub photo: Option<String>,
    /// Quality level as a named professional assigned it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub quality_level: Option<String>,
    /// Who assigned it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub quality_by: Option<String>,
    /// Codes of its findings, sorted, space-separated; absent where there is none.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub findings: Option<String>,
    /// Row that its place comes from.
    pub source: String,
    /// Further rows of the same mark.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub further_sources: Vec<String>,
    /// What those say of how they were located, where they say anything.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub further: Vec<Further>,
    /// Readings as entered less lift, and how they were accepted.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub reading: Option<Reading>,
    /// End points.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ends: Option<Ends>,
    /// How far the mark was moved to the transmitter.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub correction: Option<Correction>,
    /// For an exposed mark that was located too: what the surface said.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub predicted: Option<Predicted>,
    /// The strongest signal, if it was marked beside the crossline.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub peak: Option<Peak>,
    /// Columns the tool does not know, as entered.
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub attributes: BTreeMap<String, String>,
}

/// Kind of GNSS solution.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
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

/// What a row of `marks.csv` says of how it was located, as entered; lengths in the result unit. What has its default is absent.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Entered {
    /// Vertical one-sigma of its position.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sigma_v: Option<f64>,
    /// Antenna above the ground.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pole: Option<f64>,
    /// Receiver's lowest point above the ground during the readings.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub lift: Option<f64>,
    /// `tilted` or `vertical`: how the transmitter lay, as it was seen.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub attitude: Option<String>,
    /// `peak`: found by the strongest signal.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub found_by: Option<String>,
    /// The signal was seen to fall off on every side.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub peak_checked: bool,
    /// Receiver's signal at the mark, in its own unit.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub signal: Option<f64>,
    /// The same ahead.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub signal_ahead: Option<f64>,
    /// The same behind.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub signal_behind: Option<f64>,
    /// The same to the left.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub signal_left: Option<f64>,
    /// The same to the right.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub signal_right: Option<f64>,
    /// Step to each side.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub signal_step: Option<f64>,
}

impl Mark {
    /// The transmitter stood upright, in a stack: its depth is not that of a pipe that lies there.
    #[must_use]
    pub fn upright(&self) -> bool {
        let attitude = self
            .entered
            .as_ref()
            .and_then(|entered| entered.attitude.as_deref());
        attitude == Some("vertical") && self.evidence != Evidence::Exposed
    }
}

/// A further row of a mark.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Further {
    /// Row.
    pub source: String,
    /// Fix of its GNSS position.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub fix: Option<Fix>,
    /// What else it says of how it was located.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub entered: Option<Box<Entered>>,
    /// What is on the pipe here.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub fitting: Option<String>,
    /// Note.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub note: Option<String>,
    /// File name of a photo.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub photo: Option<String>,
    /// Utility quality level as a named professional assigned it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub quality_level: Option<String>,
    /// Who assigned it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub quality_by: Option<String>,
    /// Columns the tool does not know.
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub attributes: BTreeMap<String, String>,
}

/// Adjusted place of the paint mark.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Paint {
    /// CRS unit.
    pub easting: f64,
    /// CRS unit.
    pub northing: f64,
    /// Of measuring alone.
    #[serde(flatten)]
    pub ellipse: Option<Ellipse>,
}

/// The readings and how they were accepted; result unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Reading {
    /// Readings less lift: as first turned, half a turn on, a quarter, three quarters.
    pub depths: [Option<f64>; 4],
    /// `automatic` or `manual`.
    pub read_by: String,
    /// `first pair`, `second pair`, `all`, `single`.
    pub accepted: String,
    /// Spread of the pair that decided, part of its mean.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub spread: Option<f64>,
    /// One-sigma, mark by mark.
    pub sigma: f64,
}

/// End points; result unit and degrees.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Ends {
    /// Mark to the end point ahead.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ahead: Option<f64>,
    /// Mark to the end point behind.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub behind: Option<f64>,
    /// Depth below the ground that they give.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub depth: Option<f64>,
    /// Its 95 % bound.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub depth_95: Option<f64>,
}

/// From paint to transmitter; result unit and degrees.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Correction {
    /// Along the push direction, ahead positive.
    pub along: f64,
    /// Tilt it was computed with, lens end up positive.
    pub tilt: f64,
    /// `slope`, `given`, `signals`, `peak`, `vertical`.
    pub tilt_from: String,
}

/// The strongest signal, marked beside the crossline; lengths in the result unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Peak {
    /// CRS unit.
    pub easting: f64,
    /// CRS unit.
    pub northing: f64,
    /// Of measuring alone.
    #[serde(flatten)]
    pub ellipse: Option<Ellipse>,
    /// From the mark along the push direction, ahead positive.
    pub along: f64,
    /// To the right of the push direction.
    pub across: f64,
}

/// What the surface said of a mark that was later exposed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Predicted {
    /// CRS unit.
    pub easting: f64,
    /// CRS unit.
    pub northing: f64,
    /// 95 % ellipse.
    #[serde(flatten)]
    pub ellipse: Option<Ellipse>,
    /// Ground to invert.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub invert_depth: Option<f64>,
    /// Its 95 % bound.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub depth_95: Option<f64>,
}

/// A camera observation with its computed place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Camera {
    /// `supplier/job/run/c<number>`.
    pub id: String,
    /// Run id.
    pub run: String,
    /// Push, if named.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub push: Option<String>,
    /// Counter as entered.
    pub counter: f64,
    /// Horizontal distance along the run.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub station: Option<f64>,
    /// What was seen.
    pub what: String,
    /// Position on the wall.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub clock: Option<String>,
    /// CRS unit; absent where it has no place.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub easting: Option<f64>,
    /// CRS unit.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub northing: Option<f64>,
    /// WGS 84.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub geographic: Option<Geographic>,
    /// 95 % ellipse.
    #[serde(flatten)]
    pub ellipse: Option<Ellipse>,
    /// Ground to transmitter axis there.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub transmitter_depth: Option<f64>,
    /// 95 % bound of the depth there.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub depth_95: Option<f64>,
    /// Invert elevation there.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub invert: Option<f64>,
    /// Ground to invert there.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub invert_depth: Option<f64>,
    /// 95 % bound of the invert there.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub invert_95: Option<f64>,
    /// Lower one-sided 95 % bound of the cover there.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub cover_least: Option<f64>,
    /// Beyond the first or last mark.
    pub extrapolated: bool,
    /// End of a stretch.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub until: Option<StretchEnd>,
    /// Note.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub note: Option<String>,
    /// Photo file name.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub photo: Option<String>,
    /// A dig page is asked for.
    pub dig: bool,
    /// Row.
    pub source: String,
    /// Columns the tool does not know.
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub attributes: BTreeMap<String, String>,
}

/// End of a stretch that the camera saw.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StretchEnd {
    /// Counter as entered.
    pub counter: f64,
    /// Horizontal distance along the run.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub station: Option<f64>,
    /// CRS unit.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub easting: Option<f64>,
    /// CRS unit.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub northing: Option<f64>,
}

/// A reference point.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Reference {
    /// `supplier/job/point`.
    pub id: String,
    /// Name.
    pub point: String,
    /// CRS unit.
    pub easting: f64,
    /// CRS unit.
    pub northing: f64,
    /// WGS 84.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub geographic: Option<Geographic>,
    /// 95 % ellipse; absent for a point taken as exact.
    #[serde(flatten)]
    pub ellipse: Option<Ellipse>,
    /// Elevation, adjusted where it was.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub elevation: Option<f64>,
    /// Its vertical one-sigma, where one is given.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sigma_v: Option<f64>,
    /// Description.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub description: Option<String>,
    /// Solved from measurements.
    pub solved: bool,
    /// May be used in the tie sheet.
    pub permanent: bool,
    /// Row.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub source: Option<String>,
    /// Columns the tool does not know.
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub attributes: BTreeMap<String, String>,
}

/// Ties of one mark, fitting or camera observation; ground distances in the result unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Tie {
    /// `mark` or `camera`.
    pub feature: String,
    /// Id of the mark or observation.
    pub id: String,
    /// Run id.
    pub run: String,
    /// Mark name, or what the camera saw.
    pub name: String,
    /// Reference, distance rounded for the sheet, distance in full.
    pub distances: Vec<TieDistance>,
    /// 95 % semi-major axis of a place set out from these ties.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub semi_major_95: Option<f64>,
}

/// One distance of a tie.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TieDistance {
    /// Reference point.
    pub reference: String,
    /// Ground distance, result unit.
    pub distance: f64,
    /// As printed: `12'-6 1/4"`, `3.81 m`.
    pub text: String,
}

/// A measurement in the adjustment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Measurement {
    /// `distance`, `station`, `offset`, `angle`, `bearing`, `easting`, `northing`, …
    pub kind: String,
    /// Points, in the kind's own order.
    pub points: Vec<String>,
    /// As measured: result unit, CRS unit for coordinates, or degrees.
    pub value: f64,
    /// One-sigma, same unit (result unit for coordinates).
    pub sigma: f64,
    /// Adjusted less measured, unit of `sigma`.
    pub residual: f64,
    /// Residual over its own one-sigma; absent without redundancy.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub standardised: Option<f64>,
    /// Redundancy number, 0 to 1.
    pub redundancy: f64,
    /// Row.
    pub source: String,
}

/// A check shot: difference against bound.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Check {
    /// Mark or point.
    pub point: String,
    /// `horizontal`, `vertical`, `depth`, `distance`, …
    pub what: String,
    /// Difference found: check less result.
    pub difference: f64,
    /// East part of the difference of a place.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub east: Option<f64>,
    /// North part of the difference of a place.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub north: Option<f64>,
    /// Stated 95 % bound of it.
    pub bound: f64,
    /// Whether it lies inside.
    pub inside: bool,
    /// `check` or `exposure`.
    pub from: String,
    /// Row.
    pub source: String,
}

/// One piece of advice.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Advice {
    /// Mark or run it is about.
    pub about: String,
    /// `ellipse`, `invert`, `redundancy`, `grade`.
    pub concern: String,
    /// One sentence.
    pub text: String,
    /// Figure now, result unit or percent.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub now: Option<f64>,
    /// Figure with the measurement.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub then: Option<f64>,
}

/// A remark.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Note {
    /// Where, if at one place.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub source: Option<String>,
    /// One sentence; or, where it is entered, the job's own words.
    pub text: String,
    /// The job's own words: the note of a push or a further measurement.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub entered: bool,
}

impl AsBuilt {
    /// Whether a further column of `marks.csv` may leave the record.
    #[must_use]
    pub fn publishes(&self, column: &str) -> bool {
        self.published.iter().any(|name| name == column)
    }
}

impl Note {
    /// A remark of ours.
    #[must_use]
    pub fn new(source: Option<String>, text: String) -> Self {
        Self {
            source,
            text,
            entered: false,
        }
    }

    /// The note with its place before it.
    #[must_use]
    pub fn line(&self) -> String {
        match &self.source {
            Some(source) => format!("{source}: {}", self.text),
            None => self.text.clone(),
        }
    }
}

/// A row that took no part.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LeftOut {
    /// Row.
    pub source: String,
    /// Why.
    pub reason: String,
    /// Its cells.
    pub cells: BTreeMap<String, String>,
}

/// An input file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Input {
    /// Name inside the job.
    pub file: String,
    /// Size.
    pub bytes: u64,
    /// SHA-256, lower-case hexadecimal.
    pub sha256: String,
}

/// What became of every filled cell.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Cells {
    /// Used.
    pub used: usize,
    /// Kept as an attribute or note.
    pub kept: usize,
    /// Named in a finding.
    pub named: usize,
}
