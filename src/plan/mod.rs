//! Stage 10: site plans. Comes in: the record, plan files, what their layers mean. Goes out: where each run crosses, or comes
//! near, what the plans show, with bounds and clearances ([`crate::record::model::Crossing`]).
//!
//! A plan comes to the job's grid in one of these ways, and [`LayerUse::placed`] says which: it names its coordinate system;
//! the layers file names it; or common points tie it ([`tie`]). Nothing is guessed in silence: a plan that says nothing, or
//! that lands far from the job, is an error that says which system or unit would bring it near ([`far`]).
//!
//! Inside: eastings and northings of the job's coordinate system in metres, lengths in metres. Lengths are the grid's, as
//! stations are: over the few metres of a clearance, grid and ground differ by less than a millimetre.

pub mod crossing;
pub mod far;
pub mod layers;
pub mod placing;
pub mod role;
pub mod tie;
pub mod underlay;

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

use geo::{Geometry, Rect};

use crate::crs::Crs;
use crate::error::Error;
use crate::job::near;
use crate::maps;
use crate::record::AsBuilt;
use crate::record::model::{Input, Note, Operation, PlanLayer};
use layers::{Layers, Lie, Required};
use placing::{Placing, Way};
use role::{Role, RoleFrom};
use tie::Tie;

/// The job that a plan belongs to: its grid, and where on it the job lies.
#[derive(Clone, Debug)]
pub struct Site {
    /// The job's coordinate system; `None` on a site grid.
    pub crs: Option<Crs>,
    /// Code of it, or `local`.
    pub code: String,
    /// Metres in one of its unit.
    pub unit_metres: f64,
    /// The system that the job is written in, where the results are in another: "the job's" is that one.
    pub given: Option<Crs>,
    /// What the runs, marks and references of the job span, metres.
    pub extent: Rect<f64>,
    /// The lowest and the highest of its inverts and of the ground over them, metres; `None` where it has no elevations.
    pub levels: Option<[f64; 2]>,
}

impl Site {
    /// The site of a record.
    ///
    /// # Errors
    /// A record without a place, or with a coordinate system that this program does not know.
    pub fn of(record: &AsBuilt) -> Result<Self, Error> {
        let frame = &record.frame;
        let vertices = record.runs.iter().flat_map(|run| &run.vertices);
        let places = vertices
            .map(|vertex| (vertex.easting, vertex.northing))
            .chain(
                record
                    .marks
                    .iter()
                    .map(|mark| (mark.easting, mark.northing)),
            )
            .chain(
                record
                    .references
                    .iter()
                    .map(|point| (point.easting, point.northing)),
            );
        let metres = frame.crs_unit_metres;
        let extent = bounds(places.map(|(e, n)| (e * metres, n * metres))).ok_or_else(|| {
            Error::Usage("the job has no place that a plan could be laid under".to_owned())
        })?;
        let crs = if frame.local {
            None
        } else {
            Some(
                frame
                    .system()
                    .map_err(|why| Error::Usage(why.to_string()))?,
            )
        };
        Ok(Self {
            given: crs.as_ref().and_then(Crs::given),
            crs,
            code: frame.crs.clone(),
            unit_metres: metres,
            extent,
            levels: levels(record),
        })
    }

    /// Code of the system that the job is written in.
    #[must_use]
    pub fn job_code(&self) -> &str {
        self.given.as_ref().map_or(&self.code, Crs::code)
    }

    /// Metres in one of that system's unit.
    #[must_use]
    pub fn job_unit(&self) -> f64 {
        self.given
            .as_ref()
            .map_or(self.unit_metres, Crs::unit_metres)
    }
}

/// What is asked of the plans.
#[derive(Clone, Debug)]
pub struct Request<'a> {
    /// Plan files, in the order in which they are drawn.
    pub files: &'a [PathBuf],
    /// What their layers mean.
    pub layers: &'a Layers,
    /// Common points of plan and job.
    pub tie: Option<&'a Tie>,
}

