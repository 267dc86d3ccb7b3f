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
    let closures = &survey.heights.book.closures;
    let common = common(closures.iter().filter(over));
    let one = |closure: &Closure| {
        let tolerance = allowed(closure);
        let message = format!(
            "The levels from {} to {} close with {} over {}, where {} are allowed. The misclosure is spread over \
             the set-ups all the same; look for a misread staff{}, or level again.",
            closure.from,
            closure.to,
            survey.length(closure.misclosure),
            counted(closure.setups as usize, "set-up"),
            survey.length(tolerance),
            benchmark(closure, common),
        );
        Finding::new(Code::LevelMisclosure, message)
            .mark(&*closure.to)
            .at(&closure.source)
            .figures(
                survey.unit.of(closure.misclosure),
                Some(survey.unit.of(tolerance)),
            )
    };
    closures.iter().filter(over).map(one).collect()
}

/// The one benchmark that several lines have in common.
fn common<'a>(mut over: impl Iterator<Item = &'a Closure>) -> Option<&'a str> {
    let first = over.next()?;
    let mut names = vec![&*first.from, &*first.to];
    let mut lines = 1;
    for closure in over {
        names.retain(|name| [&*closure.from, &*closure.to].contains(name));
        lines += 1;
    }
    match names[..] {
        [only] if lines > 1 => Some(only),
        _ => None,
    }
}

/// Between two benchmarks it may be one of these that is wrong, and where all the lines that don't close have one in common, that one.
fn benchmark(closure: &Closure, common: Option<&str>) -> String {
    if closure.from == closure.to {
        return String::new();
    }
    match common {
        Some(name) => format!(
            ", and first at the elevation of {name}, which all the lines that don't close have in common"
        ),
        None => format!(
            " and at the elevations of {} and {}",
            closure.from, closure.to
        ),
    }
}
