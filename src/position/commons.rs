//! Points that the site grid and the coordinate system both know, one of them wrong.
//!
//! Where such points are exact in both, the grid's coordinates are constants, so that one wrong easting shows in x and in y, in every tape
//! from there, and in the other points, which the turned site carries along: looked at one value at a time, sound ones are blamed. So each
//! point is taken for wrong by itself, in one system or in the other: if all else fits then, it is that one that is named, with those that it can
//! as well be.

use std::collections::BTreeMap;

use super::solve::{self, Look};
use super::{Adjusted, Suspect};
use crate::limits::Limits;
use crate::observe::kinds::Plane;
use crate::observe::{Kind, Observations, PointId};

/// More points are not tried one by one: our choice.
const MOST: usize = 20;

/// A common point: its equations of x and y.
#[derive(Clone, Copy)]
struct Common {
    at: PointId,
    grid: Plane,
    x: usize,
    y: usize,
}

/// The suspect, where one wrong point explains all suspects of an adjustment and some of them are such a point's.
pub(super) fn find(
    observations: &Observations,
    adjusted: &Adjusted,
    limits: &Limits,
) -> Option<Suspect> {
    if adjusted.suspects.is_empty() {
        return None;
    }
    let commons = commons(observations);
    let concerned = adjusted.suspects.iter().any(|suspect| {
        let is_one = |common: &Common| [common.x, common.y].contains(&suspect.observation);
        commons.iter().any(is_one)
    });
    if !concerned || commons.len() < 3 || commons.len() > MOST {
        return None;
    }
    let tried = commons.iter().filter_map(|common| {
        let lost = adjusted.undetermined.len();
        let here = wrong((observations, lost), common, limits, true);
        let there = wrong((observations, lost), common, limits, false);
        let better = |a: &Sound, b: &Sound| a.squares.total_cmp(&b.squares);
        let best = here.into_iter().chain(there).min_by(better)?;
        Some((common, best))
    });
    let mut tried: Vec<(&Common, Sound)> = tried.collect();
    tried.sort_by(|a, b| a.1.squares.total_cmp(&b.1.squares));
    let (named, sound) = tried.first()?;
    let gained = adjusted.summary.fit.squares - sound.squares;
    if gained <= limits.alarm * limits.alarm {
        return None;
    }
    let value = |i: usize| observations.plane[i].value;
    let off = |i: usize, predicted: f64| (value(i) - predicted).abs();
    let (x, y) = sound.predicted;
    let (observation, predicted) = if off(named.x, x) >= off(named.y, y) {
        (named.x, x)
    } else {
        (named.y, y)
    };
    let as_well =
        |other: &&(&Common, Sound)| other.1.squares - sound.squares <= limits.alarm.powi(2);
    let equals = tried.iter().skip(1).filter(as_well);
    Some(Suspect {
        observation,
        standardised: gained.sqrt(),
        predicted,
        equals: equals.flat_map(|(other, _)| [other.x, other.y]).collect(),
    })
}

/// Points exact on the grid, with measured x and y.
fn commons(observations: &Observations) -> Vec<Common> {
    let mut found: BTreeMap<PointId, [Option<usize>; 2]> = BTreeMap::new();
    for (i, observation) in observations.plane.iter().enumerate() {
        match observation.kind {
            Kind::SiteX { at } => found.entry(at).or_default()[0] = Some(i),
            Kind::SiteY { at } => found.entry(at).or_default()[1] = Some(i),
            _ => {}
        }
    }
    let common = |(at, pair): (PointId, [Option<usize>; 2])| {
        let grid = observations.points.get(at.0 as usize)?.fixed?;
        let [Some(x), Some(y)] = pair else {
            return None;
        };
        Some(Common { at, grid, x, y })
    };
    found.into_iter().filter_map(common).collect()
}

/// An adjustment in which everything fits.
struct Sound {
    squares: f64,
    /// What x and y of the point taken for wrong should be.
    predicted: Plane,
}

/// With a point taken for wrong: its x and y left out, or its easting and northing, so that it stands where the site has it. `None` where
/// something still does not fit, or has lost its place.
fn wrong(
    (observations, lost): (&Observations, usize),
    common: &Common,
    limits: &Limits,
    on_grid: bool,
) -> Option<Sound> {
    let mut others = observations.clone();
    let (x, y) = (
        observations.plane[common.x].value,
        observations.plane[common.y].value,
    );
    if on_grid {
        let point = others.points.get_mut(common.at.0 as usize)?;
        (point.fixed, point.site) = (None, Some((x, y)));
    }
    for i in [common.x.max(common.y), common.x.min(common.y)] {
        others.plane.remove(i);
    }
    let adjusted = solve::adjust(&others, limits, Look::Nowhere);
    let mut sizes = adjusted
        .residuals
        .iter()
        .filter_map(|residual| residual.standardised);
    if sizes.any(|size| size.abs() > limits.alarm) || adjusted.undetermined.len() > lost {
        return None;
    }
    let site = adjusted.site.as_ref()?.similarity;
    let (x, y) = site.local(common.grid);
    Some(Sound {
        squares: adjusted.summary.fit.squares,
        predicted: (site.origin.0 + x, site.origin.1 + y),
    })
}
