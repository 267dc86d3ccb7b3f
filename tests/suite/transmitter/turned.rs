//! The same pipe pushed the other way gives the same transmitters.

use super::build::{Site, row, run};
use aslaid::job::model::{MarkRow, Role, Stream};
use aslaid::{run as trace, transmitter};

/// Counter, taped ahead and behind, given tilt in degrees.
const MARKS: [(f64, f64, f64, f64); 4] = [
    (2.0, 1.2, 1.5, 4.0),
    (5.1, 1.3, 1.4, -2.0),
    (9.0, 1.1, 1.6, 6.0),
    (12.0, 1.3, 1.3, 0.5),
];

fn mark(index: usize, ahead: f64, behind: f64, tilt: Option<f64>) -> MarkRow {
    let mut mark = row(&format!("A{index}"), Role::Centre);
    mark.readings = [
        Some(1.8 + 0.05 * index as f64),
        Some(1.82 + 0.05 * index as f64),
        None,
        None,
    ];
    (mark.end_ahead, mark.end_behind, mark.tilt) = (Some(ahead), Some(behind), tilt);
    mark
}

fn transmitters(site: &Site) -> Vec<(f64, f64)> {
    let sensed = transmitter::sense(&site.job, &site.observations, site);
    let traced = trace::trace(site.inputs(), &sensed);
    traced[0]
        .marks
        .iter()
        .map(|mark| (mark.e, mark.n))
        .collect()
}

#[test]
fn pushed_the_other_way() {
    for given in [true, false] {
        let place = |counter: f64| {
            (
                100.0 + 0.8 * counter,
                50.0 + 0.6 * counter + 0.02 * counter * counter,
            )
        };
        let mut down = Site::new(vec![run("A", Stream::Down)]);
        let mut up = Site::new(vec![run("A", Stream::Up)]);
        for (index, &(counter, ahead, behind, tilt)) in MARKS.iter().enumerate() {
            let ground = Some(20.0 - 0.05 * counter);
            let tilt = given.then_some(tilt.to_radians());
            let mut one = mark(index, ahead, behind, tilt);
            one.counter = Some(counter);
            down.add(one, place(counter), 0.02, ground);
            let mut other = mark(index, behind, ahead, tilt.map(|tilt| -tilt));
            other.counter = Some(20.0 - counter);
            up.add(other, place(counter), 0.02, ground);
        }
        let (down, up) = (transmitters(&down), transmitters(&up));
        assert_eq!(down.len(), 4);
        for ((de, dn), (ue, un)) in down.iter().zip(&up) {
            assert!(
                (de - ue).abs() < 1e-4 && (dn - un).abs() < 1e-4,
                "{de} {dn} {ue} {un}"
            );
        }
    }
}

/// One opening pushed both ways, its counter set to zero for the second push, lies on one line like one clean push.
#[test]
fn one_opening_both_ways() {
    use aslaid::job::model::Push;
    use std::sync::Arc;
    let push = |id: &str, pushed, start| Push {
        id: Arc::from(id),
        run: 0,
        pushed,
        counter_at_start: start,
        start: Some(Arc::from("CO")),
        note: None,
        source: super::build::source(2),
    };
    let mut both = Site::new(vec![run("A", Stream::Down)]);
    both.job.pushes = vec![push("p1", Stream::Up, 1.0), push("p2", Stream::Down, 0.0)];
    let mut clean = Site::new(vec![run("A", Stream::Down)]);
    for (index, path) in [-6.0_f64, -2.5, 1.5, 4.0, 8.0].into_iter().enumerate() {
        let at = (path, 0.3 * path);
        let mut one = mark(index, 1.2, 1.2, None);
        (one.push, one.counter) = if path < 0.0 {
            (Some(0), Some(1.0 - path + 0.25))
        } else {
            (Some(1), Some(path + 0.25))
        };
        both.add(one, at, 0.02, Some(10.0));
        let mut other = mark(index, 1.2, 1.2, None);
        other.counter = Some(20.0 + path);
        clean.add(other, at, 0.02, Some(10.0));
    }
    let names = |site: &Site| {
        let sensed = transmitter::sense(&site.job, &site.observations, site);
        let traced = trace::trace(site.inputs(), &sensed);
        let cables: Vec<f64> = traced[0]
            .gaps
            .iter()
            .map(|gap| gap.unwrap().cable)
            .collect();
        let marks: Vec<_> = traced[0]
            .marks
            .iter()
            .map(|mark| (mark.mark, mark.e, mark.n))
            .collect();
        (marks, cables)
    };
    let ((marks, cables), (clean_marks, clean_cables)) = (names(&both), names(&clean));
    assert_eq!(marks.len(), 5);
    for (a, b) in marks.iter().zip(&clean_marks) {
        assert_eq!(a.0, b.0);
        assert!(
            (a.1 - b.1).abs() < 1e-4 && (a.2 - b.2).abs() < 1e-4,
            "{a:?} {b:?}"
        );
    }
    for (a, b) in cables.iter().zip(&clean_cables) {
        assert!((a - b).abs() < 1e-9);
    }
}
