//! `build --plan`: site plans laid under each job.

use std::path::{Path, PathBuf};

use clap::Args;

use crate::error::{Error, MOST_SAID, read_text};
use crate::export::csv::CROSSINGS;
use crate::export::dxf::merge::{InPlan, Merged};
use crate::export::in_plan::Points;
use crate::export::{Format, select};
use crate::pipeline::Outcome;
use crate::plan::layers::Layers;
use crate::plan::tie::Tie;
use crate::plan::{OwnSystem, Plan, PlanFile, Request, Site, attach, read};
use crate::record::AsBuilt;
use crate::record::model::Note;
use crate::units::LengthUnit;

/// Options about site plans.
#[derive(Debug, Args)]
pub struct PlanArgs {
    /// Site plans, GeoPackage or GeoJSON, and with GDAL installed DXF, Shapefile and more: where the runs cross or come near what they show, in crossings.csv and every map
    #[arg(long = "plan", value_name = "FILE", num_args = 1..)]
    files: Vec<PathBuf>,
    /// What the plans' layers mean (TOML): roles, depths, separations required; coordinate systems that the plans don't name
    #[arg(long = "plan-layers", value_name = "FILE", requires = "files")]
    layers: Option<PathBuf>,
    /// Common points of plan and job (CSV: point, plan_x, plan_y, easting, northing), for a plan in coordinates of its own
    #[arg(long = "plan-tie", value_name = "FILE", requires = "files")]
    tie: Option<PathBuf>,
    /// Write the DXF plan with the results added, in its own coordinates, everything of it as it was: merged.dxf
    #[arg(long = "merge-plan", requires = "files")]
    merge: bool,
    /// Write the results in the (first) plan's own coordinates too: asbuilt-plan.dxf, plan-points.csv
    #[arg(long = "plan-system", requires = "files")]
    system: bool,
}

impl PlanArgs {
    /// No plan is laid under.
    pub fn none(&self) -> bool {
        self.files.is_empty()
    }

    /// The formats that the words ask for. Without a plan there are no crossings to write.
    ///
    /// # Errors
    /// A word that names no format; crossings asked for by name, and no plan.
    pub fn formats(&self, words: &[String]) -> Result<Vec<&'static dyn Format>, Error> {
        let mut formats = select(words)?;
        if self.none() {
            let names = [CROSSINGS.name(), CROSSINGS.file()];
            let asked = |word: &&String| {
                names
                    .iter()
                    .any(|name| word.trim().eq_ignore_ascii_case(name))
            };
            if let Some(word) = words.iter().find(asked) {
                return Err(Error::Usage(format!(
                    "--formats {word}: crossings are with what a site plan shows; name one with --plan"
                )));
            }
            formats.retain(|format| format.file() != CROSSINGS.file());
        }
        Ok(formats)
    }

    /// Lays the plans under a job's record, if it has one, and adds what they have to say to its remarks; gives the formats in the plan's coordinates that are asked for.
    pub fn lay_under(&self, outcome: &mut Outcome) -> Result<Vec<Box<dyn Format>>, Error> {
        match &mut outcome.record {
            Some(record) if !self.files.is_empty() => {
                let before = record.notes.len();
                let unit = outcome.unit.unwrap_or(record.frame.unit);
                let formats = self.attach(record, unit)?;
                let notes = record.notes.get(before..).unwrap_or_default();
                outcome.remarks.extend(notes.iter().map(Note::line));
                Ok(formats)
            }
            _ => Ok(Vec::new()),
        }
    }

    fn attach(
        &self,
        record: &mut AsBuilt,
        unit: LengthUnit,
    ) -> Result<Vec<Box<dyn Format>>, Error> {
        let layers = self
            .layers
            .as_ref()
            .map(|path| Layers::parse(&text(path)?, &name(path), unit));
        let layers = layers.transpose()?.unwrap_or_default();
        let tie = self
            .tie
            .as_ref()
            .map(|path| Tie::parse(&text(path)?, &name(path), record));
        let tie = tie.transpose()?;
        let site = Site::of(record)?;
        let request = Request {
            files: &self.files,
            layers: &layers,
            tie: tie.as_ref(),
        };
        let plan = read(&request, &site)?;
        attach(record, &plan, &site)?;
        self.in_plan(plan, &site)
    }

    fn in_plan(&self, plan: Plan, site: &Site) -> Result<Vec<Box<dyn Format>>, Error> {
        let own = |file: &PlanFile| OwnSystem {
            file: file.clone(),
            site: site.clone(),
        };
        let mut formats: Vec<Box<dyn Format>> = Vec::new();
        if self.merge {
            let drawings: Vec<&PlanFile> = plan.files.iter().filter(|file| drawn(file)).collect();
            let [only] = drawings[..] else {
                let found = match drawings.len() {
                    0 => "none of them is".to_owned(),
                    several => format!("{several} of them are"),
                };
                return Err(Error::Usage(format!(
                    "--merge-plan: one of the plans, and no more, is to be a DXF whose layers are in use; {found}"
                )));
            };
            formats.push(Box::new(Merged(own(only))));
        }
        if let Some(first) = plan.files.first().filter(|_| self.system) {
            if first.way.unit_metres().is_none() {
                return Err(Error::Usage(format!(
                    "--plan-system: the coordinates of {} are degrees, and asbuilt.geojson has the results in those",
                    first.name
                )));
            }
            formats.push(Box::new(InPlan(own(first))));
            formats.push(Box::new(Points(own(first))));
        }
        Ok(formats)
    }
}

fn drawn(file: &PlanFile) -> bool {
    file.path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("dxf"))
}

fn text(path: &Path) -> Result<String, Error> {
    read_text(path, MOST_SAID).map_err(|why| Error::Read {
        path: path.to_owned(),
        why,
    })
}

fn name(path: &Path) -> String {
    path.file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default()
}
