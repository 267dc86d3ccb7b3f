//! Bends that no mark lies on: found where the lines at the marks and the cable say so, and not in their clean or twisted twins.

use super::build::{Site, row, run};
use aslaid::job::model::{Role, Stream};
use aslaid::run::{Traced, VertexKind};
use aslaid::{run as trace, transmitter};

const DEPTH: f64 = 1.5;

/// A pipe in plan, with marks along it.
pub struct Pipe {
    /// Corners, east and north; straight between them.
    pub corners: Vec<(f64, f64)>,
    /// Stations of the marks.
    pub marks: Vec<f64>,
    pub pushed: Stream,
    /// End points are located at each mark.
    pub ends: bool,
    /// The cable runs this much longer beyond this station.
    pub slack: Option<(f64, f64)>,
}

impl Pipe {
    /// North 10 m, then a turn to the right by so many degrees, then 10 m more; marks every 4 m but none near the bend.
    pub fn bent(degrees: f64) -> Self {
        let (sin, cos) = degrees.to_radians().sin_cos();
        Self {
            corners: vec![(0.0, 0.0), (0.0, 10.0), (10.0 * sin, 10.0 + 10.0 * cos)],
            marks: vec![0.0, 4.0, 8.0, 12.0, 16.0],
            pushed: Stream::Down,
            ends: true,
            slack: None,
        }
    }

    /// Place and azimuth; on a corner, the mean azimuth of what it joins.
    pub fn at(&self, station: f64) -> ((f64, f64), f64) {
        let near = |s: f64| {
            let mut from = 0.0;
            let legs = self.corners.windows(2);
            let count = self.corners.len() - 1;
            for (index, pair) in legs.enumerate() {
                let (e, n) = (pair[1].0 - pair[0].0, pair[1].1 - pair[0].1);
                let length = f64::hypot(e, n);
                if s <= from + length || index + 1 == count {
                    let t = (s - from) / length;
                    return ((pair[0].0 + t * e, pair[0].1 + t * n), e.atan2(n));
                }
                from += length;
            }
            unreachable!("a pipe has a leg")
        };
        let (before, after) = (near(station - 1e-6), near(station + 1e-6));
        (near(station).0, f64::midpoint(before.1, after.1))
    }

    pub fn length(&self) -> f64 {
        let legs = self.corners.windows(2);
        legs.map(|pair| f64::hypot(pair[1].0 - pair[0].0, pair[1].1 - pair[0].1))
            .sum()
    }

    /// The counter at the lens, when the transmitter lies at a station.
    pub fn counter(&self, station: f64) -> f64 {
        let slack = self
            .slack
            .map_or(0.0, |(from, by)| if station > from { by } else { 0.0 });
        let cable = station + slack;
        let cable = if self.pushed == Stream::Down {
            cable
        } else {
            self.length() - cable
        };
        cable + 1.0 + 0.25
    }

    /// A job with run A, error-free; the pipe is level.
    pub fn site(&self) -> Site {
        let mut site = Site::new(vec![run("A", self.pushed)]);
        self.add_marks(&mut site, 0);
        site
    }

    /// Adds the marks to a run of a job, in the order of the push.
    pub fn add_marks(&self, site: &mut Site, of_run: usize) {
        let mut stations = self.marks.clone();
        if self.pushed == Stream::Up {
            stations.reverse();
        }
        let name = site.job.runs[of_run].id.clone();
        for (index, station) in stations.into_iter().enumerate() {
            let (at, azimuth) = self.at(station);
            let mut mark = row(&format!("{name}{index}"), Role::Centre);
            mark.run = of_run;
            mark.counter = Some(self.counter(station));
            mark.readings = [Some(DEPTH), Some(DEPTH), None, None];
            let named = mark.mark.clone();
            site.add(mark, at, 0.02, Some(100.0));
            let ahead = if self.pushed == Stream::Down {
                1.0
            } else {
                -1.0
            };
            for (role, way) in [(Role::EndAhead, ahead), (Role::EndBehind, -ahead)] {
                if self.ends {
                    let reach = way * DEPTH / std::f64::consts::SQRT_2;
                    let end = (at.0 + reach * azimuth.sin(), at.1 + reach * azimuth.cos());
                    let mut row = row(&named, role);
                    row.run = of_run;
                    site.add(row, end, 0.02, None);
                }
            }
        }
    }
}

