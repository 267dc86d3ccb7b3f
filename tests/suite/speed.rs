//! How long large jobs take. Not run by default: `cargo test --release --test speed -- --ignored --nocapture
//! --test-threads 1`, one test at a time for its peak memory.

use std::time::Instant;

use aslaid::advice;
use aslaid::crs::Crs;
use aslaid::height::{Grounds, heights};
use aslaid::job::model::{Fix, Geographic, Job, Run};
use aslaid::limits::Limits;
use aslaid::observe::{Kind, PointId, observe};
use aslaid::position::{Places, adjust};
use aslaid::run::{Inputs, trace};
use aslaid::transmitter::sense;
use aslaid::units::LengthUnit;

use crate::levelling::job;
use crate::networks::build;

use build::{Net, Random};

struct Watch(Instant);

impl Watch {
    fn lap(&mut self, what: &str) {
        let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        let peak = status
            .lines()
            .find_map(|line| line.strip_prefix("VmHWM:"))
            .unwrap_or("?")
            .trim();
        println!(
            "{what:28} {:8.3} s   peak {peak}",
            self.0.elapsed().as_secs_f64()
        );
        self.0 = Instant::now();
    }
}

/// One network of 2,000 free points and 10,000 tapes, and every point's covariance.
#[test]
#[ignore = "a measurement of speed"]
fn two_thousand_points() {
    for at_random in [false, true] {
        let (mut random, mut net) = (Random(7), Net::new());
        let side = 45;
        let corners = [(0.0, 0.0), (900.0, 0.0), (0.0, 900.0), (900.0, 900.0)];
        // Three references at each, so that a place can be found before anything is adjusted.
        let beside = [(-10.0, -10.0), (-14.0, 3.0), (3.0, -14.0)];
        for (e, n) in corners {
            for (east, north) in beside {
                net.fixed(e + east, n + north);
            }
        }
        let mut points = Vec::new();
        for i in 0..2000 {
            let (x, y) = ((i % side) as f64 * 20.0, (i / side) as f64 * 20.0);
            points.push(net.free(x + random.uniform(-5.0, 5.0), y + random.uniform(-5.0, 5.0)));
        }
        let tape = |net: &mut Net, from: PointId, to: PointId, random: &mut Random| {
            net.noisy(Kind::Distance { from, to }, 0.015, random);
        };
        for (i, &point) in points.iter().enumerate() {
            for step in [1, side, side + 1, side - 1] {
                if let Some(&other) = points.get(i + step) {
                    tape(&mut net, point, other, &mut random);
                }
            }
        }
        for (k, corner) in corners.iter().enumerate() {
            let mut near = points.clone();
            let far = |p: &PointId| {
                let (e, n) = net.truth[p.0 as usize];
                f64::hypot(e - corner.0, n - corner.1)
            };
            near.sort_by(|a, b| far(a).total_cmp(&far(b)));
            for &point in &near[..6] {
                for reference in 3 * k..3 * k + 3 {
                    tape(&mut net, PointId(reference as u32), point, &mut random);
                }
            }
        }
        while net.out.plane.len() < 10_000 {
            let from = points[random.below(2000)];
            let to = if at_random {
                points[random.below(2000)]
            } else {
                points[(from.0 as usize - 12 + 2 + random.below(3)) % 2000]
            };
            if from != to {
                tape(&mut net, from, to, &mut random);
            }
        }
        let mut watch = Watch(Instant::now());
        let adjusted = adjust(&net.out, &Limits::default());
        watch.lap(if at_random {
            "far tapes: adjust"
        } else {
            "near tapes: adjust"
        });
        let places = points.iter().filter_map(|p| adjusted.place(*p)).count();
        watch.lap("every covariance");
        println!("{places} of 2000 placed; {:?}", adjusted.summary);
        assert!(places > 1990);
    }
}

