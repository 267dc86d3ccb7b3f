//! Bends that no mark lies on, inferred from how the lines at two neighbouring marks meet.
//!
//! A bend is inferred where the turn between the two lines exceeds the alarm, their intersection lies ahead of the first mark
//! and behind the second, and the path through it agrees with the cable. "Ahead" and "behind" are held to be shown, not just to
//! be so, beyond the one-sided 95 % of their own doubt: a bend on a mark itself turns the lines as much, and its intersection
//! falls to either side of that mark by chance.
//!
//! Without end points at either mark, bends on the marks themselves would turn the legs alike, and only the cable
//! tells them from one between: there it must also contradict the straight line ([`crate::sources::Source::OurChoice`]).

use super::direction::turn;
use super::heading::{Heading, Headings, Side, broken};
use super::rests::{Pull, Rests};
use super::{Gap, Inputs, Located, Traced};
use crate::math::block::{self, Block};
use crate::math::stats::{ALARM, NORMAL_95};
use crate::transmitter::Sensed;

/// An inferred bend; metres on the grid, radians.
#[derive(Clone, Debug, PartialEq)]
pub struct Bend {
    /// It lies between this mark (index into [`Traced::marks`]) and the next.
    pub after: usize,
    /// Easting.
    pub e: f64,
    /// Northing.
    pub n: f64,
    /// Change of azimuth in the direction of flow, right positive.
    pub turn: f64,
    /// One-sigma of the turn.
    pub turn_sigma: f64,
    /// What its place rests on.
    pub rests: Rests,
}

/// Bends of a run, in the direction of flow. `known` gaps (by the mark before them) are taken as bent from the start; with any
/// of them, no others are looked at.
pub(super) fn infer(
    inputs: Inputs<'_>,
    sensed: &[Sensed],
    traced: &Traced,
    known: &[usize],
) -> Vec<Bend> {
    let mut broken = broken(traced.gaps.len(), known.iter().copied());
    let try_gap = |gap: usize, broken: &[bool]| {
        let headings = Headings {
            inputs,
            sensed,
            traced,
            broken,
        };
        between(&headings, gap)
    };
    if !known.is_empty() {
        return known
            .iter()
            .filter_map(|&gap| try_gap(gap, &broken))
            .collect();
    }
    let mut found: Vec<Bend> = (0..traced.gaps.len())
        .filter_map(|gap| try_gap(gap, &broken))
        .collect();
    // The surest first: a bend in one gap takes the leg across it away from the next one's line.
    let sureness = |bend: &Bend| bend.turn.abs() / bend.turn_sigma.max(1e-9);
    found.sort_by(|a, b| {
        sureness(b)
            .total_cmp(&sureness(a))
            .then(a.after.cmp(&b.after))
    });
    let mut bends = Vec::new();
    for candidate in found {
        if let Some(bend) = try_gap(candidate.after, &broken) {
            if let Some(slot) = broken.get_mut(bend.after) {
                *slot = true;
            }
            bends.push(bend);
        }
    }
    bends.sort_by_key(|bend| bend.after);
    bends
}

/// The bend in a gap, if the lines at its two marks show one.
fn between(headings: &Headings<'_>, gap: usize) -> Option<Bend> {
    let cable = (*headings.traced.gaps.get(gap)?)?;
    let joint = |a: usize, b: usize| headings.joint(a, b);
    let (first, second) = (
        headings.at(gap, Side::Upstream)?,
        headings.at(gap + 1, Side::Downstream)?,
    );
    let alarm = headings.inputs.job.limits.alarm;
    let (angle, angle_sigma) = turn_between(&first, &second, &joint);
    if angle.abs() <= alarm * angle_sigma {
        return None;
    }
    let (a, b) = (
        headings.traced.marks.get(gap)?,
        headings.traced.marks.get(gap + 1)?,
    );
    let meeting = Meeting::of(gap, (a, &first), (b, &second))?;
    let shown = meeting.lies_between(&joint) && meeting.agrees(headings.inputs, &cable, &joint);
    let excess = cable.excess();
    let tells = first.by_ends || second.by_ends || -excess.0 > NORMAL_95 * excess.1;
    (shown && tells).then(|| Bend {
        after: gap,
        e: a.e + meeting.ahead * meeting.u[0],
        n: a.n + meeting.ahead * meeting.u[1],
        turn: angle,
        turn_sigma: angle_sigma,
        rests: meeting.rests,
    })
}

