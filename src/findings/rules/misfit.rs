//! `misfit`: the job's variance factor fails its chi-square test upwards.
//!
//! *Why*: if the measurements disagree by more than their sigmas allow, the stated bounds are too small.
//! *Limit*: upper 97.5 % of chi-square over its degrees of freedom, one test a job over places and heights together; the lower tail is
//! only recorded ([`crate::sources::Source::OurChoice`]: a test for each part would cry wolf on a third of clean jobs).
//! *Example*: 8 spare measurements, variance factor 4.1 against 2.19.

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::math::stats::Fit;
use crate::units::counted;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let fits = [
        ("places", survey.adjusted.summary.fit),
        ("heights", survey.heights.fit()),
    ];
    let whole = fits
        .iter()
        .fold(Fit::default(), |sum, (_, fit)| sum.and(*fit));
    let mut parts: Vec<(f64, &str)> = fits
        .into_iter()
        .filter_map(|(what, fit)| Some((fit.factor()?, what)))
        .collect();
    parts.sort_by(|a, b| b.0.total_cmp(&a.0));
    let (Some(&(worst, what)), Some(factor), Some((_, upper))) =
        (parts.first(), whole.factor(), whole.bounds())
    else {
        return Vec::new();
    };
    if factor <= upper {
        return Vec::new();
    }
    let (each, of) = match parts.get(1) {
        None => (String::new(), String::new()),
        Some((other, beside)) => (
            format!(" ({worst:.2} in {what}, {other:.2} in {beside})"),
            format!(" of the {what}"),
        ),
    };
    let message = format!(
        "The measurements disagree more than their one-sigmas allow: variance factor {factor:.2}{each}, where it stays under \
         {upper:.2} with {}. Mend the blunders if there are any; else the sigmas{of} in [accuracy] are too small by about \
         {:.1} times, and so are the bounds.",
        counted(whole.redundancy, "spare measurement"),
        worst.sqrt()
    );
    vec![Finding::new(Code::Misfit, message).figures(factor, Some(upper))]
}
