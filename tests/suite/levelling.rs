//! Levelling and heights against published loops.

pub mod job;

use std::collections::BTreeSet;

use aslaid::crs::Crs;
use aslaid::height::{Closure, Grounds, Heights, heights};
use aslaid::job::model::{Fix, Geographic, Job, MeasureKind, Use};
use aslaid::math::stats::{Fit, chi_square_quantile};
use aslaid::observe::{Observed, PointId, observe};
use job::{control, empty, level, mark, measure};

use crate::simulation::rng::Rng;

const NO: f64 = f64::NAN;

fn solve(job: &Job) -> (Observed, Heights) {
    let crs = Crs::new(&job.grid.crs, job.grid.unit).expect("a CRS");
    let observed = observe(job, &crs);
    let heights = heights(job, &observed.observations, &job.limits);
    (observed, heights)
}

fn ground(of: &(Observed, Heights), name: &str) -> f64 {
    let points = &of.0.observations.points;
    let index = points
        .iter()
        .position(|point| &*point.name == name)
        .expect("a point");
    of.1.ground(PointId(index as u32)).expect("a height").z
}

/// Wolf & Ghilani, Elementary Surveying, problem 5.12 (inputs as printed; which figures are back- and which foresights
/// follows from the close of 10 mm). Adjusted heights worked by hand, equally per set-up.
#[test]
fn a_loop_over_five_set_ups() {
    let mut job = empty("local");
    control(&mut job, "BM7").elevation = Some(852.045);
    for point in ["TP1", "BM8", "TP2", "TP3"] {
        control(&mut job, point);
    }
    level(&mut job, "BM7", 4.388, NO, NO, NO);
    level(&mut job, "TP1", 6.907, NO, 4.538, 300.0);
    level(&mut job, "BM8", 4.680, NO, 8.800, 300.0);
    level(&mut job, "TP2", 3.730, NO, 5.978, 300.0);
    level(&mut job, "TP3", 8.464, NO, 5.245, 300.0);
    level(&mut job, "BM7", NO, NO, 3.598, 300.0);
    let solved = solve(&job);
    let [closure] = &solved.1.book.closures[..] else {
        panic!("one closure: {:?}", solved.1.book.closures)
    };
    assert!((closure.misclosure - 0.010).abs() < 1e-9);
    assert_eq!((closure.setups, closure.length), (5, Some(1500.0)));
    for (point, want) in [
        ("TP1", 851.893),
        ("BM8", 849.998),
        ("TP2", 848.698),
        ("TP3", 847.181),
    ] {
        assert!(
            (ground(&solved, point) - want).abs() < 5.1e-4,
            "{point}: {}",
            ground(&solved, point)
        );
    }
    // 12 mm·√1.5 = 14.70 mm, 4 mm·√5 = 8.94 mm: the greater holds.
    assert!((closure.tolerance(&job.limits, &job.accuracy) - 0.012 * 1.5_f64.sqrt()).abs() < 1e-12);
    assert!(closure.misclosure < closure.tolerance(&job.limits, &job.accuracy));
    // Without lengths only the set-ups count, and 10 mm is too much.
    let without = Closure {
        length: None,
        ..closure.clone()
    };
    assert!(without.misclosure > without.tolerance(&job.limits, &job.accuracy));
}

/// Between benchmarks known to a centimetre each, levels close to 3.29 · 14 mm; between exact ones to 4 mm·√2.
#[test]
fn benchmarks_that_are_not_exact_do_not_close_exactly() {
    let closure = |sigma_v: Option<f64>| {
        let mut job = empty("local");
        for (point, z) in [("A", 100.0), ("B", 99.0)] {
            let benchmark = control(&mut job, point);
            (benchmark.elevation, benchmark.sigma_v) = (Some(z), sigma_v);
        }
        control(&mut job, "T");
        level(&mut job, "A", 1.5, NO, NO, NO);
        level(&mut job, "T", 1.5, NO, 2.0, NO);
        level(&mut job, "B", NO, NO, 1.97, NO);
        let (_, heights) = solve(&job);
        let [closure] = &heights.book.closures[..] else {
            panic!("one closure: {:?}", heights.book.closures)
        };
        assert!((closure.misclosure - 0.030).abs() < 1e-9);
        closure.tolerance(&job.limits, &job.accuracy)
    };
    assert!((closure(None) - 0.004 * 2.0_f64.sqrt()).abs() < 1e-9);
    let own = 3.29 * 0.01 * 2.0_f64.sqrt();
    assert!((closure(Some(0.01)) - f64::hypot(0.004 * 2.0_f64.sqrt(), own)).abs() < 1e-4);
}

