//! The errors that a crew and its instruments make: the default one-sigmas of the method, written down again here so
//! that a change of the crate's own table shows (see the test below).

use super::frame::Ground;
use super::rng::Rng;

const TAPE: f64 = 0.015;
const TAPE_FRACTION: f64 = 0.0005;
const SQUARE: f64 = 1.5;
const OFFSET: f64 = 0.03;
const ANGLE: f64 = 0.02;
const BEARING: f64 = 1.0;
const BEARING_GRID: f64 = 0.1;
/// GNSS, carrier phase fixed.
pub const RTK: f64 = 0.02;
/// GNSS, carrier phase float.
pub const FLOAT: f64 = 0.25;
/// GNSS, differential.
pub const DGNSS: f64 = 0.6;
/// Grid coordinates from elsewhere; control with a sigma is given this one too.
pub const GRID: f64 = 0.02;
/// Vertical one-sigma of GNSS over the horizontal.
pub const VERTICAL_RATIO: f64 = 2.0;
const MARK: f64 = 0.05;
const MARK_FRACTION: f64 = 0.02;
const END: f64 = 0.05;
const END_FRACTION: f64 = 0.03;
const TILT: f64 = 3.0;
const TILT_GIVEN: f64 = 1.0;
const DEPTH: f64 = 0.03;
const DEPTH_FRACTION: f64 = 0.04;
const DEPTH_COMMON: f64 = 0.02;
const EXPOSED: f64 = 0.01;
const GROUND: f64 = 0.02;
const LEVEL: f64 = 0.002;
const COUNTER: f64 = 0.03;
const COUNTER_FRACTION: f64 = 0.01;
/// One-sigma of a signal reading, part of it: the crate's own choice in `transmitter/tilt.rs`.
const SIGNAL: f64 = 0.03;
/// Difference of the two readings of a pair over their mean; the method takes 10 % as the most: our choice.
const PAIR: f64 = 0.015;

/// A crew with one receiver and one cable counter.
pub struct Crew {
    rng: Rng,
    errors: f64,
    depth_scale: f64,
    counter_scale: f64,
}

impl Crew {
    /// A crew whose errors are the method's times a factor.
    pub fn new(seed: u64, errors: f64) -> Self {
        let mut crew = Self {
            rng: Rng::new(seed, 1),
            errors,
            depth_scale: 1.0,
            counter_scale: 1.0,
        };
        crew.depth_scale += crew.error(DEPTH_COMMON);
        crew.counter_scale += crew.error(COUNTER_FRACTION);
        crew
    }

    /// An error of a one-sigma.
    pub fn error(&mut self, sigma: f64) -> f64 {
        self.errors * sigma * self.rng.normal()
    }

    fn degrees(&mut self, sigma: f64) -> f64 {
        self.error(sigma.to_radians())
    }

    /// A taped distance.
    pub fn tape(&mut self, length: f64) -> f64 {
        length + self.error(TAPE.hypot(TAPE_FRACTION * length))
    }

    /// Station and offset.
    pub fn baseline(&mut self, station: f64, offset: f64) -> [f64; 2] {
        let square = SQUARE.to_radians() * offset;
        let along = TAPE.hypot(TAPE_FRACTION * station).hypot(square);
        [
            station + self.error(along),
            offset + self.error(OFFSET.hypot(TAPE_FRACTION * offset)),
        ]
    }

    /// A horizontal angle.
    pub fn angle(&mut self, angle: f64) -> f64 {
        angle + self.degrees(ANGLE)
    }

    /// A compass bearing.
    pub fn compass(&mut self, bearing: f64) -> f64 {
        bearing + self.degrees(BEARING)
    }

    /// A true or grid bearing.
    pub fn bearing(&mut self, bearing: f64) -> f64 {
        bearing + self.degrees(BEARING_GRID)
    }

    /// A place with an error on each axis.
    pub fn place(&mut self, [x, y]: Ground, sigma: f64) -> Ground {
        [x + self.error(sigma), y + self.error(sigma)]
    }

    /// The paint for a transmitter so deep.
    pub fn mark(&mut self, at: Ground, depth: f64) -> Ground {
        self.place(at, MARK.hypot(MARK_FRACTION * depth))
    }

    /// The paint for an end point of a transmitter so deep.
    pub fn end(&mut self, at: Ground, depth: f64) -> Ground {
        self.place(at, END.hypot(END_FRACTION * depth))
    }

