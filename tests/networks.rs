//! The plane adjustment against independent solutions, published figures and known truth.

#[path = "networks/build.rs"]
mod build;

use std::io::Write;
use std::process::{Command, Stdio};

use aslaid::limits::Limits;
use aslaid::math::ellipse::Ellipse;
use aslaid::math::similarity::Similarity;
use aslaid::observe::{Kind, PointId};
use aslaid::position::{Places, adjust};
use build::{Net, Random, as_json};

const TAPE: f64 = 0.015;

fn python(script: &str, input: &serde_json::Value) -> serde_json::Value {
    let root = env!("CARGO_MANIFEST_DIR");
    let mut child = Command::new(format!("{root}/target/venv/bin/python"))
        .arg(format!("{root}/tests/{script}"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("target/venv is missing: run scripts/setup test");
    child.stdin.take().expect("stdin").write_all(input.to_string().as_bytes()).expect("input taken");
    let output = child.wait_with_output().expect("python ran");
    assert!(output.status.success(), "{script} failed");
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// A network of every kind of observation about four control points; one in three has a site grid as well.
fn random_network(seed: u64) -> Net {
    let mut random = Random(seed);
    let mut net = Net::new();
    let turn = random.uniform(-3.0, 3.0);
    net.site = Similarity {
        origin: (50.0, 50.0),
        parameters: [0.9997 * turn.cos(), 0.9997 * turn.sin(), 500_030.0, 4_000_020.0],
    };
    let mut known = vec![
        net.fixed(500_000.0, 4_000_000.0),
        net.fixed(500_060.0, 4_000_005.0),
        net.fixed(500_055.0, 4_000_050.0),
        net.fixed(500_003.0, 4_000_042.0),
    ];
    let datum = net.shift(0.05, (0.03, -0.04));
    if seed % 3 == 0 {
        for _ in 0..3 {
            let at = net.on_site(500_000.0 + random.uniform(-10.0, 70.0), 4_000_000.0 + random.uniform(-10.0, 60.0));
            net.noisy(Kind::East { at, shift: None }, 0.02, &mut random);
            net.noisy(Kind::North { at, shift: None }, 0.02, &mut random);
            known.push(at);
        }
    }
    for i in 0..5 + random.below(8) {
        let at = net.free(500_000.0 + random.uniform(0.0, 60.0), 4_000_000.0 + random.uniform(0.0, 50.0));
        for k in 0..4 + random.below(3) {
            let p = known[random.below(known.len())];
            let q = *known.iter().filter(|q| **q != p).nth(random.below(known.len() - 1)).expect("two known points");
            let kind = match (k + i) % 6 {
                0 | 1 => Kind::Distance { from: p, to: at },
                2 => Kind::Azimuth { from: p, to: at },
                3 => Kind::Angle { at: p, from: q, to: at },
                4 => Kind::Angle { at, from: p, to: q },
                _ => {
                    net.noisy(Kind::Station { from: p, to: q, at }, 0.03, &mut random);
                    Kind::Offset { from: p, to: q, at }
                }
            };
            let sigma = match kind {
                Kind::Distance { .. } => TAPE,
                Kind::Azimuth { .. } => 0.5_f64.to_radians(),
                Kind::Angle { .. } => 0.02_f64.to_radians(),
                _ => 0.03,
            };
            net.noisy(kind, sigma, &mut random);
        }
        if i % 3 == 0 {
            net.noisy(Kind::East { at, shift: Some(datum) }, 0.02, &mut random);
            net.noisy(Kind::North { at, shift: Some(datum) }, 0.02, &mut random);
        }
        if seed % 3 == 0 && i % 4 == 1 {
            net.noisy(Kind::SiteX { at }, 0.02, &mut random);
            net.noisy(Kind::SiteY { at }, 0.02, &mut random);
        }
        known.push(at);
    }
    net
}

#[test]
fn fifty_random_networks_agree_with_scipy() {
    let nets: Vec<Net> = (0..50).map(random_network).collect();
    let input = serde_json::Value::Array(nets.iter().map(as_json).collect());
    let answers = python("networks/solve.py", &input);
    let (mut largest, mut ratio, mut compared) = (0.0_f64, 0.0_f64, 0);
    for (k, (net, answer)) in nets.iter().zip(answers.as_array().expect("a list")).enumerate() {
        let adjusted = adjust(&net.out, &Limits::default());
        assert!(adjusted.undetermined.is_empty(), "network {k}: {:?}", adjusted.undetermined);
        let squares = adjusted.summary.variance_factor.expect("redundant") * adjusted.summary.redundancy as f64;
        let theirs = answer["squares"].as_f64().expect("number");
        assert!((squares / theirs - 1.0).abs() < 1e-6, "network {k}: {squares} {theirs}");
        for i in 0..net.truth.len() {
            let place = adjusted.place(PointId(i as u32)).expect("determined");
            for (axis, (mine, sigma)) in
                [(place.e, place.covariance[0][0]), (place.n, place.covariance[1][1])].into_iter().enumerate()
            {
                let other = answer["places"][i][axis].as_f64().expect("number");
                largest = largest.max((mine - other).abs());
                let other_sigma = answer["sigmas"][i][axis].as_f64().expect("number");
                if other_sigma > 0.0 {
                    ratio = ratio.max((sigma.sqrt() / other_sigma - 1.0).abs());
                    compared += 1;
                }
            }
        }
    }
    println!("50 networks, {compared} coordinates: largest difference {largest:.1e} m, sigmas {ratio:.1e} of themselves");
    assert!(compared > 600);
    assert!(largest < 1e-4, "coordinates differ by {largest} m");
    assert!(ratio < 1e-3, "standard deviations differ by {ratio}");
}

#[test]
fn one_shift_shared_by_many_parts_equals_the_full_matrix() {
    let mut random = Random(5);
    let mut net = Net::new();
    let datum = net.shift(0.5, (0.4, -0.3));
    let p = net.fixed(0.0, 0.0);
    let q = net.fixed(30.0, 0.0);
    let mut points = Vec::new();
    for i in 0..40 {
        let at = net.free(random.uniform(0.0, 30.0), random.uniform(5.0, 20.0));
        net.noisy(Kind::East { at, shift: Some(datum) }, 0.02, &mut random);
        net.noisy(Kind::North { at, shift: Some(datum) }, 0.02, &mut random);
        if i % 10 == 0 {
            net.noisy(Kind::Distance { from: p, to: at }, TAPE, &mut random);
            net.noisy(Kind::Distance { from: q, to: at }, TAPE, &mut random);
        }
        points.push(at);
    }
    let adjusted = adjust(&net.out, &Limits::default());
    // The whole normal matrix in one piece, at the adjusted places.
    let n = 2 * points.len() + 2;
    let mut normal = nalgebra::DMatrix::<f64>::zeros(n, n);
    let mut at_solution = Net { truth: net.truth.clone(), shifts: adjusted.shifts.clone(), ..Net::new() };
    for point in &points {
        let place = adjusted.place(*point).expect("determined");
        at_solution.truth[point.0 as usize] = (place.e, place.n);
    }
    for observation in &net.out.plane {
        let equation = observation.kind.equation(&at_solution);
        let mut row = nalgebra::DVector::<f64>::zeros(n);
        for (point, e, north) in equation.points.iter().flatten().filter(|(p, ..)| p.0 >= 2) {
            row[2 * (point.0 as usize - 2)] += e;
            row[2 * (point.0 as usize - 2) + 1] += north;
        }
        if let Some((_, e, north)) = equation.shift {
            row[n - 2] += e;
            row[n - 1] += north;
        }
        normal += &row * row.transpose() / observation.sigma.powi(2);
    }
    normal[(n - 2, n - 2)] += 0.5_f64.powi(-2);
    normal[(n - 1, n - 1)] += 0.5_f64.powi(-2);
    let inverse = normal.try_inverse().expect("regular");
    for (i, a) in points.iter().enumerate() {
        for (j, b) in points.iter().enumerate() {
            let block = adjusted.covariance(*a, *b);
            for r in 0..2 {
                for c in 0..2 {
                    let want = inverse[(2 * i + r, 2 * j + c)];
                    assert!((block[r][c] - want).abs() < 1e-12, "{i} {j}: {} {want}", block[r][c]);
                }
            }
        }
    }
    assert!((adjusted.shifts[0].0 - 0.4).abs() < 0.1 && (adjusted.shifts[0].1 + 0.3).abs() < 0.1);
}

/// A strip of points, each taped to its neighbours; control every so often. Columns × 2 points.
fn strip(columns: usize, random: &mut Random) -> Net {
    let mut net = Net::new();
    let (mut ids, mut places) = (Vec::new(), Vec::new());
    for i in 0..columns {
        for j in 0..2 {
            let place = (10.0 * i as f64 + random.uniform(-2.0, 2.0), 10.0 * f64::from(j) + random.uniform(-2.0, 2.0));
            ids.push(if i < 2 || (i % 12 == 0 && j == 0) { net.fixed(place.0, place.1) } else { net.free(place.0, place.1) });
            places.push(place);
        }
    }
    for a in 0..ids.len() {
        for b in a + 1..(a + 5).min(ids.len()) {
            net.noisy(Kind::Distance { from: ids[a], to: ids[b] }, TAPE, random);
        }
    }
    net
}

#[test]
fn sparse_and_dense_agree() {
    // 240 unknowns go the sparse way; the same network in nalgebra is the dense one.
    let net = strip(140, &mut Random(11));
    let began = std::time::Instant::now();
    let adjusted = adjust(&net.out, &Limits::default());
    println!("{} unknowns, {:.2} s", adjusted.summary.unknowns, began.elapsed().as_secs_f64());
    assert!(adjusted.undetermined.is_empty(), "{:?}", adjusted.undetermined);
    let free: Vec<PointId> = (0..net.truth.len() as u32).map(PointId).filter(|p| net.out.points[p.0 as usize].fixed.is_none()).collect();
    let n = 2 * free.len();
    assert!(n > 240);
    let mut here = Net { truth: net.truth.clone(), ..Net::new() };
    for point in &free {
        let place = adjusted.place(*point).expect("determined");
        here.truth[point.0 as usize] = (place.e, place.n);
    }
    let mut normal = nalgebra::DMatrix::<f64>::zeros(n, n);
    let mut gradient = nalgebra::DVector::<f64>::zeros(n);
    for observation in &net.out.plane {
        let equation = observation.kind.equation(&here);
        let mut row = nalgebra::DVector::<f64>::zeros(n);
        for (point, e, north) in equation.points.iter().flatten() {
            if let Ok(i) = free.binary_search(point) {
                row[2 * i] += e;
                row[2 * i + 1] += north;
            }
        }
        let weight = observation.sigma.powi(-2);
        gradient += &row * (observation.value - equation.computed) * weight;
        normal += &row * row.transpose() * weight;
    }
    let inverse = normal.try_inverse().expect("regular");
    let step = &inverse * gradient;
    assert!(step.amax() < 1e-7, "not at the minimum: a step of {} m is left", step.amax());
    for (i, a) in free.iter().enumerate() {
        for (j, b) in free.iter().enumerate().filter(|(j, _)| i.abs_diff(*j) < 6 || i % 40 == 0) {
            let block = adjusted.covariance(*a, *b);
            for r in 0..2 {
                for c in 0..2 {
                    let want = inverse[(2 * i + r, 2 * j + c)];
                    assert!((block[r][c] - want).abs() < 1e-9 * (1.0 + want.abs()), "{i} {j}");
                }
            }
        }
    }
}

#[test]
fn the_order_of_rows_does_not_matter() {
    let net = random_network(3);
    let first = adjust(&net.out, &Limits::default());
    let mut turned = net.out.clone();
    turned.plane.reverse();
    let second = adjust(&turned, &Limits::default());
    for i in 0..net.truth.len() as u32 {
        let (a, b) = (first.place(PointId(i)).expect("place"), second.place(PointId(i)).expect("place"));
        assert!((a.e - b.e).hypot(a.n - b.n) < 1e-6);
        assert!((a.covariance[0][0] - b.covariance[0][0]).abs() < 1e-9);
    }
    assert_eq!(first.summary.redundancy, second.summary.redundancy);
}

/// Self-made figures worked with numpy: three tapes over kilometres, equal weights.
#[test]
fn three_tapes() {
    let mut net = Net::new();
    let refs = [net.fixed(865.40, 4527.15), net.fixed(2432.55, 2047.25), net.fixed(2865.22, 27.15)];
    let at = net.free(6861.0, 3727.0);
    let lengths = [6049.00, 4736.83, 5446.49];
    for (from, length) in refs.into_iter().zip(lengths) {
        let i = net.measure(Kind::Distance { from, to: at }, 0.1, 0.0);
        net.out.plane[i].value = length;
    }
    let adjusted = adjust(&net.out, &Limits::default());
    let place = adjusted.place(at).expect("determined");
    assert!((place.e - 6_861.316_788).abs() < 1e-6 && (place.n - 3_727.818_566).abs() < 1e-6);
    for (residual, want) in adjusted.residuals.iter().zip([-0.037_37, 0.076_79, -0.047_37]) {
        assert!((residual.residual.expect("used") - want).abs() < 1e-5);
    }
    let s0 = 0.1 * adjusted.summary.variance_factor.expect("redundant").sqrt();
    assert!((s0 - 0.097_659).abs() < 1e-6);
    assert!((place.covariance[0][0].sqrt() * s0 / 0.1 - 0.077_53).abs() < 1e-5);
    assert!((place.covariance[1][1].sqrt() * s0 / 0.1 - 0.154_25).abs() < 1e-5);
}

/// Self-made figures worked with numpy: two tapes with a side, its covariance and ellipse.
#[test]
fn two_tapes_and_a_side() {
    let mut net = Net::new();
    let (a, b) = (net.fixed(1000.0, 5000.0), net.fixed(1018.40, 5007.25));
    let at = net.free(1007.8, 5024.1);
    for (from, length) in [(a, 25.30), (b, 19.85)] {
        let i = net.measure(Kind::Distance { from, to: at }, 0.02, 0.0);
        net.out.plane[i].value = length;
    }
    let open = adjust(&net.out, &Limits::default());
    assert!(open.place(at).is_none(), "two places, no side: not determined");
    net.out.sides.push(aslaid::observe::SideHint { at, from: a, to: b, right: false });
    let adjusted = adjust(&net.out, &Limits::default());
    let place = adjusted.place(at).expect("determined");
    assert!((place.e - 1_007.836_449_4).abs() < 1e-6 && (place.n - 5_024.055_769_8).abs() < 1e-6);
    let want = [[0.001_098_54, 0.000_105_76], [0.000_105_76, 0.000_256_97]];
    for r in 0..2 {
        for c in 0..2 {
            assert!((place.covariance[r][c] - want[r][c]).abs() < 1e-8);
        }
    }
    let ellipse = Ellipse::of(place.covariance);
    let k = aslaid::math::stats::ELLIPSE_95;
    assert!((ellipse.major * k - 0.081_610_5).abs() < 1e-6 && (ellipse.minor * k - 0.038_225_4).abs() < 1e-6);
    net.out.sides[0].right = true;
    let place = adjust(&net.out, &Limits::default()).place(at).expect("determined");
    assert!((place.e - 1_022.139_570_9).abs() < 1e-6 && (place.n - 4_987.755_433_9).abs() < 1e-6);
}

/// Self-made figures worked with numpy: station and offset from a line of azimuth 37°30'; a polar shot.
#[test]
fn baseline_and_polar() {
    let mut net = Net::new();
    let p = net.fixed(500.0, 1000.0);
    let (s, c) = 37.5_f64.to_radians().sin_cos();
    let q = net.fixed(500.0 + 100.0 * s, 1000.0 + 100.0 * c);
    let (at, polar) = (net.free(521.0, 1037.0), net.free(549.0, 960.0));
    for (kind, value) in [
        (Kind::Station { from: p, to: q, at }, 42.75),
        (Kind::Offset { from: p, to: q, at }, -6.20),
        (Kind::Azimuth { from: p, to: polar }, (128.0 + 15.0 / 60.0 + 40.0 / 3600.0_f64).to_radians()),
        (Kind::Distance { from: p, to: polar }, 63.482 * (91.0 + 12.0 / 60.0 + 5.0 / 3600.0_f64).to_radians().sin()),
    ] {
        let i = net.measure(kind, 0.01, 0.0);
        net.out.plane[i].value = value;
    }
    let adjusted = adjust(&net.out, &Limits::default());
    let place = adjusted.place(at).expect("determined");
    assert!((place.e - 521.105_760_4).abs() < 1e-6 && (place.n - 1_037.690_176_2).abs() < 1e-6);
    let place = adjusted.place(polar).expect("determined");
    assert!((place.e - 549.834_909_6).abs() < 1e-6 && (place.n - 960.697_652_3).abs() < 1e-6);
}

#[test]
fn ellipses_hold_the_truth_as_often_as_they_say() {
    let (mut inside, mut all) = (0, 0);
    for seed in 0..300 {
        let net = random_network(1000 + seed);
        let adjusted = adjust(&net.out, &Limits::default());
        // One point a network: its points err together.
        let i = net.truth.len() - 1;
        assert!(adjusted.undetermined.is_empty(), "{seed}: {:?}", adjusted.undetermined);
        let place = adjusted.place(PointId(i as u32)).expect("determined");
        let [[a, b], [_, d]] = place.covariance;
        let (e, n) = (net.truth[i].0 - place.e, net.truth[i].1 - place.n);
        let square = (d * e * e - 2.0 * b * e * n + a * n * n) / (a * d - b * b);
        inside += usize::from(square <= aslaid::math::stats::ELLIPSE_95.powi(2));
        all += 1;
    }
    let share = inside as f64 / f64::from(all);
    println!("{all} networks: {:.1} % of the 95 % ellipses hold the truth", 100.0 * share);
    // Three standard deviations of a share of 0.95 in 300.
    assert!((0.912..0.988).contains(&share), "{share}");
}
