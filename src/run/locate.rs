//! One run: from ordered paint marks to transmitters.

use super::direction::{self, Direction};
use super::ground::{self, GroundAt};
use super::line::Level;
use super::order::{self, Entry};
use super::slope::{self, Slope};
use super::{Gap, Inputs, Located, Members, Predicted, Traced, Vertex, VertexKind};
use crate::job::model::{Attitude, FoundBy, MarkRow, ReadBy, Stream, Use};
use crate::math::block;
use crate::transmitter::shift::{self, Expected};
use crate::transmitter::{Basis, Depth, Sensed, Shift, Tilt, TiltFrom, depth, tilt};

/// Depth taken for the placing of a mark of a run where no depth at all is known, metres (our choice: a usual lateral).
const USUAL_DEPTH: f64 = 1.5;

pub(super) fn trace_run(inputs: Inputs<'_>, sensed: &[Sensed], members: Members<'_>) -> Traced {
    let run = members.run;
    let (entries, unplaced, issues) = order::order(inputs, members);
    let work = Work::of(inputs, sensed, run, entries);
    // The slope needs the stations of the transmitters, and these the slope: twice round is enough, for a shift of
    // decimetres changes a station by parts in a hundred.
    let mut located = work.locate(&work.stations);
    located = work.locate(&stations(&located));
    let mut traced = Traced {
        run,
        marks: located,
        unplaced,
        issues,
        ..Traced::default()
    };
    traced.vertices = vertices(&traced.marks);
    traced.gaps = gaps(inputs, &traced);
    traced
}

/// What does not change from pass to pass.
struct Work<'a> {
    inputs: Inputs<'a>,
    sensed: &'a [Sensed],
    run: usize,
    entries: Vec<Entry<'a>>,
    stations: Vec<f64>,
    depths: Vec<f64>,
    directions: Vec<Option<Direction>>,
    grounds: Vec<Option<GroundAt>>,
}

