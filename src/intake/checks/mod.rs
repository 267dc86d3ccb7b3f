//! What a delivery is checked for. A further check is one function and one line in [`CHECKS`].

mod form;
mod heights;
mod pipe;
mod place;

use super::OnFile;
use super::fields::Require;
use super::lateral::Lateral;
use super::mains::{Mains, Tap};
use crate::record::AsBuilt;
use crate::record::model::Vertex;

/// A delivery under judgement.
#[derive(Clone, Copy)]
pub struct Case<'a> {
    /// The record as delivered.
    pub record: &'a AsBuilt,
    /// Its runs on the mains' grid, or why they can't get there.
    pub laterals: &'a Result<Vec<Lateral>, String>,
    /// The mains that they meet.
    pub taps: &'a [Tap],
    /// It is as `build` wrote it.
    pub unaltered: bool,
    /// Why the sheet beside it is not its own.
    pub sheet: Option<&'a str>,
    /// What is asked of it.
    pub require: &'a Require,
    /// The mains.
    pub mains: &'a Mains,
    /// What is on file, this intake's included.
    pub on_file: &'a [OnFile],
}

impl Case<'_> {
    /// The laterals; none where the coordinate system is wrong.
    fn laterals(&self) -> &[Lateral] {
        self.laterals.as_ref().map_or(&[], Vec::as_slice)
    }

    /// What is on file of this supplier and job, if this record's revision is not above it. Not asked of a record whose own words
    /// can't be trusted.
    fn rival(&self) -> Option<&OnFile> {
        if form::altered(self)
            .or_else(|| form::identity(self))
            .is_some()
        {
            return None;
        }
        let own = super::identity(self.record);
        let known = self.on_file.iter().find(|known| known.identity == own)?;
        // The very record that `load` put there: an intake adds to it what `load` does not know.
        let own = known.loaded && known.hash == self.record.hash;
        (!own && super::revision(self.record) <= known.revision.unwrap_or(0)).then_some(known)
    }

    /// A length for a message, in the report's unit.
    fn say(&self, metres: f64) -> String {
        let unit = self.require.unit;
        format!(
            "{:.*} {unit}",
            if unit.is_foot() { 2 } else { 3 },
            unit.of(metres)
        )
    }
}

/// A vertex, for a message.
fn named(vertex: &Vertex) -> &str {
    vertex.mark.as_deref().unwrap_or("a bend")
}

/// One check.
pub struct Check {
    /// Its code in the report.
    pub code: &'static str,
    /// The message, if the delivery fails it.
    pub test: fn(&Case<'_>) -> Option<String>,
}

/// Every check, in the order in which reasons are given.
pub const CHECKS: &[Check] = &[
    Check {
        code: "draft",
        test: form::draft,
    },
    Check {
        code: "altered",
        test: form::altered,
    },
    Check {
        code: "sheet",
        test: form::sheet,
    },
    Check {
        code: "findings",
        test: form::findings,
    },
    Check {
        code: "identity",
        test: form::identity,
    },
    Check {
        code: "twice",
        test: form::twice,
    },
    Check {
        code: "on-file",
        test: form::on_file,
    },
    Check {
        code: "date",
        test: form::date,
    },
    Check {
        code: "incomplete",
        test: form::incomplete,
    },
    Check {
        code: "no-run",
        test: form::no_run,
    },
    Check {
        code: "coordinates",
        test: place::coordinates,
    },
    Check {
        code: "elsewhere",
        test: place::elsewhere,
    },
    Check {
        code: "no-bound",
        test: place::no_bound,
    },
    Check {
        code: "wide",
        test: place::wide,
    },
    Check {
        code: "same-place",
        test: place::same_place,
    },
    Check {
        code: "no-main",
        test: place::no_main,
    },
    Check {
        code: "against-flow",
        test: place::against_flow,
    },
    Check {
        code: "stations",
        test: pipe::stations,
    },
    Check {
        code: "marks",
        test: pipe::marks,
    },
    Check {
        code: "no-depth",
        test: heights::no_depth,
    },
    Check {
        code: "implausible",
        test: heights::implausible,
    },
    Check {
        code: "zero-depth",
        test: pipe::zero,
    },
    Check {
        code: "steep",
        test: pipe::steep,
    },
    Check {
        code: "above-ground",
        test: pipe::above_ground,
    },
    Check {
        code: "vertical",
        test: pipe::vertical,
    },
    Check {
        code: "below-main",
        test: pipe::below_main,
    },
    Check {
        code: "diameter",
        test: pipe::diameter,
    },
];
