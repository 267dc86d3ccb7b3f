//! The plane adjustment against independent solutions, published figures and known truth.

pub mod build;

use std::io::Write;
use std::process::{Command, Stdio};

use aslaid::limits::Limits;
use aslaid::math::ellipse::Ellipse;
use aslaid::math::similarity::Similarity;
use aslaid::observe::kinds::Plane;
use aslaid::observe::{Kind, PointId};
use aslaid::position::{Places, adjust};
use build::{Net, Random, as_json};

const TAPE: f64 = 0.015;

/// What a script of this folder makes of the input.
pub fn python(script: &str, input: &serde_json::Value) -> serde_json::Value {
    let root = env!("CARGO_MANIFEST_DIR");
    let mut child = Command::new(format!("{root}/target/venv/bin/python"))
        .arg(format!("{root}/tests/suite/{script}"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("target/venv is missing: run scripts/setup test");
    child
        .stdin
        .take()
        .expect("stdin")
        .write_all(input.to_string().as_bytes())
        .expect("input taken");
    let output = child.wait_with_output().expect("python ran");
    assert!(output.status.success(), "{script} failed");
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// One measurement of `at` from known points, its kind by turns.
fn see(net: &mut Net, known: &[PointId], at: PointId, turn: usize, random: &mut Random) {
    let p = known[random.below(known.len())];
    let q = *known
        .iter()
        .filter(|q| **q != p)
        .nth(random.below(known.len() - 1))
        .expect("two known points");
    let kind = match turn % 6 {
        0 | 1 => Kind::Distance { from: p, to: at },
        2 => Kind::Azimuth { from: p, to: at },
        3 => Kind::Angle {
            at: p,
            from: q,
            to: at,
        },
        4 => Kind::Angle { at, from: p, to: q },
        _ => {
            net.noisy(Kind::Station { from: p, to: q, at }, 0.03, random);
            Kind::Offset { from: p, to: q, at }
        }
    };
    let sigma = match kind {
        Kind::Distance { .. } => TAPE,
        Kind::Azimuth { .. } => 0.5_f64.to_radians(),
        Kind::Angle { .. } => 0.02_f64.to_radians(),
        _ => 0.03,
    };
    net.noisy(kind, sigma, random);
}

/// A network of every kind of observation about four control points; one in three has a site grid as well.
fn random_network(seed: u64) -> Net {
    let mut random = Random(seed);
    let mut net = Net::new();
    let turn = random.uniform(-3.0, 3.0);
    net.site = Similarity {
        origin: (50.0, 50.0),
        parameters: [
            0.9997 * turn.cos(),
            0.9997 * turn.sin(),
            500_030.0,
            4_000_020.0,
        ],
    };
    let mut known = vec![
        net.fixed(500_000.0, 4_000_000.0),
        net.fixed(500_060.0, 4_000_005.0),
        net.fixed(500_055.0, 4_000_050.0),
        net.fixed(500_003.0, 4_000_042.0),
    ];
    let datum = net.shift(0.05, (0.03, -0.04));
    if seed.is_multiple_of(3) {
        for _ in 0..3 {
            let at = net.on_site(
                500_000.0 + random.uniform(-10.0, 70.0),
                4_000_000.0 + random.uniform(-10.0, 60.0),
            );
            net.noisy(Kind::East { at, shift: None }, 0.02, &mut random);
            net.noisy(Kind::North { at, shift: None }, 0.02, &mut random);
            known.push(at);
        }
    }
    for i in 0..5 + random.below(8) {
        let at = net.free(
            500_000.0 + random.uniform(0.0, 60.0),
            4_000_000.0 + random.uniform(0.0, 50.0),
        );
        for k in 0..4 + random.below(3) {
            see(&mut net, &known, at, k + i, &mut random);
        }
        if i % 3 == 0 {
            net.noisy(
                Kind::East {
                    at,
                    shift: Some(datum),
                },
                0.02,
                &mut random,
            );
            net.noisy(
                Kind::North {
                    at,
                    shift: Some(datum),
                },
                0.02,
                &mut random,
            );
        }
        if seed.is_multiple_of(3) && i % 4 == 1 {
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
    for (k, (net, answer)) in nets
        .iter()
        .zip(answers.as_array().expect("a list"))
        .enumerate()
    {
        let adjusted = adjust(&net.out, &Limits::default());
        assert!(
            adjusted.undetermined.is_empty(),
            "network {k}: {:?}",
            adjusted.undetermined
        );
        let squares = adjusted.summary.fit.factor().expect("redundant")
            * adjusted.summary.fit.redundancy as f64;
        let theirs = answer["squares"].as_f64().expect("number");
        assert!(
            (squares / theirs - 1.0).abs() < 1e-6,
            "network {k}: {squares} {theirs}"
        );
        for i in 0..net.truth.len() {
            let place = adjusted.place(PointId(i as u32)).expect("determined");
            for (axis, (mine, sigma)) in [
                (place.e, place.covariance[0][0]),
                (place.n, place.covariance[1][1]),
            ]
            .into_iter()
            .enumerate()
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
    println!(
        "50 networks, {compared} coordinates: largest difference {largest:.1e} m, sigmas {ratio:.1e} of themselves"
    );
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
        net.noisy(
            Kind::East {
                at,
                shift: Some(datum),
            },
            0.02,
            &mut random,
        );
        net.noisy(
            Kind::North {
                at,
                shift: Some(datum),
            },
            0.02,
            &mut random,
        );
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
    let mut at_solution = Net {
        truth: net.truth.clone(),
        shifts: adjusted.shifts.clone(),
        ..Net::new()
    };
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
                    assert!(
                        (block[r][c] - want).abs() < 1e-12,
                        "{i} {j}: {} {want}",
                        block[r][c]
                    );
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
            let place = (
                10.0 * i as f64 + random.uniform(-2.0, 2.0),
                10.0 * f64::from(j) + random.uniform(-2.0, 2.0),
            );
            ids.push(if i < 2 || (i % 12 == 0 && j == 0) {
                net.fixed(place.0, place.1)
            } else {
                net.free(place.0, place.1)
            });
            places.push(place);
        }
    }
    for a in 0..ids.len() {
        for b in a + 1..(a + 5).min(ids.len()) {
            net.noisy(
                Kind::Distance {
                    from: ids[a],
                    to: ids[b],
                },
                TAPE,
                random,
            );
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
    println!(
        "{} unknowns, {:.2} s",
        adjusted.summary.unknowns,
        began.elapsed().as_secs_f64()
    );
    assert!(
        adjusted.undetermined.is_empty(),
        "{:?}",
        adjusted.undetermined
    );
    let free: Vec<PointId> = (0..net.truth.len() as u32)
        .map(PointId)
        .filter(|p| net.out.points[p.0 as usize].fixed.is_none())
        .collect();
    let n = 2 * free.len();
    assert!(n > 240);
    let mut here = Net {
        truth: net.truth.clone(),
        ..Net::new()
    };
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
    assert!(
        step.amax() < 1e-7,
        "not at the minimum: a step of {} m is left",
        step.amax()
    );
    let mut tight = 0;
    for (i, a) in free.iter().enumerate() {
        for (j, b) in free
            .iter()
            .enumerate()
            .filter(|(j, _)| i.abs_diff(*j) < 6 || i % 40 == 0)
        {
            let block = adjusted.covariance(*a, *b);
            let largest = inverse[(2 * i, 2 * i)].max(inverse[(2 * i + 1, 2 * i + 1)]);
            let wide = largest.sqrt() > 0.05;
            tight += usize::from(i == j && !wide);
            for r in 0..2 {
                for c in 0..2 {
                    let want = inverse[(2 * i + r, 2 * j + c)];
                    // A place that lengths hardly hold has a wider ellipse than straight equations give it, and no narrower one.
                    if i == j && wide {
                        let wider = want * (1.0 - 1e-9)..1.3 * want;
                        assert!(
                            r != c || wider.contains(&block[r][c]),
                            "{i}: {block:?}, {want}"
                        );
                        continue;
                    }
                    assert!(
                        (block[r][c] - want).abs() < 1e-9 * (1.0 + want.abs()),
                        "{i} {j}: {block:?}, {want}"
                    );
                }
            }
        }
    }
    assert!(10 * tight > 9 * free.len(), "{tight} of {}", free.len());
}

#[test]
fn the_order_of_rows_does_not_matter() {
    let net = random_network(3);
    let first = adjust(&net.out, &Limits::default());
    let mut turned = net.out.clone();
    turned.plane.reverse();
    let second = adjust(&turned, &Limits::default());
    for i in 0..net.truth.len() as u32 {
        let (a, b) = (
            first.place(PointId(i)).expect("place"),
            second.place(PointId(i)).expect("place"),
        );
        assert!((a.e - b.e).hypot(a.n - b.n) < 1e-6);
        assert!((a.covariance[0][0] - b.covariance[0][0]).abs() < 1e-9);
    }
    assert_eq!(first.summary.fit.redundancy, second.summary.fit.redundancy);
}

/// Self-made figures worked with numpy: three tapes over kilometres, equal weights.
#[test]
fn three_tapes() {
    let mut net = Net::new();
    let refs = [
        net.fixed(865.40, 4527.15),
        net.fixed(2432.55, 2047.25),
        net.fixed(2865.22, 27.15),
    ];
    let at = net.free(6861.0, 3727.0);
    let lengths = [6049.00, 4736.83, 5446.49];
    for (from, length) in refs.into_iter().zip(lengths) {
        let i = net.measure(Kind::Distance { from, to: at }, 0.1, 0.0);
        net.out.plane[i].value = length;
    }
    let adjusted = adjust(&net.out, &Limits::default());
    let place = adjusted.place(at).expect("determined");
    assert!((place.e - 6_861.316_788).abs() < 1e-6 && (place.n - 3_727.818_566).abs() < 1e-6);
    for (residual, want) in adjusted
        .residuals
        .iter()
        .zip([-0.037_37, 0.076_79, -0.047_37])
    {
        assert!((residual.residual.expect("used") - want).abs() < 1e-5);
    }
    let s0 = 0.1 * adjusted.summary.fit.factor().expect("redundant").sqrt();
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
    assert!(
        open.place(at).is_none(),
        "two places, no side: not determined"
    );
    net.out.sides.push(aslaid::observe::SideHint {
        at,
        from: a,
        to: b,
        right: false,
    });
    let adjusted = adjust(&net.out, &Limits::default());
    let place = adjusted.place(at).expect("determined");
    assert!((place.e - 1_007.836_449_4).abs() < 1e-6 && (place.n - 5_024.055_769_8).abs() < 1e-6);
    let want = [[0.001_098_54, 0.000_105_76], [0.000_105_76, 0.000_256_97]];
    for (row, wanted) in place.covariance.iter().zip(&want) {
        for (value, wanted) in row.iter().zip(wanted) {
            assert!((value - wanted).abs() < 1e-8);
        }
    }
    let ellipse = Ellipse::of(place.covariance);
    let k = aslaid::math::stats::ELLIPSE_95;
    assert!(
        (ellipse.major * k - 0.081_610_5).abs() < 1e-6
            && (ellipse.minor * k - 0.038_225_4).abs() < 1e-6
    );
    net.out.sides[0].right = true;
    let place = adjust(&net.out, &Limits::default())
        .place(at)
        .expect("determined");
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
        (
            Kind::Azimuth { from: p, to: polar },
            (128.0 + 15.0 / 60.0 + 40.0 / 3600.0_f64).to_radians(),
        ),
        (
            Kind::Distance { from: p, to: polar },
            63.482 * (91.0 + 12.0 / 60.0 + 5.0 / 3600.0_f64).to_radians().sin(),
        ),
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
        assert!(
            adjusted.undetermined.is_empty(),
            "{seed}: {:?}",
            adjusted.undetermined
        );
        let place = adjusted.place(PointId(i as u32)).expect("determined");
        let [[a, b], [_, d]] = place.covariance;
        let (e, n) = (net.truth[i].0 - place.e, net.truth[i].1 - place.n);
        let square = (d * e * e - 2.0 * b * e * n + a * n * n) / (a * d - b * b);
        inside += usize::from(square <= aslaid::math::stats::ELLIPSE_95.powi(2));
        all += 1;
    }
    let share = inside as f64 / f64::from(all);
    println!(
        "{all} networks: {:.1} % of the 95 % ellipses hold the truth",
        100.0 * share
    );
    // Three standard deviations of a share of 0.95 in 300.
    assert!((0.912..0.988).contains(&share), "{share}");
}

/// Control at four corners and marks each taped from all four.
fn taped(marks: usize, random: &mut Random) -> (Net, Vec<PointId>) {
    let mut net = Net::new();
    let refs = [
        net.fixed(0.0, 0.0),
        net.fixed(30.0, 2.0),
        net.fixed(28.0, 25.0),
        net.fixed(-2.0, 22.0),
    ];
    let ids: Vec<PointId> = (0..marks)
        .map(|_| net.free(random.uniform(4.0, 26.0), random.uniform(4.0, 20.0)))
        .collect();
    for &to in &ids {
        for from in refs {
            net.noisy(Kind::Distance { from, to }, TAPE, random);
        }
    }
    (net, ids)
}

#[test]
fn a_blunder_is_found_named_first_and_measured() {
    let mut found = 0;
    for seed in 0..100 {
        let mut random = Random(500 + seed);
        let (mut net, _) = taped(6, &mut random);
        let wrong = random.below(net.out.plane.len());
        net.out.plane[wrong].value += 0.5;
        let adjusted = adjust(&net.out, &Limits::default());
        let first = adjusted.suspects.first().expect("half a metre is seen");
        found += usize::from(first.observation == wrong);
        if first.observation == wrong {
            let off = net.out.plane[wrong].value - first.predicted;
            assert!((off - 0.5).abs() < 0.15, "seed {seed}: {off}");
        }
    }
    println!("blunder of 0.5 m named first in {found} of 100 jobs");
    assert!(found >= 95, "{found}");
}

#[test]
fn two_blunders_are_found_one_after_the_other() {
    let (mut net, _) = taped(6, &mut Random(77));
    net.out.plane[2].value += 1.0;
    net.out.plane[13].value -= 0.6;
    let adjusted = adjust(&net.out, &Limits::default());
    let named: Vec<usize> = adjusted
        .suspects
        .iter()
        .map(|suspect| suspect.observation)
        .collect();
    assert_eq!(named, [2, 13]);
    assert!(adjusted.summary.fit.factor() > adjusted.summary.fit.bounds().map(|(_, upper)| upper));
}

#[test]
fn clean_jobs_seldom_cry_wolf() {
    let (mut named, mut tested, mut misfits) = (0, 0, 0);
    for seed in 0..400 {
        let (net, _) = taped(6, &mut Random(9000 + seed));
        let adjusted = adjust(&net.out, &Limits::default());
        named += adjusted.suspects.len();
        tested += net.out.plane.len();
        let upper = adjusted.summary.fit.bounds().expect("redundant").1;
        misfits += usize::from(adjusted.summary.fit.factor().expect("redundant") > upper);
    }
    println!("{named} of {tested} clean measurements named; {misfits} of 400 clean jobs a misfit");
    // α = 0.001 for each measurement: 9.6 expected, three standard deviations above 19.
    assert!(named <= 19, "{named}");
    // 2.5 % of 400: 10 expected, 19 is three standard deviations above.
    assert!(misfits <= 19, "{misfits}");
}

#[test]
fn what_cannot_be_told_apart_is_named_together() {
    // Three tapes to one mark: one spare measurement, so all three are equally suspect.
    let mut net = Net::new();
    let refs = [
        net.fixed(0.0, 0.0),
        net.fixed(20.0, 0.0),
        net.fixed(9.0, 18.0),
    ];
    let to = net.free(8.0, 6.0);
    for from in refs {
        net.measure(Kind::Distance { from, to }, TAPE, 0.0);
    }
    net.out.plane[1].value += 0.3;
    let adjusted = adjust(&net.out, &Limits::default());
    let [suspect] = &adjusted.suspects[..] else {
        panic!("one suspect: {:?}", adjusted.suspects)
    };
    let mut all = suspect.equals.clone();
    all.push(suspect.observation);
    all.sort_unstable();
    assert_eq!(all, [0, 1, 2]);
}

/// Tapes to one mark from references; the marks's observations are numbered as they are given.
fn taped_from(refs: &[(Plane, f64)]) -> Net {
    let mut net = Net::new();
    let points: Vec<PointId> = refs.iter().map(|((e, n), _)| net.fixed(*e, *n)).collect();
    let to = net.free(20.0, -10.0);
    for (from, (_, value)) in points.into_iter().zip(refs) {
        let row = net.measure(Kind::Distance { from, to }, TAPE, 0.0);
        net.out.plane[row].value = *value;
    }
    net
}

/// What a gross error should read is where the others meet, which straight lines in the stead of circles would miss by metres.
#[test]
fn a_gross_error_is_measured_by_where_the_others_meet() {
    let refs = [
        ((0.0, 0.0), 36.0),
        ((100.0, 0.0), 75.632_18),
        ((0.0, 50.0), 50.0),
    ];
    let adjusted = adjust(&taped_from(&refs).out, &Limits::default());
    let [suspect] = &adjusted.suspects[..] else {
        panic!("one suspect: {:?}", adjusted.suspects)
    };
    assert_eq!(suspect.equals.len(), 2);
    let places = meet_of_others(&refs, suspect.observation);
    let at = refs[suspect.observation].0;
    let off = |place: &Plane| ((place.0 - at.0).hypot(place.1 - at.1) - suspect.predicted).abs();
    assert!(
        places.iter().any(|place| off(place) < 1e-6),
        "{places:?} {suspect:?}"
    );
}

/// Both places where two of three circles meet.
fn meet_of_others(refs: &[(Plane, f64); 3], left_out: usize) -> [Plane; 2] {
    let others: Vec<&(Plane, f64)> = (0..3)
        .filter(|i| *i != left_out)
        .map(|i| &refs[i])
        .collect();
    let [(p, r), (q, s)] = others[..] else {
        panic!("two others")
    };
    let (e, n) = (q.0 - p.0, q.1 - p.1);
    let d = e.hypot(n);
    let along = (d * d + r * r - s * s) / (2.0 * d);
    let across = (r * r - along * along).sqrt();
    let place = |across: f64| {
        (
            p.0 + (e * along - n * across) / d,
            p.1 + (n * along + e * across) / d,
        )
    };
    [place(across), place(-across)]
}

/// In straight lines the first tape is as suspect as the second; without it, the others still miss each other by a metre.
#[test]
fn a_gross_error_is_told_from_what_only_looks_equal() {
    let feet = 0.3048;
    let refs = [
        ((0.0, 0.0), 33.89),
        ((0.0, -30.0), 50.50),
        ((40.0, 10.0), 18.12),
        ((35.0, -40.0), 33.25),
    ];
    let refs = refs.map(|((e, n), r)| ((e * feet, n * feet), r * feet));
    let adjusted = adjust(&taped_from(&refs).out, &Limits::default());
    let [suspect] = &adjusted.suspects[..] else {
        panic!("one suspect: {:?}", adjusted.suspects)
    };
    assert_eq!(
        (suspect.observation, suspect.equals.len()),
        (1, 0),
        "{suspect:?}"
    );
    assert!(
        (suspect.predicted - 40.5 * feet).abs() < 0.05,
        "{suspect:?}"
    );
}

#[test]
fn tapes_that_touch_and_tapes_that_miss() {
    let build = |reach: f64| {
        let mut net = Net::new();
        let (a, b) = (net.fixed(0.0, 0.0), net.fixed(0.0, 10.0));
        let at = net.free(0.0, 4.0);
        let first = net.measure(Kind::Distance { from: a, to: at }, TAPE, 0.0);
        let second = net.measure(Kind::Distance { from: b, to: at }, TAPE, 0.0);
        net.out.plane[first].value = 4.0 - 0.5 * (10.0 - reach);
        net.out.plane[second].value = 6.0 - 0.5 * (10.0 - reach);
        (net, at)
    };
    // Short by 4 cm, where 3.29·√2·15 mm = 7.0 cm are allowed: on the line, held loosely across it.
    let (net, at) = build(9.96);
    let adjusted = adjust(&net.out, &Limits::default());
    let place = adjusted.place(at).expect("touching");
    assert!(
        place.e.abs() < 1e-6 && (place.n - 4.0).abs() < 1e-6,
        "{place:?}"
    );
    let (across, along) = (place.covariance[0][0].sqrt(), place.covariance[1][1].sqrt());
    assert!(across > 0.2 && along < 0.015, "{across} {along}");
    assert_eq!(adjusted.touches.len(), 1);
    // Short by 10 cm: no common point.
    let (net, at) = build(9.90);
    let adjusted = adjust(&net.out, &Limits::default());
    assert!(adjusted.place(at).is_none());
    let aslaid::position::Why::Gap { gap, .. } = adjusted.undetermined[0].why else {
        panic!("a gap")
    };
    assert!((gap - 0.10).abs() < 1e-9);
}

/// The stated ellipse of a mark on the line between its two references holds the truth at least as often as it says.
#[test]
fn a_touch_keeps_its_word() {
    let (mut inside, mut all) = (0, 0);
    for seed in 0..2000 {
        let mut random = Random(31_000 + seed);
        let mut net = Net::new();
        let (a, b) = (net.fixed(0.0, 0.0), net.fixed(0.0, 14.0));
        // Anywhere within a quarter of a metre of the line.
        let at = net.free(random.uniform(-0.25, 0.25), random.uniform(3.0, 11.0));
        net.noisy(Kind::Distance { from: a, to: at }, TAPE, &mut random);
        net.noisy(Kind::Distance { from: b, to: at }, TAPE, &mut random);
        let adjusted = adjust(&net.out, &Limits::default());
        let Some(place) = adjusted.place(at) else {
            continue;
        };
        let [[a, b], [_, d]] = place.covariance;
        let truth = net.truth[at.0 as usize];
        let (e, n) = (truth.0 - place.e, truth.1 - place.n);
        all += 1;
        inside +=
            usize::from((d * e * e - 2.0 * b * e * n + a * n * n) / (a * d - b * b) <= 5.991_464_5);
    }
    let share = inside as f64 / f64::from(all);
    println!(
        "touching tapes: {all} of 2000 placed, {:.1} % inside",
        100.0 * share
    );
    assert!(all > 1900 && share > 0.93, "{all} {share}");
}

#[test]
fn a_trial_is_what_solving_again_gives() {
    let net = random_network(6);
    let adjusted = adjust(&net.out, &Limits::default());
    let at = PointId(net.truth.len() as u32 - 1);
    let kind = Kind::Distance {
        from: PointId(1),
        to: at,
    };
    let trial = aslaid::position::trial::Trial { kind, sigma: TAPE };
    let trials = aslaid::position::trial::Trials::new(&adjusted, &net.out);
    let promised = trials.covariance(at, &[trial]).expect("determined");
    // Measured so that it fits: the same linearisation.
    let mut with = Net {
        truth: net.truth.clone(),
        ..Net::new()
    };
    with.out = net.out.clone();
    for i in 0..with.truth.len() {
        let place = adjusted.place(PointId(i as u32)).expect("determined");
        with.truth[i] = (place.e, place.n);
    }
    with.measure(kind, TAPE, 0.0);
    let again = adjust(&with.out, &Limits::default())
        .place(at)
        .expect("determined")
        .covariance;
    for r in 0..2 {
        for c in 0..2 {
            assert!((promised[r][c] - again[r][c]).abs() < 1e-9 * again[0][0].max(again[1][1]));
        }
    }
}

/// Full circle in gons and in degrees: the same radians, the same result.
#[test]
fn angles_are_angles_whatever_their_unit() {
    let build = |angles: [f64; 2]| {
        let mut net = Net::new();
        let (p, q) = (net.fixed(0.0, 0.0), net.fixed(40.0, 0.0));
        let at = net.free(20.0, 15.0);
        let i = net.measure(
            Kind::Angle {
                at: p,
                from: q,
                to: at,
            },
            1e-4,
            0.0,
        );
        net.out.plane[i].value = angles[0];
        let i = net.measure(
            Kind::Angle {
                at: q,
                from: p,
                to: at,
            },
            1e-4,
            0.0,
        );
        net.out.plane[i].value = angles[1];
        adjust(&net.out, &Limits::default())
            .place(at)
            .expect("determined")
    };
    let degrees = build([(-36.0_f64).to_radians(), 36.0_f64.to_radians()]);
    let gons = build([
        -40.0 * std::f64::consts::TAU / 400.0,
        40.0 * std::f64::consts::TAU / 400.0,
    ]);
    let turned = build([324.0_f64.to_radians(), (36.0_f64 + 360.0).to_radians()]);
    for other in [gons, turned] {
        assert!((degrees.e - other.e).hypot(degrees.n - other.n) < 1e-9);
    }
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let net = strip(30, &mut Random(4));
    let solve = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("threads");
        pool.install(|| adjust(&net.out, &Limits::default()))
    };
    let (one, two) = (solve(1), solve(2));
    for i in 0..net.truth.len() as u32 {
        assert_eq!(one.place(PointId(i)), two.place(PointId(i)));
    }
    assert_eq!(one.residuals, two.residuals);
}
