//! An empty job for tests, and rows to put into it.
#![allow(dead_code)]

use std::collections::BTreeMap;
use std::sync::Arc;

use aslaid::job::model::*;
use aslaid::limits::{Accuracy, Limits};
use aslaid::units::LengthUnit;

pub fn source(file: &str, row: usize) -> Source {
    Source {
        file: file.into(),
        row: row as u32,
    }
}

pub fn empty(crs: &str) -> Job {
    let run = Run {
        id: "A".into(),
        diameter: Some(0.1),
        wall: None,
        texts: BTreeMap::new(),
        pushed: Stream::Down,
        min_grade: None,
        station_from: Stream::Up,
        axis_above_invert: None,
        joins: None,
        lost: false,
        source: source("job.toml", 20),
    };
    Job {
        head: Head {
            id: "T-1".to_owned(),
            located_on: Some("2026-05-14".to_owned()),
            ..Head::default()
        },
        grid: Grid {
            crs: crs.to_owned(),
            unit: LengthUnit::Metre,
            vertical: None,
            geoid: None,
            height: Some(0.0),
            taped_on_slope: false,
            distances_on_grid: false,
            geoid_separation: None,
            declination: None,
        },
        recast: None,
        equipment: Equipment::default(),
        accuracy: Accuracy::default(),
        limits: Limits::default(),
        publish: vec![],
        layers: std::collections::BTreeMap::new(),
        runs: vec![run],
        pushes: vec![],
        control: vec![],
        marks: vec![],
        measures: vec![],
        camera: vec![],
        levels: vec![],
        logs: vec![],
        notes: vec![],
        left_out: vec![],
        inputs: vec![],
        cells: CellCount::default(),
        dropped: 0,
        lost: LostPoints::default(),
    }
}

pub fn control<'a>(job: &'a mut Job, point: &str) -> &'a mut Control {
    let row = job.control.len() + 2;
    job.control.push(Control {
        point: point.into(),
        grid: None,
        geographic: None,
        site: None,
        elevation: None,
        sigma: None,
        sigma_v: None,
        description: None,
        permanent: true,
        usage: Use::Yes,
        source: source("control.csv", row),
        attributes: vec![],
    });
    job.control.last_mut().expect("just pushed")
}

pub fn mark<'a>(job: &'a mut Job, name: &str) -> &'a mut MarkRow {
    let row = job.marks.len() + 2;
    job.marks.push(MarkRow {
        source: source("marks.csv", row),
        run: 0,
        mark: Arc::from(name),
        push: None,
        counter: None,
        role: Role::Centre,
        usage: Use::Yes,
        placing: Placing::default(),
        ground: None,
        readings: [None; 4],
        read_by: ReadBy::Automatic,
        lift: 0.0,
        attitude: Attitude::Level,
        found_by: FoundBy::Crossline,
        end_ahead: None,
        end_behind: None,
        signals: None,
        tilt: None,
        invert_depth: None,
        fitting: None,
        quality: None,
        photo: None,
        note: None,
        attributes: vec![],
    });
    job.marks.last_mut().expect("just pushed")
}

/// A row of the levelling book; NaN is an empty cell.
pub fn level(
    job: &mut Job,
    point: &str,
    backsight: f64,
    intermediate: f64,
    foresight: f64,
    distance: f64,
) {
    let row = job.levels.len() + 2;
    let cell = |x: f64| (!x.is_nan()).then_some(x);
    job.levels.push(LevelRow {
        point: point.into(),
        backsight: cell(backsight),
        intermediate: cell(intermediate),
        foresight: cell(foresight),
        distance: cell(distance),
        source: source("levels.csv", row),
    });
}

pub fn measure(
    job: &mut Job,
    kind: MeasureKind,
    from: &str,
    to: &str,
    value: f64,
    sigma: Option<f64>,
) {
    let row = job.measures.len() + 2;
    job.measures.push(Measure {
        kind,
        from: from.into(),
        to: to.into(),
        value,
        sigma,
        note: None,
        usage: Use::Yes,
        source: source("measures.csv", row),
    });
}
