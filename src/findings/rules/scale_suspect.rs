//! `scale-suspect`: the site-grid scale says that a unit is wrong.
//!
//! *Why*: x, y in feet beside eastings in metres still fit well: only the scale tells. The two feet differ by 2 parts in
//! a million, which a scale can't tell. *Limit*: within `scale_band`, 5 % ([`crate::sources::Source::OurChoice`]), of
//! 3.2808 or 0.3048. *Example*: scale 0.3047.
//!
//! An error where the coordinate system's own scale is far from 1: lengths, stations and grades along a run are of the grid, and a grid
//! that was made for maps of the whole Earth stretches them by more than any bound. *Limit*: 1 %
//! ([`crate::sources::Source::OurChoice`]: systems made for surveys stay within a tenth of that where they are meant to be used).
//! *Example*: Mercator's at 51° north, where 100 m of ground are 160 m of grid.

use super::survey::Survey;
use crate::findings::{Code, Finding, Level};
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

/// How far a grid's scale may lie from 1.
const MOST: f64 = 0.01;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    of_grid(survey).into_iter().chain(of_site(survey)).collect()
}

fn of_grid(survey: &Survey<'_>) -> Option<Finding> {
    let scale = survey.observed.frame.grid_scale?;
    if (scale - 1.0).abs() <= MOST {
        return None;
    }
    let message = format!(
        "{} is {scale:.4} times as long as the ground here, so every length, station and grade along a run would be wrong by {:.0} %. Take \
         a coordinate system that is made for surveys of this place.",
        survey.crs.name(),
        100.0 * (scale - 1.0).abs(),
    );
    let finding = Finding::new(Code::ScaleSuspect, message).level(Level::Error);
    let finding = finding.column("crs").figures(scale, Some(1.0));
    Some(survey.at_settings(finding))
}

fn of_site(survey: &Survey<'_>) -> Vec<Finding> {
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
