//! `level-misclosure`: a line of levels that closes worse than it should.
//!
//! *Why*: a misread staff. *Limit*: the greater of 4 mm·√set-ups ([`crate::sources::Source::OurChoice`]) and 12 mm·√km
//! ([`crate::sources::Source::LevellingOrders`], third order) where the book has distances; more where the job's `level` is coarser than
//! the default, or the benchmarks have a one-sigma of their own ([`Closure::tolerance`]).
//! *Example*: 25 mm over four set-ups, where 8 mm are allowed.

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::height::Closure;
use crate::units::counted;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let allowed = |closure: &Closure| closure.tolerance(&survey.job.limits, &survey.job.accuracy);
    let over = |closure: &&Closure| closure.misclosure.abs() > allowed(closure);
    let one = |closure: &Closure| {
        let tolerance = allowed(closure);
        let message = format!(
            "The levels from {} to {} close with {} over {}, where {} are allowed. The misclosure is spread over \
             the set-ups all the same; look for a misread staff, or level again.",
            closure.from,
            closure.to,
            survey.length(closure.misclosure),
            counted(closure.setups as usize, "set-up"),
            survey.length(tolerance)
        );
        Finding::new(Code::LevelMisclosure, message)
            .mark(&*closure.to)
            .at(&closure.source)
            .figures(
                survey.unit.of(closure.misclosure),
                Some(survey.unit.of(tolerance)),
            )
    };
    survey
        .heights
        .book
        .closures
        .iter()
        .filter(over)
        .map(one)
        .collect()
}
