//! `adverse-grade`: the pipe falls the wrong way.
//!
//! *Why*: it will hold water, or the field book has two marks the wrong way round. *Limit*: a warning where a uniform grade is
//! rejected and the rise exceeds 1.96 of its one-sigma, or where the run's own line rises by 3.29 of its
//! own, an alarm repeated for each run; a note where a leg
//! rises by the bare figures only. A branch whose last invert lies below the run that it joins: a warning beyond 3.29 of the
//! difference's one-sigma, repeated for each branch; a note beyond 1.96. One that lies above it drops, as it may. *Example*: inverts
//! 705.2, then 705.9 downstream.

use super::pipe::{Pipe, percent};
use crate::findings::{Code, Finding, Level};
use crate::math::stats::NORMAL_95;
use crate::profile::{Profile, Rise};
use crate::run::{Line, Located, Traced, VertexKind};

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    pipe.graded()
        .flat_map(|(traced, profile)| {
            let mut found = of_run(pipe, traced, profile);
            found.extend(under_its_run(pipe, traced, profile));
            found
        })
        .collect()
}

/// A branch that lies lower where it joins than the run that it joins.
fn under_its_run(pipe: &Pipe<'_>, traced: &Traced, profile: &Profile) -> Option<Finding> {
    let (drop, join) = (profile.drop?, traced.join?);
    let (under, bound) = (-drop.value, NORMAL_95 * drop.sigma);
    if under <= bound {
        return None;
    }
    let (level, proof) = if under > pipe.inputs.job.limits.alarm * drop.sigma {
        let proof = "and water does not flow up into it. Read the depths of both again, or expose the junction";
        (Level::Warning, proof)
    } else {
        let proof = "which may be by chance where there are many branches. Expose the junction to settle it";
        (Level::Note, proof)
    };
    let last = traced.vertices.len().checked_sub(1)?;
    let message = format!(
        "Run {} ends at {}, {} lower than run {} lies where it joins, more than its bound of {}, {proof}.",
        pipe.run_name(traced.run),
        pipe.vertex_name(traced, last),
        pipe.length(under),
        pipe.run_name(join.run),
        pipe.length(bound),
    );
    let finding = pipe.of_leg(Code::AdverseGrade, traced, last, message);
    Some(pipe.figures(finding.level(level), under, Some(bound)))
}

fn of_run(pipe: &Pipe<'_>, traced: &Traced, profile: &Profile) -> Vec<Finding> {
    let mut found: Vec<Finding> = whole(pipe, traced, profile).into_iter().collect();
    for rise in &profile.rises {
        let bound = NORMAL_95 * rise.rise.sigma;
        let message = format!(
            "Run {} rises with the flow from {} to {} by {}, more than its bound of {}.{} Read both depths again, or expose \
             the pipe there.",
            pipe.run_name(traced.run),
            pipe.vertex_name(traced, rise.from),
            pipe.vertex_name(traced, rise.to),
            pipe.length(rise.rise.value),
            pipe.length(bound),
            ground_first(pipe, traced, rise),
        );
        let finding = pipe.of_leg(Code::AdverseGrade, traced, rise.from, message);
        found.push(pipe.figures(finding, rise.rise.value, Some(bound)));
    }
    // A run that rises as a whole has no falling legs to tell others from.
    let whole = !found.is_empty() && profile.rises.is_empty();
    let bare = profile
        .legs
        .iter()
        .filter(|leg| !whole && leg.fall.value < 0.0 && !told(profile, leg.from, leg.to));
    found.extend(bare.map(|leg| {
        let bound = NORMAL_95 * leg.fall.sigma;
        let proof = if -leg.fall.value <= bound {
            format!(
                "within what its readings can tell ({}): no proof that it does",
                pipe.length(bound)
            )
        } else {
            format!(
                "more than the {} that its readings can tell, but one leg of many may be so by chance, and the run as a whole fits one grade",
                pipe.length(bound)
            )
        };
        let message = format!(
            "By the bare figures run {} rises from {} to {} by {}, {proof}.",
            pipe.run_name(traced.run),
            pipe.vertex_name(traced, leg.from),
            pipe.vertex_name(traced, leg.to),
            pipe.length(-leg.fall.value),
        );
        let finding = pipe
            .of_leg(Code::AdverseGrade, traced, leg.from, message)
            .level(Level::Note);
        pipe.figures(finding, -leg.fall.value, Some(bound))
    }));
    found
}

/// A stretch lies within a rise that is told.
pub(super) fn told(profile: &Profile, from: usize, to: usize) -> bool {
    let rises = &mut profile.rises.iter();
    rises.any(|rise| rise.from <= from && to <= rise.to)
}

/// The run's line rises by more than an alarm's bound.
pub(super) fn rises(pipe: &Pipe<'_>, line: &Line) -> bool {
    line.grade < -pipe.inputs.job.limits.alarm * line.sigma
}

/// The end of a rise whose ground leaves the line of its neighbours by most of it, while its depth does not leave theirs: a height that was
/// read or typed wrong looks like that.
pub(super) fn ground_first(pipe: &Pipe<'_>, traced: &Traced, rise: &Rise) -> String {
    let marks = &traced.marks;
    let odd = |vertex: usize| {
        let VertexKind::Mark(here) = traced.vertices.get(vertex)?.kind else {
            return None;
        };
        let off = |of: fn(&Located) -> Option<f64>| {
            let value = |mark: usize| of(marks.get(mark)?);
            let beside = [value(here.checked_sub(1)?)?, value(here + 1)?];
            Some(value(here)? - 0.5 * (beside[0] + beside[1]))
        };
        let ground = off(|mark| Some(mark.ground?.z))?;
        let depth = off(|mark| Some(mark.depth?.value))?;
        let most =
            ground.abs() > MOSTLY * rise.rise.value && depth.abs() < (1.0 - MOSTLY) * ground.abs();
        most.then_some((pipe.inputs.mark_name(marks.get(here)?.mark), ground))
    };
    let odd = odd(rise.from).or_else(|| odd(rise.to));
    odd.map_or_else(String::new, |(name, off)| {
        format!(
            " Look first at the ground's height at {name}: it is {} off the line of its neighbours, and the depth there is not.",
            pipe.length(off.abs())
        )
    })
}

/// Part of a rise that is most of it.
const MOSTLY: f64 = 0.6;

/// The run as a whole rises.
fn whole(pipe: &Pipe<'_>, traced: &Traced, profile: &Profile) -> Option<Finding> {
    let line = profile.line.as_ref()?;
    let bound = NORMAL_95 * line.sigma;
    rises(pipe, line).then(|| {
        let message = format!(
            "Run {} as a whole rises with the flow, by {} ± {}. Was it pushed the way that `pushed` says? If so, look at its \
             ground heights and their unit, and read its depths again.",
            pipe.run_name(traced.run),
            percent(-line.grade),
            percent(bound),
        );
        pipe.of_run(Code::AdverseGrade, traced, message)
            .figures(100.0 * line.grade, Some(-100.0 * bound))
    })
}
