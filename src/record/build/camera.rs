//! Camera observations of the record.

use std::collections::BTreeMap;

use super::View;
use super::marks::cover;
use super::runs::Stationing;
use crate::job::model::CameraRow;
use crate::math::stats::{NORMAL_95, NORMAL_95_ONE_SIDED};
use crate::profile::{Profile, SightLevel};
use crate::record::model::{Camera, StretchEnd};
use crate::run::{Sight, Spot, Traced};
use crate::units::fixed;

/// Run by run, by counter.
pub(super) fn camera(view: &View<'_>) -> Vec<Camera> {
    let runs = view.traced.iter().zip(view.profiles);
    runs.flat_map(|(traced, profile)| of_run(view, traced, profile))
        .collect()
}

fn of_run(view: &View<'_>, traced: &Traced, profile: &Profile) -> Vec<Camera> {
    let mut sights: Vec<(&CameraRow, &Sight, SightLevel)> = traced
        .sights
        .iter()
        .zip(&profile.sights)
        .filter_map(|(sight, level)| Some((view.inputs.job.camera.get(sight.row)?, sight, *level)))
        .collect();
    sights.sort_by(|(a, ..), (b, ..)| a.counter.total_cmp(&b.counter));
    let names = names(view, traced.run, sights.iter().map(|(row, ..)| *row));
    sights
        .into_iter()
        .zip(names)
        .map(|((row, sight, level), name)| {
            let mut camera = as_written(view, row, &name);
            set_place(view, traced, sight, &mut camera);
            set_level(view, traced.run, level, &mut camera);
            camera
        })
        .collect()
}

/// What the observations of a run are called: by their counter, in the job's unit, so that a further one renames none (`c12.4`). A second one at the
/// same counter is `c12.4-2`, one of several pushes `c12.4 (N2)`.
fn names<'a>(
    view: &View<'_>,
    run: usize,
    rows: impl Iterator<Item = &'a CameraRow>,
) -> Vec<String> {
    let job = view.inputs.job;
    let mut pushes = job.pushes.iter().filter(|push| push.run == run);
    let several = pushes.nth(1).is_some();
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    rows.map(|row| {
        let counter = fixed(job.grid.unit.of(row.counter), 2);
        let counter = counter.trim_end_matches('0').trim_end_matches('.');
        let push = row.push.filter(|_| several);
        let push = push.and_then(|push| Some(&job.pushes.get(push)?.id));
        // The parts of an id are told apart by this.
        let push = push.map_or_else(String::new, |push| format!(" ({})", push.replace('/', "-")));
        let nth = seen.entry(format!("{counter}{push}")).or_default();
        *nth += 1;
        let again = match *nth {
            1 => String::new(),
            nth => format!("-{nth}"),
        };
        let name = format!("c{counter}{again}{push}");
        // A mark of that name has the id.
        let taken = view.like_sights.contains(&(row.run, &*name));
        let kind = if taken { " (camera)" } else { "" };
        name + kind
    })
    .collect()
}

/// Coordinates and stations, of the observation and of its stretch's end.
fn set_place(view: &View<'_>, traced: &Traced, sight: &Sight, camera: &mut Camera) {
    let scale = view.scale;
    let Some(run) = view.inputs.job.runs.get(traced.run) else {
        return;
    };
    let stationing = Stationing::of(run, traced, None);
    let station = |spot: &Spot| Some(scale.length(stationing.station(spot.station)));
    if let Ok(spot) = &sight.at {
        camera.station = station(spot);
        camera.easting = Some(scale.grid(spot.e));
        camera.northing = Some(scale.grid(spot.n));
        camera.ellipse = scale.ellipse(spot.covariance);
        camera.extrapolated = spot.beyond.is_some();
    }
    if let (Some(end), Some(Ok(spot))) = (&mut camera.until, &sight.until) {
        end.station = station(spot);
        end.easting = Some(scale.grid(spot.e));
        end.northing = Some(scale.grid(spot.n));
    }
}

fn set_level(view: &View<'_>, run: usize, level: SightLevel, camera: &mut Camera) {
    let scale = view.scale;
    if let Some(invert) = level.invert {
        camera.invert = Some(scale.length(invert.z));
        camera.invert_95 = Some(scale.length(NORMAL_95 * invert.variance.sqrt()));
    }
    if let Some(depth) = level.depth {
        let axis = view.inputs.axis_above_invert(run);
        camera.transmitter_depth = Some(scale.length(depth.value));
        camera.depth_95 = Some(scale.length(NORMAL_95 * depth.sigma));
        camera.invert_depth = Some(scale.length(depth.value + axis));
        let least = |cover| scale.length(cover - NORMAL_95_ONE_SIDED * depth.sigma);
        camera.cover_least = cover(view, run, depth.value).map(least);
        camera.extrapolated |= level.beyond.is_some();
    }
}

/// What the row says, before it has a place.
fn as_written(view: &View<'_>, row: &CameraRow, name: &str) -> Camera {
    let (job, scale) = (view.inputs.job, view.scale);
    Camera {
        id: view.id(&[view.run_id(row.run), name]),
        run: view.run_id(row.run).to_owned(),
        push: row
            .push
            .and_then(|push| Some(job.pushes.get(push)?.id.to_string())),
        counter: scale.length(row.counter),
        station: None,
        what: row.what.clone(),
        clock: row.clock.clone(),
        easting: None,
        northing: None,
        geographic: None,
        ellipse: None,
        transmitter_depth: None,
        depth_95: None,
        invert: None,
        invert_depth: None,
        invert_95: None,
        cover_least: None,
        extrapolated: false,
        until: row.until.map(|counter| StretchEnd {
            counter: scale.length(counter),
            station: None,
            easting: None,
            northing: None,
        }),
        note: row.note.clone(),
        photo: row.photo.clone(),
        dig: row.dig,
        source: row.source.to_string(),
        attributes: row
            .attributes
            .iter()
            .map(|(name, text)| (name.to_string(), text.clone()))
            .collect(),
    }
}