/// Site plans on the job's grid.
#[derive(Clone, Debug, Default)]
pub struct Plan {
    /// Every layer that was met, used or not, in file order.
    pub layers: Vec<LayerUse>,
    /// Features of the layers in use, in file order.
    pub features: Vec<Feature>,
    /// What was decided or seen on the way, for the record.
    pub notes: Vec<Note>,
    /// Datum operations between the plans' systems and the job's, each once.
    pub operations: Vec<Operation>,
    /// The plan files.
    pub inputs: Vec<Input>,
    /// The plan files that are in use, and how their coordinates go to the job's grid.
    pub files: Vec<PlanFile>,
}

/// A plan file that is in use.
#[derive(Clone, Debug)]
pub struct PlanFile {
    /// Where it is.
    pub path: PathBuf,
    /// Its name.
    pub name: String,
    /// From its coordinates to the job's grid.
    pub way: Way,
}

/// A plan's own system: what takes the job's grid there.
#[derive(Clone, Debug)]
pub struct OwnSystem {
    /// The plan.
    pub file: PlanFile,
    /// The job.
    pub site: Site,
}

impl OwnSystem {
    /// Places in the CRS's unit in the plan's own coordinates.
    ///
    /// # Errors
    /// A place that can't be converted, in words.
    pub fn back(&self, places: &[(f64, f64)]) -> Result<Vec<(f64, f64)>, String> {
        let metres = self.site.unit_metres;
        let places: Vec<_> = places
            .iter()
            .map(|(e, n)| (e * metres, n * metres))
            .collect();
        self.file
            .way
            .back(&self.site, &places)
            .map_err(|why| format!("{}: {why}", self.file.name))
    }

    /// Metres in one of the plan's unit, for heights; metres are taken where its coordinates are degrees.
    #[must_use]
    pub fn unit_metres(&self) -> f64 {
        self.file.way.unit_metres().unwrap_or(1.0)
    }
}

/// What was made of a layer.
#[derive(Clone, Debug, PartialEq)]
pub struct LayerUse {
    /// File that it is in.
    pub file: String,
    /// Its name.
    pub layer: String,
    /// What its features are.
    pub role: Role,
    /// Who said so.
    pub role_from: RoleFrom,
    /// Takes part.
    pub used: bool,
    /// Number of its features.
    pub features: usize,
    /// How it came to the job's grid, in words.
    pub placed: String,
}

impl LayerUse {
    fn of_record(&self) -> PlanLayer {
        let role_from = match self.role_from {
            RoleFrom::Given => "given",
            RoleFrom::Guessed => "guessed",
            RoleFrom::Unknown => "unknown",
        };
        PlanLayer {
            file: self.file.clone(),
            layer: self.layer.clone(),
            role: self.role.word().to_owned(),
            role_from: role_from.to_owned(),
            used: self.used,
            features: self.features,
            placed: self.placed.clone(),
        }
    }
}

/// Something that a plan shows, on the job's grid.
#[derive(Clone, Debug, PartialEq)]
pub struct Feature {
    /// File and layer and number: `plan.gpkg!water:12`.
    pub source: String,
    /// Layer.
    pub layer: Arc<str>,
    /// What it is.
    pub role: Role,
    /// Kind of a utility, as entered.
    pub kind: Option<String>,
    /// Its own name.
    pub name: Option<String>,
    /// Shape, metres.
    pub geometry: Geometry<f64>,
    /// How deep or how high it lies.
    pub lie: Option<Lie>,
    /// Outside width or diameter, metres.
    pub size: Option<f64>,
    /// One-sigma of its place, each axis, metres: the plan's own, and that of the datum operation.
    pub sigma: f64,
    /// What brought it here, if common points did; what that adds to the one-sigma grows with the way from them.
    pub tie: Option<Arc<Tie>>,
    /// Distance within which it counts as near, metres; where a separation from it is required, whatever doesn't keep it for certain does
    /// so too.
    pub near: f64,
    /// Separation required from it.
    pub required: Option<Arc<Required>>,
    /// Its attributes, as the plan has them.
    pub attributes: BTreeMap<String, String>,
}

