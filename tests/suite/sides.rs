//! Which side of a wall: corners nearly in line, whose coordinates have a sigma, don't tell it, and no mark may be put on the wrong one.

use aslaid::limits::Limits;
use aslaid::math::block;
use aslaid::math::stats::ELLIPSE_95;
use aslaid::observe::kinds::Plane;
use aslaid::observe::{Kind, PointId, SideHint};
use aslaid::position::{Adjusted, Places, Why, adjust};

use crate::networks::build::{Net, Random};

const JOBS: u64 = 150;

/// A wall's corners, and marks before it that are each taped from all of them.
#[derive(Clone, Copy)]
struct Wall {
    corners: usize,
    marks: usize,
    /// One-sigma of the corners' coordinates, metres.
    sigma: f64,
    /// The corners are off the line by up to this, metres.
    out_of_line: f64,
}

const THREE_TAPES: Wall = Wall {
    corners: 3,
    marks: 3,
    sigma: 0.05,
    out_of_line: 0.05,
};
const FIVE_TAPES: Wall = Wall {
    corners: 5,
    marks: 5,
    sigma: 0.03,
    out_of_line: 0.03,
};
const IN_LINE: Wall = Wall {
    corners: 5,
    marks: 3,
    sigma: 0.1,
    out_of_line: 0.0,
};

struct Job {
    net: Net,
    corners: Vec<PointId>,
    marks: Vec<PointId>,
}

impl Wall {
    fn job(self, random: &mut Random) -> Job {
        let mut net = Net::new();
        let off = random.uniform(2.0, 4.0);
        let corners = (0..self.corners).map(|i| {
            let along = 12.0 * i as f64 / (self.corners - 1) as f64 - 1.0;
            let across = random.uniform(-self.out_of_line, self.out_of_line);
            let at = net.free(along + random.uniform(-0.5, 0.5), off + across);
            given(&mut net, at, self.sigma, random);
            at
        });
        let corners: Vec<PointId> = corners.collect();
        let marks = (0..self.marks).map(|i| {
            let to = net.free(10.0 * i as f64 / (self.marks - 1) as f64, 0.0);
            for &from in &corners {
                tape(&mut net, from, to, random);
            }
            to
        });
        let marks = marks.collect();
        Job {
            net,
            corners,
            marks,
        }
    }
}

fn given(net: &mut Net, at: PointId, sigma: f64, random: &mut Random) {
    net.noisy(Kind::East { at, shift: None }, sigma, random);
    net.noisy(Kind::North { at, shift: None }, sigma, random);
}

fn tape(net: &mut Net, from: PointId, to: PointId, random: &mut Random) {
    let (a, b) = (net.truth[from.0 as usize], net.truth[to.0 as usize]);
    let length = (a.0 - b.0).hypot(a.1 - b.1);
    let sigma = 0.015_f64.hypot(0.000_5 * length);
    net.noisy(Kind::Distance { from, to }, sigma, random);
}

/// Of many points.
#[derive(Debug, Default)]
struct Told {
    points: usize,
    placed: usize,
    /// Inside their ellipse.
    held: usize,
    /// More than a metre off.
    mirrored: usize,
    /// Without a place, but with the true one among those that are said to fit.
    open: usize,
}

impl Told {
    /// The marks of a job, where it puts them.
    fn add_marks(&mut self, job: &Job) {
        let adjusted = adjust(&job.net.out, &Limits::default());
        for &mark in &job.marks {
            self.add(&job.net, &adjusted, mark);
        }
    }

    /// Every point has its place on its side, and its ellipse holds.
    #[track_caller]
    fn assert_sides(&self) {
        assert_eq!((self.placed, self.mirrored), (self.points, 0));
        let share = self.held as f64 / self.placed as f64;
        assert!((0.92..=0.98).contains(&share), "{self:?}");
    }

    fn add(&mut self, net: &Net, adjusted: &Adjusted, point: PointId) {
        let truth = net.truth[point.0 as usize];
        let off = |place: Plane| (place.0 - truth.0).hypot(place.1 - truth.1);
        self.points += 1;
        if let Some(place) = adjusted.place(point) {
            let (major, minor, azimuth) = block::axes(place.covariance);
            let (e, n) = (place.e - truth.0, place.n - truth.1);
            let (s, c) = azimuth.sin_cos();
            let size = ((e * s + n * c) / major).hypot((e * c - n * s) / minor);
            self.placed += 1;
            self.held += usize::from(size <= ELLIPSE_95);
            self.mirrored += usize::from(off((place.e, place.n)) > 1.0);
        }
        let mut undetermined = adjusted.undetermined.iter();
        if let Some(undetermined) = undetermined.find(|other| other.point == point)
            && let Why::SeveralPlaces { places } = &undetermined.why
        {
            self.open += usize::from(places.iter().any(|place| off(*place) < 1.0));
        }
    }
}

