//! One-at-a-time search for blunders: the measurement with the largest standardised residual is named, left out, and
//! the rest looked at again ([`crate::sources::Source::Baarda1968`]). The stated result keeps every measurement:
//! whether one is wrong is for the user to say.
//!
//! In a small group with a gross alarm the residuals mislead: a value that is metres off holds the place of all, and another seems wrong. There
//! each value near the alarm is left out in turn, and the rest constructed and solved anew.
//!
//! Only the parts with an alarm are solved again. In a part (or a set of parts coupled by shared unknowns) of more than
//! [`LARGE`] measurements, several far from each other are left out in the same round: a residual is hardly
//! moved by one that is two measurements away. Small ones go strictly one by one. Redundancy numbers of the later rounds of a large
//! part are good to about a part in a hundred: see [`Less`].

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::construct::construct;
use super::network::Network;
use super::solve::{residual, residuals};
use super::{Residual, Suspect, Touch};
use crate::limits::Limits;
use crate::math::adjust::{Model, Row, Values, adjust};
use crate::math::less::Less;
use crate::math::similarity::Similarity;
use crate::math::solution::{Estimate, Solution};
use crate::observe::kinds::Plane;
use crate::observe::{Observation, Observations, PointId, PointRole};

/// Measurements of a group that is searched strictly one by one: our choice, a job's worth.
const LARGE: usize = 400;
/// Measurements are equally suspect when their standardised residuals differ by less than this part and move together as
/// closely: exact equality is lost to the curvature of the equations.
const EQUAL: f64 = 0.02;

/// More beside a nominee are not tried one by one: our choice.
const TRIED: usize = 20;
/// Nominees of so many times the alarm are gross. Smaller ones, among them those of clean jobs, don't bend the equations and are not tried:
/// our choice.
const GROSS: f64 = 1.5;
/// Sums of squares that differ by no more are the same: far above rounding.
const SAME: f64 = 1e-6;
/// So many are tried in one search, so that a job of nothing but blunders ends: our choice.
const TRIALS: usize = 1000;

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

/// The equations of each group.
fn groups(network: &Network<'_>, solution: &Solution) -> BTreeMap<u32, Vec<u32>> {
    let values = Values::whole(&solution.values, 2 * network.nodes());
    let mut members: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    let mut row = Row::default();
    for i in 0..network.observed {
        row.clear();
        network.row(i, &values, &mut row);
        let group = group(network, solution, &row.terms);
        members.entry(group).or_default().push(i as u32);
    }
    members
}

/// A round's view of a group.
struct Round<'a> {
    network: &'a Network<'a>,
    observations: &'a Observations,
    estimate: &'a dyn Estimate,
    /// By equation.
    residuals: &'a [Residual],
    /// The equations that are left.
    group: &'a [u32],
}

