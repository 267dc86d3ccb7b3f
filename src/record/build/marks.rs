//! Marks of the record.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::View;
use super::head::given;
use super::scale::Scale;
use crate::job::model::{Attitude, Fix as JobFix, FoundBy, MarkRow, ReadBy, Run, Use};
use crate::math::block;
use crate::math::stats::{NORMAL_95, NORMAL_95_ONE_SIDED};
use crate::observe::window::above_ellipsoid;
use crate::profile::Invert;
use crate::record::model::{
    Correction, DepthBasis, Ends, Entered, Evidence, Fix, Further, Mark, Paint, Peak, Predicted,
    Reading,
};
use crate::run::{Located, Traced, VertexKind};
use crate::transmitter::{Basis, Depth, centre_row, exposed_row};

pub(super) fn marks(view: &View<'_>) -> Vec<Mark> {
    let runs: Vec<Vec<Mark>> = view
        .traced
        .par_iter()
        .map(|traced| of_run(view, traced))
        .collect();
    let mut all = Vec::with_capacity(runs.iter().map(Vec::len).sum());
    for mut run in runs {
        all.append(&mut run);
    }
    all
}

fn of_run(view: &View<'_>, traced: &Traced) -> Vec<Mark> {
    // Room for all at once: a mark is large to move.
    let mut marks: Vec<Mark> = Vec::with_capacity(traced.marks.len());
    marks.extend((0..traced.vertices.len()).filter_map(|vertex| mark(view, traced, vertex)));
    let order = |a: &Mark, b: &Mark| {
        let station = |mark: &Mark| mark.station.unwrap_or(f64::MAX);
        station(a).total_cmp(&station(b))
    };
    // Mostly they are in order.
    if !marks.is_sorted_by(|a, b| order(a, b).is_le()) {
        marks.sort_by(order);
    }
    marks
}

/// Cover, ground to the outside top of the pipe, metres.
pub(super) fn cover(view: &View<'_>, run: usize, depth: f64) -> Option<f64> {
    view.inputs.cover(run, depth)
}

pub(super) fn basis(depth: Option<&Depth>) -> DepthBasis {
    match depth.map(|depth| depth.basis) {
        Some(Basis::Readings) => DepthBasis::Readings,
        Some(Basis::Ends) => DepthBasis::Ends,
        Some(Basis::Exposed) => DepthBasis::Exposed,
        Some(Basis::Between) | None => DepthBasis::None,
    }
}

pub(super) const fn evidence(located: &Located) -> Evidence {
    if located.exposed {
        Evidence::Exposed
    } else {
        Evidence::Located
    }
}

fn mark(view: &View<'_>, traced: &Traced, vertex: usize) -> Option<Mark> {
    let (at, profile) = (traced.vertices.get(vertex)?, view.profiles.get(traced.run));
    let VertexKind::Mark(index) = at.kind else {
        return None;
    };
    let located = traced.marks.get(index)?;
    let (job, scale) = (view.inputs.job, view.scale);
    let points = view.inputs.observations.marks.get(located.mark)?;
    let (centre, exposed) = (centre_row(job, points), exposed_row(job, points));
    let row = centre.or(exposed)?;
    let run = job.runs.get(traced.run)?;
    let from_end = super::runs::Stationing::of(run, traced, profile);
    let invert = profile.and_then(|profile| *profile.inverts.get(vertex)?);
    let covariance = located.covariance();
    let mut mark = blank(view, run, row, &points.name);
    mark.station = Some(scale.length(from_end.station(at.station)));
    mark.along_pipe = from_end.along(vertex).map(|along| scale.length(along));
    mark.counter = row.counter.map(|counter| scale.length(counter));
    mark.easting = scale.grid(located.e);
    mark.northing = scale.grid(located.n);
    mark.ellipse = scale.ellipse(covariance);
    mark.horizontal_95 = mark
        .ellipse
        .map(|_| scale.length(block::circle_95(covariance)));
    mark.paint = Paint {
        easting: scale.grid(located.paint.e),
        northing: scale.grid(located.paint.n),
        ellipse: scale.ellipse(located.paint.covariance),
    };
    mark.ground = located.ground.map(|ground| scale.length(ground.z));
    mark.ground_from = located.ground.map(|ground| ground.from.word().to_owned());
    mark.evidence = evidence(located);
    let depth = profile.and_then(|profile| *profile.depths.get(vertex)?);
    set_depths(view, (traced.run, located), (depth, invert), &mut mark);
    set_direction(located, &mut mark);
    set_details(view, located, row, &mut mark);
    let quality = (view.quality)(located.point);
    mark.redundancy = quality.map(|quality| quality.redundancy);
    mark.largest_residual = quality.and_then(|quality| quality.largest_residual);
    let roles = [
        points.exposed.filter(|_| centre.is_some()),
        points.ahead,
        points.behind,
        points.peak,
    ];
    let compared = view.compared.get(&located.mark).into_iter().flatten();
    let further: Vec<&MarkRow> = roles
        .into_iter()
        .flatten()
        .map(|(row, _)| row)
        .chain(compared.copied())
        .filter_map(|row| job.marks.get(row))
        .collect();
    mark.further_sources = further.iter().map(|row| row.source.to_string()).collect();
    // What says where the pipe is, is what the mark comes from.
    let by_sight = points.exposed.filter(|(_, seen)| *seen == located.point);
    if let (Some(seen), Some(painted)) = (by_sight.and(exposed), centre) {
        let (seen, painted) = (seen.source.to_string(), painted.source.to_string());
        for source in mark.further_sources.iter_mut().filter(|s| **s == seen) {
            source.clone_from(&painted);
        }
        mark.source = seen;
    }
    mark.further = further
        .iter()
        .filter_map(|row| further_row(row, scale))
        .collect();
    // What is only compared speaks for itself.
    let own = || further.iter().filter(|row| row.usage == Use::Yes);
    let or = |mine: Option<String>, of: fn(&MarkRow) -> &Option<String>| {
        mine.or_else(|| own().find_map(|row| of(row).clone()))
    };
    mark.fitting = or(mark.fitting, |row| &row.fitting);
    mark.note = or(mark.note, |row| &row.note);
    mark.photo = or(mark.photo, |row| &row.photo);
    Some(mark)
}

