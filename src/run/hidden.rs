//! Bends that may lie between two marks though none is drawn: how much longer the pipe would be.
//!
//! The line drawn between two marks is a chord, and no pipe is shorter. What may be longer than it shows in two things:
//!
//! - the *lines* at the two marks. Where they turn from one to the other by more than 1.96 sigma and meet between the marks, either the
//!   pipe bends where they meet, or it bends on the marks themselves and runs along the chord. Before the cable is asked, one is as likely
//!   as the other;
//! - the *cable*. At the run's first and last gap there is a line on one side only; there it is one in twenty that the
//!   pipe is longer by what the cable has to spare. Where the lines don't turn, one bend between them can't be, but two that undo each
//!   other (a jog) can. That is taken for one run in twenty, by so much for a gap as it has of the run's length, and asked only where the
//!   cable is too long by more than 1.96 sigma: straight pipe keeps its narrow bound.
//!
//! The cable then weighs the two against each other, by how well each explains its length: odds times the ratio of both normal
//! densities. Even odds, one in twenty and the 90° that a drain's bend has at most are [`crate::sources::Source::OurChoice`]. Simulated
//! runs with a bend of 22½, 30 or 45° that nothing located have their length within its bound in 94 to 98 of 100 cases, straight ones in
//! 96 to 98; those with a jog of 45° over 2 m of pipe in 79 (14 if nobody asks the cable); straight bounds are 4 % wider on
//! the average for it, 1 % mostly. Without a counter the lines alone speak: 86 of 100 at 45°.

use std::f64::consts::FRAC_PI_2;

use super::bends::{Meeting, turn_between};
use super::heading::{Heading, Headings, Side, broken};
use super::rests::Rests;
use super::{Gap, Inputs, Traced};
use crate::math::stats::NORMAL_95;
use crate::transmitter::Sensed;

/// A bend that may be there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hidden {
    /// It lies after this mark (index into [`Traced::marks`]).
    pub after: usize,
    /// How much longer the pipe would be than the chord, metres on the grid.
    pub adds: f64,
    /// One-sigma of that.
    pub sigma: f64,
    /// How likely it is, 0 to 1.
    pub chance: f64,
}

/// Odds of a bend between two marks whose lines meet there, against bends on the marks.
const SHOWN: f64 = 1.0;

/// Odds of one where only the cable can tell: at an end of the run, or between lines that don't turn anywhere in it.
const UNSEEN: f64 = 1.0 / 19.0;

/// What may lie in the gaps of a run in which no bend is drawn.
pub(super) fn hidden(inputs: Inputs<'_>, sensed: &[Sensed], traced: &Traced) -> Vec<Hidden> {
    let bent = traced.bends.iter().map(|bend| bend.after);
    let broken = broken(traced.gaps.len(), bent);
    let headings = Headings {
        inputs,
        sensed,
        traced,
        broken: &broken,
    };
    let whole = broken.iter().enumerate().filter(|(_, broken)| !**broken);
    whole
        .filter_map(|(gap, _)| in_gap(&headings, gap))
        .collect()
}

fn in_gap(headings: &Headings<'_>, gap: usize) -> Option<Hidden> {
    let lines = (
        headings.at(gap, Side::Upstream),
        headings.at(gap + 1, Side::Downstream),
    );
    let cable = headings.traced.gaps.get(gap).copied().flatten();
    let k = headings.inputs.ground_to_grid();
    let both = lines.0.as_ref().zip(lines.1.as_ref());
    let shown = both.and_then(|lines| by_lines(headings, gap, lines));
    let (adds, sigma, odds) = if let Some((adds, sigma)) = shown {
        let cable = cable.map_or(1.0, |cable| cable_says(&cable, (adds / k, sigma / k)));
        (adds, sigma, SHOWN * cable)
    } else {
        let cable = cable?;
        let (excess, sigma) = cable.excess();
        let share = if both.is_some() {
            jog(headings.traced, &cable)?
        } else {
            1.0
        };
        let odds = UNSEEN * share * cable_says(&cable, (-excess, 0.0));
        (-k * excess, k * sigma, odds)
    };
    (adds > 0.0).then_some(Hidden {
        after: gap,
        adds,
        sigma,
        // Beyond doubt, the odds pass every number.
        chance: if odds.is_finite() {
            odds / (1.0 + odds)
        } else {
            1.0
        },
    })
}

