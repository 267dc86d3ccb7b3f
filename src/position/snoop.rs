//! One-at-a-time search for blunders: the measurement with the largest standardised residual is named, left out, and
//! the rest looked at again ([`crate::sources::Source::Baarda1968`]). The stated result keeps every measurement:
//! whether one is wrong is for the user to say.
//!
//! Only the parts with an alarm are solved again. In a part (or a set of parts coupled by shared unknowns) of more than
//! [`LARGE`] measurements, several far from each other are left out in the same round: a residual is hardly
//! moved by one that is two measurements away. Small ones go strictly one by one. Redundancy numbers of the later rounds of a large
//! part are good to about a part in a hundred: see [`adjust_again`].

use std::collections::{BTreeMap, BTreeSet};

use super::network::Network;
use super::solve::residuals;
use super::{Residual, Suspect, Touch};
use crate::limits::Limits;
use crate::math::adjust::{Model, Row, Values, adjust_again};
use crate::math::solution::Solution;
use crate::observe::kinds::Plane;
use crate::observe::{Observations, PointId};

/// Measurements of a group that is searched strictly one by one: our choice, a job's worth.
const LARGE: usize = 400;
/// Measurements are equally suspect when their standardised residuals differ by less than this part and move together as
/// closely: exact equality is lost to the curvature of the equations.
const EQUAL: f64 = 0.02;

/// Group of measurements that influence each other: a part's number, or all coupled parts together.
const COUPLED: u32 = u32::MAX;

fn group(network: &Network<'_>, solution: &Solution, terms: &[(u32, f64)]) -> u32 {
    let own = 2 * network.nodes() as u32;
    match terms.iter().find(|(unknown, _)| *unknown < own) {
        Some((unknown, _)) => {
            let part = solution.part_of(unknown / 2);
            if solution.is_coupled(part) {
                COUPLED
            } else {
                part
            }
        }
        None => COUPLED,
    }
}

/// A round's view: every equation with its residual and group.
struct Round<'a> {
    network: &'a Network<'a>,
    solution: &'a Solution,
    residuals: &'a [Residual],
    members: BTreeMap<u32, Vec<u32>>,
}

impl<'a> Round<'a> {
    fn new(network: &'a Network<'a>, solution: &'a Solution, residuals: &'a [Residual]) -> Self {
        let values = Values::whole(&solution.values, 2 * network.nodes());
        let mut members: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
        let mut row = Row::default();
        for i in 0..network.observed {
            row.clear();
            network.row(i, &values, &mut row);
            members
                .entry(group(network, solution, &row.terms))
                .or_default()
                .push(i as u32);
        }
        Self {
            network,
            solution,
            residuals,
            members,
        }
    }

    fn size(&self, i: u32) -> f64 {
        self.residuals[i as usize]
            .standardised
            .map_or(0.0, f64::abs)
    }

    fn row(&self, i: u32) -> Row {
        let mut row = Row::default();
        row.clear();
        let values = Values::whole(&self.solution.values, 2 * self.network.nodes());
        self.network.row(i as usize, &values, &mut row);
        row
    }

    /// Correlation of a residual with each of others: −aQbᵀ over their sizes.
    fn correlations(&self, i: u32) -> impl Fn(u32) -> f64 {
        let a = self.row(i);
        let carried = self.solution.carry(&a.terms);
        let redundancy = |i: u32| self.residuals[i as usize].redundancy;
        move |j| {
            let b = self.row(j);
            let covariance = match &carried {
                Some(carried) => carried.covariance(&b.terms),
                None => self.solution.form_covariance(&a.terms, &b.terms),
            };
            -covariance / (a.sigma * b.sigma * (redundancy(i) * redundancy(j)).sqrt())
        }
    }

