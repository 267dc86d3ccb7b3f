//! Runs the adjustment: construct, solve, take out what is not determined, solve again, then look at the residuals.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::construct::{Approximate, Incidence, construct};
use super::network::{Network, Slot, solved};
use super::{
    Adjusted, Residual, SiteGrid, Summary, Touch, Undetermined, Why, commons, inches, mirror,
    slips, snoop, valley,
};
use crate::limits::Limits;
use crate::math::adjust::{Effort, Model, Row, Values};
use crate::math::similarity::Similarity;
use crate::math::solution::{Estimate, Solution};
use crate::math::stats::Fit;
use crate::observe::kinds::Plane;
use crate::observe::{Kind, Observations, PointId};

/// Below this a redundancy number is rounding, and a standardised residual has no meaning: our choice.
const LEAST_REDUNDANCY: f64 = 1e-5;

/// What is wrong is looked for so far.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Look {
    /// Not at all.
    Nowhere,
    /// Among measurements.
    Suspects,
    /// Among rows that are in another unit, then among measurements.
    Slips,
}

pub(super) fn adjust(observations: &Observations, limits: &Limits, look: Look) -> Adjusted {
    let rows: Vec<u32> = (0..observations.plane.len() as u32).collect();
    let Approximate {
        mut places,
        mut site,
        mut touches,
        mut why,
        mut others,
    } = construct(observations, &rows, &[]);
    loop {
        let shared = site.is_some() || !observations.shifts.is_empty();
        let start = (&places[..], &touches[..], site.as_ref());
        let how = (shared, Effort::Whole);
        let (network, solution) = solved(observations, &rows, start, how);
        if site_is_loose(&network, &solution) {
            site = None;
            continue;
        }
        let held = touch_unheld(
            (observations, &rows),
            (&network, &solution),
            (&places, site),
            &touches,
        );
        if !held.is_empty() {
            for touch in &held {
                places[touch.at.0 as usize] = Some(touch.place);
            }
            touches.extend(held);
            continue;
        }
        if !drop_unheld(&network, &solution, &mut places, &mut why) {
            let solved = mirror::Solved {
                observations,
                network: &network,
                solution: &solution,
                touches: &touches,
                site: site.as_ref(),
            };
            // Once: what is left then was told.
            if mirror::judge(&solved, &std::mem::take(&mut others), &mut places, &mut why) {
                continue;
            }
            let residuals = residuals(&network, &solution);
            let mut adjusted = finish(observations, &network, solution, &touches, &why, &residuals);
            if look == Look::Slips {
                adjusted.slips = slips::find(observations, &adjusted, limits);
            }
            let inches = (look == Look::Slips && adjusted.slips.is_empty())
                .then(|| inches::find(observations, &adjusted, limits))
                .flatten();
            adjusted.suspects = if let Some((inches, meant)) = inches {
                adjusted.inches = Some(inches);
                adjust(&meant, limits, Look::Suspects).suspects
            } else if !adjusted.slips.is_empty() {
                let meant = slips::meant(observations, &adjusted.slips);
                adjust(&meant, limits, Look::Suspects).suspects
            } else if look == Look::Nowhere {
                Vec::new()
            } else {
                let all = (&network, &adjusted.solution, residuals.as_slice());
                snoop::search(observations, &touches, all, &places, limits)
            };
            if let Some(suspect) = commons::find(observations, &adjusted, limits) {
                adjusted.suspects = vec![suspect];
            }
            return adjusted;
        }
    }
}

/// Whether nothing fixes how the site grid lies.
fn site_is_loose(network: &Network<'_>, solution: &Solution) -> bool {
    let first = network.site_at().map(|at| at - 2 * network.nodes());
    first.is_some_and(|first| solution.loose_shared.iter().any(|&g| g as usize >= first))
}

/// Why the equations don't hold a point, if it is one that they leave free or bring to no end.
fn unheld(slot: &Slot, solution: &Solution) -> Option<Why> {
    match slot {
        Slot::Node(node) if solution.loose.binary_search(node).is_ok() => Some(Why::Loose),
        Slot::Node(node) if solution.failed.binary_search(node).is_ok() => Some(Why::NoEnd),
        _ => None,
    }
}

