//! Pipe laid in a long curve: directions at its marks, and what the camera saw beyond the last of them, against the truth.

use super::bends::traced;
use super::build::{Random, Site, row, run};
use super::camera::saw;
use super::coverage::Tally;
use aslaid::job::model::{Role, Stream};
use aslaid::run::Traced;

const DEPTH: f64 = 1.5;
const LENS: f64 = 0.25;
/// Runs of each kind.
const RUNS: usize = 250;

/// A level curve of a radius, straight without one.
#[derive(Clone, Copy)]
struct Curve(Option<f64>);

impl Curve {
    /// Place and direction of flow at a length from the beginning.
    fn at(self, length: f64) -> ([f64; 2], [f64; 2]) {
        let Some(radius) = self.0 else {
            return ([length, 0.0], [1.0, 0.0]);
        };
        let (sin, cos) = (length / radius).sin_cos();
        ([radius * sin, radius * (1.0 - cos)], [cos, sin])
    }
}

/// A run of five to eight marks 2 to 4 m apart, one observation up to 1.5 m beyond the last; lengths of the marks and of that.
fn simulate(curve: Curve, random: &mut Random) -> (Site, Vec<f64>, f64) {
    let mut site = Site::new(vec![run("A", Stream::Down)]);
    let count = 5 + (4.0 * random.uniform()) as usize;
    let placing = f64::hypot(0.05, 0.02 * DEPTH);
    let scale = 1.0 + random.normal(0.007);
    let counted = |length: f64, random: &mut Random| {
        LENS + scale * length + random.normal(0.03 / std::f64::consts::SQRT_2)
    };
    let (mut at, mut lengths) = (1.0, Vec::new());
    for i in 0..count {
        at += random.between(2.0, 4.0);
        let ([x, y], [u, v]) = curve.at(at);
        // Unseen tilt moves the crossline along the pipe.
        let off = 2.0 / 3.0 * DEPTH * random.normal(3.0_f64.to_radians());
        let place = |value: f64, random: &mut Random| value + random.normal(placing.hypot(0.02));
        let paint = (place(x + off * u, random), place(y + off * v, random));
        let mut mark = row(&format!("A{i}"), Role::Centre);
        let reading = DEPTH + random.normal(f64::hypot(0.03, 0.04 * DEPTH));
        mark.readings = [Some(reading), Some(reading), None, None];
        mark.counter = Some(counted(at, random));
        site.add(mark, paint, 0.02, Some(100.0 + random.normal(0.02)));
        lengths.push(at);
    }
    let seen = at + random.between(0.2, 1.5);
    // At the lens.
    site.job.camera = vec![saw(counted(seen, random) - LENS, None)];
    (site, lengths, seen)
}

/// Directions at the ends, and places beyond the last mark, inside their 95 % bounds.
fn held(radius: Option<f64>) -> [Tally; 2] {
    let (curve, mut random) = (
        Curve(radius),
        Random(radius.unwrap_or(0.0).to_bits() ^ 0x2a),
    );
    let mut tallies = [Tally::default(), Tally::default()];
    for _ in 0..RUNS {
        let (site, lengths, seen) = simulate(curve, &mut random);
        let traced: Vec<Traced> = traced(&site);
        let run = &traced[0];
        let ends = [0, run.marks.len() - 1];
        for (end, length) in ends
            .into_iter()
            .zip([lengths[0], lengths[lengths.len() - 1]])
        {
            let (_, [u, v]) = curve.at(length);
            let direction = run.marks[end].direction.expect("a direction");
            let off = (direction.azimuth - u.atan2(v)).sin().asin();
            tallies[0].add(off.abs() <= 1.96 * direction.sigma);
        }
        let spot = run.sights[0].at.expect("a place");
        let ([x, y], _) = curve.at(seen);
        let (e, n) = (x - spot.e, y - spot.n);
        let [[a, b], [_, d]] = spot.covariance;
        let square = (d * e * e - 2.0 * b * e * n + a * n * n) / (a * d - b * b);
        tallies[1].add(square <= 2.4477 * 2.4477);
    }
    tallies
}

/// The end of a curved run was taken to go on as its last leg does: beyond it, 40 of 100 places were inside their ellipses.
#[test]
fn a_curve_may_go_on() {
    for radius in [None, Some(80.0), Some(40.0), Some(20.0), Some(12.0)] {
        let [direction, beyond] = held(radius);
        let (direction, beyond) = (direction.percent(), beyond.percent());
        println!("radius {radius:?}: directions {direction:.1} %, beyond {beyond:.1} %");
        assert!(direction >= 90.0, "{radius:?}: {direction}");
        assert!(beyond >= 87.0, "{radius:?}: {beyond}");
        if radius.is_none() {
            assert!(direction < 99.5 && beyond < 99.5, "{direction} {beyond}");
        }
    }
}
