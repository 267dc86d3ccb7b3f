//! Camera observations of the record.

use super::View;
use crate::job::model::CameraRow;
use crate::record::model::{Camera, StretchEnd};

/// Run by run, by counter.
pub(super) fn camera(view: &View<'_>) -> Vec<Camera> {
    let mut rows: Vec<&CameraRow> = view.inputs.job.camera.iter().collect();
    rows.sort_by(|a, b| a.run.cmp(&b.run).then(a.counter.total_cmp(&b.counter)));
    let (mut run, mut number) = (usize::MAX, 0);
    let mut observations = Vec::with_capacity(rows.len());
    for row in rows {
        number = if row.run == run { number + 1 } else { 1 };
        run = row.run;
        observations.push(observation(view, row, number));
    }
    observations
}

fn observation(view: &View<'_>, row: &CameraRow, number: usize) -> Camera {
    let (job, scale) = (view.inputs.job, view.scale);
    Camera {
        id: view.id(&[view.run_id(row.run), &format!("c{number}")]),
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
