//! `misfit`: the job's variance factor fails its chi-square test upwards.
//!
//! *Why*: if the measurements disagree by more than their sigmas allow, the stated bounds are too small.
//! *Limit*: upper 97.5 % of chi-square over its degrees of freedom, one test a job; the lower tail is only recorded
//! ([`crate::sources::Source::OurChoice`]: a test for each part would cry wolf on a third of clean jobs).
//! *Example*: 8 spare measurements, variance factor 4.1 against 2.19.

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::units::counted;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let summary = survey.adjusted.summary;
    let (Some(factor), Some((_, upper))) = (summary.variance_factor, summary.bounds) else {
        return Vec::new();
    };
    if factor <= upper {
        return Vec::new();
    }
    let message = format!(
        "The measurements disagree more than their one-sigmas allow: variance factor {factor:.2}, where it stays under \
         {upper:.2} with {}. Mend the blunders if there are any; else the sigmas in [accuracy] are too small by about \
         {:.1} times, and so are the bounds.",
        counted(summary.redundancy, "spare measurement"),
        factor.sqrt()
    );
    vec![Finding::new(Code::Misfit, message).figures(factor, Some(upper))]
}
