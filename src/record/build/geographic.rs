//! WGS 84 for everything with a place.

use std::collections::BTreeMap;

use super::scale::Scale;
use super::{ToWgs84, View, positive};
use crate::record::model::{AsBuilt, Geographic, Run, Vertex, VertexKind};

/// Heights of inverts above the ellipsoid: by the job's separation, else by a mark's own GNSS height.
pub(super) fn heights(view: &View<'_>) -> Heights {
    let separation = view.inputs.job.grid.geoid_separation;
    let mut by_mark = BTreeMap::new();
    for traced in view.traced.iter().filter(|_| separation.is_none()) {
        for located in &traced.marks {
            if let Some(height) = super::marks::ellipsoidal(view, located) {
                by_mark.insert(view.inputs.mark_name(located.mark).to_owned(), height);
            }
        }
    }
    Heights {
        separation,
        by_mark,
    }
}

/// WGS 84 for everything with a place, in one transformation; heights of the inverts where they are known.
pub(super) fn set(record: &mut AsBuilt, to_wgs84: &ToWgs84<'_>, heights: &Heights, scale: Scale) {
    let crs = scale.crs_unit;
    let mut slots: Vec<(&mut Option<Geographic>, Option<f64>)> = Vec::new();
    let mut points = Vec::new();
    for mark in &mut record.marks {
        points.push((mark.easting * crs, mark.northing * crs));
        slots.push((
            &mut mark.geographic,
            heights.of(Some(&mark.mark), mark.invert, scale),
        ));
    }
    for run in &mut record.runs {
        let along = heights.along(run, scale);
        for (vertex, height) in run.vertices.iter_mut().zip(along) {
            points.push((vertex.easting * crs, vertex.northing * crs));
            slots.push((&mut vertex.geographic, height));
        }
    }
    for camera in &mut record.camera {
        if let (Some(easting), Some(northing)) = (camera.easting, camera.northing) {
            points.push((easting * crs, northing * crs));
            slots.push((
                &mut camera.geographic,
                heights.of(None, camera.invert, scale),
            ));
        }
    }
    for reference in &mut record.references {
        points.push((reference.easting * crs, reference.northing * crs));
        slots.push((&mut reference.geographic, None));
    }
    let Some(lonlat) = in_chunks(&points, to_wgs84) else {
        return;
    };
    for ((slot, ellipsoidal_height), (longitude, latitude)) in slots.into_iter().zip(lonlat) {
        if longitude.is_finite() && latitude.is_finite() {
            let (longitude, latitude) = (longitude.to_degrees(), latitude.to_degrees());
            *slot = Some(Geographic {
                longitude,
                latitude,
                ellipsoidal_height,
            });
        }
    }
}

/// What ellipsoidal heights come from.
pub(super) struct Heights {
    separation: Option<f64>,
    by_mark: BTreeMap<String, f64>,
}

impl Heights {
    fn of(&self, mark: Option<&str>, invert: Option<f64>, scale: Scale) -> Option<f64> {
        let by_separation = invert
            .zip(self.separation)
            .map(|(z, separation)| z * scale.unit.metres() + separation);
        by_separation.or_else(|| self.by_mark.get(mark?).copied())
    }

    /// Of a run's vertices: those of its own marks, and on the straight between two of them what lies between.
    fn along(&self, run: &Run, scale: Scale) -> Vec<Option<f64>> {
        let own = |vertex: &Vertex| {
            // A junction is called after the branch's mark, which may lie higher.
            let mark = vertex.mark.as_deref();
            let mark = mark.filter(|_| vertex.kind == VertexKind::Mark);
            self.of(mark, vertex.invert, scale)
        };
        let vertices = run.vertices.iter();
        let known: Vec<(f64, Option<f64>)> = vertices
            .map(|vertex| (vertex.station, own(vertex)))
            .collect();
        let between = |at: usize, station: f64| {
            let height = |(station, height): &(f64, Option<f64>)| Some((*station, (*height)?));
            let (before, after) = known.split_at_checked(at)?;
            let (from, low) = before.iter().rev().find_map(height)?;
            let (to, high) = after.iter().find_map(height)?;
            let part = (station - from) / positive(to - from);
            Some(low + part * (high - low))
        };
        let all = known.iter().enumerate();
        all.map(|(at, (station, height))| {
            let is_between = run
                .vertices
                .get(at)
                .is_some_and(|v| v.kind != VertexKind::Mark);
            height.or_else(|| between(at, *station).filter(|_| is_between))
        })
        .collect()
    }
}

/// Points a chunk: enough to make a thread's own transformation worth its start.
const CHUNK: usize = 1 << 14;

fn in_chunks(points: &[(f64, f64)], to_wgs84: &ToWgs84<'_>) -> Option<Vec<(f64, f64)>> {
    use rayon::prelude::*;
    let chunks: Option<Vec<Vec<(f64, f64)>>> = points.par_chunks(CHUNK).map(to_wgs84).collect();
    Some(chunks?.concat()).filter(|all| all.len() == points.len())
}
