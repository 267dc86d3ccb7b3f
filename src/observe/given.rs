//! All coordinates that the job gives, checked and brought into the grid at once.

use std::sync::Arc;

use super::kinds::Plane;
use super::names::Names;
use super::positions::{Fixing, check_grid, convert, datum_of_control, datum_of_mark};
use super::problem::{Problem, Subject};
use super::rows::Given;
use super::window::{self, WindowMean};
use crate::crs::Crs;
use crate::job::model::{Job, MarkRow};
use crate::record::model::Operation;

/// The job's coordinates, row by row.
pub(super) struct GivenAll {
    pub(super) control: Vec<Given>,
    pub(super) marks: Vec<Given>,
    pub(super) operations: Vec<Operation>,
    pub(super) shifts: Vec<f64>,
    pub(super) shift_names: Vec<Arc<str>>,
}

/// Which row a position belongs to.
#[derive(Clone, Copy)]
enum Owner {
    Control(usize),
    Mark(usize),
    Window(usize, WindowMean),
}

fn of_mark(row: &MarkRow) -> Subject {
    Subject {
        run: Some(row.run),
        name: Arc::clone(&row.mark),
        source: row.source.clone(),
    }
}

/// Gathers, checks and converts.
pub(super) fn gather(job: &Job, crs: &Crs, problems: &mut Vec<Problem>) -> GivenAll {
    let mut owners: Vec<Owner> = Vec::new();
    let mut fixings: Vec<Fixing> = Vec::new();
    let mut grids: Vec<(Subject, Plane)> = Vec::new();
    let mut grid_owners: Vec<Owner> = Vec::new();
    for (i, control) in job.control.iter().enumerate() {
        let subject = Subject {
            run: None,
            name: Arc::clone(&control.point),
            source: control.source.clone(),
        };
        if let Some(geographic) = &control.geographic {
            let (latitude, longitude) = (geographic.latitude, geographic.longitude);
            let datum = datum_of_control(geographic);
            fixings.push(Fixing {
                subject: subject.clone(),
                latitude,
                longitude,
                datum,
                corrected: false,
            });
            owners.push(Owner::Control(i));
        }
        if let Some(place) = control.grid {
            grids.push((subject, place));
            grid_owners.push(Owner::Control(i));
        }
    }
    for (i, row) in job.marks.iter().enumerate() {
        if let Some(gnss) = &row.placing.gnss {
            let (datum, corrected) = datum_of_mark(gnss.datum.as_deref(), gnss.fix);
            let (latitude, longitude) = (gnss.latitude, gnss.longitude);
            fixings.push(Fixing {
                subject: of_mark(row),
                latitude,
                longitude,
                datum,
                corrected,
            });
            owners.push(Owner::Mark(i));
        }
        if let Some(times) = row.placing.window {
            let mean = window::mean(job, times);
            let epochs = mean.map_or(0, |mean| mean.epochs);
            if (epochs as f64) < job.limits.log_epochs {
                problems.push(Problem::Window {
                    subject: of_mark(row),
                    epochs,
                });
            }
            if let Some(mean) = mean {
                let (datum, corrected) = datum_of_mark(None, Some(mean.fix));
                let (latitude, longitude) = (mean.latitude, mean.longitude);
                fixings.push(Fixing {
                    subject: of_mark(row),
                    latitude,
                    longitude,
                    datum,
                    corrected,
                });
                owners.push(Owner::Window(i, mean));
            }
        }
        if let Some(place) = row.placing.grid {
            grids.push((of_mark(row), place));
            grid_owners.push(Owner::Mark(i));
        }
    }
    let conversion = convert(job, crs, &fixings, problems);
    let mut all = GivenAll {
        control: vec![Given::default(); job.control.len()],
        marks: vec![Given::default(); job.marks.len()],
        operations: conversion.operations,
        shifts: conversion.shifts,
        shift_names: conversion.shift_names,
    };
    for (owner, fixed) in owners.into_iter().zip(conversion.fixed) {
        let Some(fixed) = fixed else { continue };
        match owner {
            Owner::Control(i) => all.control[i].geographic = Some(fixed),
            Owner::Mark(i) => all.marks[i].geographic = Some(fixed),
            Owner::Window(i, mean) => all.marks[i].window = Some((fixed, mean)),
        }
    }
    let good = check_grid(crs, &grids, problems);
    for ((owner, (_, place)), _) in grid_owners
        .into_iter()
        .zip(grids)
        .zip(good)
        .filter(|(_, good)| *good)
    {
        match owner {
            Owner::Control(i) => all.control[i].grid = Some(place),
            Owner::Mark(i) | Owner::Window(i, _) => all.marks[i].grid = Some(place),
        }
    }
    all
}

impl GivenAll {
    /// Every usable place, for the mean of the site.
    pub(super) fn places<'a>(&'a self) -> impl Iterator<Item = Plane> + 'a {
        self.control.iter().chain(&self.marks).filter_map(|given| {
            given
                .grid
                .or(given.geographic.map(|fixed| fixed.place))
                .or(given.window.map(|(fixed, _)| fixed.place))
        })
    }

    /// A local job whose only coordinates are x, y: they are its grid.
    pub(super) fn site_is_grid(&self, job: &Job, crs: &Crs) -> bool {
        let gridless = job.control.iter().all(|c| c.grid.is_none())
            && job.marks.iter().all(|m| m.placing.grid.is_none());
        crs.is_local() && gridless
    }
}

/// Elevation of each point, where a row gives it: what taped slopes are reduced with.
pub(super) fn heights(job: &Job, names: &Names) -> Vec<Option<f64>> {
    let mut heights = vec![None; names.points.len()];
    let mut set = |point: Option<super::PointId>, z: Option<f64>| {
        if let (Some(point), Some(z)) = (point, z) {
            let slot: &mut Option<f64> = &mut heights[point.0 as usize];
            slot.get_or_insert(z);
        }
    };
    for row in &job.marks {
        set(names.of_row(row), row.ground.or(row.placing.elevation));
    }
    for control in &job.control {
        set(names.get(&control.point), control.elevation);
    }
    heights
}