impl Round<'_> {
    fn size(&self, i: u32) -> f64 {
        self.residuals[i as usize]
            .standardised
            .map_or(0.0, f64::abs)
    }

    /// The observation that an equation is.
    fn observed(&self, i: u32) -> Option<usize> {
        let observation = self.network.observation(i as usize)?;
        Some(observation as usize)
    }

    /// The group's observations.
    fn members(&self) -> impl Iterator<Item = u32> {
        let group = self.group.iter();
        group.filter_map(|&i| self.network.observation(i as usize))
    }

    fn row(&self, i: u32) -> Row {
        let mut row = Row::default();
        row.clear();
        let values = Values::whole(self.estimate.values(), 2 * self.network.nodes());
        self.network.row(i as usize, &values, &mut row);
        row
    }

    /// A nominee and what may be wrong in its stead: those that share a free point with it before those that share one with these, larger
    /// before smaller; of all these, what was measured before the coordinates of reference points.
    fn near(&self, nominee: u32) -> Vec<u32> {
        let points = &self.observations.points;
        let free = |point: &PointId| points[point.0 as usize].fixed.is_none();
        let kind = |i: u32| Some(self.observations.plane[self.observed(i)?].kind);
        let free_points = |i: u32| {
            let points = kind(i).map(|kind| kind.points());
            points.into_iter().flatten().flatten().filter(free)
        };
        let is_reference = |i: u32| {
            let at = kind(i).and_then(|kind| kind.coordinate_of());
            at.is_some_and(|at| matches!(points[at.0 as usize].role, PointRole::Control(_)))
        };
        let group = || self.group.iter().copied();
        let shares = |i: u32, with: &[PointId]| free_points(i).any(|point| with.contains(&point));
        let own: Vec<PointId> = free_points(nominee).collect();
        let reach = group().filter(|&i| shares(i, &own)).flat_map(free_points);
        let reach: Vec<PointId> = reach.collect();
        let mut near: Vec<u32> = group()
            .filter(|&i| i != nominee && shares(i, &reach))
            .collect();
        near.sort_by(|&a, &b| {
            let nearer = shares(b, &own).cmp(&shares(a, &own));
            let larger = self.size(b).total_cmp(&self.size(a));
            nearer.then(larger).then(a.cmp(&b))
        });
        near.truncate(TRIED);
        near.insert(0, nominee);
        near.sort_by_key(|&i| is_reference(i));
        near
    }

    /// The equations to leave out in this round, largest first.
    fn nominees(&self, limit: f64) -> Vec<u32> {
        let (group, observations) = (self.group, self.observations);
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

    fn suspect(&self, i: u32) -> Option<Suspect> {
        let observation = self.observed(i)?;
        let Residual {
            residual,
            redundancy,
            standardised,
        } = self.residuals[i as usize];
        let (residual, standardised) = (residual?, standardised?);
        let a = self.row(i);
        let covariance = self.estimate.covariances(&a.terms);
        // Of two residuals: −aQbᵀ over their sizes.
        let correlation = |j: u32| {
            let b = self.row(j);
            let redundancies = redundancy * self.residuals[j as usize].redundancy;
            -covariance(&b.terms) / (a.sigma * b.sigma * redundancies.sqrt())
        };
        let equals = self
            .group
            .iter()
            .filter(|&&j| j != i && self.size(j) >= standardised.abs() * (1.0 - EQUAL))
            .filter(|&&j| correlation(j).abs() > 1.0 - EQUAL)
            .filter_map(|&j| self.observed(j))
            .collect();
        let predicted = self.observations.plane.get(observation)?.value + residual / redundancy;
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
    // Of most networks nothing more has to be asked.
    let mut sizes = first.iter().filter_map(|residual| residual.standardised);
    if !sizes.any(|w| w.abs() > limits.alarm) {
        return Vec::new();
    }
    let values = Values::whole(&solution.values, 2 * network.nodes());
    let site = network
        .site_at()
        .map(|_| network.similarity_on_grid(&values));
    // Near what all measurements say: a few left out move little.
    let mut places = places.to_vec();
    network.adjusted(solution, &mut places);
    let mut search = Search {
        observations,
        touches: touches.to_vec(),
        places,
        site,
        shared: network.has_shared(),
        limit: limits.alarm,
        suspects: Vec::new(),
        trials: TRIALS,
    };
    let mut rows = search.rounds(network, solution, first, false);
    while !rows.is_empty() {
        let (site, touches) = (search.site, search.touches.clone());
        let (part, solution) = search.solve(&rows, (&search.places, &touches, site.as_ref()));
        let residuals = residuals(&part, &solution);
        rows = search.rounds(&part, &solution, &residuals, true);
    }
    let mut suspects = search.suspects;
    suspects.sort_by(|a, b| {
        b.standardised
            .abs()
            .total_cmp(&a.standardised.abs())
            .then(a.observation.cmp(&b.observation))
    });
    suspects
}

/// A group without one of its observations.
struct Trial {
    /// Sum of squares of what is left.
    squares: f64,
    /// Residual of the one left out against the others, over its one-sigma.
    standardised: f64,
    /// What the others say that it should be.
    predicted: f64,
    places: Vec<Option<Plane>>,
    touches: Vec<Touch>,
}

struct Search<'a> {
    observations: &'a Observations,
    touches: Vec<Touch>,
    /// Where to begin from.
    places: Vec<Option<Plane>>,
    site: Option<Similarity>,
    /// Shared unknowns take part.
    shared: bool,
    limit: f64,
    suspects: Vec<Suspect>,
    /// So many more are tried.
    trials: usize,
}