/// Before the corners' sigma was weighed, from a third to a half of such marks were put metres off.
#[test]
fn a_wall_does_not_tell_its_side() {
    for (number, wall) in [THREE_TAPES, FIVE_TAPES, IN_LINE].into_iter().enumerate() {
        let mut told = Told::default();
        for seed in 0..JOBS {
            let job = wall.job(&mut Random(310_000 + 1_000 * number as u64 + seed));
            told.add_marks(&job);
        }
        println!("wall {number}: {told:?}");
        assert!(told.mirrored * 100 <= told.points, "{number}: {told:?}");
        assert!(
            told.placed + told.open >= told.points * 98 / 100,
            "{number}: {told:?}"
        );
    }
}

/// The field book's `side` tells it.
#[test]
fn a_side_that_is_said_decides() {
    let mut told = Told::default();
    for seed in 0..JOBS {
        let mut job = THREE_TAPES.job(&mut Random(320_000 + seed));
        let (from, to) = (job.corners[0], job.corners[2]);
        for &at in &job.marks {
            let right = true;
            job.net.out.sides.push(SideHint {
                at,
                from,
                to,
                right,
            });
        }
        told.add_marks(&job);
    }
    println!("said: {told:?}");
    told.assert_sides();
}

/// One corner well off the line of the others tells it, whatever their sigma.
#[test]
fn corners_that_are_spread_tell_the_side() {
    let mut told = Told::default();
    for seed in 0..JOBS {
        let mut random = Random(330_000 + seed);
        let mut job = THREE_TAPES.job(&mut random);
        let corner = job.net.free(random.uniform(2.0, 8.0), -4.0);
        given(&mut job.net, corner, 0.05, &mut random);
        for &mark in &job.marks {
            tape(&mut job.net, corner, mark, &mut random);
        }
        told.add_marks(&job);
    }
    println!("spread: {told:?}");
    told.assert_sides();
}

/// A reference that was taped from marks along a straight run: the marks' own sigma does not tell the side, and where tapes scatter, all
/// places that they like best may lie on one.
#[test]
fn a_straight_run_does_not_tell_the_side_of_a_reference() {
    let (mut straight, mut bent) = (Told::default(), Told::default());
    for (told, bend) in [(&mut straight, 0.0), (&mut bent, 3.0)] {
        for seed in 0..JOBS {
            let mut random = Random(340_000 + seed);
            let mut net = Net::new();
            let off = random.uniform(3.0, 6.0);
            let reference = net.free(random.uniform(0.0, 24.0), off);
            for i in 0..7 {
                let turned = f64::from((i - 3_i32).max(0)) * bend / 3.0;
                let across = turned + 0.04 * random.normal();
                let mark = net.free(4.0 * f64::from(i), -across);
                given(&mut net, mark, 0.02, &mut random);
                tape(&mut net, reference, mark, &mut random);
            }
            let adjusted = adjust(&net.out, &Limits::default());
            told.add(&net, &adjusted, reference);
        }
    }
    println!("straight: {straight:?}\nbent: {bent:?}");
    assert!(straight.mirrored <= 3, "{straight:?}");
    assert_eq!((bent.placed, bent.mirrored), (bent.points, 0));
    let share = bent.held as f64 / bent.placed as f64;
    assert!((0.89..=0.99).contains(&share), "{bent:?}");
}

/// Two tapes that only just touch place a mark on the line between their corners; pulled twice each, they place it there as well.
#[test]
fn a_tape_pulled_twice_is_no_third() {
    let place = |times: usize| {
        let mut net = Net::new();
        let (p, q) = (net.fixed(0.0, 0.0), net.fixed(30.0, 0.0));
        let at = net.free(12.0, 0.0);
        for _ in 0..times {
            net.measure(Kind::Distance { from: p, to: at }, 0.015, 0.003);
            net.measure(Kind::Distance { from: q, to: at }, 0.015, -0.004);
        }
        let adjusted = adjust(&net.out, &Limits::default());
        assert!(
            adjusted.undetermined.is_empty(),
            "{times}: {:?}",
            adjusted.undetermined
        );
        adjusted.place(at).expect("a place")
    };
    let (once, twice) = (place(1), place(2));
    assert!(
        f64::hypot(once.e - twice.e, once.n - twice.n) < 0.02,
        "{once:?} {twice:?}"
    );
    assert!(
        (once.e - 12.0).abs() < 0.02 && once.n.abs() < 0.5,
        "{once:?}"
    );
}
