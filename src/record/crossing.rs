//! Where a run crosses, or comes near, something of a site plan. Units as in [`super::model`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::model::{Ellipse, Geographic};

/// What joins a vertex of a run to the next one: all that a place between them needs besides the two.
///
/// Without `place`, `depth` or `invert`, errors of the two are taken as going the same way, which is the widest that they can combine to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Joint {
    /// Covariance of this place (rows: easting, northing) with the next, result unit squared.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub place: Option<[[f64; 2]; 2]>,
    /// Covariance of the two transmitter depths, result unit squared.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub depth: Option<f64>,
    /// Covariance of the two inverts, result unit squared.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub invert: Option<f64>,
    /// Semi-minor axis of what the cable allows beyond the straight line to the next, 95 %, result unit.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub bulge: Option<f64>,
}

/// A layer of a site plan that was laid under the job, and what was made of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PlanLayer {
    /// File.
    pub file: String,
    /// Layer.
    pub layer: String,
    /// What its features are taken for.
    pub role: String,
    /// `given` by the layers file, `guessed` from its name, or `unknown`.
    pub role_from: String,
    /// It takes part.
    pub used: bool,
    /// Number of its features.
    pub features: usize,
    /// How it came to the job's grid.
    pub placed: String,
}

/// A line or point of a site plan near the job, for the drawing under the runs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlanShape {
    /// Layer of the plan.
    pub layer: String,
    /// What the layer is taken for.
    pub role: String,
    /// Easting, northing, CRS unit; one alone is a point.
    pub points: Vec<[f64; 2]>,
}

/// How a run meets a feature of the plan.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Meeting {
    /// The run's line crosses the feature's line or edge.
    Crosses,
    /// The whole run lies inside the feature's area.
    Within,
    /// The run comes within the distance asked for.
    Near,
}

impl Meeting {
    /// The word in every file.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Crosses => "crosses",
            Self::Within => "within",
            Self::Near => "near",
        }
    }
}

/// Whether a required separation is kept, with the 95 % bound held against it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Separation {
    /// Kept, the bound included.
    #[serde(rename = "met")]
    Met,
    /// Not kept, the bound included.
    #[serde(rename = "not met")]
    NotMet,
    /// The bound straddles the requirement, or a figure is missing.
    #[serde(rename = "can't be told")]
    CannotBeTold,
}

impl Separation {
    /// The words in every file.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Met => "met",
            Self::NotMet => "not met",
            Self::CannotBeTold => "can't be told",
        }
    }
}

/// The direction of a separation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// In plan.
    Horizontal,
    /// In height.
    Vertical,
}

impl Direction {
    /// The word in every file.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Horizontal => "horizontal",
            Self::Vertical => "vertical",
        }
    }
}

/// A required separation and how it stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Requirement {
    /// Which way.
    pub direction: Direction,
    /// How much, result unit.
    pub required: f64,
    /// Where the requirement comes from, as entered.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub source: Option<String>,
    /// Met, not met, or can't be told.
    pub verdict: Separation,
}

/// One place where a run crosses a feature of a site plan, or its nearest place to one.
///
/// Bounds hold the run's own uncertainty, the plan's where the layers file states it, and that of the tie or the datum operation
/// that brought the plan to the job's grid; the ellipse is the pipe's alone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Crossing {
    /// `supplier/job/run/x<number>`.
    pub id: String,
    /// Run id.
    pub run: String,
    /// How they meet.
    pub meeting: Meeting,
    /// Role of the feature's layer.
    pub role: String,
    /// Layer of the plan.
    pub layer: String,
    /// Kind of a utility, as entered: `water`, `gas`, …
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub kind: Option<String>,
    /// The feature's own name, where the plan has one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub name: Option<String>,
    /// Horizontal distance along the run.
    pub station: f64,
    /// CRS unit, on the run's line.
    pub easting: f64,
    /// CRS unit, on the run's line.
    pub northing: f64,
    /// WGS 84.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub geographic: Option<Geographic>,
    /// 95 % ellipse of the pipe's place there.
    #[serde(flatten)]
    pub ellipse: Option<Ellipse>,
    /// Of a crossing: 95 % bound of how far along the feature's line the pipe may cross from here.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub along_95: Option<f64>,
    /// From the run's line to the feature as drawn; 0 where they cross.
    pub distance: f64,
    /// The same, less the halves of the outside widths of both that are known; not below 0.
    pub clearance: f64,
    /// 95 % bound of distance and clearance; of a crossing, how far the pipe may lie square off where it crosses.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub clearance_95: Option<f64>,
    /// Ground to transmitter axis there, interpolated.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub transmitter_depth: Option<f64>,
    /// Its 95 % bound, and the cover's.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub depth_95: Option<f64>,
    /// Ground to the outside top of the pipe there, interpolated.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub cover: Option<f64>,
    /// Lower one-sided 95 % bound of the cover there.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub cover_least: Option<f64>,
    /// Invert elevation there, interpolated.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub invert: Option<f64>,
    /// Its 95 % bound.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub invert_95: Option<f64>,
    /// `over` or `under`: how the pipe passes the other utility.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub passes: Option<String>,
    /// Between the outsides of pipe and other utility, in height; negative where they would overlap.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub vertical_clearance: Option<f64>,
    /// Its 95 % bound.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub vertical_clearance_95: Option<f64>,
    /// The separation required there, and whether it is kept.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub requirement: Option<Requirement>,
    /// The feature: `plan.gpkg!water:12`.
    pub source: String,
}
