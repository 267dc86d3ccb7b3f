//! `build --plan`: site plans laid under each job.

use std::path::{Path, PathBuf};

use clap::Args;

use crate::error::{Error, MOST_SAID, read_text};
use crate::export::Format;
use crate::export::csv::CROSSINGS;
use crate::pipeline::Outcome;
use crate::plan::layers::Layers;
use crate::plan::tie::Tie;
use crate::plan::{Request, Site, attach, read};
use crate::record::AsBuilt;

/// Options about site plans.
#[derive(Debug, Args)]
pub struct PlanArgs {
    /// Site plans, GeoPackage or GeoJSON: where the runs cross or come near what they show, in crossings.csv and every map
    #[arg(long = "plan", value_name = "FILE", num_args = 1..)]
    files: Vec<PathBuf>,
    /// What the plans' layers mean (TOML): roles, depths, separations required; coordinate systems that the plans don't name
    #[arg(long = "plan-layers", value_name = "FILE", requires = "files")]
    layers: Option<PathBuf>,
    /// Common points of plan and job (CSV: point, plan_x, plan_y, easting, northing), for a plan in coordinates of its own
    #[arg(long = "plan-tie", value_name = "FILE", requires = "files")]
    tie: Option<PathBuf>,
}

impl PlanArgs {
    /// The formats asked for; without a plan there are no crossings to write.
    pub fn formats(&self, mut formats: Vec<&'static dyn Format>) -> Vec<&'static dyn Format> {
        formats.retain(|format| format.file() != CROSSINGS.file() || !self.files.is_empty());
        formats
    }

    /// Lays the plans under a job's record, if it has one.
    pub fn lay_under(&self, outcome: &mut Outcome) -> Result<(), Error> {
        match &mut outcome.record {
            Some(record) if !self.files.is_empty() => self.attach(record),
            _ => Ok(()),
        }
    }

    fn attach(&self, record: &mut AsBuilt) -> Result<(), Error> {
        let layers = self
            .layers
            .as_ref()
            .map(|path| Layers::parse(&text(path)?, &name(path), record.frame.unit));
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
        attach(record, &plan, &site)
    }
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
