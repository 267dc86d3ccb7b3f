//! Runs whose cable is, on every leg alike, so many times the way between its marks: a unit, or a decimal point.
//!
//! *Why*: told leg by leg, it reads as a bend or a wrong mark in each; no pipe bends alike in all of its legs. *Limit*: [`LEGS`] legs or
//! more, most of them beyond an alarm's bound, each within [`ALIKE`] of their middle ratio, and that within [`NEAR`] of a factor of
//! [`FACTORS`] (our choice, all). Told once, as `path-too-short` or `path-too-long`, in place of the legs. *Example*: 9.8 m of cable on each of eight
//! legs of 3 m.

use super::path_too_long::gaps;
use super::pipe::Pipe;
use crate::findings::{Code, Finding, Level};
use crate::math::stats::median;
use crate::run::{Gap, Traced};
use crate::units::{FOOT, counted, fixed};

const LEGS: usize = 3;
const ALIKE: f64 = 0.15;
const NEAR: f64 = 0.05;

/// Times that figures come out too long, and why they may.
const FACTORS: [(f64, &str); 3] = [
    (
        1.0 / FOOT,
        "one of the two is in feet and the other in metres",
    ),
    (12.0, "one of the two is in inches and the other in feet"),
    (
        10.0,
        "a decimal point stands one place off in one of the two",
    ),
];

/// A run whose cable has another scale than its marks.
pub(super) struct Scaled<'a> {
    traced: &'a Traced,
    /// Cable over distance, in the middle of the legs.
    pub(super) ratio: f64,
    legs: usize,
    why: &'static str,
}

/// A run's scale, if it has one of its own.
pub(super) fn scaled<'a>(pipe: &Pipe<'_>, traced: &'a Traced) -> Option<Scaled<'a>> {
    let alarm = pipe.inputs.job.limits.alarm;
    let gaps: Vec<&Gap> = gaps(traced).map(|(_, gap)| gap).collect();
    // Legs as short as they are unsure say nothing of a scale.
    let sure = gaps
        .iter()
        .filter(|gap| gap.straight > alarm * gap.straight_sigma);
    let mut ratios: Vec<f64> = sure.map(|gap| gap.cable / gap.straight).collect();
    let ratio = median(&mut ratios)?;
    let alike = ratios.iter().all(|one| (one / ratio - 1.0).abs() < ALIKE);
    let beyond = |gap: &&&Gap| {
        let (excess, sigma) = gap.excess();
        excess.abs() > alarm * sigma
    };
    let most = 2 * gaps.iter().filter(beyond).count() > gaps.len();
    if ratios.len() < LEGS || !alike || !most {
        return None;
    }
    let fits = |factor: f64| {
        [factor, 1.0 / factor]
            .iter()
            .any(|f| (ratio / f - 1.0).abs() < NEAR)
    };
    let (_, why) = FACTORS.into_iter().find(|(factor, _)| fits(*factor))?;
    Some(Scaled {
        traced,
        ratio,
        legs: ratios.len(),
        why,
    })
}

impl Scaled<'_> {
    pub(super) fn finding(&self, pipe: &Pipe<'_>, code: Code) -> Finding {
        let message = format!(
            "On each of {} of run {} the cable is {} times as long as the way between the marks, and no pipe is: {}. See which, and write its \
             unit into the heading, as `counter (ft)`.",
            counted(self.legs, "leg"),
            pipe.run_name(self.traced.run),
            fixed(self.ratio, 2),
            self.why,
        );
        let finding = pipe.of_run(code, self.traced, message).column("counter");
        // Shorter legs are a note, one by one; a clash of units is none.
        let finding = finding.figures(self.ratio, Some(1.0)).level(Level::Warning);
        match self.traced.marks.first() {
            Some(first) => pipe.at_row(finding, first),
            None => finding,
        }
    }
}
