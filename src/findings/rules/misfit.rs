//! `misfit`: the job's variance factor fails its chi-square test upwards.
//!
//! *Why*: if the measurements disagree by more than their sigmas allow, the stated bounds are too small.
//! *Limit*: upper 97.5 % of chi-square over its degrees of freedom, one test a job over places and heights together; the lower tail is
//! only recorded ([`crate::sources::Source::OurChoice`]: a test for each part would cry wolf on a third of clean jobs).
//! *Example*: 8 spare measurements, variance factor 4.1 against 2.19.

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::math::stats::chi_square_quantile;
use crate::units::counted;

/// A share of the job's redundancy.
struct Part {
    what: &'static str,
    /// Σ (v/σ)².
    squares: f64,
    redundancy: usize,
}

impl Part {
    fn factor(&self) -> f64 {
        self.squares / self.redundancy as f64
    }
}

fn places(survey: &Survey<'_>) -> Part {
    let summary = survey.adjusted.summary;
    let factor = summary.variance_factor.unwrap_or(0.0);
    Part {
        what: "places",
        squares: factor * summary.redundancy as f64,
        redundancy: summary.redundancy,
    }
}

fn heights(survey: &Survey<'_>) -> Part {
    let (squares, redundancy) = survey.heights.squares();
    Part {
        what: "heights",
        squares,
        redundancy,
    }
}

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let mut parts = vec![places(survey), heights(survey)];
    parts.retain(|part| part.redundancy > 0);
    let whole = Part {
        what: "measurements",
        squares: parts.iter().map(|part| part.squares).sum(),
        redundancy: parts.iter().map(|part| part.redundancy).sum(),
    };
    parts.sort_by(|a, b| b.factor().total_cmp(&a.factor()));
    let Some(worst) = parts.first() else {
        return Vec::new();
    };
    let dof = whole.redundancy as f64;
    let (factor, upper) = (whole.factor(), chi_square_quantile(0.975, dof) / dof);
    if factor <= upper {
        return Vec::new();
    }
    let (each, of) = match parts.get(1) {
        None => (String::new(), String::new()),
        Some(other) => (
            format!(
                " ({:.2} in {}, {:.2} in {})",
                worst.factor(),
                worst.what,
                other.factor(),
                other.what
            ),
            format!(" of the {}", worst.what),
        ),
    };
    let message = format!(
        "The measurements disagree more than their one-sigmas allow: variance factor {factor:.2}{each}, where it stays under \
         {upper:.2} with {}. Mend the blunders if there are any; else the sigmas{of} in [accuracy] are too small by about \
         {:.1} times, and so are the bounds.",
        counted(whole.redundancy, "spare measurement"),
        worst.factor().sqrt()
    );
    vec![Finding::new(Code::Misfit, message).figures(factor, Some(upper))]
}
