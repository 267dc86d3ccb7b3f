//! `no-datum`: nothing ties the job to its coordinate system.
//!
//! *Why*: tapes and angles alone fix a shape, not where it lies. *Limit*: at least one position and what orients it;
//! for a site grid two points known in both systems. *Example*: control.csv with `x, y` only, for `EPSG:2264`.

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::observe::Problem;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let name = if survey.crs.is_local() {
        "the site's grid"
    } else {
        survey.crs.name()
    };
    let mut findings = Vec::new();
    // Coordinates there are, but none that can be used: their own findings say why.
    if super::cause::coordinates_refused(survey) {
        return findings;
    }
    if survey.observed.problems.contains(&Problem::NoDatum) {
        findings.push(Finding::new(
            Code::NoDatum,
            format!(
                "No point of this job has coordinates, so nothing says where it lies in {name}. Give two reference \
                 points easting and northing (or latitude and longitude), or some marks a GNSS position."
            ),
        ));
    } else if survey.adjusted.site_loose {
        findings.push(Finding::new(
            Code::NoDatum,
            format!(
                "Points have x and y on a site grid, but fewer than two of them have coordinates in {name} as well. \
                 Give two points, better three, easting and northing beside x and y."
            ),
        ));
    }
    findings
}
