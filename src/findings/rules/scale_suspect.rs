//! `scale-suspect`: the site-grid scale says that a unit is wrong.
//!
//! *Why*: x, y in feet beside eastings in metres still fit well: only the scale tells. The two feet differ by 2 parts in
//! a million, which a scale can't tell. *Limit*: within `scale_band`, 5 % ([`crate::sources::Source::OurChoice`]), of
//! 3.2808 or 0.3048. *Example*: scale 0.3047.

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::units::FOOT;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let Some(site) = &survey.adjusted.site else {
        return Vec::new();
    };
    let scale = site.similarity.scale();
    let band = survey.job.limits.scale_band;
    let ratio = scale / survey.observed.observations.ground_to_grid;
    let near = |target: f64| {
        [scale, ratio]
            .into_iter()
            .any(|s| (s / target - 1.0).abs() < band)
    };
    let what = if near(FOOT) {
        "the site's x, y look like feet where metres are read"
    } else if near(1.0 / FOOT) {
        "the site's x, y look like metres where feet are read"
    } else {
        return Vec::new();
    };
    let message = format!(
        "The site grid's scale is {scale:.4}: {what}. Check `unit` in [grid] and the unit of x, y in control.csv (they are \
         read in the job's unit, eastings and northings in the coordinate system's own)."
    );
    vec![Finding::new(Code::ScaleSuspect, message).figures(scale, Some(1.0))]
}