/// A teaching page's book: heights of instrument and reduced levels as printed there.
#[test]
fn a_line_that_does_not_close() {
    let mut job = empty("local");
    control(&mut job, "A").elevation = Some(100.0);
    for point in ["1", "2", "3", "4"] {
        control(&mut job, point);
    }
    level(&mut job, "A", 4.320, NO, NO, NO);
    level(&mut job, "1", 5.180, NO, 6.420, NO);
    level(&mut job, "2", 3.070, NO, 4.850, NO);
    level(&mut job, "3", 2.940, NO, 5.160, NO);
    level(&mut job, "4", NO, NO, 3.210, NO);
    let solved = solve(&job);
    assert!(solved.1.book.closures.is_empty() && solved.1.book.hanging.is_empty());
    for (point, want) in [("1", 97.900), ("2", 98.230), ("3", 96.140), ("4", 95.870)] {
        assert!((ground(&solved, point) - want).abs() < 1e-9, "{point}");
    }
    // One set-up after another: 2 mm·√n.
    let points = &solved.0.observations.points;
    let last = points
        .iter()
        .position(|point| &*point.name == "4")
        .expect("a point");
    let variance = solved
        .1
        .ground(PointId(last as u32))
        .expect("a height")
        .variance;
    assert!((variance - 4.0 * 0.002_f64.powi(2)).abs() < 1e-12);
}

/// Printed output of a public adjustment program: eight differences of equal weight, one point held. Its a-priori sigma is
/// not printed; 5 mm is what its m0' of 5.42 mm and its largest normalised residual of 1.68 have in common.
#[test]
fn a_level_net() {
    let mut job = empty("local");
    control(&mut job, "1a").elevation = Some(1000.0);
    for point in ["2", "3", "4"] {
        control(&mut job, point);
    }
    for (from, to, value) in [
        ("1a", "4", -1.225),
        ("4", "3", -0.848),
        ("3", "2", 1.342),
        ("2", "1a", 0.720),
        ("1a", "2", -0.724),
        ("2", "3", -1.335),
        ("3", "4", 0.842),
        ("4", "1a", 1.231),
    ] {
        measure(
            &mut job,
            MeasureKind::HeightDifference,
            from,
            to,
            value,
            Some(0.005),
        );
    }
    let solved = solve(&job);
    for (point, want) in [("4", 998.775_125), ("3", 997.933_25), ("2", 999.274_875)] {
        assert!((ground(&solved, point) - want).abs() < 1e-9, "{point}");
    }
    let Fit {
        squares,
        redundancy,
    } = solved.1.fit();
    assert_eq!(redundancy, 5);
    let m0 = 0.005 * (squares / 5.0).sqrt();
    assert!((m0 - 0.005_415_26).abs() < 1e-8, "{m0}");
    let largest = solved
        .1
        .residuals
        .iter()
        .filter_map(|r| r.standardised)
        .fold(0.0, |m: f64, w| m.max(w.abs()));
    assert!((largest - 1.68).abs() < 0.005, "printed 1.68: {largest}");
    assert!(solved.1.suspects.is_empty());
}

/// Intermediate sights take their share of the misclosure up to their own set-up's backsight, none of what comes after.
#[test]
fn side_shots_share_no_later_error() {
    let mut job = empty("local");
    control(&mut job, "BM").elevation = Some(10.0);
    control(&mut job, "END").elevation = Some(11.0);
    for point in ["side 1", "TP", "side 2"] {
        control(&mut job, point);
    }
    level(&mut job, "BM", 2.000, NO, NO, NO);
    level(&mut job, "side 1", NO, 1.500, NO, NO);
    level(&mut job, "TP", 2.000, NO, 1.500, NO);
    level(&mut job, "side 2", NO, 1.500, NO, NO);
    level(&mut job, "END", NO, NO, 1.492, NO);
    let solved = solve(&job);
    // Levelled 11.008 against 11.000: each of the four readings between takes −2 mm.
    for (point, want) in [("side 1", 10.498), ("TP", 10.496), ("side 2", 10.994)] {
        assert!(
            (ground(&solved, point) - want).abs() < 1e-9,
            "{point}: {}",
            ground(&solved, point)
        );
    }
    let [closure] = &solved.1.book.closures[..] else {
        panic!("one closure")
    };
    assert!((closure.misclosure - 0.008).abs() < 1e-9 && closure.setups == 2);
    assert!(closure.misclosure > closure.tolerance(&job.limits, &job.accuracy));
}