pub fn traced(site: &Site) -> Vec<Traced> {
    let sensed = transmitter::sense(&site.job, &site.observations, site);
    trace::trace(site.inputs(), &sensed)
}

fn bends(pipe: &Pipe) -> Vec<(f64, f64)> {
    let traced = traced(&pipe.site());
    traced[0]
        .bends
        .iter()
        .map(|bend| (bend.e, bend.n))
        .collect()
}

/// Two bends that undo each other turn no line from mark to mark: the cable alone says that the pipe may be longer than the chord. In the
/// twin the pipe is straight, and nothing may lie there.
#[test]
fn a_jog_between_marks_may_make_the_pipe_longer() {
    let pipe = |aside: f64| Pipe {
        corners: vec![
            (0.0, 0.0),
            (0.0, 9.0),
            (aside, 9.0 + aside),
            (aside, 21.0 + aside),
        ],
        marks: vec![0.0, 4.0, 8.0, 13.0, 17.0, 21.0],
        ends: false,
        ..Pipe::bent(0.0)
    };
    let hidden = |aside: f64| {
        let traced = traced(&pipe(aside).site()).swap_remove(0);
        assert!(traced.bends.is_empty());
        // What marks' scatter adds to a leg is no bend.
        let mut hidden = traced.hidden;
        hidden.retain(|hidden| hidden.adds > 0.01);
        hidden
    };
    let (jog, straight) = (hidden(1.7), hidden(0.0));
    let [hidden] = jog.as_slice() else {
        panic!("{jog:?}")
    };
    // 5 m of pipe on a chord of √(1.7² + 4.30²) = 4.62 m.
    assert!(
        (hidden.adds - 0.38).abs() < 0.05 && hidden.chance > 0.3,
        "{hidden:?}"
    );
    assert!(straight.is_empty(), "{straight:?}");
}

#[test]
fn a_bend_between_marks_is_found_whichever_way_the_camera_went() {
    for degrees in [30.0, 45.0, 90.0, -45.0] {
        for pushed in [Stream::Down, Stream::Up] {
            let pipe = Pipe {
                pushed,
                ..Pipe::bent(degrees)
            };
            let traced = &traced(&pipe.site())[0];
            let [bend] = traced.bends.as_slice() else {
                panic!("{degrees}: {:?}", traced.bends);
            };
            assert!(
                f64::hypot(bend.e, bend.n - 10.0) < 0.06,
                "{degrees} {pushed:?}: {bend:?}"
            );
            assert!((bend.turn.to_degrees() - degrees).abs() < 1.0, "{bend:?}");
            let kinds: Vec<_> = traced.vertices.iter().map(|vertex| vertex.kind).collect();
            assert_eq!(kinds[3], VertexKind::Bend(0), "{kinds:?}");
            assert!((traced.length() - 16.0).abs() < 0.1, "{}", traced.length());
            // Beside the bend each mark's direction is that of its own leg, not of a chord across.
            let (before, after) = (&traced.marks[2], &traced.marks[3]);
            let back = if pushed == Stream::Down { 0.0 } else { 180.0 };
            for (mark, leg) in [(before, 0.0), (after, degrees)] {
                let off =
                    (mark.direction.unwrap().azimuth.to_degrees() - leg - back).rem_euclid(360.0);
                assert!(
                    off.min(360.0 - off) < 0.5,
                    "{degrees} {pushed:?} {leg}: {off}"
                );
            }
        }
    }
}

#[test]
fn a_straight_pipe_has_none() {
    assert_eq!(bends(&Pipe::bent(0.0)), []);
}

