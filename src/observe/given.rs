//! All coordinates that the job gives, checked and brought into the grid at once.

use std::sync::Arc;

use super::kinds::Plane;
use super::positions::{Fixing, check_grid, convert, datum_of_control, datum_of_mark, of_fix};
use super::problem::{Problem, Subject};
use super::rows::Given;
use super::window::{self, WindowMean};
use crate::crs::{Crs, Datum};
use crate::job::model::{Control, Job, MarkRow, Use};
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

/// Positions on their way in.
#[derive(Default)]
struct Gathering {
    owners: Vec<Owner>,
    fixings: Vec<Fixing>,
    grid_owners: Vec<Owner>,
    grids: Vec<(Subject, Plane)>,
}

impl Gathering {
    fn fixing(
        &mut self,
        owner: Owner,
        subject: Subject,
        (latitude, longitude): (f64, f64),
        (datum, corrected): (Datum, bool),
    ) {
        self.owners.push(owner);
        self.fixings.push(Fixing {
            subject,
            latitude,
            longitude,
            datum,
            corrected,
        });
    }

    fn grid(&mut self, owner: Owner, subject: Subject, place: Plane) {
        self.grid_owners.push(owner);
        self.grids.push((subject, place));
    }

    fn control(&mut self, i: usize, control: &Control) {
        let subject = || Subject {
            run: None,
            name: Arc::clone(&control.point),
            source: control.source.clone(),
        };
        if let Some(geographic) = &control.geographic {
            let place = (geographic.latitude, geographic.longitude);
            let datum = (datum_of_control(geographic), false);
            self.fixing(Owner::Control(i), subject(), place, datum);
        }
        if let Some(place) = control.grid {
            self.grid(Owner::Control(i), subject(), place);
        }
    }

    fn mark(&mut self, i: usize, row: &MarkRow, job: &Job, problems: &mut Vec<Problem>) {
        if let Some(gnss) = &row.placing.gnss {
            let place = (gnss.latitude, gnss.longitude);
            let datum = datum_of_mark(gnss);
            self.fixing(Owner::Mark(i), of_mark(row), place, datum);
        }
        if let Some(times) = row.placing.window.filter(|_| !job.logs.is_empty()) {
            let mean = window::mean(job, times);
            let epochs = mean.map_or(0, |mean| mean.epochs);
            if (epochs as f64) < job.limits.log_epochs {
                problems.push(Problem::Window {
                    subject: of_mark(row),
                    epochs,
                    missed: window::missed(job, times),
                });
            }
            if let Some(mean) = mean {
                let place = (mean.latitude, mean.longitude);
                let datum = of_fix(Some(mean.fix));
                self.fixing(Owner::Window(i, mean), of_mark(row), place, datum);
            }
        }
        if let Some(place) = row.placing.grid {
            self.grid(Owner::Mark(i), of_mark(row), place);
        }
    }
}

/// Gathers, checks and converts.
pub(super) fn gather(job: &Job, crs: &Crs, problems: &mut Vec<Problem>) -> GivenAll {
    let mut gathering = Gathering::default();
    for (i, control) in job.control.iter().enumerate() {
        gathering.control(i, control);
    }
    for (i, row) in job.marks.iter().enumerate() {
        gathering.mark(i, row, job, problems);
    }
    if job.logs.is_empty() {
        let timed = job.marks.iter().filter(|row| row.placing.window.is_some());
        let subjects: Vec<Subject> = timed.map(of_mark).collect();
        if !subjects.is_empty() {
            problems.push(Problem::NoLog { subjects });
        }
    }
    let conversion = convert(job, crs, &gathering.fixings, problems);
    let mut all = GivenAll {
        control: vec![Given::default(); job.control.len()],
        marks: vec![Given::default(); job.marks.len()],
        operations: conversion.operations,
        shifts: conversion.shifts,
        shift_names: conversion.shift_names,
    };
    for (owner, fixed) in gathering.owners.into_iter().zip(conversion.fixed) {
        let Some(fixed) = fixed else { continue };
        match owner {
            Owner::Control(i) => all.control[i].geographic = Some(fixed),
            Owner::Mark(i) => all.marks[i].geographic = Some(fixed),
            Owner::Window(i, mean) => all.marks[i].window = Some((fixed, mean)),
        }
    }
    let good = check_grid(crs, &gathering.grids, problems);
    let grids = gathering.grid_owners.into_iter().zip(gathering.grids);
    for ((owner, (_, place)), _) in grids.zip(good).filter(|(_, good)| *good) {
        match owner {
            Owner::Control(i) => all.control[i].grid = Some(place),
            Owner::Mark(i) | Owner::Window(i, _) => all.marks[i].grid = Some(place),
        }
    }
    all
}

/// A local job whose only coordinates are x, y: they are its grid.
pub(super) fn site_is_grid(job: &Job, crs: &Crs) -> bool {
    let gridless = job.control.iter().all(|c| c.grid.is_none())
        && job.marks.iter().all(|m| m.placing.grid.is_none());
    crs.is_local() && gridless
}

impl GivenAll {
    /// Every usable place, for the mean of the site.
    pub(super) fn places<'a>(&'a self, job: &'a Job) -> impl Iterator<Item = Plane> + 'a {
        let control = self
            .control
            .iter()
            .zip(job.control.iter().map(|row| row.usage));
        let marks = self.marks.iter().zip(job.marks.iter().map(|row| row.usage));
        let used = control.chain(marks).filter(|(_, usage)| *usage == Use::Yes);
        used.filter_map(|(given, _)| {
            given
                .grid
                .or(given.geographic.map(|fixed| fixed.place))
                .or(given.window.map(|(fixed, _)| fixed.place))
        })
    }
}
