//! The mark whose position is checked least, and what would check it.

use super::Known;
use super::placing::candidates;
use crate::observe::PointId;
use crate::position::trial::{Checked, Trials, Tried};
use crate::record::model::Advice;
use crate::run::Located;

/// A measurement with less redundancy than this is as good as unchecked (our choice: it could be wrong by 13 of its one-sigmas
/// before the search for blunders is likely to see it).
const LEAST: f64 = 0.1;
/// Below this a redundancy number is rounding.
const NONE: f64 = 1e-5;
/// Beyond the alarm, so that an error is found four times in five: the normal quantile of 0.8
/// ([`crate::sources::Source::Baarda1968`]).
const POWER: f64 = 0.841_621_233_572_914;

pub(super) fn advise(known: &Known<'_>, trials: &Trials<'_>) -> Option<Advice> {
    let least = least(known);
    let of = |mark: &Located| least.get(mark.point.0 as usize).copied().flatten();
    let worst = known.worst(|mark| of(mark).filter(|r| *r < LEAST).map(|r| -r));
    worst
        .into_iter()
        .find_map(|mark| checking(known, trials, mark))
}

fn checking(known: &Known<'_>, trials: &Trials<'_>, mark: &Located) -> Option<Advice> {
    let unseen = |tried: &Tried<'_, '_>| unseen(known, tried, mark.point);
    let now = unseen(&trials.with(&[])?);
    let (best, then) = candidates(known, mark)
        .into_iter()
        .filter_map(|candidate| {
            let then = unseen(&trials.with(&candidate.trials)?)?;
            Some((candidate, then))
        })
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let name = known.name(mark);
    let finds = format!(
        "{} would check it: an error of {} in any one figure would then be found",
        best.what,
        known.length(then)
    );
    let text = match now {
        None => format!("Nothing checks all that {name}'s position rests on. {finds}."),
        Some(now) => format!(
            "{name}'s position is hardly checked. {finds}, instead of one of {}.",
            known.length(now)
        ),
    };
    let worth = now.is_none_or(|now| super::worth(now, then));
    worth.then(|| known.advice(name, "redundancy", text, now, Some(then)))
}

/// Of each point, the least redundancy number of the measurements that name it.
fn least(known: &Known<'_>) -> Vec<Option<f64>> {
    let mut least: Vec<Option<f64>> = vec![None; known.observations().points.len()];
    let residuals = &known.adjusted.residuals;
    for (row, residual) in known.observations().plane.iter().zip(residuals) {
        if residual.residual.is_none() {
            continue;
        }
        for point in row.kind.points().into_iter().flatten() {
            if let Some(slot) = least.get_mut(point.0 as usize) {
                *slot = Some(slot.map_or(residual.redundancy, |r| r.min(residual.redundancy)));
            }
        }
    }
    least
}

/// The largest error at the point, metres, that one wrong measurement of it may make before it is likely to be found; `None`
/// if one is not checked at all.
fn unseen(known: &Known<'_>, tried: &Tried<'_, '_>, point: PointId) -> Option<f64> {
    let shift = known.job().limits.alarm + POWER;
    let error = |checked: Checked| {
        let seen = checked.redundancy > NONE;
        seen.then(|| shift * checked.reach / checked.redundancy.sqrt())
    };
    let rows = known
        .observations()
        .plane
        .iter()
        .zip(&known.adjusted.residuals);
    let own = rows
        .filter(|(row, residual)| {
            residual.residual.is_some() && row.kind.points().contains(&Some(point))
        })
        .filter_map(|(row, _)| tried.checked(row, point));
    let mut worst: Option<f64> = None;
    for checked in own.chain(tried.added(point)) {
        worst = Some(worst.unwrap_or(0.0).max(error(checked)?));
    }
    worst
}