impl<'a> Search<'a> {
    /// Some observations by themselves, from a start.
    fn solve<'t>(
        &self,
        rows: &[u32],
        (places, touches, site): (&[Option<Plane>], &'t [Touch], Option<&Similarity>),
    ) -> (Network<'t>, Solution)
    where
        'a: 't,
    {
        let network = Network::new(self.observations, touches, rows, places, site, self.shared);
        let start = network.start(places, site);
        let solution = adjust(&network, &start, &|_| false);
        (network, solution)
    }

    /// Looks at every group as often as that can be done without solving it anew; the observations to solve and look at again. `again`
    /// where this is not the whole network, but what earlier rounds have left.
    fn rounds(
        &mut self,
        network: &Network<'_>,
        solution: &Solution,
        residuals: &[Residual],
        again: bool,
    ) -> Vec<u32> {
        let mut rest = Vec::new();
        for (number, members) in groups(network, solution) {
            let mut less: Option<Less<'_>> = None;
            let left = self.group((network, solution), residuals, members, &mut less);
            if left.is_empty() && (again || less.is_some()) {
                let estimate: &dyn Estimate = less.as_ref().map_or(solution, |less| less);
                self.predict((network, solution), number, estimate.values());
            }
            rest.extend(left.iter().filter_map(|&i| network.observation(i as usize)));
        }
        rest.sort_unstable();
        rest
    }

    /// One group's rounds; the equations that are left, none once there is no alarm. `less` is what it ends with.
    fn group<'s>(
        &mut self,
        (network, solution): (&Network<'_>, &'s Solution),
        residuals: &[Residual],
        mut group: Vec<u32>,
        less: &mut Option<Less<'s>>,
    ) -> Vec<u32> {
        let mut residuals = Cow::Borrowed(residuals);
        loop {
            let round = Round {
                network,
                observations: self.observations,
                estimate: less.as_ref().map_or(solution, |less| less),
                residuals: &residuals,
                group: &group,
            };
            let mut nominees = round.nominees(self.limit);
            if let ([nominee], true) = (&mut nominees[..], group.len() <= LARGE) {
                let suspect = self.told_apart(&round, nominee);
                self.suspects.extend(suspect);
            } else {
                let suspects = nominees.iter().filter_map(|&i| round.suspect(i));
                self.suspects.extend(suspects);
            }
            let Some(&worst) = nominees.first() else {
                return Vec::new();
            };
            group.retain(|i| !nominees.contains(i));
            let begun = less
                .take()
                .or_else(|| Less::begin(network, solution, worst));
            *less = begun.and_then(|less| less.without(network, &nominees));
            let Some(less) = &*less else {
                return group;
            };
            let again = group
                .par_iter()
                .with_min_len(256)
                .map_init(Row::default, |row, &i| {
                    residual(network, less, i as usize, row)
                });
            let again: Vec<Residual> = again.collect();
            for (&i, residual) in group.iter().zip(again) {
                residuals.to_mut()[i as usize] = residual;
            }
        }
    }