/// Fix of a row's own position.
fn fix(row: &MarkRow) -> Option<Fix> {
    let fix = row.placing.gnss.as_deref()?.fix?;
    Some(match fix {
        JobFix::Single => Fix::Single,
        JobFix::Dgnss => Fix::Dgnss,
        JobFix::Float => Fix::Float,
        JobFix::Rtk => Fix::Rtk,
    })
}

/// What else a row says of how it was located; `None`, and nothing set aside for it, where that is nothing.
fn entered(row: &MarkRow, scale: Scale) -> Option<Box<Entered>> {
    let placing = &row.placing;
    let silent = placing.sigma_v.is_none()
        && placing.pole.is_none()
        && row.lift == 0.0
        && row.attitude == Attitude::Level
        && row.found_by == FoundBy::Crossline
        && row.signals.is_none();
    if silent {
        return None;
    }
    let length = |metres: Option<f64>| metres.map(|metres| scale.length(metres));
    let attitude = match row.attitude {
        Attitude::Level => None,
        Attitude::Tilted => Some("tilted"),
        Attitude::Vertical => Some("vertical"),
    };
    let signals = row.signals.as_deref().cloned().unwrap_or_default();
    Some(Box::new(Entered {
        sigma_v: length(placing.sigma_v),
        pole: length(placing.pole),
        lift: given(row.lift, scale),
        attitude: attitude.map(str::to_owned),
        found_by: (row.found_by == FoundBy::Peak).then(|| "peak".to_owned()),
        peak_checked: signals.checked,
        signal: signals.at,
        signal_ahead: signals.ahead,
        signal_behind: signals.behind,
        signal_left: signals.left,
        signal_right: signals.right,
        signal_step: length(signals.step),
    }))
}

/// A further row of a mark, if it says more than where it is.
fn further_row(row: &MarkRow, scale: Scale) -> Option<Further> {
    let quality = row.quality.as_deref();
    let further = Further {
        source: row.source.to_string(),
        fix: fix(row),
        entered: entered(row, scale),
        fitting: row.fitting.clone(),
        note: row.note.clone(),
        photo: row.photo.clone(),
        quality_level: quality.map(|(level, _)| level.clone()),
        quality_by: quality.and_then(|(_, by)| by.clone()),
        attributes: attributes(row),
    };
    let bare = Further {
        source: further.source.clone(),
        ..Further::default()
    };
    (further != bare).then_some(further)
}

/// Columns of a row that the tool does not know.
fn attributes(row: &MarkRow) -> BTreeMap<String, String> {
    let all = row.attributes.iter();
    all.map(|(name, text)| (name.to_string(), text.clone()))
        .collect()
}

/// What the row says, before anything was computed.
fn blank(view: &View<'_>, run: &Run, row: &MarkRow, name: &str) -> Mark {
    Mark {
        id: view.id(&[&run.id, name]),
        run: run.id.to_string(),
        mark: name.to_owned(),
        station: None,
        counter: None,
        along_pipe: None,
        easting: 0.0,
        northing: 0.0,
        geographic: None,
        ellipse: None,
        horizontal_95: None,
        paint: Paint {
            easting: 0.0,
            northing: 0.0,
            ellipse: None,
        },
        ground: None,
        ground_from: None,
        transmitter_depth: None,
        depth_basis: DepthBasis::None,
        cover: None,
        cover_least: None,
        invert: None,
        invert_depth: None,
        invert_95: None,
        depth_95: None,
        tilt: None,
        axis_azimuth: None,
        axis_azimuth_95: None,
        evidence: Evidence::Located,
        accuracy_basis: view.accuracy.basis,
        redundancy: None,
        largest_residual: None,
        fix: fix(row),
        entered: entered(row, view.scale),
        fitting: row.fitting.clone(),
        note: row.note.clone(),
        photo: row.photo.clone(),
        quality_level: row.quality.as_deref().map(|(level, _)| level.clone()),
        quality_by: row.quality.as_deref().and_then(|(_, by)| by.clone()),
        findings: view.codes.get(name).cloned(),
        source: row.source.to_string(),
        further_sources: Vec::new(),
        further: Vec::new(),
        reading: None,
        ends: None,
        correction: None,
        peak: None,
        predicted: None,
        attributes: attributes(row),
    }
}

