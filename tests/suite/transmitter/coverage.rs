//! Stated bounds against known truth: each error drawn from the default one-sigmas, the field's places found by root search.

use super::build::{Random, Site, row, run};
use aslaid::job::model::{Role, Stream};
use aslaid::math::block;
use aslaid::math::stats::{ELLIPSE_95, NORMAL_95};
use aslaid::{profile, run as trace, transmitter};

/// Where the field over a dipole (depth 1, this tilt) is level: root of its vertical part, not the closed form.
fn level_point(tilt: f64) -> f64 {
    let vertical = |x: f64| {
        let (s, c) = tilt.sin_cos();
        3.0 * (c * x + s) - (x * x + 1.0) * s
    };
    let (mut low, mut high) = (-1.0, 1.0);
    for _ in 0..60 {
        let mid = f64::midpoint(low, high);
        if vertical(mid) < 0.0 {
            low = mid;
        } else {
            high = mid;
        }
    }
    f64::midpoint(low, high)
}

struct Truth {
    e: f64,
    n: f64,
    invert: f64,
}

/// A straight run of `count` marks on a uniform grade.
fn simulate(
    random: &mut Random,
    count: usize,
    grade: f64,
    pushed: Stream,
    depth_scale: f64,
) -> (Site, Vec<Truth>) {
    let mut site = Site::new(vec![run("A", pushed)]);
    let azimuth = random.between(0.0, std::f64::consts::TAU);
    let (ue, un) = azimuth.sin_cos();
    let (axis, lens) = (0.04, 0.25);
    let mut truths = Vec::new();
    let mut rows = Vec::new();
    let mut at = 0.0;
    for i in 0..count {
        at += random.between(1.5, 5.0);
        let (e, n) = (1000.0 + at * ue, 2000.0 + at * un);
        let ground = 100.0 - at * grade + random.normal(0.1);
        let invert = 98.0 - 0.04 - at * grade + 0.0 * ground;
        let depth = ground - invert - axis;
        let push = if pushed == Stream::Down { 1.0 } else { -1.0 };
        let tilt = -push * grade.atan() + random.normal(3.0_f64.to_radians());
        let off = level_point(tilt) * depth * push;
        let placing = f64::hypot(0.05, 0.02 * depth);
        let sigma = 0.03;
        let place = |random: &mut Random, v: f64| v + random.normal(placing) + random.normal(sigma);
        let paint = (place(random, e + off * ue), place(random, n + off * un));
        let mut mark = row(&format!("A{i}"), Role::Centre);
        let reading = depth * depth_scale + random.normal(f64::hypot(0.03, 0.04 * depth));
        mark.readings = [Some(reading), Some(reading), None, None];
        let cable = f64::hypot(at, at * grade) * push + lens + 200.0;
        mark.counter = Some(cable + random.normal(0.03 / std::f64::consts::SQRT_2));
        rows.push((mark, paint, sigma, ground + random.normal(0.02)));
        truths.push(Truth { e, n, invert });
    }
    if pushed == Stream::Up {
        rows.reverse();
    }
    for (mark, paint, sigma, ground) in rows {
        site.add(mark, paint, sigma, Some(ground));
    }
    (site, truths)
}

/// How many of so many lie inside.
#[derive(Default)]
pub struct Tally(usize, usize);

impl Tally {
    pub fn add(&mut self, inside: bool) {
        self.0 += usize::from(inside);
        self.1 += 1;
    }
    pub fn percent(&self) -> f64 {
        100.0 * self.0 as f64 / self.1 as f64
    }
}

#[test]
fn bounds_hold_the_truth_95_percent_of_the_time() {
    let mut random = Random(20_260_514);
    let (mut ellipse, mut invert, mut leg, mut whole, mut length) = (
        Tally::default(),
        Tally::default(),
        Tally::default(),
        Tally::default(),
        Tally::default(),
    );
    let (mut uniform, mut gaps) = (Tally::default(), Tally::default());
    for job in 0..1500 {
        let grade = random.between(0.005, 0.25);
        let pushed = if job % 2 == 0 {
            Stream::Down
        } else {
            Stream::Up
        };
        let scale = 1.0 + random.normal(0.02);
        let count = 3 + job % 10;
        let (site, truths) = simulate(&mut random, count, grade, pushed, scale);
        let sensed = transmitter::sense(&site.job, &site.observations, &site);
        let traced = trace::trace(site.inputs(), &sensed);
        let profiles = profile::profiles(site.inputs(), &traced);
        let (traced, profile) = (&traced[0], &profiles[0]);
        assert_eq!(traced.marks.len(), count);
        for (index, (mark, truth)) in traced.marks.iter().zip(&truths).enumerate() {
            let c = mark.covariance();
            let (de, dn) = (truth.e - mark.e, truth.n - mark.n);
            let det = c[0][0] * c[1][1] - c[0][1] * c[1][0];
            let d2 = (c[1][1] * de * de - 2.0 * c[0][1] * de * dn + c[0][0] * dn * dn) / det;
            ellipse.add(d2.sqrt() < ELLIPSE_95);
            let found = profile.inverts[index].unwrap();
            invert.add((found.z - truth.invert).abs() < NORMAL_95 * found.variance.sqrt());
            let (major, minor, _) = block::axes(c);
            assert!(major.is_finite() && minor > 0.0);
        }
        for found in &profile.legs {
            leg.add((found.grade.value - grade).abs() < NORMAL_95 * found.grade.sigma);
        }
        let line = profile.line.unwrap();
        whole.add((line.grade - grade).abs() < NORMAL_95 * line.sigma);
        if let Some(fits) = line.uniform() {
            uniform.add(fits);
        }
        let (first, last) = (&truths[0], &truths[count - 1]);
        let true_length = f64::hypot(last.e - first.e, last.n - first.n);
        let plan = profile.length.unwrap();
        length.add((plan.value - true_length).abs() < NORMAL_95 * plan.sigma);
        for gap in traced.gaps.iter().flatten() {
            let (excess, sigma) = gap.excess();
            gaps.add(excess.abs() < 3.29 * sigma);
        }
    }
    let table = [
        ("ellipses", &ellipse),
        ("inverts", &invert),
        ("leg grades", &leg),
        ("run grades", &whole),
        ("lengths", &length),
        ("uniform grade kept", &uniform),
    ];
    for (name, tally) in table {
        println!("{name}: {:.1} % of {}", tally.percent(), tally.1);
    }
    println!("cable gaps quiet: {:.2} %", gaps.percent());
    for (name, tally) in table {
        assert!(
            (93.0..=97.0).contains(&tally.percent()),
            "{name} {:.1}",
            tally.percent()
        );
    }
    assert!(gaps.percent() > 99.8);
}
