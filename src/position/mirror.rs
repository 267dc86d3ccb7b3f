//! Places that were told from their mirror images by little, tried the other way round together with all that they share.
//!
//! Construction looks at one point at a time. Points along a wall share the errors of its corners: one of them alone may seem to be told,
//! and a cable puts its neighbours beside it, where all of them together fit the other side as well. So those that were told by little, and those
//! that hang on them, are tried at their other places, all at once. What fits there as well is not determined.

use std::collections::{BTreeMap, BTreeSet};

use super::construct::{Other, TELLS_APART, near};
use super::network::{Network, Slot, solved};
use super::snoop::{LARGE, group, groups};
use super::{Touch, Why};
use crate::math::adjust::Effort;
use crate::math::similarity::Similarity;
use crate::math::solution::Solution;
use crate::observe::kinds::Plane;
use crate::observe::{Observations, PointId};

/// A network as it was solved.
pub(super) struct Solved<'a> {
    pub(super) observations: &'a Observations,
    pub(super) network: &'a Network<'a>,
    pub(super) solution: &'a Solution,
    pub(super) touches: &'a [Touch],
    pub(super) site: Option<&'a Similarity>,
}

impl Solved<'_> {
    /// The group of measurements that a point is held by; `None` if it takes no part.
    fn group_of(&self, point: PointId) -> Option<u32> {
        match self.network.slots.get(point.0 as usize)? {
            Slot::Node(node) => Some(group(self.network, self.solution, &[(2 * node, 1.0)])),
            _ => None,
        }
    }

    /// Where some observations end from a start, and their sum of squares; `None` where they end nowhere.
    fn ended(
        &self,
        rows: &[u32],
        mut places: Vec<Option<Plane>>,
    ) -> Option<(Vec<Option<Plane>>, f64)> {
        let start = (&places[..], self.touches, self.site);
        let shared = self.network.has_shared();
        let how = (shared, Effort::Whole);
        let (network, solution) = solved(self.observations, rows, start, how);
        network.adjusted(&solution, &mut places);
        (solution.loose.is_empty() && solution.failed.is_empty())
            .then_some((places, solution.squares))
    }
}

/// Tries the other places. Points that fit there as well lose theirs, those that fit far better are put there; whether there were any.
pub(super) fn judge(
    solved: &Solved<'_>,
    others: &[Other],
    places: &mut [Option<Plane>],
    why: &mut BTreeMap<PointId, Why>,
) -> bool {
    // By the group of the point that was told by little, each with its own.
    let mut by_group: BTreeMap<u32, Vec<(u32, &Other)>> = BTreeMap::new();
    for other in others {
        if let (Some(own), Some(root)) = (solved.group_of(other.point), solved.group_of(other.root))
        {
            by_group.entry(root).or_default().push((own, other));
        }
    }
    if by_group.is_empty() {
        return false;
    }
    let members = groups(solved.network, solved.solution);
    let mut changed = false;
    for (root, others) in &by_group {
        let own = others.iter().map(|(own, _)| *own);
        let held: BTreeSet<u32> = own.chain([*root]).collect();
        let equations = held.iter().filter_map(|group| members.get(group)).flatten();
        let rows = equations.filter_map(|&i| solved.network.observation(i as usize));
        let mut rows: Vec<u32> = rows.collect();
        rows.sort_unstable();
        if rows.len() > LARGE {
            continue;
        }
        let mut start = places.to_vec();
        for (_, other) in others {
            start[other.point.0 as usize] = Some(other.place);
        }
        let (Some((here, squares)), Some((there, beyond))) = (
            solved.ended(&rows, places.to_vec()),
            solved.ended(&rows, start),
        ) else {
            continue;
        };
        if beyond - squares >= TELLS_APART {
            continue;
        }
        for (_, other) in others {
            let at = other.point.0 as usize;
            let (Some(own), Some(mirrored)) = (here[at], there[at]) else {
                continue;
            };
            if near(own, mirrored) {
                continue;
            }
            changed = true;
            if squares - beyond >= TELLS_APART {
                places[at] = Some(mirrored);
            } else {
                places[at] = None;
                let places = vec![own, mirrored];
                why.insert(other.point, Why::SeveralPlaces { places });
            }
        }
    }
    changed
}