    /// A small group's nominee as a suspect. A gross error bends the equations, and may even hold the place of all values where another
    /// seems to be the wrong one. So each value near the nominee is left out in turn, and a place looked for from the rest alone:
    /// the nominee becomes the one without which the rest fits best, unless it is as good itself.
    fn told_apart(&mut self, round: &Round<'_>, nominee: &mut u32) -> Option<Suspect> {
        let suspect = round.suspect(*nominee)?;
        let near = round.near(*nominee);
        if near.len() > self.trials || suspect.standardised.abs() < GROSS * self.limit {
            return Some(suspect);
        }
        self.trials -= near.len();
        let members: Vec<u32> = round.members().collect();
        let tried: Vec<(u32, Trial)> = near
            .iter()
            .filter_map(|&i| Some((i, self.without(&members, round.observed(i)?)?)))
            .collect();
        let least = tried.iter().map(|(_, trial)| trial.squares);
        let least = least.min_by(f64::total_cmp).unwrap_or(f64::INFINITY);
        let Some((named, best)) = tried
            .iter()
            .find(|(_, trial)| trial.squares <= least + SAME)
        else {
            return Some(suspect);
        };
        // What is left misses by no more than chance could make of it.
        let most = least + self.limit * self.limit;
        let equals = tried
            .iter()
            .filter(|(i, trial)| i != named && trial.squares <= most);
        if best.standardised.abs() < self.limit {
            return Some(suspect);
        }
        let suspect = Suspect {
            observation: round.observed(*named)?,
            standardised: best.standardised,
            predicted: best.predicted,
            equals: equals.filter_map(|(i, _)| round.observed(*i)).collect(),
        };
        *nominee = *named;
        self.places.clone_from(&best.places);
        self.touches.clone_from(&best.touches);
        Some(suspect)
    }

    /// A group's observations without one of them, from where they are constructed then or from where they were, whichever ends better.
    /// `None` where they don't determine everything.
    fn without(&self, members: &[u32], out: usize) -> Option<Trial> {
        let rows: Vec<u32> = members
            .iter()
            .copied()
            .filter(|&row| row as usize != out)
            .collect();
        let afresh = construct(self.observations, &rows, &self.places);
        let site = afresh.site.as_ref().or(self.site.as_ref());
        let mut touches = self.touches.clone();
        touches.retain(|touch| afresh.touches.iter().all(|other| other.at != touch.at));
        touches.extend(&afresh.touches);
        let afresh = self.ended(&rows, out, (&afresh.places, &touches, site));
        let before = self.ended(
            &rows,
            out,
            (&self.places, &self.touches, self.site.as_ref()),
        );
        afresh
            .into_iter()
            .chain(before)
            .min_by(|a, b| a.squares.total_cmp(&b.squares))
    }

    /// Where some observations end from a start; `None` where they don't determine everything. `out` is not among them.
    fn ended(
        &self,
        rows: &[u32],
        out: usize,
        start @ (places, touches, _): (&[Option<Plane>], &[Touch], Option<&Similarity>),
    ) -> Option<Trial> {
        let (network, solution) = self.solve(rows, start);
        if !(solution.loose.is_empty() && solution.failed.is_empty()) {
            return None;
        }
        let Observation {
            kind, value, sigma, ..
        } = self.observations.plane.get(out)?;
        let values = Values::whole(&solution.values, 2 * network.nodes());
        let mut row = Row::default();
        row.clear();
        if !network.write(kind, *value, *sigma, &values, &mut row) {
            return None;
        }
        let mut ended = places.to_vec();
        network.adjusted(&solution, &mut ended);
        Some(Trial {
            squares: solution.squares,
            standardised: -row.misclosure / (sigma * sigma + solution.variance(&row.terms)).sqrt(),
            predicted: value - row.misclosure,
            places: ended,
            touches: touches.to_vec(),
        })
    }

    /// Works out what a group's suspects should read, from where it ended without them.
    fn predict(
        &mut self,
        (network, solution): (&Network<'_>, &Solution),
        number: u32,
        values: &[f64],
    ) {
        let values = Values::whole(values, 2 * network.nodes());
        let mut row = Row::default();
        for suspect in &mut self.suspects {
            let Some(observation) = self.observations.plane.get(suspect.observation) else {
                continue;
            };
            row.clear();
            let Observation {
                kind, value, sigma, ..
            } = observation;
            let written = network.write(kind, *value, *sigma, &values, &mut row);
            if written && group(network, solution, &row.terms) == number {
                suspect.predicted = value - row.misclosure;
            }
        }
    }
}
