//! What the bounds rest on, and what bears them out.

use std::collections::BTreeMap;

use super::scale::Scale;
use crate::math::stats::{ELLIPSE_95, NORMAL_95};
use crate::record::model::{Accuracy, AccuracyBasis, Check};
use crate::units::counted;

/// Comparisons from which a job counts as tested: fewer can't tell 95 % from 60 % (our choice).
const LEAST: usize = 3;
/// Comparisons from which [`crate::sources::Source::Nssda`] gives a figure.
const NSSDA: usize = 20;
/// Ratio of the axes' root mean squares down to which it has a circular figure.
const ALIKE: f64 = 0.6;

/// Root mean square over this job's comparisons, result unit; the mean is not taken out ([`crate::sources::Source::Nssda`]).
fn rms(differences: impl Iterator<Item = f64>) -> Option<Rms> {
    let (count, sum) = differences.fold((0, 0.0), |(count, sum), d| (count + 1, sum + d * d));
    (count > 0).then(|| Rms {
        count,
        value: (sum / count as f64).sqrt(),
    })
}

/// A root mean square and how many it rests on.
#[derive(Clone, Copy)]
struct Rms {
    count: usize,
    value: f64,
}

/// Comparisons, by whether they lie inside: what one row says of one place, or of one depth, is one, however many tapes it has.
fn comparisons(checks: &[Check]) -> BTreeMap<(&str, bool), bool> {
    let mut all = BTreeMap::new();
    for check in checks {
        let inside = all
            .entry((check.source.as_str(), is_height(check)))
            .or_insert(true);
        *inside &= check.inside;
    }
    all
}

fn is_height(check: &Check) -> bool {
    ["vertical", "depth"].contains(&check.what.as_str())
}

/// Whether it is farther out than chance takes it, as an alarm has it.
fn is_refuted(check: &Check, alarm: f64) -> bool {
    check.difference.abs() > check.bound * alarm / NORMAL_95
}

pub(super) fn accuracy(checks: &[Check], scale: Scale, alarm: f64) -> Accuracy {
    let all = comparisons(checks);
    let (compared, inside) = (all.len(), all.values().filter(|inside| **inside).count());
    let refuted = checks.iter().any(|check| is_refuted(check, alarm));
    let tested = compared >= LEAST && !refuted && plausible(compared, inside);
    let places = || checks.iter().filter(|check| check.what == "horizontal");
    let heights = || checks.iter().filter(|check| is_height(check));
    let vertical = rms(heights().map(|check| check.difference));
    let axes = [
        rms(places().filter_map(|check| check.east)),
        rms(places().filter_map(|check| check.north)),
    ];
    let mut sentences = vec![
        "Bounds are 95 %, propagated from the stated one-sigma of each measurement; control without a sigma is taken as exact."
            .to_owned(),
        borne_out(compared, inside, tested, refuted),
    ];
    let figures: Vec<String> = [
        horizontal_figure(axes, scale),
        vertical_figure(vertical, scale),
    ]
    .into_iter()
    .flatten()
    .collect();
    if compared > 0 && figures.is_empty() {
        sentences.extend(too_few(places().count(), heights().count()));
    }
    sentences.extend(figures);
    Accuracy {
        basis: if tested {
            AccuracyBasis::Tested
        } else {
            AccuracyBasis::Modelled
        },
        statement: sentences.join(" "),
        compared,
        inside,
        rmse_horizontal: rms(places().map(|check| check.difference)).map(|rms| rms.value),
        rmse_vertical: vertical.map(|rms| rms.value),
    }
}

/// Whether so few inside are still to be expected of bounds that hold 95 %: the binomial tail is not under 5 %.
fn plausible(compared: usize, inside: usize) -> bool {
    let outside = compared - inside;
    let (mut term, mut below) = (0.95_f64.powf(compared as f64), 0.0);
    for k in 0..outside {
        below += term;
        term *= (compared - k) as f64 / (k + 1) as f64 * 0.05 / 0.95;
    }
    // Probability of at least this many outside.
    1.0 - below >= 0.05
}

fn borne_out(compared: usize, inside: usize, tested: bool, refuted: bool) -> String {
    match (compared, tested) {
        (0, _) => "No check shot or exposure bears them out.".to_owned(),
        (n, false) if refuted => format!(
            "{inside} of {} with check shots and exposures lie inside their bounds, and one lies farther out than chance takes it: they are not \
             borne out.",
            counted(n, "comparison")
        ),
        (n, false) if n >= LEAST => {
            format!(
                "Only {inside} of {n} comparisons lie inside their bounds: they are not borne out."
            )
        }
        (n, _) => format!(
            "{inside} of {n} comparisons with check shots and exposures lie inside their bounds."
        ),
    }
}

/// Of each kind how many there are, where none of them reaches [`NSSDA`]; nothing where there is none.
fn too_few(places: usize, heights: usize) -> Option<String> {
    let kinds = [(places, "in place"), (heights, "in height")];
    let kinds = kinds.iter().filter(|(n, _)| *n > 0);
    let counts: Vec<String> = kinds.map(|(n, kind)| format!("{n} {kind}")).collect();
    let counts = counts.join(" and ");
    (!counts.is_empty()).then(|| format!("n = {counts}, too few for a figure."))
}