/// Marks by GNSS, ten to a run, with heights, depths and counters.
fn gnss_job(runs: usize) -> Job {
    let mut random = Random(3);
    let mut job = job::empty("EPSG:26910");
    job.grid.geoid_separation = Some(-20.0);
    let template = job.runs[0].clone();
    job.runs = (0..runs)
        .map(|i| Run {
            id: format!("R{i}").into(),
            ..template.clone()
        })
        .collect();
    for i in 0..runs {
        let (row, column) = ((i / 317) as f64, (i % 317) as f64);
        for k in 0..10 {
            let mark = job::mark(&mut job, &format!("R{i}-{k}"));
            mark.run = i;
            mark.counter = Some(1.0 + 3.0 * f64::from(k));
            mark.readings = [
                Some(1.5 + 0.03 * f64::from(k)),
                Some(1.51 + 0.03 * f64::from(k)),
                None,
                None,
            ];
            mark.placing.gnss = Some(Box::new(Geographic {
                latitude: (47.4 + row * 5e-4 + random.normal() * 1e-7).to_radians(),
                longitude: (-122.1 + column * 5e-4 + f64::from(k) * 3.98e-5).to_radians(),
                height: Some(90.0 + 0.02 * random.normal()),
                datum: None,
                surveyed: false,
                fix: Some(Fix::Rtk),
            }));
        }
    }
    job
}

fn stages(job: &Job, times: usize) {
    let crs = Crs::new("EPSG:26910", LengthUnit::Metre).expect("a CRS");
    let mut watch = Watch(Instant::now());
    let observed = observe(job, &crs);
    watch.lap("observe");
    let adjusted = adjust(&observed.observations, &job.limits);
    watch.lap("adjust");
    let heights = heights(job, &observed.observations, &job.limits);
    watch.lap("heights");
    let points = observed.observations.points.len() as u32;
    let sum: f64 = (0..points)
        .map(|i| {
            let ground = heights
                .ground(PointId(i))
                .map_or(0.0, |ground| ground.variance);
            adjusted
                .place(PointId(i))
                .map_or(0.0, |place| place.covariance[0][0])
                + ground
        })
        .sum();
    watch.lap("every covariance");
    assert!(sum.is_finite() && sum > 0.0);
    let inputs = Inputs {
        job,
        observations: &observed.observations,
        places: &adjusted,
        grounds: &heights,
    };
    let sensed = sense(job, &observed.observations, &adjusted);
    watch.lap("sense");
    let traced = trace(inputs, &sensed);
    watch.lap("trace");
    let profiles = aslaid::profile::profiles(inputs, &traced);
    watch.lap("profiles");
    let known = advice::Known {
        inputs,
        adjusted: &adjusted,
        sensed: &sensed,
        traced: &traced,
        profiles: &profiles,
        unit: LengthUnit::Metre,
    };
    for _ in 0..times {
        let advice = advice::advise(&known);
        watch.lap("advise");
        assert!(advice.iter().all(|advice| !advice.text.is_empty()));
    }
}

/// A million marks in 100,000 runs.
#[test]
#[ignore = "a measurement of speed"]
fn a_million_marks() {
    stages(&gnss_job(100_000), 1);
}

/// A job of the usual size, whose grade is open and whose marks are taped.
#[test]
#[ignore = "a measurement of speed"]
fn a_usual_job() {
    let mut job = job::empty("EPSG:26910");
    for (i, (e, n)) in [
        (0.0, 8.0),
        (12.0, -9.0),
        (25.0, 9.0),
        (38.0, -8.0),
        (50.0, 8.0),
    ]
    .into_iter()
    .enumerate()
    {
        job::control(&mut job, &format!("P{i}")).grid = Some((567_900.0 + e, 5_250_000.0 + n));
    }
    job.runs[0].min_grade = Some(aslaid::job::model::MinGrade::Ratio(0.01));
    for k in 0..12 {
        let mark = job::mark(&mut job, &format!("A{k}"));
        let at = 4.0 * f64::from(k);
        mark.counter = Some(1.0 + at);
        mark.ground = Some(100.0);
        mark.readings = [Some(1.5 + 0.01 * at), Some(1.51 + 0.01 * at), None, None];
        mark.placing.grid = Some((567_900.0 + at, 5_250_000.0));
    }
    stages(&job, 5);
}
