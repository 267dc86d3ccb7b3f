//! The pipe as it truly lies: where it runs in plan, how it falls, how long it is. Ground metres.

use std::f64::consts::PI;

use super::frame::Ground;
use super::scenario::Belly;

/// The line of a pipe in plan: straight between its vertices, in the direction of flow.
pub struct Plan {
    vertices: Vec<Ground>,
    stations: Vec<f64>,
}

impl Plan {
    /// From a starting place and azimuth, legs' lengths, and the turn after each leg but the last.
    pub fn new(start: Ground, azimuth: f64, legs: &[f64], turns: &[f64]) -> Self {
        let (mut azimuth, mut place, mut station) = (azimuth, start, 0.0);
        let (mut vertices, mut stations) = (vec![place], vec![0.0]);
        for (leg, turn) in legs.iter().zip(turns.iter().chain([&0.0])) {
            place = [
                place[0] + leg * azimuth.sin(),
                place[1] + leg * azimuth.cos(),
            ];
            station += leg;
            azimuth += turn;
            vertices.push(place);
            stations.push(station);
        }
        Self { vertices, stations }
    }

    /// Length.
    pub fn length(&self) -> f64 {
        self.stations[self.stations.len() - 1]
    }

    fn leg(&self, station: f64) -> usize {
        let inner = &self.stations[1..self.stations.len() - 1];
        inner.partition_point(|&vertex| vertex <= station)
    }

    fn leg_azimuth(&self, leg: usize) -> f64 {
        let ([x0, y0], [x1, y1]) = (self.vertices[leg], self.vertices[leg + 1]);
        (x1 - x0).atan2(y1 - y0)
    }

    /// The place at a station.
    pub fn at(&self, station: f64) -> Ground {
        let leg = self.leg(station);
        let (azimuth, along) = (self.leg_azimuth(leg), station - self.stations[leg]);
        let [x, y] = self.vertices[leg];
        [x + along * azimuth.sin(), y + along * azimuth.cos()]
    }

    /// The pipe's azimuth at a station; in the middle of a bend, the mean of what it joins.
    pub fn azimuth(&self, station: f64) -> f64 {
        let leg = self.leg(station);
        let here = self.leg_azimuth(leg);
        if leg > 0 && (station - self.stations[leg]).abs() < 1e-6 {
            let turn = (here - self.leg_azimuth(leg - 1) + PI).rem_euclid(2.0 * PI) - PI;
            return here - 0.5 * turn;
        }
        here
    }
}

/// How a pipe falls: uniformly but for a belly.
pub struct Profile {
    /// Invert at station 0.
    pub start: f64,
    /// Fall over horizontal distance.
    pub grade: f64,
    /// A low stretch, and the station of its middle.
    pub belly: Option<(Belly, f64)>,
}

impl Profile {
    /// Invert at a station.
    pub fn invert(&self, station: f64) -> f64 {
        let dip = self.belly.map_or(0.0, |(belly, middle)| {
            let phase = 2.0 * PI * (station - middle) / belly.length;
            if phase.abs() < PI {
                0.5 * belly.depth * (1.0 + phase.cos())
            } else {
                0.0
            }
        });
        self.start - self.grade * station - dip
    }

    /// Fall over horizontal distance at a station.
    pub fn slope(&self, station: f64) -> f64 {
        let dip = self.belly.map_or(0.0, |(belly, middle)| {
            let phase = 2.0 * PI * (station - middle) / belly.length;
            if phase.abs() < PI {
                -PI * belly.depth / belly.length * phase.sin()
            } else {
                0.0
            }
        });
        self.grade + dip
    }

    /// Length of pipe from station 0, by Simpson's rule.
    pub fn path(&self, station: f64) -> f64 {
        let panels = 2 * (50.0 * station.abs()).ceil() as usize + 2;
        let step = station / panels as f64;
        let ordinate = |i: usize| self.slope(step * i as f64).hypot(1.0);
        let weight = |i: usize| {
            if i == 0 || i == panels {
                1.0
            } else {
                2.0 + 2.0 * (i % 2) as f64
            }
        };
        (0..=panels).map(|i| weight(i) * ordinate(i)).sum::<f64>() * step / 3.0
    }
}

/// A run's pipe.
pub struct Pipe {
    /// In plan.
    pub plan: Plan,
    /// In profile.
    pub profile: Profile,
}

/// Ground: a plane.
#[derive(Clone, Copy)]
pub struct Surface {
    /// Elevation at the site's point.
    pub height: f64,
    /// Rise to the east and to the north.
    pub rise: [f64; 2],
}

impl Surface {
    /// Elevation at a place.
    pub fn at(&self, [x, y]: Ground) -> f64 {
        self.height + self.rise[0] * x + self.rise[1] * y
    }
}

#[cfg(test)]
mod tests {
    use super::{Belly, Plan, Profile};

    #[test]
    fn plan_turns_where_it_should() {
        let plan = Plan::new([1.0, 2.0], 0.0, &[3.0, 4.0], &[std::f64::consts::FRAC_PI_2]);
        let near = |[x, y]: [f64; 2], [u, v]: [f64; 2]| (x - u).hypot(y - v) < 1e-12;
        assert!(
            near(plan.at(3.0), [1.0, 5.0])
                && near(plan.at(7.0), [5.0, 5.0])
                && near(plan.at(-1.0), [1.0, 1.0])
        );
        assert!((plan.length() - 7.0).abs() < 1e-12);
        for (station, degrees) in [(1.0, 0.0), (3.0, 45.0), (5.0, 90.0)] {
            assert!(
                (plan.azimuth(station).to_degrees() - degrees).abs() < 1e-9,
                "{station}"
            );
        }
    }

    #[test]
    fn profile_is_its_slope_summed() {
        let belly = Belly {
            depth: 0.2,
            length: 4.0,
        };
        let profile = Profile {
            start: 10.0,
            grade: 0.02,
            belly: Some((belly, 5.0)),
        };
        assert!((profile.invert(5.0) - (10.0 - 0.1 - 0.2)).abs() < 1e-12);
        for station in [1.0, 3.4, 5.0, 6.1, 8.0] {
            let fall = (profile.invert(station - 1e-5) - profile.invert(station + 1e-5)) / 2e-5;
            assert!(
                (fall - profile.slope(station)).abs() < 1e-8,
                "{station}: {fall}"
            );
        }
        let straight = Profile {
            start: 0.0,
            grade: 0.75,
            belly: None,
        };
        assert!((straight.path(4.0) - 5.0).abs() < 1e-12);
        let fine: f64 = (0..80_000)
            .map(|i| profile.slope(1e-4 * (f64::from(i) + 0.5)).hypot(1.0) * 1e-4)
            .sum();
        assert!((profile.path(8.0) - fine).abs() < 1e-7);
    }
}
