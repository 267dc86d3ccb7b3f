//! What the camera saw: placed along the run, round its bends, a little beyond its marks, and not where nothing says so.

use super::bends::{Pipe, traced};
use super::build::{Site, source};
use super::record::record;
use aslaid::job::model::{CameraRow, Push, Stream};
use aslaid::run::{NoPlace, Spot};
use aslaid::units::LengthUnit;
use std::sync::Arc;

pub fn saw(counter: f64, until: Option<f64>) -> CameraRow {
    CameraRow {
        run: 0,
        push: None,
        counter,
        until,
        what: format!("something at {counter}"),
        clock: None,
        note: None,
        photo: None,
        dig: false,
        source: source(2),
        attributes: Vec::new(),
    }
}

/// Counter at the lens when the lens lies at a station.
fn lens(pipe: &Pipe, station: f64) -> f64 {
    pipe.counter(station) - 0.25
}

/// The places of observations at these stations.
fn places(pipe: &Pipe, stations: &[f64]) -> Vec<Result<Spot, NoPlace>> {
    let mut site = pipe.site();
    site.job.camera = stations
        .iter()
        .map(|&station| saw(lens(pipe, station), None))
        .collect();
    traced(&site)[0]
        .sights
        .iter()
        .map(|sight| sight.at)
        .collect()
}

#[test]
fn along_the_pipe_and_round_its_bend_whichever_way_it_was_pushed() {
    for pushed in [Stream::Down, Stream::Up] {
        for degrees in [0.0, 45.0, 90.0] {
            let pipe = Pipe {
                pushed,
                ..Pipe::bent(degrees)
            };
            let stations = [0.0, 1.0, 4.0, 8.5, 9.8, 10.2, 11.9, 15.0, 16.0];
            for (station, found) in stations.into_iter().zip(places(&pipe, &stations)) {
                let ((e, n), _) = pipe.at(station);
                let spot = found.unwrap();
                let off = f64::hypot(spot.e - e, spot.n - n);
                assert!(
                    off < 0.08,
                    "{pushed:?} {degrees} {station}: {off} off, {spot:?}"
                );
                assert!((spot.station - station).abs() < 0.08, "{spot:?}");
                assert!(spot.beyond.is_none_or(|(_, by)| by < 1e-9));
            }
        }
    }
}

#[test]
fn slack_cable_widens_the_place_across_and_only_there() {
    let taut = Pipe::bent(0.0);
    let slack = Pipe {
        slack: Some((10.0, 0.3)),
        ..Pipe::bent(0.0)
    };
    let sigma = |pipe: &Pipe, station: f64| {
        let spot = places(pipe, &[station])[0].unwrap();
        (spot.covariance[0][0].sqrt(), spot.covariance[1][1].sqrt())
    };
    // 4.3 m of cable (4.38 m at most) on a chord of 4 m: b = 0.88 m, in the middle as 95 %. What the marks may lie nearer leaves a taut
    // cable some room too.
    let ((across, along), (wide, long)) = (sigma(&taut, 10.0), sigma(&slack, 10.15));
    assert!(wide > 0.85 / 1.96 && wide < 1.0 / 1.96, "{wide}");
    assert!(
        across < 0.3 && (along - long).abs() < 0.005,
        "{across} {along} {long}"
    );
    assert!((sigma(&taut, 8.0).0 - sigma(&slack, 8.0).0).abs() < 1e-6);
}

#[test]
fn beyond_the_marks_as_far_as_a_leg_and_no_more_than_three_metres() {
    for (leg, most) in [(2.0, 2.0), (5.0, 3.0)] {
        for pushed in [Stream::Down, Stream::Up] {
            let marks = vec![4.0, 4.0 + leg, 4.0 + 2.0 * leg];
            let last = 4.0 + 2.0 * leg;
            let pipe = Pipe {
                marks,
                pushed,
                ..Pipe::bent(0.0)
            };
            let stations = [
                last + most - 0.01,
                4.0 - most + 0.01,
                last + most + 0.01,
                4.0 - most - 0.01,
            ];
            let found = places(&pipe, &stations);
            for (station, spot) in stations.into_iter().zip(&found).take(2) {
                let spot = spot.unwrap();
                let ((e, n), _) = pipe.at(station);
                assert!(f64::hypot(spot.e - e, spot.n - n) < 0.06, "{spot:?}");
                let (_, by) = spot.beyond.unwrap();
                assert!((by - most + 0.01).abs() < 1e-9);
                assert!((spot.station - station + 4.0).abs() < 0.05, "{spot:?}");
            }
            for spot in &found[2..] {
                let Err(NoPlace::TooFar { by, most: said, .. }) = *spot else {
                    panic!("{spot:?}");
                };
                assert!((by - most - 0.01).abs() < 1e-9 && (said - most).abs() < 1e-9);
            }
            // The farther beyond, the less sure across.
            let across = |spot: &Result<Spot, NoPlace>| spot.unwrap().covariance[0][0];
            let near = places(&pipe, &[last + 0.1]);
            assert!(across(&found[0]) > 1.5 * across(&near[0]));
        }
    }
}

