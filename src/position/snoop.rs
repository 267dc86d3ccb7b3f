//! One-at-a-time search for blunders: the measurement with the largest standardised residual is named, left out, and
//! the rest looked at again ([`crate::sources::Source::Baarda1968`]). The stated result keeps every measurement:
//! whether one is wrong is for the user to say.
//!
//! In a small group with a gross alarm the residuals mislead: a value that is metres off holds the place of all, and another seems wrong. There
//! each value near the alarm is left out in turn, and the rest constructed and solved anew. Where that leaves an alarm at a point of few values,
//! so is each pair of them: of two gross errors at one point neither need be what stands out.
//!
//! What was named first was held against values that were named later. So once no alarm is left, a suspect that fits the rest is used again,
//! one at a time, and the rest looked at again.
//!
//! Only the parts with an alarm are solved again. In a part (or a set of parts coupled by shared unknowns) of more than
//! [`LARGE`] measurements, several far from each other are left out in the same round: a residual is hardly
//! moved by one that is two measurements away. Small ones go strictly one by one. Redundancy numbers of the later rounds of a large
//! part are good to about a part in a hundred: see [`Less`].

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::construct::construct;
use super::network::{Network, solved};
use super::solve::{residual, residuals};
use super::{Residual, Suspect, Touch};
use crate::limits::Limits;
use crate::math::adjust::{Effort, Model, Row, Values};
use crate::math::less::Less;
use crate::math::similarity::Similarity;
use crate::math::solution::{Estimate, Solution};
use crate::observe::kinds::Plane;
use crate::observe::{Observation, Observations, PointId, PointRole};

/// Measurements of a group that is searched strictly one by one: our choice, a job's worth.
pub(super) const LARGE: usize = 400;
/// Measurements are equally suspect when their standardised residuals differ by less than this part and move together as
/// closely: exact equality is lost to the curvature of the equations.
const EQUAL: f64 = 0.02;

/// More beside a nominee are not tried one by one: our choice.
const TRIED: usize = 20;
/// Nominees of so many times the alarm are gross. Smaller ones, among them those of clean jobs, don't bend the equations and are not tried:
/// our choice.
pub(super) const GROSS: f64 = 1.5;
/// Sums of squares that differ by no more are the same: far above rounding.
const SAME: f64 = 1e-6;
/// Values at a point that are also left out two at a time: ten pairs, our choice.
const PAIRED: usize = 5;
/// Where the first so many trials for a nominee end nowhere, too much is wrong for the others to end, and they are not tried: our choice.
const HOPELESS: usize = 4;
/// So many equations are solved again in the trials of one search, so that a job of nothing but blunders ends soon: a thousand trials of
/// thirty that hang together, three hundred of a hundred. Our choice.
const TRIED_EQUATIONS: usize = 30_000;

/// Group of measurements that influence each other: a part's number, or all coupled parts together.
const COUPLED: u32 = u32::MAX;

