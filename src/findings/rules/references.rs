//! Reference points whose coordinates can't be: `blunder` where two tapes to one mark contradict their distance, `implausible` where a
//! baseline is far longer than anything on it.
//!
//! *Why*: a digit wrong in a reference's coordinates leaves all its marks without a place, and each blames its own tapes (where they fix
//! it all the same, `blunder` tells); at the far end of a baseline nothing contradicts it at all. *Limit*: two tapes must reach over the distance of their references and differ by no more than that,
//! to 3.29 of their one-sigma ([`crate::sources::Source::Baarda1968`]); told of what all such pairs of two marks or more have in common. A
//! baseline of over [`LONG`] that is [`TIMES`] as long as the farthest station and offset on it (our choice).
//! *Example*: `easting` 143238 for 1432382.

use std::collections::{BTreeMap, BTreeSet};

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::observe::kinds::{Plane, apart, middle};
use crate::observe::{Kind, Observation, PointId, PointRole};
use crate::units::listed;

/// Metres.
const LONG: f64 = 500.0;
const TIMES: f64 = 20.0;
/// No more marks are named.
const NAMED: usize = 5;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let mut found: Vec<Finding> = by_tapes(survey).into_iter().collect();
    found.extend(by_baselines(survey));
    found
}

/// A reference's exact place.
fn exact(survey: &Survey<'_>, point: PointId) -> Option<Plane> {
    let known = survey.observed.observations.points.get(point.0 as usize)?;
    known
        .fixed
        .filter(|_| matches!(known.role, PointRole::Control(_)))
}

/// A tape from an exact reference.
struct Tape<'a> {
    from: PointId,
    place: Plane,
    row: &'a Observation,
}

/// Two tapes that contradict the distance of their references.
fn contradict(one: &Tape<'_>, other: &Tape<'_>, alarm: f64) -> bool {
    let between = apart(one.place, other.place);
    let (a, b) = (one.row.value, other.row.value);
    let allowed = alarm * one.row.sigma.hypot(other.row.sigma);
    a + b < between - allowed || (a - b).abs() > between + allowed
}

fn by_tapes(survey: &Survey<'_>) -> Option<Finding> {
    let mut tapes: BTreeMap<PointId, Vec<Tape<'_>>> = BTreeMap::new();
    for row in &survey.observed.observations.plane {
        let Kind::Distance { from, to } = row.kind else {
            continue;
        };
        for (from, to) in [(from, to), (to, from)] {
            if let (Some(place), None) = (exact(survey, from), exact(survey, to)) {
                tapes.entry(to).or_default().push(Tape { from, place, row });
            }
        }
    }
    let mut marks = BTreeSet::new();
    let mut common: Option<BTreeSet<PointId>> = None;
    // Where the tapes still fix a mark, `blunder` says what contradicts it.
    let open: BTreeSet<PointId> = survey
        .adjusted
        .undetermined
        .iter()
        .map(|open| open.point)
        .collect();
    let alarm = survey.job.limits.alarm;
    for (mark, tapes) in tapes.iter().filter(|(mark, _)| open.contains(mark)) {
        for (i, one) in tapes.iter().enumerate() {
            let later = tapes.iter().skip(i + 1);
            for other in later.filter(|other| contradict(one, other, alarm)) {
                marks.insert(*mark);
                let pair = BTreeSet::from([one.from, other.from]);
                common = Some(common.map_or(pair.clone(), |common| &common & &pair));
            }
        }
    }
    let common = common.filter(|common| !common.is_empty() && marks.len() > 1)?;
    // Where most of what was taped from it agrees, it is the tapes.
    let taped = |point: &PointId| {
        tapes
            .values()
            .filter(|tapes| tapes.len() > 1 && tapes.iter().any(|tape| tape.from == *point))
            .count()
    };
    let blamed: Vec<PointId> = common
        .into_iter()
        .filter(|point| 2 * marks.len() > taped(point))
        .collect();
    let first = *blamed.first()?;
    let names: Vec<_> = blamed.iter().map(|point| survey.called(*point)).collect();
    let marks: Vec<_> = marks.iter().map(|mark| survey.called(*mark)).collect();
    let message = format!(
        "Tapes from {} to {} contradict the distance between the reference points: they don't reach over it, or differ by more. Before any is \
         measured again: the coordinates of {} may be wrong, or another point was taken for it.",
        names.join(" and "),
        listed(&marks, NAMED),
        names.join(" or "),
    );
    Some(at(survey, Finding::new(Code::Blunder, message), first))
}

/// Puts a finding at a reference's row.
fn at(survey: &Survey<'_>, finding: Finding, point: PointId) -> Finding {
    let finding = survey.about(finding, point);
    match survey.source(point) {
        Some(source) => finding.at(source),
        None => finding,
    }
}

fn by_baselines(survey: &Survey<'_>) -> Vec<Finding> {
    let mut lines: BTreeMap<(PointId, PointId), f64> = BTreeMap::new();
    for row in &survey.observed.observations.plane {
        if let Kind::Station { from, to, .. } | Kind::Offset { from, to, .. } = row.kind {
            let reach = lines.entry((from, to)).or_default();
            *reach = reach.max(row.value.abs());
        }
    }
    let points = &survey.observed.observations.points;
    let middle = middle(points.iter().filter_map(|point| point.fixed)).unwrap_or_default();
    let long = |((from, to), reach): ((PointId, PointId), f64)| {
        let ends = exact(survey, from).zip(exact(survey, to))?;
        let length = apart(ends.0, ends.1);
        let far = if apart(ends.0, middle) > apart(ends.1, middle) {
            from
        } else {
            to
        };
        (length > LONG && length > TIMES * reach).then(|| {
            let message = format!(
                "The baseline {}>{} is {} long, and nothing on it lies farther than {} along or off it: check the coordinates of both ends.",
                survey.name(from),
                survey.name(to),
                survey.length(length),
                survey.length(reach),
            );
            let (length, reach) = (survey.unit.of(length), survey.unit.of(TIMES * reach));
            at(survey, Finding::new(Code::Implausible, message).figures(length, Some(reach)), far)
        })
    };
    lines.into_iter().filter_map(long).collect()
}