/// A mark lies on the bend: its end points show half the turn, the legs beside it all of it.
#[test]
fn a_located_bend_is_not_inferred_again() {
    for degrees in [22.5, 45.0, 90.0] {
        for ends in [true, false] {
            let marks = vec![1.0, 5.0, 10.0, 14.5, 19.0];
            let pipe = Pipe {
                marks,
                ends,
                ..Pipe::bent(degrees)
            };
            assert_eq!(bends(&pipe), [], "{degrees} {ends}");
        }
    }
}

/// Two bends with a mark on each look, by the legs before and behind, like one between them; the cable is straight, though.
#[test]
fn two_located_bends_are_not_one_between() {
    let (sin, cos) = 30.0_f64.to_radians().sin_cos();
    let first = (5.0 * sin, 8.0 + 5.0 * cos);
    let (sin, cos) = 60.0_f64.to_radians().sin_cos();
    let corners = vec![
        (0.0, 0.0),
        (0.0, 8.0),
        first,
        (first.0 + 8.0 * sin, first.1 + 8.0 * cos),
    ];
    let marks = vec![0.0, 4.0, 8.0, 13.0, 17.0, 20.0];
    let pipe = Pipe {
        corners,
        marks,
        ends: false,
        ..Pipe::bent(0.0)
    };
    assert_eq!(bends(&pipe), []);
}

#[test]
fn the_cable_has_a_say() {
    // As the pipe runs; a metre longer between the two marks than any bend explains; unknown.
    assert_eq!(bends(&Pipe::bent(45.0)).len(), 1);
    let slack = Pipe {
        slack: Some((10.0, 1.0)),
        ..Pipe::bent(45.0)
    };
    assert_eq!(bends(&slack), []);
    let mut site = Pipe::bent(45.0).site();
    for row in &mut site.job.marks {
        row.counter = None;
    }
    assert_eq!(traced(&site)[0].bends, []);
    // Without end points it must contradict the straight line: 90° in 4 m does, 30° does not.
    let alone = |degrees| {
        bends(&Pipe {
            ends: false,
            ..Pipe::bent(degrees)
        })
        .len()
    };
    assert_eq!((alone(90.0), alone(30.0)), (1, 0));
}

#[test]
fn the_turn_must_exceed_the_alarm() {
    let pipe = Pipe::bent(45.0);
    let mut site = pipe.site();
    let found = traced(&site)[0].bends[0].clone();
    let sureness = found.turn / found.turn_sigma;
    assert!(sureness > 3.29, "{sureness}");
    // The first pass, with directions from chords across the bend, sees it a little differently: not to the last percent.
    for (limit, count) in [(sureness * 0.98, 1), (sureness * 1.02, 0)] {
        site.job.limits.alarm = limit;
        assert_eq!(traced(&site)[0].bends.len(), count);
    }
}

/// What the bend is said to rest on, against small moves of each mark's paint.
#[test]
fn rates_are_what_small_moves_do() {
    let site = Pipe::bent(60.0).site();
    let bend = traced(&site)[0].bends[0].clone();
    let mut compared = 0;
    for (mark, rate) in &bend.rests.marks {
        let (_, point) = site.observations.marks[*mark].centre.unwrap();
        for axis in 0..2 {
            let moved = |by: f64| {
                let mut other = Pipe::bent(60.0).site();
                let place = other.places[point.0 as usize].as_mut().unwrap();
                *(if axis == 0 {
                    &mut place.e
                } else {
                    &mut place.n
                }) += by;
                let bend = &traced(&other)[0].bends[0];
                [bend.e, bend.n]
            };
            let (low, high) = (moved(-1e-4), moved(1e-4));
            for (coordinate, row) in rate.iter().enumerate() {
                let (found, expected) = (row[axis], (high[coordinate] - low[coordinate]) / 2e-4);
                assert!(
                    (found - expected).abs() < 0.03,
                    "{mark} {axis} {coordinate}: {found} {expected}"
                );
                compared += 1;
            }
        }
    }
    assert_eq!(
        compared, 16,
        "two marks beside the bend and the two that make the legs"
    );
}
