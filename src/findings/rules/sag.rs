//! `sag`: a low point in which water stands.
//!
//! *Why*: bellies collect solids. *Limit*: a uniform grade is rejected (chi-square, 95 %), the pipe rises downstream of the point
//! by more than 1.96 of the rise's one-sigma, and some invert upstream of it is higher. *Example*: 200 mm over 4 m on a
//! grade of 1 %.

use super::adverse_grade::ground_first;
use super::pipe::Pipe;
use crate::findings::{Code, Finding};
use crate::math::stats::NORMAL_95;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let rises = pipe
        .graded()
        .flat_map(|(traced, profile)| profile.rises.iter().map(move |rise| (traced, rise)));
    rises
        .filter(|(_, rise)| rise.low_point)
        .map(|(traced, rise)| {
            let bound = NORMAL_95 * rise.rise.sigma;
            let message = format!(
                "Run {} has a low point at {}: from there it rises by {} to {}, more than its bound of {}.{} Look at the camera's \
                 pictures for standing water there.",
                pipe.run_name(traced.run),
                pipe.vertex_name(traced, rise.from),
                pipe.length(rise.rise.value),
                pipe.vertex_name(traced, rise.to),
                pipe.length(bound),
                ground_first(pipe, traced, rise),
            );
            let finding = pipe.of_leg(Code::Sag, traced, rise.from, message);
            pipe.figures(finding, rise.rise.value, Some(bound))
        })
        .collect()
}