    /// The equations to leave out of a group in this round, largest first.
    fn nominees(&self, group: &[u32], limit: f64, observations: &Observations) -> Vec<u32> {
        let mut alarmed: Vec<u32> = group
            .iter()
            .copied()
            .filter(|&i| self.size(i) > limit)
            .collect();
        alarmed.sort_by(|&a, &b| self.size(b).total_cmp(&self.size(a)).then(a.cmp(&b)));
        if group.len() <= LARGE {
            alarmed.truncate(1);
            return alarmed;
        }
        let points = |i: u32| {
            let index = self.network.observation(i as usize);
            index
                .into_iter()
                .flat_map(|index| observations.plane[index as usize].kind.points())
                .flatten()
        };
        let free = |point: &PointId| observations.points[point.0 as usize].fixed.is_none();
        let suspected = alarmed.iter().flat_map(|&i| points(i)).filter(free);
        let mut by_point: BTreeMap<PointId, Vec<u32>> =
            suspected.map(|point| (point, Vec::new())).collect();
        for &i in group {
            for point in points(i) {
                if let Some(near) = by_point.get_mut(&point) {
                    near.push(i);
                }
            }
        }
        let mut taken: BTreeSet<PointId> = BTreeSet::new();
        alarmed.retain(|&i| {
            let far = points(i).filter(free).all(|point| !taken.contains(&point));
            if far {
                for point in points(i).filter(free) {
                    for &near in by_point.get(&point).into_iter().flatten() {
                        taken.extend(points(near).filter(free));
                    }
                }
            }
            far
        });
        alarmed
    }

    fn suspect(&self, i: u32, group: &[u32], observations: &Observations) -> Option<Suspect> {
        let observation = self.network.observation(i as usize)? as usize;
        let Residual {
            residual,
            redundancy,
            standardised,
        } = self.residuals[i as usize];
        let (residual, standardised) = (residual?, standardised?);
        let correlation = self.correlations(i);
        let equals = group
            .iter()
            .filter(|&&j| j != i && self.size(j) >= standardised.abs() * (1.0 - EQUAL))
            .filter(|&&j| correlation(j).abs() > 1.0 - EQUAL)
            .filter_map(|&j| {
                self.network
                    .observation(j as usize)
                    .map(|index| index as usize)
            })
            .collect();
        let predicted = observations.plane.get(observation)?.value + residual / redundancy;
        Some(Suspect {
            observation,
            standardised,
            predicted,
            equals,
        })
    }
}

/// Searches the whole network, as it was solved and with the residuals that it has; the suspects, largest standardised residual first.
pub(super) fn search(
    observations: &Observations,
    touches: &[Touch],
    (network, solution, first): (&Network<'_>, &Solution, &[Residual]),
    places: &[Option<Plane>],
    limits: &Limits,
) -> Vec<Suspect> {
    let mut suspects = Vec::new();
    let alarm = |residual: &Residual| {
        residual
            .standardised
            .is_some_and(|w| w.abs() > limits.alarm)
    };
    // Of most networks nothing more has to be asked.
    if !first.iter().any(alarm) {
        return suspects;
    }
    let first = Round::new(network, solution, first);
    let Some(mut rows) = look(&first, observations, limits, &mut suspects) else {
        return suspects;
    };
    let values = Values::whole(&solution.values, 2 * network.nodes());
    let site = network
        .site_at()
        .map(|_| network.similarity_on_grid(&values));
    // Near what all measurements say: a few left out move little.
    let mut places = places.to_vec();
    network.adjusted(solution, &mut places);
    while !rows.is_empty() {
        let part = Network::new(
            observations,
            touches,
            &rows,
            &places,
            site.as_ref(),
            network.has_shared(),
        );
        let start = part.start(&places, site.as_ref());
        let solution = adjust_again(&part, &start, solution);
        let residuals = residuals(&part, &solution);
        let round = Round::new(&part, &solution, &residuals);
        match look(&round, observations, limits, &mut suspects) {
            Some(rest) => rows = rest,
            None => break,
        }
    }
    suspects.sort_by(|a, b| {
        b.standardised
            .abs()
            .total_cmp(&a.standardised.abs())
            .then(a.observation.cmp(&b.observation))
    });
    suspects
}

/// One round: adds its suspects; the observations to go on with, `None` when there was no alarm.
fn look(
    round: &Round<'_>,
    observations: &Observations,
    limits: &Limits,
    suspects: &mut Vec<Suspect>,
) -> Option<Vec<u32>> {
    let mut rest = Vec::new();
    for group in round.members.values() {
        let nominees = round.nominees(group, limits.alarm, observations);
        if nominees.is_empty() {
            continue;
        }
        suspects.extend(
            nominees
                .iter()
                .filter_map(|&i| round.suspect(i, group, observations)),
        );
        let staying = group.iter().filter(|i| !nominees.contains(i));
        rest.extend(staying.filter_map(|&i| round.network.observation(i as usize)));
    }
    rest.sort_unstable();
    (!rest.is_empty()).then_some(rest)
}