#[test]
fn one_counted_mark_is_not_enough() {
    let pipe = Pipe::bent(0.0);
    let mut site = pipe.site();
    for row in site.job.marks.iter_mut().skip(1) {
        row.counter = None;
    }
    site.job.camera = vec![saw(lens(&pipe, 2.0), None)];
    assert_eq!(traced(&site)[0].sights[0].at, Err(NoPlace::NoCounters));
}

/// Marks without a counter between counted ones: the way runs through them.
#[test]
fn through_marks_that_were_not_counted() {
    let marks = vec![0.0, 6.0, 10.0, 14.0, 18.0];
    let pipe = Pipe {
        marks,
        ..Pipe::bent(90.0)
    };
    let mut site = pipe.site();
    for row in &mut site.job.marks {
        if &*row.mark == "A2" {
            row.counter = None;
        }
    }
    site.job.camera = [7.0, 9.5, 11.0]
        .map(|station| saw(lens(&pipe, station), None))
        .to_vec();
    for (sight, station) in traced(&site)[0].sights.iter().zip([7.0, 9.5, 11.0]) {
        let (spot, ((e, n), _)) = (sight.at.unwrap(), pipe.at(station));
        assert!(f64::hypot(spot.e - e, spot.n - n) < 0.08, "{spot:?}");
    }
}

fn with_pushes(pipe: &Pipe) -> Site {
    let mut site = pipe.site();
    let push = |id: &str, start: &str, zero| Push {
        id: Arc::from(id),
        run: 0,
        pushed: Stream::Down,
        counter_at_start: zero,
        start: Some(Arc::from(start)),
        note: None,
        source: source(2),
    };
    site.job.pushes = vec![push("p1", "CO", 1.0), push("p2", "A2", 0.4)];
    for row in &mut site.job.marks {
        row.push = Some(0);
    }
    site
}

/// A second push, from the mark A2, its counter at 0.4 there.
#[test]
fn another_push_has_its_own_zero() {
    let pipe = Pipe::bent(0.0);
    let mut site = with_pushes(&pipe);
    let row = |push, counter| CameraRow {
        push: Some(push),
        ..saw(counter, None)
    };
    site.job.camera = vec![row(0, lens(&pipe, 9.0)), row(1, 0.4 + 1.0)];
    let traced = traced(&site);
    let spots: Vec<Spot> = traced[0]
        .sights
        .iter()
        .map(|sight| sight.at.unwrap())
        .collect();
    assert!(
        (spots[0].n - 9.0).abs() < 0.05 && (spots[1].n - 9.0).abs() < 0.05,
        "{spots:?}"
    );
}

#[test]
fn in_the_record_with_levels_stretches_and_what_is_to_be_said() {
    let pipe = Pipe::bent(45.0);
    let mut site = pipe.site();
    let at = |station| lens(&pipe, station);
    site.job.camera = vec![
        saw(at(6.0), Some(at(9.0))),
        saw(at(17.0), None),
        saw(at(19.5), Some(at(2.0))),
    ];
    let record = record(&site, LengthUnit::Metre, Vec::new(), Vec::new());
    let [seen, beyond, nowhere] = record.camera.as_slice() else {
        panic!("{:?}", record.camera);
    };
    let stretch = seen.until.as_ref().unwrap();
    assert!(
        (seen.station.unwrap() - 6.0).abs() < 0.05 && (stretch.station.unwrap() - 9.0).abs() < 0.1
    );
    assert!((seen.transmitter_depth.unwrap() - 1.5).abs() < 0.01 && !seen.extrapolated);
    assert!((seen.invert.unwrap() - (100.0 - 1.5 - 0.04)).abs() < 0.01);
    assert!((seen.invert_depth.unwrap() - 1.54).abs() < 0.01);
    // Four inches of bore and a wall of 6 mm above an axis 4 cm above the invert; less sure than at a mark of its own.
    let cover = 1.5 - (0.1016 - 0.04) - 0.006;
    let sigma = (cover - seen.cover_least.unwrap()) / 1.645;
    assert!(sigma > 0.05 && sigma < 0.09, "{sigma}");
    assert!(beyond.extrapolated && beyond.easting.is_some() && beyond.invert.is_some());
    assert!(beyond.invert_95.unwrap() > seen.invert_95.unwrap());
    assert!(nowhere.easting.is_none() && nowhere.invert.is_none() && !nowhere.extrapolated);
    assert!(nowhere.until.as_ref().unwrap().easting.is_some());
    let notes: Vec<&str> = record.notes.iter().map(|note| note.text.as_str()).collect();
    let about = |words: &str| notes.iter().filter(|note| note.contains(words)).count();
    assert_eq!(
        (
            about("beyond mark A4: its place is extrapolated"),
            about("has no place")
        ),
        (1, 1),
        "{notes:#?}"
    );
}