/// This gap's part of the odds that the run has a jog somewhere; `None` where its cable shows none.
fn jog(traced: &Traced, cable: &Gap) -> Option<f64> {
    let (excess, sigma) = cable.excess();
    if -excess <= NORMAL_95 * sigma {
        return None;
    }
    let all: f64 = traced.gaps.iter().flatten().map(|gap| gap.straight).sum();
    (all > 0.0).then(|| cable.straight / all)
}

/// How much longer the way is where the lines at both marks meet, and its one-sigma.
fn by_lines(
    headings: &Headings<'_>,
    gap: usize,
    (first, second): (&Heading, &Heading),
) -> Option<(f64, f64)> {
    let joint = |a: usize, b: usize| headings.joint(a, b);
    let (turn, turn_sigma) = turn_between(first, second, &joint);
    let doubt = NORMAL_95 * turn_sigma;
    if turn.abs() <= doubt || turn.abs() > FRAC_PI_2 + doubt {
        return None;
    }
    let marks = &headings.traced.marks;
    let (a, b) = (marks.get(gap)?, marks.get(gap + 1)?);
    let meeting = Meeting::of(gap, (a, first), (b, second))?;
    if meeting.ahead <= 0.0 || meeting.behind <= 0.0 {
        return None;
    }
    let (e, n) = (b.e - a.e, b.n - a.n);
    let chord = f64::hypot(e, n);
    let mut longer = meeting.way();
    longer.add([e / chord, n / chord], &Rests::on(gap));
    longer.add([-e / chord, -n / chord], &Rests::on(gap + 1));
    Some((meeting.ahead + meeting.behind - chord, longer.sigma(&joint)))
}

/// How much better the cable fits a pipe longer than the chord by so much, with its one-sigma, than the chord: the ratio of the normal
/// densities. Metres on the ground.
fn cable_says(cable: &Gap, (longer, doubt): (f64, f64)) -> f64 {
    let (excess, sigma) = cable.excess();
    let sigma = sigma.max(1e-6);
    let bent = f64::hypot(sigma, doubt);
    let (straight_off, bent_off) = (excess / sigma, (excess + longer) / bent);
    sigma / bent * (0.5 * (straight_off.powi(2) - bent_off.powi(2))).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gap(cable: f64) -> Gap {
        Gap {
            cable,
            cable_sigma: 0.06,
            rise: 0.0,
            straight: 5.0,
            straight_sigma: 0.08,
            straight_bias: 0.0,
        }
    }

    /// One-sigma of both is 0.1 m: cable half way between the two says nothing, taut cable speaks for the chord, slack for the bend.
    #[test]
    fn the_cable_weighs_chord_and_bend() {
        assert!((cable_says(&gap(5.1), (0.2, 0.0)) - 1.0).abs() < 1e-9);
        assert!((cable_says(&gap(5.0), (0.2, 0.0)) - (-2.0_f64).exp()).abs() < 1e-9);
        assert!((cable_says(&gap(5.2), (0.2, 0.0)) - 2.0_f64.exp()).abs() < 1e-9);
        // A bend that may be anything explains little.
        assert!(cable_says(&gap(5.2), (0.2, 10.0)) < 0.1);
    }

    /// One-sigma is 0.1 m. A jog is looked for beyond 1.96 of it, with the gap's part of the run: 5 m of 20.
    #[test]
    fn a_jog_is_looked_for_where_the_cable_shows_one() {
        let traced = Traced {
            gaps: vec![Some(gap(5.0)); 4],
            ..Traced::default()
        };
        assert_eq!(jog(&traced, &gap(4.5)), None);
        assert_eq!(jog(&traced, &gap(5.19)), None);
        assert!((jog(&traced, &gap(5.2)).unwrap() - 0.25).abs() < 1e-12);
    }
}