/// The turn from one heading to another, and its one-sigma.
pub(super) fn turn_between(
    first: &Heading,
    second: &Heading,
    joint: &dyn Fn(usize, usize) -> Block,
) -> (f64, f64) {
    let mut pull = second.pull.clone();
    for &(mark, [e, n]) in &first.pull.marks {
        pull.add([-e, -n], &Rests::on(mark));
    }
    pull.own += first.pull.own;
    (turn(first.azimuth, second.azimuth), pull.sigma(joint))
}

/// Where two lines meet.
pub(super) struct Meeting {
    /// Index of the first mark.
    gap: usize,
    /// Directions of the two lines.
    u: [f64; 2],
    v: [f64; 2],
    /// From the first mark on, and on to the second, metres on the grid.
    pub ahead: f64,
    pub behind: f64,
    rests: Rests,
}

impl Meeting {
    pub fn of(
        gap: usize,
        (a, first): (&Located, &Heading),
        (b, second): (&Located, &Heading),
    ) -> Option<Self> {
        let (u, v) = (first.unit(), second.unit());
        let cross = |p: [f64; 2], q: [f64; 2]| p[0] * q[1] - p[1] * q[0];
        let (apart, sine) = ([b.e - a.e, b.n - a.n], cross(u, v));
        if sine.abs() < 1e-6 {
            return None;
        }
        let (ahead, behind) = (cross(apart, v) / sine, cross(u, apart) / sine);
        // Across the first line it moves with the first mark and by `ahead` times the line's swing; across the second
        // likewise. Two components across two lines make the place: the columns of the inverse of their normals.
        let (r, s) = (first.right(), second.right());
        let normals = cross(r, s);
        let by_first = [s[1] / normals, -s[0] / normals];
        let by_second = [-r[1] / normals, r[0] / normals];
        let mut rests = Rests::default();
        rests.add_mark(gap, block::outer(by_first, r));
        rests.add_mark(gap + 1, block::outer(by_second, s));
        for (swing, column, heading) in [(ahead, by_first, first), (-behind, by_second, second)] {
            for &(mark, pull) in &heading.pull.marks {
                let rate = block::scale(block::outer(column, pull), swing);
                rests.add_mark(mark, rate);
            }
            let own = heading.pull.own * swing * swing;
            rests.own = block::add(rests.own, block::scale(block::outer(column, column), own));
        }
        Some(Self {
            gap,
            u,
            v,
            ahead,
            behind,
            rests,
        })
    }

    /// It lies ahead of the first mark and behind the second, beyond doubt.
    fn lies_between(&self, joint: &dyn Fn(usize, usize) -> Block) -> bool {
        let sigma = |mark: usize, way: [f64; 2]| {
            let mut pull = Pull::default();
            pull.add(way, &self.rests);
            pull.add([-way[0], -way[1]], &Rests::on(mark));
            pull.sigma(joint)
        };
        self.ahead > ALARM * sigma(self.gap, self.u)
            && self.behind > ALARM * sigma(self.gap + 1, self.v)
    }

    /// The way through it is as long as the cable says.
    fn agrees(
        &self,
        inputs: Inputs<'_>,
        cable: &Gap,
        joint: &dyn Fn(usize, usize) -> Block,
    ) -> bool {
        let k = inputs.ground_to_grid();
        let length = f64::hypot((self.ahead + self.behind) / k, cable.rise);
        let sigma = f64::hypot(self.way().sigma(joint) / k, cable.cable_sigma);
        (length - cable.cable).abs() <= NORMAL_95 * sigma
    }

    /// How the length of the way through it goes with the marks.
    pub fn way(&self) -> Pull {
        let mut pull = Pull::default();
        pull.add([self.u[0] - self.v[0], self.u[1] - self.v[1]], &self.rests);
        pull.add([-self.u[0], -self.u[1]], &Rests::on(self.gap));
        pull.add(self.v, &Rests::on(self.gap + 1));
        pull
    }
}
