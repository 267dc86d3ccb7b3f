//! `implausible` of heights: ground far from the site's height, heights in another unit than they were read in, two heights of one mark that differ, a separation that a receiver log
//! contradicts.
//!
//! *Why*: every invert hangs on them, and a figure that another one in the job contradicts is used all the same. *Limit*: 30 m, 3.29 of the
//! difference's one-sigma ([`crate::sources::Source::Baarda1968`]), 10 m (our choice, the first and the last: [`crate::height::Doubt`]).
//! *Example*: `ground` 101.20 where GNSS height, pole and separation give 100.20.

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::height::{Doubt, HeightRow, SiteHeight};
use crate::units::counted;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let doubts = &survey.heights.doubts;
    doubts
        .iter()
        .filter_map(|doubt| finding(survey, doubt))
        .collect()
}

fn finding(survey: &Survey<'_>, doubt: &Doubt) -> Option<Finding> {
    let (length, unit) = (|metres| survey.length(metres), survey.unit);
    Some(match doubt {
        Doubt::OffSite {
            mean,
            height,
            by_separation,
        } => {
            let cause = if *by_separation {
                " They differ by about `geoid_separation`: are elevations given where heights above the ellipsoid belong, or the other way round?"
            } else {
                ""
            };
            let message = format!(
                "The ground lies at {} on average, and `height` in [grid] says {}: check both, with their units and signs.{cause}",
                length(*mean),
                length(*height)
            );
            let finding = Finding::new(Code::Implausible, message)
                .column("height")
                .figures(unit.of(*mean), Some(unit.of(*height)));
            survey.at_settings(finding)
        }
        Doubt::Unit { .. } => return in_other_unit(survey, doubt),
        Doubt::Beside {
            row,
            heights: [(used, one), (other, two)],
            bound,
            rows,
        } => {
            let row = survey.job.marks.get(*row)?;
            let (more, hint) = match rows {
                1 => (String::new(), "Check both."),
                rows => (
                    format!(" The same on {}.", counted(*rows, "row")),
                    "Check `geoid_separation`, `antenna_height` and the height datum.",
                ),
            };
            let given = if *other == "height" {
                "`height`, less the antenna's and the separation,"
            } else {
                "`elevation`"
            };
            let message = format!(
                "{}: `{used}` says {} and {given} {}, {} apart, where {} is allowed: `{used}` is used.{more} {hint}",
                super::called(&row.mark),
                length(*one),
                length(*two),
                length((one - two).abs()),
                length(*bound),
            );
            let finding = Finding::new(Code::Implausible, message).at(&row.source);
            let finding = finding.mark(&*row.mark).column(*used);
            let finding = finding.figures(unit.of(two - one), Some(unit.of(*bound)));
            survey.in_run(finding, Some(row.run))
        }
        Doubt::Separation { given, log, source } => {
            let message = format!(
                "`geoid_separation` in [grid] is {}, and the receiver log has {}: check the sign and the unit. It is the height above the ellipsoid minus \
                 the elevation.",
                length(*given),
                length(*log)
            );
            Finding::new(Code::Implausible, message)
                .at(source)
                .column("geoid_separation")
                .figures(unit.of(*given), Some(unit.of(*log)))
        }
    })
}

/// Heights that fit the site in another unit.
fn in_other_unit(survey: &Survey<'_>, doubt: &Doubt) -> Option<Finding> {
    let (length, unit) = (|metres| survey.length(metres), survey.unit);
    let Doubt::Unit {
        row,
        column,
        z,
        site: (site, by),
        unit: other,
        rows,
    } = doubt
    else {
        return None;
    };
    let (name, source, run) = match *row {
        HeightRow::Mark(row) => {
            let row = survey.job.marks.get(row)?;
            (&row.mark, &row.source, Some(row.run))
        }
        HeightRow::Control(row) => {
            let row = survey.job.control.get(row)?;
            (&row.point, &row.source, None)
        }
    };
    let by = match by {
        SiteHeight::Settings => "`height` in [grid]",
        SiteHeight::Control => "the reference points' elevations",
        SiteHeight::Marks => "most marks' ground",
    };
    let (meant, symbol) = (other.name, other.symbol);
    let more = match rows {
        1 => String::new(),
        rows => format!(" So it is on {}.", counted(*rows, "row")),
    };
    let message = format!(
        "{}: `{column}` is read as {}, and the site lies at {} by {by}: in {meant} it would be {}.{more} Write the unit into the heading \
         (`{column} ({symbol})`) or the cells.",
        super::called(name),
        length(*z),
        length(*site),
        length(*z * other.times),
    );
    let finding = Finding::new(Code::Implausible, message)
        .at(source)
        .column(*column);
    let finding = finding.figures(unit.of(*z), Some(unit.of(*site)));
    Some(match run {
        Some(run) => survey.in_run(finding.mark(&**name), Some(run)),
        None => finding,
    })
}