    /// How the transmitter lies off the pipe's own slope.
    pub fn unseen_tilt(&mut self) -> f64 {
        self.degrees(TILT)
    }

    /// A tilt as given.
    pub fn given_tilt(&mut self, tilt: f64) -> f64 {
        tilt + self.degrees(TILT_GIVEN)
    }

    /// A pair of readings whose mean is an accepted depth, for what the field shows.
    pub fn depth_pair(&mut self, shown: f64) -> [f64; 2] {
        let accepted = shown * self.depth_scale + self.error(DEPTH.hypot(DEPTH_FRACTION * shown));
        let half = 0.5 * accepted * self.error(PAIR).clamp(-0.08, 0.08);
        [accepted + half, accepted - half]
    }

    /// A signal reading, in the receiver's own unit.
    pub fn signal(&mut self, strength: f64) -> f64 {
        strength * (1.0 + self.error(SIGNAL))
    }

    /// The measured depth of an exposed invert.
    pub fn exposed(&mut self, depth: f64) -> f64 {
        depth + self.error(EXPOSED)
    }

    /// A ground elevation.
    pub fn ground(&mut self, elevation: f64) -> f64 {
        elevation + self.error(GROUND)
    }

    /// A staff reading: two of them make a set-up.
    pub fn staff(&mut self, reading: f64) -> f64 {
        reading + self.error(LEVEL / std::f64::consts::SQRT_2)
    }

    /// The counter for so much cable.
    pub fn counter(&mut self, cable: f64) -> f64 {
        cable * self.counter_scale + self.error(COUNTER)
    }
}

#[cfg(test)]
mod tests {
    use super::{
        ANGLE, BEARING, BEARING_GRID, COUNTER, COUNTER_FRACTION, Crew, DEPTH, DEPTH_COMMON,
        DEPTH_FRACTION, DGNSS, END, END_FRACTION, EXPOSED, FLOAT, GRID, GROUND, LEVEL, MARK,
        MARK_FRACTION, OFFSET, RTK, SQUARE, TAPE, TAPE_FRACTION, TILT, TILT_GIVEN, VERTICAL_RATIO,
    };
    use aslaid::limits::Accuracy;

    #[test]
    fn one_sigmas_are_the_crates_defaults() {
        let defaults = Accuracy::default();
        let plain = [
            ("tape", TAPE),
            ("tape_fraction", TAPE_FRACTION),
            ("offset", OFFSET),
            ("rtk", RTK),
            ("float", FLOAT),
            ("dgnss", DGNSS),
            ("grid", GRID),
            ("vertical_ratio", VERTICAL_RATIO),
            ("mark", MARK),
            ("mark_fraction", MARK_FRACTION),
            ("end", END),
            ("end_fraction", END_FRACTION),
            ("depth", DEPTH),
            ("depth_fraction", DEPTH_FRACTION),
            ("depth_common", DEPTH_COMMON),
            ("exposed", EXPOSED),
            ("ground", GROUND),
            ("level", LEVEL),
            ("counter", COUNTER),
            ("counter_fraction", COUNTER_FRACTION),
        ];
        let degrees = [
            ("square", SQUARE),
            ("angle", ANGLE),
            ("bearing", BEARING),
            ("bearing_grid", BEARING_GRID),
            ("tilt", TILT),
            ("tilt_given", TILT_GIVEN),
        ];
        let radians = degrees.map(|(name, value)| (name, value.to_radians()));
        for (name, value) in plain.into_iter().chain(radians) {
            let default = defaults.get(name).expect(name);
            assert!(
                (default - value).abs() < 1e-12,
                "{name}: {default} in the crate, {value} here"
            );
        }
    }

    #[test]
    fn a_pair_has_its_accepted_depth_in_the_middle_and_never_disagrees() {
        let (mut sum, mut squares, n) = (0.0, 0.0, 4000);
        for seed in 0..n {
            let [a, b] = Crew::new(seed, 1.0).depth_pair(2.0);
            assert!((a - b).abs() < 0.1 * 0.5 * (a + b));
            let error = 0.5 * (a + b) - 2.0;
            sum += error;
            squares += error * error;
        }
        let n = n as f64;
        let sigma = 0.03_f64.hypot(0.04 * 2.0).hypot(0.02 * 2.0);
        assert!((sum / n).abs() < 4.0 * sigma / n.sqrt(), "{}", sum / n);
        assert!(
            ((squares / n).sqrt() / sigma - 1.0).abs() < 0.05,
            "{}",
            (squares / n).sqrt()
        );
    }
}