/// The standard's figure for places: 2.4477 of the mean of both axes' root mean squares, as long as the lesser is at least 0.6 of
/// the greater ([`crate::sources::Source::Nssda`], appendix 3-A); beyond that the standard has no circular figure.
fn horizontal_figure([east, north]: [Option<Rms>; 2], scale: Scale) -> Option<String> {
    let (east, north) = east.zip(north)?;
    if east.count.min(north.count) < NSSDA {
        return None;
    }
    let (less, more) = (east.value.min(north.value), east.value.max(north.value));
    let unit = scale.unit;
    // Rounding of the roots must not turn an exact 0.6 into less.
    Some(if less >= ALIKE * more * (1.0 - 1e-12) {
        let figure = ELLIPSE_95 * 0.5 * (less + more);
        format!("Tested {figure:.2} {unit} horizontal accuracy at 95% confidence level.")
    } else {
        format!(
            "Root mean square differences of {:.2} {unit} east and {:.2} {unit} north: too unlike for one horizontal figure.",
            east.value, north.value
        )
    })
}

fn vertical_figure(vertical: Option<Rms>, scale: Scale) -> Option<String> {
    let vertical = vertical.filter(|rms| rms.count >= NSSDA)?;
    let (figure, unit) = (NORMAL_95 * vertical.value, scale.unit);
    Some(format!(
        "Tested {figure:.2} {unit} vertical accuracy at 95% confidence level."
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::LengthUnit;

    fn checks(what: &str, count: usize, difference: f64, bound: f64) -> Vec<Check> {
        let check = Check {
            point: "A1".into(),
            what: what.into(),
            difference,
            east: (what == "horizontal").then_some(0.6 * difference),
            north: (what == "horizontal").then_some(0.8 * difference),
            bound,
            inside: difference.abs() <= bound,
            from: "check".into(),
            source: "marks.csv:2".into(),
        };
        (0..count)
            .map(|row| Check {
                source: format!("marks.csv:{}", row + 2),
                ..check.clone()
            })
            .collect()
    }

    /// Three tapes of one row test one place; and what is certainly out is no chance.
    #[test]
    fn what_counts_as_tested() {
        let scale = Scale {
            unit: LengthUnit::Metre,
            crs_unit: 1.0,
        };
        let mut row = checks("distance", 3, 0.1, 0.2);
        for tape in &mut row {
            tape.source = "marks.csv:2".into();
        }
        let one = accuracy(&row, scale, 3.29);
        assert_eq!(
            (one.compared, one.inside, one.basis),
            (1, 1, AccuracyBasis::Modelled)
        );
        let mut six = checks("depth", 6, 0.1, 0.2);
        six[5].difference = 0.3;
        six[5].inside = false;
        assert_eq!(accuracy(&six, scale, 3.29).basis, AccuracyBasis::Tested);
        six[5].difference = 0.4;
        let out = accuracy(&six, scale, 3.29);
        assert_eq!((out.inside, out.basis), (5, AccuracyBasis::Modelled));
        assert!(
            out.statement.contains("farther out than chance"),
            "{}",
            out.statement
        );
    }

    #[test]
    fn figures_only_from_twenty() {
        let scale = Scale {
            unit: LengthUnit::Metre,
            crs_unit: 1.0,
        };
        let few = accuracy(&checks("horizontal", 19, 0.1, 0.2), scale, 3.29);
        assert!(few.basis == AccuracyBasis::Tested && !few.statement.contains("confidence level"));
        let enough = accuracy(&checks("vertical", 20, 0.1, 0.2), scale, 3.29);
        assert!(
            enough
                .statement
                .contains("Tested 0.20 m vertical accuracy at 95% confidence level")
        );
        // Root mean squares 0.06 and 0.08: 2.4477 · 0.07.
        let places = accuracy(&checks("horizontal", 20, 0.1, 0.2), scale, 3.29);
        assert!(
            places
                .statement
                .contains("Tested 0.17 m horizontal accuracy at 95% confidence level"),
            "{}",
            places.statement
        );
        let two = accuracy(&checks("depth", 2, 0.1, 0.2), scale, 3.29);
        assert!(
            two.basis == AccuracyBasis::Modelled
                && two
                    .statement
                    .contains("n = 2 in height, too few for a figure")
        );
    }

    #[test]
    fn of_no_kind_with_figures_no_number_is_given() {
        let scale = Scale {
            unit: LengthUnit::Metre,
            crs_unit: 1.0,
        };
        let distances = accuracy(&checks("distance", 2, 0.1, 0.2), scale, 3.29).statement;
        assert!(distances.contains("2 of 2 comparisons"), "{distances}");
        assert!(!distances.contains("n ="), "{distances}");
    }

    /// The standard gives no circular figure where the axes' ratio is under 0.6.
    #[test]
    fn axes_too_unlike() {
        let scale = Scale {
            unit: LengthUnit::Metre,
            crs_unit: 1.0,
        };
        let with_north = |north: f64| {
            let mut all = checks("horizontal", 20, 0.1, 0.2);
            for check in &mut all {
                (check.east, check.north) = (Some(0.1), Some(north));
            }
            accuracy(&all, scale, 3.29).statement
        };
        assert!(with_north(0.06).contains("Tested 0.20 m horizontal accuracy"));
        let unlike = with_north(0.059);
        assert!(
            !unlike.contains("confidence level") && unlike.contains("0.10 m east and 0.06 m north")
        );
    }

    /// Three of three inside may be; one of three is against 95 %.
    #[test]
    fn not_borne_out() {
        assert!(
            plausible(3, 3)
                && plausible(3, 2)
                && !plausible(3, 1)
                && plausible(20, 18)
                && !plausible(20, 16)
        );
    }
}