impl<'a> Work<'a> {
    fn of(inputs: Inputs<'a>, sensed: &'a [Sensed], run: usize, entries: Vec<Entry<'a>>) -> Self {
        let stations = cumulative(entries.iter().map(|entry| {
            let (_, place) = entry.place();
            (place.e, place.n)
        }));
        let depths = rough_depths(&entries, sensed);
        let directions = direction::directions(inputs, sensed, &entries, &depths);
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

    /// One pass: slopes from the inverts at these stations, then every transmitter.
    fn locate(&self, stations: &[f64]) -> Vec<Located> {
        let levels: Vec<(usize, Level)> = (0..self.entries.len())
            .filter_map(|index| Some((index, self.level(index, *stations.get(index)?)?)))
            .collect();
        let slopes = slope::slopes(&levels, stations);
        self.entries
            .iter()
            .zip(slopes)
            .enumerate()
            .map(|(index, (entry, slope))| self.mark(index, entry, slope))
            .collect()
    }

    /// The invert for the slope, by the depth before any widening for tilt.
    fn level(&self, index: usize, station: f64) -> Option<Level> {
        let (entry, ground) = (self.entries.get(index)?, (*self.grounds.get(index)?)?);
        let depth = self.exposed_depth(entry).or_else(|| {
            let sensed = self.sensed.get(entry.mark)?;
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

    fn sensor_height(&self) -> f64 {
        self.inputs.job.equipment.sensor_height
    }

    fn exposed_depth(&self, entry: &Entry<'_>) -> Option<Depth> {
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

    /// Depth, and the move from the paint.
    fn by_surface(
        &self,
        index: usize,
        row: &MarkRow,
        entry: &Entry<'_>,
        slope: Slope,
        located: &mut Located,
    ) {
        let accuracy = &self.inputs.job.accuracy;
        let Some(sensed) = self.sensed.get(entry.mark) else {
            return;
        };
        let near = self.depths.get(index).copied().unwrap_or(USUAL_DEPTH);
        let expected = self.expected(entry, row, sensed, slope, located.direction, near);
        let spread = f64::hypot(expected.own, expected.shared);
        located.ends_depth = sensed
            .ends
            .as_ref()
            .and_then(|ends| ends.depth(expected.tilt.angle, spread, self.sensor_height()));
        located.depth = match (&sensed.readings, located.ends_depth) {
            (Some(readings), _) => {
                // Manual readings over a transmitter seen to be tilted are taken at its peak.
                let at_peak = row.read_by == ReadBy::Manual && row.attitude != Attitude::Level;
                let over_crossline = row.found_by == FoundBy::Crossline
                    && !at_peak
                    && expected.tilt.from != TiltFrom::Vertical;
                Some(depth::by_readings(
                    readings,
                    over_crossline,
                    Some(&expected.tilt),
                    accuracy,
                ))
            }
            (None, Some((value, sigma))) => Some(Depth {
                value,
                sigma,
                common: 0.0,
                basis: Basis::Ends,
            }),
            (None, None) => None,
        };
        let (value, sigma) = located.depth.map_or((near, near / 2.0), |depth| {
            (depth.value, depth.variance().sqrt())
        });
        let shift = shift::shift(
            row.found_by,
            value.max(0.0) + self.sensor_height(),
            sigma,
            &expected,
        );
        let placing = block::isotropic(shift::placing(accuracy, value.max(0.0)).powi(2));
        move_along(located, shift, placing, self.inputs.ground_to_grid());
    }

    /// The tilt to correct for: known at the mark, by the peak beside it, or the slope with unseen tilt about it.
    fn expected(
        &self,
        entry: &Entry<'_>,
        row: &MarkRow,
        sensed: &Sensed,
        slope: Slope,
        direction: Option<Direction>,
        near: f64,
    ) -> Expected {
        let unseen = self.inputs.job.accuracy.tilt;
        let by_peak = || {
            self.by_peak(entry, row, direction, near + self.sensor_height())
                .filter(|t| t.sigma < unseen)
        };
        if let Some(tilt) = sensed.tilt.or_else(by_peak) {
            return Expected::of(tilt);
        }
        // Falling with the push, the lens end is down.
        let angle = slope.grade.atan()
            * if entry.pushed == Stream::Down {
                -1.0
            } else {
                1.0
            };
        let rate = 1.0 / (1.0 + slope.grade * slope.grade);
        let tilt = Tilt {
            angle,
            sigma: f64::hypot(unseen, rate * f64::hypot(slope.own, slope.shared)),
            from: TiltFrom::Slope,
        };
        let shared = rate
            * slope.shared
            * if entry.pushed == Stream::Down {
                -1.0
            } else {
                1.0
            };
        Expected {
            tilt,
            own: f64::hypot(unseen, rate * slope.own),
            shared,
        }
    }

    /// Tilt by the peak that was marked beside a crossline mark.
    fn by_peak(
        &self,
        entry: &Entry<'_>,
        row: &MarkRow,
        direction: Option<Direction>,
        sensing: f64,
    ) -> Option<Tilt> {
        let points = self.inputs.observations.marks.get(entry.mark)?;
        let (peak_row, peak_id) = points.peak?;
        self.inputs
            .job
            .marks
            .get(peak_row)
            .filter(|row| row.usage == Use::Yes)?;
        let (peak, (id, mark), unit) = (
            self.inputs.places.place(peak_id)?,
            entry.paint?,
            direction?.unit(),
        );
        if row.found_by != FoundBy::Crossline || sensing <= 0.0 {
            return None;
        }
        let k = self.inputs.ground_to_grid();
        let apart = ((peak.e - mark.e) * unit[0] + (peak.n - mark.n) * unit[1]) / k;
        let c = block::difference(
            peak.covariance,
            mark.covariance,
            self.inputs.places.covariance(peak_id, id),
        );
        let placed = 2.0 * shift::placing(&self.inputs.job.accuracy, sensing).powi(2);
        tilt::by_peak(
            apart / sensing,
            (block::along(c, unit) + placed).sqrt() / sensing,
        )
    }

    /// The pipe was seen: what was measured stands, what the surface said is kept beside it.
    fn expose(&self, entry: &Entry<'_>, located: &mut Located) {
        if entry.paint.is_some() {
            let (covariance, depth) = (located.covariance(), located.depth);
            located.predicted = Some(Box::new(Predicted {
                e: located.e,
                n: located.n,
                covariance,
                depth,
            }));
        }
        if let Some((id, place)) = entry.seen {
            located.point = id;
            (located.e, located.n, located.measured) = (place.e, place.n, place.covariance);
            (located.own, located.shared, located.shift) = (block::ZERO, [0.0; 2], None);
        }
        located.depth = self.exposed_depth(entry).or(located.depth);
    }
}

/// Moves a located mark along its direction and puts the move's doubt into its covariance.
fn move_along(located: &mut Located, shift: Shift, placing: block::Block, k: f64) {
    let Some(direction) = located.direction else {
        // Nothing says which way the pipe runs: not moved, and as unsure in every direction as it is along the pipe.
        let all = shift.along.powi(2) + shift.sigma.powi(2) + shift.shared.powi(2);
        located.own = block::add(placing, block::isotropic(all));
        located.shift = Some(Shift {
            along: 0.0,
            ..shift
        });
        return;
    };
    let u = direction.unit();
    let right = [u[1], -u[0]];
    located.e += shift.along * k * u[0];
    located.n += shift.along * k * u[1];
    // A wrong direction swings the move, and whatever else lies along the pipe, to the side.
    let sideways = (shift.along.powi(2) + shift.sigma.powi(2)) * direction.sigma.min(1.0).powi(2);
    let along = block::scale(block::outer(u, u), shift.sigma.powi(2));
    located.own = block::add(
        placing,
        block::add(along, block::scale(block::outer(right, right), sideways)),
    );
    located.shared = [shift.shared * u[0], shift.shared * u[1]];
    located.shift = Some(shift);
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

/// Distances along a line of points from its first.
fn cumulative(points: impl Iterator<Item = (f64, f64)>) -> Vec<f64> {
    let (mut at, mut last) = (0.0, None);
    points
        .map(|(e, n)| {
            if let Some((le, ln)) = last {
                at += f64::hypot(e - le, n - ln);
            }
            last = Some((e, n));
            at
        })
        .collect()
}

fn stations(marks: &[Located]) -> Vec<f64> {
    cumulative(marks.iter().map(|mark| (mark.e, mark.n)))
}

fn vertices(marks: &[Located]) -> Vec<Vertex> {
    let stations = stations(marks);
    let kind = |(index, (mark, station)): (usize, (&Located, f64))| Vertex {
        kind: VertexKind::Mark(index),
        e: mark.e,
        n: mark.n,
        covariance: mark.covariance(),
        station,
    };
    marks.iter().zip(stations).enumerate().map(kind).collect()
}

/// Cable against straight distance, neighbour by neighbour.
fn gaps(inputs: Inputs<'_>, traced: &Traced) -> Vec<Option<Gap>> {
    let accuracy = &inputs.job.accuracy;
    let gap = |index: usize| {
        let (a, b) = (traced.marks.get(index)?, traced.marks.get(index + 1)?);
        let (from, to) = (
            a.path?,
            b.path
                .filter(|to| a.path.is_some_and(|from| from.line == to.line))?,
        );
        let cable = (to.at - from.at).abs();
        let (e, n) = (b.e - a.e, b.n - a.n);
        let plan = f64::hypot(e, n);
        let c = block::difference(
            a.covariance(),
            b.covariance(),
            traced.covariance(inputs.places, index, index + 1),
        );
        let unit = if plan > 0.0 {
            [e / plan, n / plan]
        } else {
            [0.0, 1.0]
        };
        let across = block::along(c, [unit[1], -unit[0]]);
        let rise = match (a.ground.zip(a.depth), b.ground.zip(b.depth)) {
            (Some((ga, da)), Some((gb, db))) => (ga.z - da.value) - (gb.z - db.value),
            _ => 0.0,
        };
        let k = inputs.ground_to_grid();
        Some(Gap {
            cable,
            cable_sigma: f64::hypot(accuracy.counter, accuracy.counter_fraction * cable),
            straight: f64::hypot(plan / k, rise),
            straight_sigma: block::along(c, unit).sqrt(),
            // E √(x² + y²) ≈ x + σ_y²/2x; for marks closer than their scatter, no more than that.
            straight_bias: across / (2.0 * plan.max(across.sqrt()).max(1e-9)),
        })
    };
    (0..traced.marks.len().saturating_sub(1)).map(gap).collect()
}