/// A loop over four set-ups of so much one-sigma each, in a job whose `level` says so.
fn a_loop(sigma: f64, rng: &mut Rng) -> Job {
    let mut job = empty("local");
    job.accuracy.level = sigma;
    control(&mut job, "A").elevation = Some(10.0);
    for point in ["B", "C", "D"] {
        control(&mut job, point);
    }
    let mut foresight = || 1.5 + sigma * rng.normal();
    level(&mut job, "A", 1.5, NO, NO, NO);
    for point in ["B", "C", "D"] {
        level(&mut job, point, 1.5, NO, foresight(), NO);
    }
    level(&mut job, "A", NO, NO, foresight(), NO);
    job
}

/// Whether a loop closes over its tolerance.
fn closes_over(sigma: f64, rng: &mut Rng) -> bool {
    let job = a_loop(sigma, rng);
    let solved = solve(&job);
    let closure = &solved.1.book.closures[0];
    closure.misclosure.abs() > closure.tolerance(&job.limits, &job.accuracy)
}

/// The published tolerance is two sigmas of the default; a job that says it levels coarser is held to what it says.
#[test]
fn a_job_that_levels_coarsely_is_held_to_what_it_says() {
    let mut rng = Rng::new(35, 0);
    let mut over = |sigma: f64| (0..1000).filter(|_| closes_over(sigma, &mut rng)).count();
    let found = [0.001, 0.002, 0.004, 0.010, 0.030].map(&mut over);
    println!("over their tolerance, of 1000: {found:?}");
    let [fine, default, coarse @ ..] = found;
    assert!(fine <= 3 && (25..=70).contains(&default), "{found:?}");
    assert!(coarse.iter().all(|&over| over <= 8), "{found:?}");
}

/// Loops whose points have a ground of their own besides: their part of the job's test fails as often as it should.
#[test]
fn sound_heights_are_seldom_a_misfit() {
    let mut rng = Rng::new(36, 0);
    let mut over = 0;
    for _ in 0..1000 {
        let mut job = a_loop(0.002, &mut rng);
        for (name, z) in [("B", 10.0), ("C", 10.0), ("D", 10.0)] {
            mark(&mut job, name).ground = Some(z + job.accuracy.ground * rng.normal());
        }
        job.control.truncate(1);
        let Fit {
            squares,
            redundancy,
        } = solve(&job).1.fit();
        assert_eq!(redundancy, 4);
        over += usize::from(squares > chi_square_quantile(0.975, 4.0));
    }
    println!("over the upper bound, of 1000: {over}");
    // 25 due, 40 is three standard deviations above.
    assert!((10..=40).contains(&over), "{over}");
}

/// Height differences between A, whose height is given, and others.
fn levelled(differences: &[(&str, &str, f64)]) -> Job {
    let mut job = empty("local");
    control(&mut job, "A").elevation = Some(100.0);
    let points = differences.iter().flat_map(|(from, to, _)| [*from, *to]);
    let others: BTreeSet<&str> = points.filter(|point| *point != "A").collect();
    for point in others {
        control(&mut job, point);
    }
    for (from, to, value) in differences {
        let kind = MeasureKind::HeightDifference;
        measure(&mut job, kind, from, to, *value, None);
    }
    job
}

#[test]
fn a_misread_difference_is_named_first() {
    let job = levelled(&[
        ("A", "B", 1.0),
        ("B", "C", 1.1),
        ("C", "D", -0.5),
        ("D", "A", -1.5),
        ("A", "C", 2.0),
        ("B", "D", 0.5),
    ]);
    let solved = solve(&job);
    assert_eq!(
        solved.1.suspects.first().map(|suspect| suspect.row),
        Some(1),
        "B to C reads 0.1 too much"
    );
    assert_eq!(solved.1.suspects.len(), 1);
}

/// A loop has one spare measurement: any sight of it can be the wrong one.
#[test]
fn a_loop_cannot_tell_which_sight_is_wrong() {
    let job = levelled(&[("A", "B", 1.0), ("B", "C", 1.1), ("C", "A", -2.0)]);
    let solved = solve(&job);
    let [suspect] = &solved.1.suspects[..] else {
        panic!("one suspect: {:?}", solved.1.suspects)
    };
    let mut all = suspect.equals.clone();
    all.push(suspect.row);
    all.sort_unstable();
    assert_eq!(all, [0, 1, 2]);
    // Each reads 0.1 more than the two others say, up the loop.
    let value = solved.1.residuals[suspect.row].value;
    assert!(
        (value - suspect.predicted - 0.1).abs() < 1e-9,
        "{suspect:?}"
    );
}