impl Feature {
    /// One-sigma of what it has at a place of the job's grid, each axis, metres.
    #[must_use]
    pub fn sigma_at(&self, place: (f64, f64)) -> f64 {
        let tie = self.tie.as_ref();
        self.sigma
            .hypot(tie.map_or(0.0, |tie| tie.sigma_at(tie.back(place))))
    }
}

impl Plan {
    /// Names of the files in use.
    fn names(&self) -> String {
        let names: Vec<&str> = self.files.iter().map(|file| file.name.as_str()).collect();
        names.join(", ")
    }
}

/// Reads plans and brings them to the job's grid.
///
/// # Errors
/// A file that can't be read, says no coordinate system, lies far from the job, or holds a depth or size that can't be read.
pub fn read(request: &Request<'_>, site: &Site) -> Result<Plan, Error> {
    let mut plan = Plan::default();
    let tie = request.tie.map(|tie| Note::new(None, tie.words()));
    plan.notes.extend(tie);
    for path in request.files {
        let raw = maps::file(path, request.layers.layer_column.as_deref())?;
        let placing = Placing::of(&raw, request, site)?;
        placing::lay(&raw, &placing, request.layers, site, &mut plan)?;
        plan.files.extend(placing.way(&raw).map(|way| PlanFile {
            path: path.clone(),
            name: raw.file.clone(),
            way: way.clone(),
        }));
        plan.inputs.extend(raw.inputs);
    }
    let layers: Vec<&str> = plan.layers.iter().map(|of| of.layer.as_str()).collect();
    for name in request.layers.idle(&layers) {
        let like = layers
            .iter()
            .find(|layer| near(&layer.to_lowercase(), &name.to_lowercase()));
        let meant = like.map_or_else(String::new, |like| format!(" Did you mean \"{like}\"?"));
        let text = format!(
            "The layers file says something of the layer \"{name}\", and no plan has such a layer.{meant}"
        );
        plan.notes.push(Note::new(None, text));
    }
    Ok(plan)
}

/// Puts the crossings of a plan, its notes and its files into a record. The record's hash is to be made anew.
///
/// # Errors
/// A crossing that can't be converted to WGS 84.
pub fn attach(record: &mut AsBuilt, plan: &Plan, site: &Site) -> Result<(), Error> {
    record.crossings = crossing::crossings(record, plan, site)?;
    record.plans = plan.layers.iter().map(LayerUse::of_record).collect();
    record.notes.extend(plan.notes.iter().cloned());
    for by in &plan.operations {
        if !record.frame.operations.contains(by) {
            record.frame.operations.push(by.clone());
        }
    }
    let (shapes, cut) = underlay::shapes(&plan.features, site);
    if !shapes.is_empty() {
        let more = if cut {
            " It shows more than a drawing takes: some of it is not drawn."
        } else {
            ""
        };
        let text = format!(
            "What is drawn in grey under the runs is from {}, and was not measured here.{more}",
            plan.names()
        );
        record.notes.push(Note::new(None, text));
    }
    record.underlay = shapes;
    record.inputs.extend(plan.inputs.iter().cloned());
    Ok(())
}

fn levels(record: &AsBuilt) -> Option<[f64; 2]> {
    let vertices = record.runs.iter().flat_map(|run| &run.vertices);
    let all = vertices
        .flat_map(|vertex| [vertex.ground, vertex.invert])
        .flatten();
    all.map(|level| [level * record.frame.unit.metres(); 2])
        .reduce(|[low, high], [one, _]| [low.min(one), high.max(one)])
}

/// The rectangle about places; `None` without any.
fn bounds(places: impl Iterator<Item = (f64, f64)>) -> Option<Rect<f64>> {
    places
        .map(|place| Rect::new(place, place))
        .reduce(|all, one| {
            let (low, high) = (all.min(), all.max());
            Rect::new(
                (low.x.min(one.min().x), low.y.min(one.min().y)),
                (high.x.max(one.max().x), high.y.max(one.max().y)),
            )
        })
}