/// Touches for such points: the valleys that their lengths leave them.
fn touch_unheld(
    (observations, rows): (&Observations, &[u32]),
    (network, solution): (&Network<'_>, &Solution),
    (places, site): (&[Option<Plane>], Option<Similarity>),
    touches: &[Touch],
) -> Vec<Touch> {
    if solution.loose.is_empty() && solution.failed.is_empty() {
        return Vec::new();
    }
    let incidence = Incidence::new(observations, rows);
    let slots = network.slots.iter().enumerate();
    let free = slots.filter(|(_, slot)| unheld(slot, solution).is_some());
    let held = free.filter_map(|(i, _)| {
        let at = PointId(i as u32);
        let place = places[i].filter(|_| touches.iter().all(|touch| touch.at != at))?;
        let rows = incidence.of(at).iter();
        let values = rows.map(|i| &observations.plane[*i as usize]);
        valley::touch(values, (at, place), places, site)
    });
    held.collect()
}

/// Takes out such points; says whether there were any.
fn drop_unheld(
    network: &Network<'_>,
    solution: &Solution,
    places: &mut [Option<Plane>],
    why: &mut BTreeMap<PointId, Why>,
) -> bool {
    let mut out = false;
    for (i, slot) in network.slots.iter().enumerate() {
        if let Some(reason) = unheld(slot, solution) {
            places[i] = None;
            why.insert(PointId(i as u32), reason);
            out = true;
        }
    }
    out
}

/// Every equation's residual, redundancy and standardised residual.
pub(super) fn residuals(network: &Network<'_>, solution: &Solution) -> Vec<Residual> {
    (0..network.observed)
        .into_par_iter()
        .with_min_len(256)
        .map_init(Row::default, |row, i| residual(network, solution, i, row))
        .collect()
}

/// That of one equation.
pub(super) fn residual(
    network: &Network<'_>,
    estimate: &impl Estimate,
    i: usize,
    row: &mut Row,
) -> Residual {
    let values = Values::whole(estimate.values(), 2 * network.nodes());
    row.clear();
    network.row(i, &values, row);
    let redundancy =
        (1.0 - estimate.variance(&row.terms) / (row.sigma * row.sigma)).clamp(0.0, 1.0);
    let standardised =
        (redundancy > LEAST_REDUNDANCY).then(|| -row.misclosure / (row.sigma * redundancy.sqrt()));
    Residual {
        residual: Some(-row.misclosure),
        redundancy,
        standardised,
    }
}

fn summary(network: &Network<'_>, solution: &Solution, touches: &[Touch]) -> Summary {
    // By how much two values overlap where they are taken as touching says where the point lies, not how well they were measured.
    let redundancy = network
        .rows()
        .saturating_sub(network.unknowns() + touches.len());
    let misfits: f64 = touches.iter().map(|touch| touch.misfit).sum();
    Summary {
        equations: network.observed,
        unknowns: network.unknowns(),
        components: solution.part_count,
        fit: Fit {
            squares: (solution.squares - misfits).max(0.0),
            redundancy,
        },
    }
}

fn site_grid(
    network: &Network<'_>,
    solution: &Solution,
    observations: &Observations,
) -> Option<SiteGrid> {
    let at = network.site_at()?;
    let values = Values::whole(&solution.values, 2 * network.nodes());
    let local = network.similarity(&values);
    let [a, b, e, n] = local.parameters;
    let similarity = Similarity {
        parameters: [a, b, e + network.origin.0, n + network.origin.1],
        ..local
    };
    let scale = local.scale();
    let variance = solution.variance(&[(at as u32, a / scale), (at as u32 + 1, b / scale)]);
    Some(SiteGrid {
        similarity,
        scale_sigma: variance.max(0.0).sqrt(),
        residuals: fit(&similarity, observations),
    })
}

/// At each point that both systems know: the similarity's image of x, y less the given east and north.
fn fit(similarity: &Similarity, observations: &Observations) -> Vec<(PointId, f64, f64)> {
    let mut given: BTreeMap<PointId, [Option<f64>; 4]> = BTreeMap::new();
    for (i, point) in observations.points.iter().enumerate() {
        let entry = [
            point.site.map(|p| p.0),
            point.site.map(|p| p.1),
            point.fixed.map(|p| p.0),
            point.fixed.map(|p| p.1),
        ];
        if entry.iter().any(Option::is_some) {
            given.insert(PointId(i as u32), entry);
        }
    }
    for observation in &observations.plane {
        let (at, place) = match observation.kind {
            Kind::SiteX { at } => (at, 0),
            Kind::SiteY { at } => (at, 1),
            Kind::East { at, .. } => (at, 2),
            Kind::North { at, .. } => (at, 3),
            _ => continue,
        };
        // Points with coordinates of one system only are not listed: most of a large job's.
        if place < 2 || given.contains_key(&at) {
            given.entry(at).or_default()[place] = Some(observation.value);
        }
    }
    given
        .into_iter()
        .filter_map(|(point, entry)| {
            let [Some(x), Some(y), Some(e), Some(n)] = entry else {
                return None;
            };
            let image = similarity.apply((x, y));
            Some((point, image.0 - e, image.1 - n))
        })
        .collect()
}

fn finish(
    observations: &Observations,
    network: &Network<'_>,
    solution: Solution,
    touches: &[Touch],
    why: &BTreeMap<PointId, Why>,
    residuals: &[Residual],
) -> Adjusted {
    let mut all = vec![Residual::default(); observations.plane.len()];
    for (i, &residual) in residuals.iter().enumerate() {
        if let Some(slot) = network
            .observation(i)
            .and_then(|index| all.get_mut(index as usize))
        {
            *slot = residual;
        }
    }
    let undetermined = network
        .slots
        .iter()
        .enumerate()
        .filter(|(_, slot)| **slot == Slot::Out)
        .map(|(i, _)| {
            let point = PointId(i as u32);
            Undetermined {
                point,
                why: why.get(&point).cloned().unwrap_or(Why::Loose),
            }
        })
        .collect();
    let shifts = (0..observations.shifts.len())
        .map(|i| {
            (
                solution.values[network.shift_at(i)],
                solution.values[network.shift_at(i) + 1],
            )
        })
        .collect();
    let values = Values::whole(&solution.values, 2 * network.nodes());
    let site_at = network
        .site_at()
        .map(|at| (at, network.similarity(&values)));
    let has_site = observations.points.iter().any(|point| point.site.is_some())
        || observations
            .plane
            .iter()
            .any(|o| matches!(o.kind, Kind::SiteX { .. }));
    Adjusted {
        residuals: all,
        summary: summary(network, &solution, touches),
        suspects: Vec::new(),
        slips: Vec::new(),
        inches: None,
        undetermined,
        touches: touches.to_vec(),
        site: site_grid(network, &solution, observations),
        site_loose: has_site && site_at.is_none(),
        shifts,
        bends: BTreeMap::new(),
        origin: network.origin,
        slots: network.slots.clone(),
        site_at,
        solution,
    }
}
