//! The stages, one statement each.

use std::path::Path;

use crate::error::Error;
use crate::findings::Finding;
use crate::record::AsBuilt;
use crate::units::LengthUnit;

/// What the caller may ask for.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Unit of the results; the job's if absent.
    pub unit: Option<LengthUnit>,
    /// Build a draft without the rows that can't be used.
    pub draft: bool,
    /// Another projected CRS for the results.
    pub crs: Option<String>,
}

/// What became of one job.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// Job id.
    pub job: String,
    /// The record; of what is usable, if some rows were not. `None` if nothing could be computed.
    pub record: Option<AsBuilt>,
    /// All findings, errors first.
    pub findings: Vec<Finding>,
}

impl Outcome {
    /// Some finding is an error: no deliverables but the findings, unless a draft is asked for.
    #[must_use]
    pub fn blocked(&self) -> bool {
        self.findings
            .iter()
            .any(|finding| finding.level == crate::findings::Level::Error)
    }
}

/// Reads and computes one job.
///
/// # Errors
/// A job that can't be read at all.
pub fn run(path: &Path, options: &Options) -> Result<Outcome, Error> {
    let _ = options;
    Err(Error::Read {
        path: path.to_owned(),
        why: "not built yet".to_owned(),
    })
}
