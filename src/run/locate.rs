//! One run: from ordered paint marks to transmitters, and the bends between them.

use super::direction::{self, Direction};
use super::ground::{self, GroundAt};
use super::line::Level;
use super::order::{self, Entry};
use super::slope::{self, Slope};
use super::{Inputs, Located, Members, Traced, bends, camera, hidden, vertices};
use crate::math::block;
use crate::transmitter::{Basis, Depth, Sensed, TiltFrom, depth};

/// Depth taken for the placing of a mark of a run where no depth at all is known, metres (our choice: a usual lateral).
pub(super) const USUAL_DEPTH: f64 = 1.5;

pub(super) fn trace_run(inputs: Inputs<'_>, sensed: &[Sensed], members: Members<'_>) -> Traced {
    let run = members.run;
    let order::Ordered {
        entries,
        issues,
        zeros,
    } = order::order(inputs, sensed, members);
    let mut work = Work::of(inputs, sensed, run, entries);
    // The slope needs the stations of the transmitters, and these the slope: twice round is enough, for a shift of
    // decimetres changes a station by parts in a hundred.
    let located = work.locate();
    work.stations = vertices::stations(&located, &[]);
    let mut traced = Traced {
        run,
        marks: work.locate(),
        issues,
        zeros,
        ..Traced::default()
    };
    traced.gaps = vertices::gaps(inputs, &traced);
    let found = bends::infer(inputs, sensed, &traced, &[]);
    if !found.is_empty() {
        // Beside a bend the pipe runs as the leg that leads there, not as the chord: once more with that.
        work.bend(&found, &traced.marks);
        traced.marks = work.locate();
        traced.gaps = vertices::gaps(inputs, &traced);
        let bent: Vec<usize> = found.iter().map(|bend| bend.after).collect();
        traced.bends = bends::infer(inputs, sensed, &traced, &bent);
    }
    traced.hidden = hidden::hidden(inputs, sensed, &traced);
    traced.vertices = vertices::vertices(inputs, &traced);
    traced.sights = camera::sights(inputs, sensed, &traced, members.camera);
    traced
}

/// What the passes read.
pub(super) struct Work<'a> {
    pub inputs: Inputs<'a>,
    pub sensed: &'a [Sensed],
    pub run: usize,
    entries: Vec<Entry<'a>>,
    stations: Vec<f64>,
    pub depths: Vec<f64>,
    directions: Vec<Option<Direction>>,
    grounds: Vec<Option<GroundAt>>,
}

impl<'a> Work<'a> {
    fn of(inputs: Inputs<'a>, sensed: &'a [Sensed], run: usize, entries: Vec<Entry<'a>>) -> Self {
        let stations = vertices::cumulative(entries.iter().map(|entry| {
            let (_, place) = entry.place();
            (place.e, place.n)
        }));
        let depths = rough_depths(&entries, sensed);
        let directions = direction::directions(inputs, sensed, &entries, &depths, &[]);
        let grounds = ground::grounds(inputs, &entries, &stations);
        Self {
            inputs,
            sensed,
            run,
            entries,
            stations,
            depths,
            directions,
            grounds,
        }
    }

    /// Takes bends in: directions by the legs beside them, stations along them, grounds by these stations.
    fn bend(&mut self, bends: &[bends::Bend], marks: &[Located]) {
        let mut broken = vec![false; self.entries.len()];
        for bend in bends {
            if let Some(slot) = broken.get_mut(bend.after) {
                *slot = true;
            }
        }
        let (inputs, entries) = (self.inputs, &self.entries);
        self.directions =
            direction::directions(inputs, self.sensed, entries, &self.depths, &broken);
        self.stations = vertices::stations(marks, bends);
        self.grounds = ground::grounds(inputs, entries, &self.stations);
    }

    /// One pass: slopes from the inverts at the stations, then every transmitter.
    fn locate(&self) -> Vec<Located> {
        let levels: Vec<(usize, Level)> = (0..self.entries.len())
            .filter_map(|index| Some((index, self.level(index, *self.stations.get(index)?)?)))
            .collect();
        let slopes = slope::slopes(&levels, &self.stations, self.ground_fall());
        self.entries
            .iter()
            .zip(slopes)
            .enumerate()
            .map(|(index, (entry, slope))| self.mark(index, entry, slope))
            .collect()
    }