fn gnss(height: f64) -> Geographic {
    Geographic {
        latitude: 0.79,
        longitude: -1.6,
        height: Some(height),
        datum: None,
        surveyed: false,
        fix: Some(Fix::Rtk),
    }
}

#[test]
fn heights_from_a_receiver_are_taken_down_to_the_ground() {
    let mut job = empty("EPSG:26915");
    job.grid.geoid_separation = Some(-30.0);
    job.equipment.antenna_height = 2.0;
    mark(&mut job, "A1").placing.gnss = Some(Box::new(gnss(182.0)));
    let row = mark(&mut job, "A2");
    row.placing.gnss = Some(Box::new(gnss(182.0)));
    row.placing.pole = Some(1.5);
    let row = mark(&mut job, "A3");
    row.placing.gnss = Some(Box::new(gnss(182.0)));
    row.ground = Some(210.25);
    let solved = solve(&job);
    assert!((ground(&solved, "A1") - 210.0).abs() < 1e-9);
    assert!((ground(&solved, "A2") - 210.5).abs() < 1e-9);
    assert!(
        (ground(&solved, "A3") - 210.25).abs() < 1e-9,
        "a given ground goes before the receiver's"
    );
    let variance = solved.1.ground(PointId(0)).expect("a height").variance;
    assert!(
        (variance.sqrt() - 0.04).abs() < 1e-12,
        "twice the horizontal"
    );
    job.grid.geoid_separation = None;
    assert!(
        solve(&job).1.ground(PointId(0)).is_none(),
        "no separation, no height"
    );
}

#[test]
fn a_height_kept_out_is_compared() {
    let mut job = empty("local");
    control(&mut job, "A").elevation = Some(100.0);
    let known = control(&mut job, "B");
    known.elevation = Some(101.02);
    known.usage = Use::Check;
    measure(&mut job, MeasureKind::HeightDifference, "A", "B", 1.0, None);
    let solved = solve(&job);
    assert!((ground(&solved, "B") - 101.0).abs() < 1e-9);
    let [check] = &solved.1.checks[..] else {
        panic!("one check")
    };
    assert!((check.difference - 0.02).abs() < 1e-9 && (check.sigma - 0.005).abs() < 1e-9);
}

#[test]
fn levels_that_hang_on_nothing_are_not_determined() {
    let mut job = empty("local");
    level(&mut job, "X", 1.0, NO, NO, NO);
    level(&mut job, "Y", NO, NO, 2.0, NO);
    level(&mut job, "Z", NO, 1.0, NO, NO);
    let solved = solve(&job);
    assert_eq!(
        solved
            .1
            .undetermined
            .iter()
            .map(|n| &**n)
            .collect::<Vec<_>>(),
        ["X", "Y"]
    );
    assert_eq!(
        solved.1.book.hanging.len(),
        1,
        "Z has no backsight before it"
    );
}

/// A backsight is a reading like any other: where it is the wrong one, it is named, and not the sights that hang on it.
#[test]
fn a_misread_backsight_is_named() {
    let book = |slip: f64| {
        let mut job = empty("local");
        control(&mut job, "B1").elevation = Some(100.0);
        control(&mut job, "B2").elevation = Some(101.0);
        for (at, name) in ["A1", "A2", "A3"].into_iter().enumerate() {
            mark(&mut job, name).placing.grid = Some((5.0 * at as f64, 0.0));
        }
        // Two set-ups: in both, both benchmarks and all three marks.
        level(&mut job, "B1", 2.000 + slip, NO, NO, NO);
        for (point, staff) in [("A1", 1.500), ("A2", 1.400), ("A3", 1.300)] {
            level(&mut job, point, NO, staff, NO, NO);
        }
        level(&mut job, "B2", NO, NO, 1.001, NO);
        level(&mut job, "B2", 1.200, NO, NO, NO);
        for (point, staff) in [("A1", 1.699), ("A2", 1.601), ("A3", 1.500)] {
            level(&mut job, point, NO, staff, NO, NO);
        }
        level(&mut job, "B1", NO, NO, 2.199, NO);
        solve(&job).1
    };
    assert!(book(0.0).suspects.is_empty());
    let heights = book(0.1);
    let first = heights.suspects.first().expect("a suspect");
    let row = &heights.residuals[first.row];
    assert_eq!((row.what, row.source.row), ("backsight", 2), "{row:?}");
    assert!(first.equals.is_empty() && heights.suspects.len() == 1);
    assert!((first.predicted - 2.0).abs() < 0.002, "{first:?}");
}
