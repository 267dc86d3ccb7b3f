//! `scale-suspect`: the site-grid scale says that a unit is wrong.
//!
//! *Why*: x, y in feet beside eastings in metres still fit well: only the scale tells. The two feet differ by 2 parts in
//! a million, which a scale can't tell. *Limit*: within `scale_band`, 5 % ([`crate::sources::Source::OurChoice`]), of
//! 3.2808 or 0.3048. *Example*: scale 0.3047.

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::units::FOOT;

/// Whether the coordinate system counts one of the two feet.
fn is_foot(survey: &Survey<'_>) -> bool {
    (survey.crs.unit_metres() / FOOT - 1.0).abs() < 0.01
}

/// The one slip of a unit that explains a scale of 0.3048 (`shrunk`) or 3.2808. Which there can be depends on the units read:
/// feet can't be taken for metres where feet are read.
fn slips(site_in_feet: bool, grid_in_feet: bool, shrunk: bool) -> String {
    // A scale under 1 comes from x, y that are read too large, or from eastings and northings read too small.
    let site = if shrunk {
        (!site_in_feet).then_some("the site's x, y look like feet where metres are read")
    } else {
        site_in_feet.then_some("the site's x, y look like metres where feet are read")
    };
    let grid = if shrunk {
        grid_in_feet.then_some("the eastings and northings look like metres where feet are read")
    } else {
        (!grid_in_feet).then_some("the eastings and northings look like feet where metres are read")
    };
    match (site, grid) {
        (Some(site), Some(grid)) => format!("{site}, or {grid}"),
        (Some(one), None) | (None, Some(one)) => one.to_owned(),
        (None, None) => "feet and metres were taken for each other".to_owned(),
    }
}

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
    let shrunk = near(FOOT);
    if !shrunk && !near(1.0 / FOOT) {
        return Vec::new();
    }
    let own = survey.job.grid.unit;
    let what = slips(own.is_foot(), is_foot(survey), shrunk);
    let message = format!(
        "The site grid's scale is {scale:.4}: {what}. Check `unit` in [grid] and the unit of x, y in control.csv: they are \
         read in the job's unit ({own}), eastings and northings in the coordinate system's own ({}).",
        survey.crs.unit_name()
    );
    vec![Finding::new(Code::ScaleSuspect, message).figures(scale, Some(1.0))]
}

#[cfg(test)]
mod tests {
    use super::slips;

    /// Job and coordinate system in metres, in feet, and one of each; nothing is said to be read in a unit that is not read.
    #[test]
    fn the_units_named_are_those_that_are_read() {
        for (site, grid, shrunk, words) in [
            (false, false, true, "x, y look like feet where metres"),
            (false, false, false, "northings look like feet where metres"),
            (true, true, true, "northings look like metres where feet"),
            (true, true, false, "x, y look like metres where feet"),
            (
                false,
                true,
                true,
                "read, or the eastings and northings look like metres",
            ),
            (
                true,
                false,
                false,
                "read, or the eastings and northings look like feet",
            ),
        ] {
            let said = slips(site, grid, shrunk);
            assert!(said.contains(words), "{site} {grid} {shrunk}: {said}");
            assert_eq!(said.contains(" or "), site != grid, "{said}");
        }
    }
}