fn set_depths(
    view: &View<'_>,
    (run, located): (usize, &Located),
    (depth, invert): (Option<Depth>, Option<Invert>),
    mark: &mut Mark,
) {
    let scale = view.scale;
    mark.depth_basis = basis(located.depth.as_ref());
    if let Some(upright) = located.depth.filter(|_| located.upright()) {
        // How deep the transmitter stood in the stack says nothing of how deep a pipe lies.
        mark.transmitter_depth = Some(scale.length(upright.value));
        mark.depth_95 = Some(scale.length(NORMAL_95 * upright.variance().sqrt()));
    }
    if let Some(at) = depth {
        let (depth, sigma) = (at.value, at.variance().sqrt());
        mark.transmitter_depth = at.is_measured().then(|| scale.length(depth));
        mark.depth_95 = Some(scale.length(NORMAL_95 * sigma));
        mark.invert_depth = Some(scale.length(depth + view.inputs.axis_above_invert(run)));
        let cover = cover(view, run, depth);
        mark.cover = cover.map(|cover| scale.length(cover));
        mark.cover_least = cover.map(|cover| scale.length(cover - NORMAL_95_ONE_SIDED * sigma));
    }
    mark.invert = invert.map(|invert| scale.length(invert.z));
    mark.invert_95 = invert.map(|invert| scale.length(NORMAL_95 * invert.variance.sqrt()));
}

fn set_direction(located: &Located, mark: &mut Mark) {
    mark.tilt = located.shift.map(|shift| shift.tilt.angle.to_degrees());
    mark.axis_azimuth = located
        .direction
        .map(|direction| direction.azimuth.to_degrees());
    mark.axis_azimuth_95 = located
        .direction
        .map(|direction| NORMAL_95 * direction.sigma.to_degrees());
}

/// Readings, ends, the move, and what the surface said of an exposed mark.
fn set_details(view: &View<'_>, located: &Located, row: &MarkRow, mark: &mut Mark) {
    let scale = view.scale;
    let sensed = view.sensed.get(located.mark);
    mark.reading = sensed
        .and_then(|sensed| sensed.readings.as_ref())
        .map(|readings| Reading {
            depths: readings
                .depths
                .map(|depth| depth.map(|depth| scale.length(depth))),
            read_by: if row.read_by == ReadBy::Manual {
                "manual"
            } else {
                "automatic"
            }
            .to_owned(),
            accepted: readings.accepted.word().to_owned(),
            spread: readings.spread.filter(|spread| spread.is_finite()),
            sigma: scale.length(readings.sigma),
        });
    mark.ends = sensed
        .and_then(|sensed| sensed.ends.as_ref())
        .map(|ends| Ends {
            ahead: ends.ahead.map(|ahead| scale.length(ahead)),
            behind: ends.behind.map(|behind| scale.length(behind)),
            depth: located.ends_depth.map(|(depth, _)| scale.length(depth)),
            depth_95: located
                .ends_depth
                .map(|(_, sigma)| scale.length(NORMAL_95 * sigma)),
        });
    mark.correction = located.shift.map(|shift| Correction {
        along: scale.length(shift.along),
        tilt: shift.tilt.angle.to_degrees(),
        tilt_from: shift.tilt.from.word().to_owned(),
    });
    mark.peak = located.peak.as_ref().map(|peak| Peak {
        easting: scale.grid(peak.place.e),
        northing: scale.grid(peak.place.n),
        ellipse: scale.ellipse(peak.place.covariance),
        along: scale.length(peak.along.0),
        across: scale.length(peak.across.0),
    });
    let axis = view.inputs.axis_above_invert(row.run);
    mark.predicted = located.predicted.as_ref().map(|predicted| Predicted {
        easting: scale.grid(predicted.e),
        northing: scale.grid(predicted.n),
        ellipse: scale.ellipse(predicted.covariance),
        invert_depth: predicted
            .depth
            .map(|depth| scale.length(depth.value + axis)),
        depth_95: predicted
            .depth
            .map(|depth| scale.length(NORMAL_95 * depth.variance().sqrt())),
    });
}

/// Height of the invert above the ellipsoid by the mark's own GNSS height, metres.
pub(super) fn ellipsoidal(view: &View<'_>, located: &Located) -> Option<f64> {
    let points = view.inputs.observations.marks.get(located.mark)?;
    let row = centre_row(view.inputs.job, points).or(exposed_row(view.inputs.job, points))?;
    let ground = above_ellipsoid(view.inputs.job, row)?;
    Some(ground - located.depth?.value - view.inputs.axis_above_invert(row.run))
}
