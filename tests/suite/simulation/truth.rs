//! What a simulated job's results are held against. Grid metres, elevations in metres.

use std::collections::BTreeMap;

/// A mark as it truly is.
#[derive(Clone, Debug, PartialEq)]
pub struct TrueMark {
    /// Run id.
    pub run: String,
    /// Easting and northing of the transmitter.
    pub grid: [f64; 2],
    /// Grid azimuth of the push there, degrees; in the middle of a bend, the mean of what it joins.
    pub azimuth: f64,
    /// Invert under it.
    pub invert: f64,
    /// From the ground at the paint down to the transmitter's axis.
    pub depth: f64,
    /// Lens end up, radians.
    pub tilt: f64,
    /// How its place was measured: a heading of the coverage table.
    pub method: String,
    /// Its place on the run, ground metres in plan.
    pub station: f64,
    /// The same along the pipe.
    pub path: f64,
}

/// What the camera saw, where it truly is.
#[derive(Clone, Debug, PartialEq)]
pub struct TrueSight {
    /// Easting and northing.
    pub grid: [f64; 2],
    /// Invert there.
    pub invert: f64,
}

/// A bend as it truly is.
#[derive(Clone, Debug, PartialEq)]
pub struct TrueBend {
    /// Run id.
    pub run: String,
    /// Its place on the run.
    pub station: f64,
    /// Easting and northing.
    pub grid: [f64; 2],
    /// Change of direction, degrees.
    pub degrees: f64,
    /// A mark lies on it.
    pub located: bool,
}

/// All of it.
#[derive(Clone, Debug, Default)]
pub struct Truth {
    /// Heading of the scenario.
    pub class: &'static str,
    /// Fall over horizontal distance.
    pub grade: f64,
    /// Grid distance over ground distance.
    pub scale: f64,
    /// By name.
    pub marks: BTreeMap<String, TrueMark>,
    /// By what was seen.
    pub camera: BTreeMap<String, TrueSight>,
    /// Bends.
    pub bends: Vec<TrueBend>,
    /// Where the branch joins.
    pub junction: Option<[f64; 2]>,
}

impl Truth {
    /// True lengths of a run from its first mark to its last, ground metres: in plan and along the pipe.
    pub fn lengths(&self, run: &str) -> [f64; 2] {
        let marks = || self.marks.values().filter(|mark| mark.run == run);
        let of = |at: fn(&TrueMark) -> f64| {
            let (low, high) = marks()
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), mark| {
                    (low.min(at(mark)), high.max(at(mark)))
                });
            high - low
        };
        [of(|mark| mark.station), of(|mark| mark.path)]
    }

    /// True grade from one mark down to another, along the straight line between them.
    pub fn leg_grade(&self, from: &str, to: &str) -> Option<f64> {
        let (from, to) = (self.marks.get(from)?, self.marks.get(to)?);
        let chord = (to.grid[0] - from.grid[0]).hypot(to.grid[1] - from.grid[1]) / self.scale;
        Some((from.invert - to.invert) / chord)
    }

    /// Bends of a run that no mark lies on, between two marks in the direction of flow.
    pub fn unlocated(&self, from: &str, to: &str) -> Option<&TrueBend> {
        let (from, to) = (self.marks.get(from)?, self.marks.get(to)?);
        let between = from.station..to.station;
        self.bends
            .iter()
            .find(|bend| !bend.located && bend.run == from.run && between.contains(&bend.station))
    }
}
