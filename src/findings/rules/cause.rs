//! Which points lack a place for a reason that another finding states: the cause is said once, its consequences not at all.
//!
//! Coordinates that could not be used (`outside-crs`, a datum that can't be brought in, times without a receiver log), a name that nothing
//! defines (`unknown-reference`) or whose own row cannot be used, or a job that nothing ties
//! (`no-datum`) leave every point without a place that hangs on them. Telling each of these to be measured anew would send
//! people out for nothing: mending the cause gives them their places.

use std::collections::{BTreeMap, BTreeSet};

use super::survey::Survey;
use crate::job::model::{LostPoints, Source};
use crate::observe::{PointId, Problem};
use crate::position::Why;

/// Some coordinates were given and could not be used; a finding of their own says why.
pub(super) fn coordinates_refused(survey: &Survey<'_>) -> bool {
    survey.job.lost != LostPoints::default() || refused(survey).next().is_some()
}

/// The rows whose coordinates could not be used.
fn refused<'a>(survey: &Survey<'a>) -> impl Iterator<Item = &'a Source> + use<'a> {
    let problems = survey.observed.problems.iter();
    let subjects = problems.flat_map(|problem| match problem {
        Problem::Outside { subject, .. }
        | Problem::Datum { subject, .. }
        | Problem::Lost { subject } => std::slice::from_ref(subject),
        Problem::NoLog { subjects } => subjects,
        _ => &[],
    });
    subjects.map(|subject| &subject.source)
}

/// Points without a place whose cause another finding states.
pub(super) fn stated_elsewhere(survey: &Survey<'_>) -> BTreeSet<PointId> {
    let untied = survey.observed.problems.contains(&Problem::NoDatum) || survey.adjusted.site_loose;
    if untied && !coordinates_refused(survey) {
        let open = survey.adjusted.undetermined.iter();
        let hanging = open.filter(|point| values(survey, point.point, &point.why) > 0);
        return hanging.map(|point| point.point).collect();
    }
    hanging_on(survey, refused_points(survey))
}

/// `stated`, and the points without a place that hang on one of them.
fn hanging_on(survey: &Survey<'_>, mut stated: BTreeSet<PointId>) -> BTreeSet<PointId> {
    if stated.is_empty() {
        return stated;
    }
    let mut open: BTreeMap<PointId, (bool, Vec<PointId>)> = BTreeMap::new();
    for point in &survey.adjusted.undetermined {
        // Two values fix a point, once what they hang on has its place.
        let enough = values(survey, point.point, &point.why) >= 2;
        open.insert(point.point, (enough, Vec::new()));
    }
    for observation in &survey.observed.observations.plane {
        let named: Vec<PointId> = observation.kind.points().into_iter().flatten().collect();
        for point in &named {
            if let Some((_, neighbours)) = open.get_mut(point) {
                neighbours.extend(named.iter().filter(|other| *other != point));
            }
        }
    }
    let mut queue: Vec<PointId> = stated.iter().copied().collect();
    while let Some(point) = queue.pop() {
        // A point that has its place all the same leaves nothing hanging.
        for point in open
            .get(&point)
            .map_or(&[][..], |(_, neighbours)| neighbours)
        {
            if open.get(point).is_some_and(|(enough, _)| *enough) && stated.insert(*point) {
                queue.push(*point);
            }
        }
    }
    stated
}

/// Points of the rows whose coordinates could not be used, or that name what nothing defines; and points whose own rows cannot be used.
fn refused_points(survey: &Survey<'_>) -> BTreeSet<PointId> {
    let problems = survey.observed.problems.iter();
    let misnamed = problems.filter_map(|problem| match problem {
        Problem::UnknownReference { subject, .. } => Some(&subject.source),
        _ => None,
    });
    let sources: BTreeSet<&Source> = refused(survey).chain(misnamed).collect();
    let lost = &survey.job.lost;
    if sources.is_empty() && *lost == LostPoints::default() {
        return BTreeSet::new();
    }
    // Of a table that can't be used, any point without a measurement may be one.
    let open = survey.adjusted.undetermined.iter().filter(|_| lost.table);
    let bare = open.filter(|point| values(survey, point.point, &point.why) == 0);
    let points = survey.observed.observations.points.iter().enumerate();
    let points = points.map(|(i, point)| (PointId(i as u32), point));
    let of_row = points.filter(|(id, point)| {
        let source = survey.source(*id);
        source.is_some_and(|source| sources.contains(source)) || lost.names.contains(&point.name)
    });
    let of_row = of_row.map(|(id, _)| id);
    of_row.chain(bare.map(|point| point.point)).collect()
}

/// How many values name a point; a place on the site grid counts as one.
fn values(survey: &Survey<'_>, point: PointId, why: &Why) -> usize {
    let points = &survey.observed.observations.points;
    let on_site = points
        .get(point.0 as usize)
        .is_some_and(|point| point.site.is_some());
    match why {
        Why::TooFew { measured, .. } => measured + usize::from(on_site),
        _ => 2,
    }
}
