//! What the bounds rest on, and what bears them out.

use super::scale::Scale;
use crate::record::model::{Accuracy, AccuracyBasis, Check};

/// Comparisons from which a job counts as tested: fewer can't tell 95 % from 60 % (our choice).
const LEAST: usize = 3;
/// Comparisons from which [`crate::sources::Source::Nssda`] gives a figure.
const NSSDA: usize = 20;

pub(super) fn accuracy(checks: &[Check], scale: Scale) -> Accuracy {
    let (compared, inside) = (
        checks.len(),
        checks.iter().filter(|check| check.inside).count(),
    );
    let tested = compared >= LEAST && plausible(compared, inside);
    let of = |words: &[&str]| {
        let squares: Vec<f64> = checks
            .iter()
            .filter(|check| words.contains(&check.what.as_str()))
            .map(|check| check.difference * check.difference)
            .collect();
        let mean = squares.iter().sum::<f64>() / squares.len().max(1) as f64;
        (squares.len(), mean.sqrt())
    };
    let (horizontal, vertical) = (of(&["horizontal"]), of(&["vertical", "depth", "invert"]));
    Accuracy {
        basis: if tested {
            AccuracyBasis::Tested
        } else {
            AccuracyBasis::Modelled
        },
        statement: statement(compared, inside, tested, horizontal, vertical, scale),
        compared,
        inside,
        rmse_horizontal: (horizontal.0 > 0).then_some(horizontal.1),
        rmse_vertical: (vertical.0 > 0).then_some(vertical.1),
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

fn statement(
    compared: usize,
    inside: usize,
    tested: bool,
    horizontal: (usize, f64),
    vertical: (usize, f64),
    scale: Scale,
) -> String {
    let model = "Bounds are 95 %, propagated from the stated one-sigma of each measurement; control without a sigma is taken as exact.";
    let found = match (compared, tested) {
        (0, _) => "No check shot or exposure bears them out.".to_owned(),
        (_, true) => format!(
            "{inside} of {compared} comparisons with check shots and exposures lie inside their bounds."
        ),
        (n, false) if n < LEAST => {
            format!("{inside} of {n} comparisons inside: n = {n}, too few for a figure.")
        }
        (_, false) => format!(
            "Only {inside} of {compared} comparisons lie inside their bounds: they are not borne out."
        ),
    };
    let tested = |(count, rmse): (usize, f64), factor: f64, what: &str| {
        (count >= NSSDA).then(|| {
            let figure = factor * rmse;
            let unit = scale.unit;
            format!("Tested {figure:.2} {unit} {what} accuracy at 95% confidence level.")
        })
    };
    // 1.7308 of the horizontal root mean square holds for errors alike on both axes.
    let figures = [
        tested(horizontal, 1.7308, "horizontal"),
        tested(vertical, 1.96, "vertical"),
    ];
    let sentences = [Some(model.to_owned()), Some(found)]
        .into_iter()
        .chain(figures);
    sentences.flatten().collect::<Vec<_>>().join(" ")
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
            bound,
            inside: difference.abs() <= bound,
            from: "check".into(),
            source: "marks.csv:2".into(),
        };
        vec![check; count]
    }

    #[test]
    fn figures_only_from_twenty() {
        let scale = Scale {
            unit: LengthUnit::Metre,
            crs_unit: 1.0,
        };
        let few = accuracy(&checks("horizontal", 19, 0.1, 0.2), scale);
        assert!(few.basis == AccuracyBasis::Tested && !few.statement.contains("confidence level"));
        let enough = accuracy(&checks("vertical", 20, 0.1, 0.2), scale);
        assert!(
            enough
                .statement
                .contains("Tested 0.20 m vertical accuracy at 95% confidence level")
        );
        let two = accuracy(&checks("depth", 2, 0.1, 0.2), scale);
        assert!(
            two.basis == AccuracyBasis::Modelled
                && two.statement.contains("n = 2, too few for a figure")
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