pub(super) fn group(network: &Network<'_>, solution: &Solution, terms: &[(u32, f64)]) -> u32 {
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
pub(super) fn groups(network: &Network<'_>, solution: &Solution) -> BTreeMap<u32, Vec<u32>> {
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
    /// before smaller; the coordinates of one reference in the stead of another's, for they meet in the site grid; of all these, what was measured
    /// before the coordinates of reference points.
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
        let alike = |i: u32| is_reference(nominee) && is_reference(i);
        let mut near: Vec<u32> = group()
            .filter(|&i| i != nominee && (shares(i, &reach) || alike(i)))
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

    /// The values at the nominee's point: of two free points, at the one that has fewer.
    fn at_point(&self, nominee: u32) -> Vec<u32> {
        let points = &self.observations.points;
        let points_of = |i: u32| {
            let observed = self.observed(i);
            let points = observed.map(|i| self.observations.plane[i].kind.points());
            points.into_iter().flatten().flatten()
        };
        let free = points_of(nominee).filter(|p| points[p.0 as usize].fixed.is_none());
        let values = free.map(|point| {
            let group = self.group.iter().copied();
            group
                .filter(|&i| points_of(i).any(|other| other == point))
                .collect::<Vec<u32>>()
        });
        values.min_by_key(Vec::len).unwrap_or_default()
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
        used_again: BTreeSet::new(),
        left_to_try: TRIED_EQUATIONS,
    };
    let mut rows = search.rounds(network, solution, first, false);
    while !rows.is_empty() {
        let (site, touches) = (search.site, search.touches.clone());
        let start = (&search.places[..], &touches[..], site.as_ref());
        let (part, solution) = search.solve(&rows, start, Effort::Whole);
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

/// A group without some of its observations.
struct Trial {
    /// Sum of squares of what is left.
    squares: f64,
    /// Each of those left out, against the others.
    out: Vec<Against>,
    /// Some of the values watched still don't fit.
    alarm: bool,
    places: Vec<Option<Plane>>,
    touches: Vec<Touch>,
}

/// A value left out, against the others.
#[derive(Clone, Copy)]
struct Against {
    /// Residual over its one-sigma.
    standardised: f64,
    /// What the others say that it should be.
    predicted: f64,
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
    /// Observations that were suspects and are used again: each only once, so that the search ends.
    used_again: BTreeSet<usize>,
    /// So many more equations are solved in trials.
    left_to_try: usize,
}

impl<'a> Search<'a> {
    /// Some observations by themselves, from a start.
    fn solve<'t>(
        &self,
        rows: &[u32],
        (places, touches, site): (&[Option<Plane>], &'t [Touch], Option<&Similarity>),
        effort: Effort,
    ) -> (Network<'t>, Solution)
    where
        'a: 't,
    {
        solved(
            self.observations,
            rows,
            (places, touches, site),
            (self.shared, effort),
        )
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
            let (left, done) = self.group((network, solution), residuals, members, &mut less);
            if done {
                let mut used_again = None;
                if again || less.is_some() {
                    let estimate: &dyn Estimate = less.as_ref().map_or(solution, |less| less);
                    let fitting = self.predict((network, solution), number, estimate);
                    used_again = fitting.filter(|_| left.len() <= LARGE);
                }
                let Some(fitting) = used_again else {
                    continue;
                };
                self.suspects
                    .retain(|suspect| suspect.observation != fitting);
                self.used_again.insert(fitting);
                rest.push(fitting as u32);
            }
            rest.extend(left.iter().filter_map(|&i| network.observation(i as usize)));
        }
        rest.sort_unstable();
        rest
    }

    /// One group's rounds; the equations that are left, and whether there is no alarm among them. `less` is what it ends with.
    fn group<'s>(
        &mut self,
        (network, solution): (&Network<'_>, &'s Solution),
        residuals: &[Residual],
        mut group: Vec<u32>,
        less: &mut Option<Less<'s>>,
    ) -> (Vec<u32>, bool) {
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
            if let ([nominee], true) = (&nominees[..], group.len() <= LARGE) {
                nominees = self.told_apart(&round, *nominee);
            } else {
                let suspects = nominees.iter().filter_map(|&i| round.suspect(i));
                self.suspects.extend(suspects);
            }
            let Some(&worst) = nominees.first() else {
                return (group, true);
            };
            group.retain(|i| !nominees.contains(i));
            let begun = less
                .take()
                .or_else(|| Less::begin(network, solution, worst));
            *less = begun.and_then(|less| less.without(network, &nominees));
            let Some(less) = &*less else {
                return (group, false);
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

    /// A small group's nominee as a suspect, or what is wrong in its stead; the equations to leave out. A gross error bends the equations, and
    /// may even hold the place of all values where another seems to be the wrong one. So each value near the nominee is left out in turn, and a
    /// place looked for from the rest alone: the nominee becomes the one without which the rest fits best, unless it is as good itself.
    fn told_apart(&mut self, round: &Round<'_>, nominee: u32) -> Vec<u32> {
        let Some(suspect) = round.suspect(nominee) else {
            return vec![nominee];
        };
        let is_gross = suspect.standardised.abs() >= GROSS * self.limit;
        let instead = is_gross.then(|| self.in_its_stead(round, nominee));
        instead.flatten().unwrap_or_else(|| {
            self.suspects.push(suspect);
            vec![nominee]
        })
    }

    /// What is wrong in a nominee's stead, or the nominee itself, by what the rest says without it; named as suspects. `None` where leaving
    /// out makes nothing plain, or there were too many trials.
    fn in_its_stead(&mut self, round: &Round<'_>, nominee: u32) -> Option<Vec<u32>> {
        let near = round.near(nominee);
        if !self.may_try(round, near.len()) {
            return None;
        }
        let at_point = round.at_point(nominee);
        let mut single: Vec<Vec<u32>> = near.into_iter().map(|i| vec![i]).collect();
        let more = single.split_off(single.len().min(HOPELESS));
        let mut tried = self.tried(round, single, &at_point);
        if tried.is_empty() {
            return None;
        }
        tried.extend(self.tried(round, more, &at_point));
        let mut best = best(&tried);
        let pairs = if best.is_some_and(|(_, trial)| trial.alarm) {
            pairs(&at_point)
        } else {
            Vec::new()
        };
        let paired = if self.may_try(round, pairs.len()) {
            self.tried(round, pairs, &at_point)
        } else {
            Vec::new()
        };
        let mut all = &tried;
        let explains = |(_, trial): &&(Vec<u32>, Trial)| !trial.alarm && self.misfit(trial);
        if let Some(pair) = self::best(&paired).filter(|pair| explains(pair)) {
            (best, all) = (Some(pair), &paired);
        }
        let (named, trial) = best.filter(|(_, trial)| self.misfit(trial))?;
        // What is left misses by no more than chance could make of it.
        let most = trial.squares + self.limit * self.limit;
        let fitting = || all.iter().filter(|(_, trial)| trial.squares <= most);
        for (&i, against) in named.iter().zip(&trial.out) {
            let without_it = fitting().filter(|(out, _)| !out.contains(&i));
            let mut equals: Vec<u32> = Vec::new();
            for &other in without_it.flat_map(|(out, _)| out) {
                if !named.contains(&other) && !equals.contains(&other) {
                    equals.push(other);
                }
            }
            let Some(observation) = round.observed(i) else {
                continue;
            };
            self.suspects.push(Suspect {
                observation,
                standardised: against.standardised,
                predicted: against.predicted,
                equals: equals.iter().filter_map(|&i| round.observed(i)).collect(),
            });
        }
        self.places.clone_from(&trial.places);
        self.touches.clone_from(&trial.touches);
        Some(named.clone())
    }

    /// Whether so many trials of a group are left.
    fn may_try(&self, round: &Round<'_>, trials: usize) -> bool {
        trials * round.group.len() <= self.left_to_try
    }

    /// Whether none of those left out fits the others.
    fn misfit(&self, trial: &Trial) -> bool {
        let mut sizes = trial.out.iter().map(|against| against.standardised.abs());
        sizes.all(|size| size >= self.limit)
    }

    /// The group without each of some sets of its equations, where the rest determines everything; `watched` are those that must fit then.
    fn tried(
        &mut self,
        round: &Round<'_>,
        sets: Vec<Vec<u32>>,
        watched: &[u32],
    ) -> Vec<(Vec<u32>, Trial)> {
        self.left_to_try -= sets.len() * round.group.len();
        let members: Vec<u32> = round.members().collect();
        let watched: Vec<usize> = watched.iter().filter_map(|&i| round.observed(i)).collect();
        let observed = |set: &Vec<u32>| set.iter().filter_map(|&i| round.observed(i)).collect();
        let outs: Vec<Vec<usize>> = sets.iter().map(observed).collect();
        let tried = sets.into_par_iter().zip(outs).filter_map(|(set, out)| {
            let trial = self.without(&members, &out, &watched)?;
            Some((set, trial))
        });
        tried.collect()
    }

    /// A group's observations without some of them, from where they are constructed then or from where they were, whichever ends better.
    /// `None` where they don't determine everything.
    fn without(&self, members: &[u32], out: &[usize], watched: &[usize]) -> Option<Trial> {
        let rows: Vec<u32> = members
            .iter()
            .copied()
            .filter(|&row| !out.contains(&(row as usize)))
            .collect();
        let afresh = construct(self.observations, &rows, &self.places);
        let site = afresh.site.as_ref().or(self.site.as_ref());
        let mut touches = self.touches.clone();
        touches.retain(|touch| afresh.touches.iter().all(|other| other.at != touch.at));
        touches.extend(&afresh.touches);
        let afresh = self.ended(&rows, (out, watched), (&afresh.places, &touches, site));
        let before = self.ended(
            &rows,
            (out, watched),
            (&self.places, &self.touches, self.site.as_ref()),
        );
        afresh
            .into_iter()
            .chain(before)
            .min_by(|a, b| a.squares.total_cmp(&b.squares))
    }

    /// Where some observations end from a start; `None` where they don't determine everything. Those that are `out` are not among them.
    fn ended(
        &self,
        rows: &[u32],
        (out, watched): (&[usize], &[usize]),
        start @ (places, touches, _): (&[Option<Plane>], &[Touch], Option<&Similarity>),
    ) -> Option<Trial> {
        let (network, solution) = self.solve(rows, start, Effort::Trial);
        if !(solution.loose.is_empty() && solution.failed.is_empty()) {
            return None;
        }
        let against = |&i: &usize| self.against((&network, &solution), i);
        let left_out: Option<Vec<Against>> = out.iter().map(against).collect();
        let mut row = Row::default();
        let mut misfits = |equation: usize| {
            let residual = residual(&network, &solution, equation, &mut row);
            residual.standardised.is_some_and(|w| w.abs() > self.limit)
        };
        let is_watched = |equation: &usize| {
            let observation = network.observation(*equation);
            observation.is_some_and(|i| watched.contains(&(i as usize)))
        };
        let alarm = (0..network.observed).filter(is_watched).any(&mut misfits);
        let mut ended = places.to_vec();
        network.adjusted(&solution, &mut ended);
        Some(Trial {
            squares: solution.squares,
            out: left_out?,
            alarm,
            places: ended,
            touches: touches.to_vec(),
        })
    }

    /// An observation that took no part, against those that did.
    fn against(
        &self,
        (network, estimate): (&Network<'_>, &dyn Estimate),
        observation: usize,
    ) -> Option<Against> {
        let Observation {
            kind, value, sigma, ..
        } = self.observations.plane.get(observation)?;
        let values = Values::whole(estimate.values(), 2 * network.nodes());
        let mut row = Row::default();
        row.clear();
        if !network.write(kind, *value, *sigma, &values, &mut row) {
            return None;
        }
        let variance = sigma * sigma + estimate.variance(&row.terms);
        Some(Against {
            standardised: -row.misclosure / variance.sqrt(),
            predicted: value - row.misclosure,
        })
    }

    /// Works out what a group's suspects should read, from where it ended without them; of those that fit it, and were not used again before,
    /// the one that fits best.
    fn predict(
        &mut self,
        (network, solution): (&Network<'_>, &Solution),
        number: u32,
        estimate: &dyn Estimate,
    ) -> Option<usize> {
        let values = Values::whole(estimate.values(), 2 * network.nodes());
        let mut row = Row::default();
        let mut best: Option<(f64, usize)> = None;
        for suspect in &mut self.suspects {
            let Some(observation) = self.observations.plane.get(suspect.observation) else {
                continue;
            };
            row.clear();
            let Observation {
                kind, value, sigma, ..
            } = observation;
            let written = network.write(kind, *value, *sigma, &values, &mut row);
            if !written || group(network, solution, &row.terms) != number {
                continue;
            }
            suspect.predicted = value - row.misclosure;
            let size =
                row.misclosure.abs() / (sigma * sigma + estimate.variance(&row.terms)).sqrt();
            let fits = size < self.limit && !self.used_again.contains(&suspect.observation);
            if fits && best.is_none_or(|(least, _)| size < least) {
                best = Some((size, suspect.observation));
            }
        }
        best.map(|(_, observation)| observation)
    }
}

/// The first of those that fit best.
fn best(tried: &[(Vec<u32>, Trial)]) -> Option<&(Vec<u32>, Trial)> {
    let least = tried.iter().map(|(_, trial)| trial.squares);
    let least = least.min_by(f64::total_cmp)?;
    tried
        .iter()
        .find(|(_, trial)| trial.squares <= least + SAME)
}

/// All pairs of the values at a point, if these are few.
fn pairs(values: &[u32]) -> Vec<Vec<u32>> {
    let few = values.len() <= PAIRED;
    let numbered = values.iter().enumerate().filter(|_| few);
    numbered
        .flat_map(|(i, &a)| values[i + 1..].iter().map(move |&b| vec![a, b]))
        .collect()
}