    /// Fall of the ground from the first mark with one to the last, over its length; 0 where it is not known.
    fn ground_fall(&self) -> f64 {
        let known = self.grounds.iter().zip(&self.stations);
        let mut known = known.filter_map(|(ground, station)| Some((ground.as_ref()?.z, *station)));
        match (known.next(), known.next_back()) {
            (Some((z, s)), Some((y, t))) if t - s > 1.0 => (z - y) / (t - s),
            _ => 0.0,
        }
    }

    /// The invert for the slope, by the depth before any widening for tilt.
    fn level(&self, index: usize, station: f64) -> Option<Level> {
        let (entry, ground) = (self.entries.get(index)?, (*self.grounds.get(index)?)?);
        let depth = self.exposed_depth(entry).or_else(|| {
            let sensed = self.sensed.get(entry.mark)?;
            let tilt = sensed.tilt.map(|tilt| tilt.from);
            if tilt == Some(TiltFrom::Vertical) {
                return None;
            }
            let readings = sensed.readings.as_ref();
            readings
                .map(|readings| {
                    depth::by_readings(readings, false, None, &self.inputs.job.accuracy)
                })
                .or_else(|| {
                    let (value, sigma) = sensed.ends.as_ref()?.depth(
                        0.0,
                        self.inputs.job.accuracy.tilt,
                        self.sensor_height(),
                    )?;
                    Some(Depth {
                        value,
                        sigma,
                        common: 0.0,
                        basis: Basis::Ends,
                    })
                })
        })?;
        let z = ground.z - depth.value;
        let own = depth.sigma * depth.sigma + ground.variance(self.inputs.grounds);
        Some(Level {
            station,
            z,
            own,
            common: depth.common,
        })
    }

    pub(super) fn sensor_height(&self) -> f64 {
        self.inputs.job.equipment.sensor_height
    }

    pub(super) fn exposed_depth(&self, entry: &Entry<'_>) -> Option<Depth> {
        let value = entry.exposed?.invert_depth? - self.inputs.axis_above_invert(self.run);
        Some(Depth {
            value,
            sigma: self.inputs.job.accuracy.exposed,
            common: 0.0,
            basis: Basis::Exposed,
        })
    }

    fn mark(&self, index: usize, entry: &Entry<'_>, slope: Slope) -> Located {
        let (point, paint) = entry.place();
        let direction = self.directions.get(index).copied().flatten();
        let mut located = Located {
            mark: entry.mark,
            point,
            paint,
            e: paint.e,
            n: paint.n,
            measured: paint.covariance,
            own: block::ZERO,
            shared: [0.0; 2],
            path: entry.path,
            pushed: entry.pushed,
            direction,
            shift: None,
            depth: None,
            ends_depth: None,
            ground: self.grounds.get(index).copied().flatten(),
            exposed: entry.exposed.is_some(),
            peak: None,
            predicted: None,
        };
        if let Some((_, row)) = entry.centre.filter(|_| entry.paint.is_some()) {
            self.by_surface(index, row, entry, slope, &mut located);
        }
        if entry.exposed.is_some() {
            self.expose(entry, &mut located);
        }
        located
    }
}

/// A depth for every mark's placing: its own, else the mean of the run's, else a usual one.
fn rough_depths(entries: &[Entry<'_>], sensed: &[Sensed]) -> Vec<f64> {
    let own: Vec<Option<f64>> = entries
        .iter()
        .map(|entry| sensed.get(entry.mark).and_then(Sensed::rough_depth))
        .collect();
    let known: Vec<f64> = own.iter().flatten().copied().collect();
    let mean = if known.is_empty() {
        USUAL_DEPTH
    } else {
        known.iter().sum::<f64>() / known.len() as f64
    };
    own.into_iter().map(|depth| depth.unwrap_or(mean)).collect()
}
