//! Control, marks and measures as observation equations.

use std::sync::{Arc, LazyLock};

use super::frame::FrameFacts;
use super::kinds::{Plane, apart, around};
use super::names::{Names, has_place};
use super::positions::Fixed;
use super::problem::{Problem, Subject};
use super::window::WindowMean;
use super::{HeightOf, Kind, Observation, Observations, PointId, PointRole, SideHint};
use crate::job::model::{
    BaselineOffset, Control, Fix, Job, MarkRow, Measure, MeasureKind, North, Note, Polar,
    PolarDirection, Role, Side, Source, Tie, Use,
};
use crate::limits::Accuracy;

/// One-sigma of a position that is exact but for the shift that its datum shares: a millimetre, far below any bound.
const EXACT: f64 = 0.001;

/// The coordinates that a row's checked and converted positions have.
#[derive(Clone, Copy, Default)]
pub(super) struct Given {
    /// Grid coordinates inside the area of use.
    pub(super) grid: Option<Plane>,
    /// From latitude and longitude.
    pub(super) geographic: Option<Fixed>,
    /// From the receiver log.
    pub(super) window: Option<(Fixed, WindowMean)>,
}

/// The writer of equations.
pub(super) struct Rows<'a> {
    pub(super) job: &'a Job,
    pub(super) names: Names,
    pub(super) frame: FrameFacts,
    pub(super) out: Observations,
    pub(super) problems: Vec<Problem>,
    pub(super) notes: Vec<Note>,
    /// Elevations, for taped slopes.
    pub(super) heights: HeightOf<'a>,
    /// Taped slopes that could not be reduced.
    pub(super) unreduced: usize,
    /// The first that is shorter than the heights of its ends differ.
    pub(super) too_short: Option<Source>,
    /// Compass bearings without a declination.
    pub(super) compass: Compass,
}

/// Compass bearings that are used although the declination is not known.
pub(super) struct Compass {
    /// Why it is not known, and what to give.
    lacking: Option<String>,
    /// The first one, and the column that holds it.
    first: Option<(Subject, &'static str)>,
    count: usize,
}

impl Compass {
    pub(super) fn new(lacking: Option<String>) -> Self {
        Self {
            lacking,
            first: None,
            count: 0,
        }
    }

    fn used(&mut self, subject: &Subject, column: &'static str) {
        self.count += 1;
        self.first.get_or_insert_with(|| (subject.clone(), column));
    }

    /// What is to be said of a declination of the job's own that the model contradicts.
    pub(super) fn contradicted(
        &self,
        given: f64,
        model: impl Fn() -> Option<f64>,
    ) -> Option<Problem> {
        let (subject, column) = self.first.clone()?;
        let model = model()?;
        (around(given - model).abs() > CONTRADICTED).then_some(Problem::Declination {
            subject,
            column,
            given,
            model,
        })
    }

    /// What is to be said of them, once.
    pub(super) fn problem(self) -> Option<Problem> {
        let ((subject, column), why) = self.first.zip(self.lacking)?;
        Some(Problem::NoDeclination {
            subject,
            column,
            bearings: self.count,
            why,
        })
    }
}

/// Declinations farther from the magnetic model than this, radians (3°), are doubted: places that disturb a compass as much are rare. Our
/// choice.
const CONTRADICTED: f64 = 0.052_36;
/// Two points nearer than this, metres, are one: no corner is known better. Our choice.
const SAME_PLACE: f64 = 0.01;

/// Where an equation comes from and goes to.
struct Row<'a> {
    source: &'a Source,
    usage: Use,
    /// One-sigma, metres, of how far apart two markings of one transmitter lie, where the row is of another one than it is compared with.
    again: f64,
}

/// A mark that is only compared and has depths of its own was located again: nobody reads depths to tape paint a second time (our choice). Then
/// both markings are placed over the transmitter only so well.
fn located_again(accuracy: &Accuracy, mark: &MarkRow) -> f64 {
    let depths = mark.readings.iter().flatten();
    let (sum, count) = depths.fold((0.0, 0_u32), |(sum, count), depth| (sum + depth, count + 1));
    if mark.usage != Use::Check || count == 0 {
        return 0.0;
    }
    std::f64::consts::SQRT_2 * accuracy.placing(sum / f64::from(count))
}

impl Rows<'_> {
    fn push(
        &mut self,
        row: &Row<'_>,
        column: &'static str,
        kind: Kind,
        (value, sigma, measured): (f64, f64, f64),
    ) {
        let observation = Observation {
            kind,
            value,
            sigma,
            measured,
            source: row.source.clone(),
            column,
        };
        match row.usage {
            Use::Yes => self.out.plane.push(observation),
            Use::Check => {
                let again = if kind.is_angular() { 0.0 } else { row.again };
                self.out.checks.push(Observation {
                    sigma: sigma.hypot(again),
                    ..observation
                });
            }
        }
    }

    fn coordinates(
        &mut self,
        row: &Row<'_>,
        at: PointId,
        given: Fixed,
        (east, north): (f64, f64),
        columns: [&'static str; 2],
    ) {
        let Fixed {
            place: (e, n),
            shift,
        } = given;
        self.push(row, columns[0], Kind::East { at, shift }, (e, east, e));
        self.push(row, columns[1], Kind::North { at, shift }, (n, north, n));
    }

    /// Length on the grid of one measured on the ground.
    fn grid_length(&self, measured: f64) -> f64 {
        measured * self.frame.ground_to_grid
    }

    fn tape_sigma(&self, length: f64) -> f64 {
        let a = &self.job.accuracy;
        a.tape.hypot(a.tape_fraction * length)
    }

    /// A taped length made level, where the job's tapes lie on the slope and both ends' heights are known.
    fn level(&mut self, row: &Row<'_>, length: f64, from: PointId, to: PointId) -> f64 {
        if !self.job.grid.taped_on_slope {
            return length;
        }
        match ((self.heights)(from), (self.heights)(to)) {
            (Some(a), Some(b)) if (a - b).abs() < length => {
                (length * length - (a - b).powi(2)).sqrt()
            }
            (Some(_), Some(_)) => {
                self.too_short.get_or_insert_with(|| row.source.clone());
                length
            }
            _ => {
                self.unreduced += 1;
                length
            }
        }
    }

    /// Station and offset made level, where the job's tapes lie on the slope: the station by the slope of its line, the offset by the
    /// mark's height over it.
    fn level_off(
        &mut self,
        (from, to, at): (PointId, PointId, PointId),
        (station, offset): (f64, f64),
    ) -> (f64, f64) {
        if !self.job.grid.taped_on_slope {
            return (station, offset);
        }
        let line = (self.heights)(from).zip((self.heights)(to));
        let Some(((low, high), length)) = line.zip(self.length(from, to)) else {
            self.unreduced += 1;
            return (station, offset);
        };
        let slope = (high - low) / length;
        let level = station / slope.hypot(1.0);
        let Some(over) = (self.heights)(at).map(|z| z - low - slope * level) else {
            self.unreduced += usize::from(offset.abs() > 0.0);
            return (level, offset);
        };
        // Hardly any offset is shorter than heights are rough.
        let square = offset * offset - over * over;
        let off = if square > 0.0 {
            square.sqrt().copysign(offset)
        } else {
            offset
        };
        (level, off)
    }

    /// Level distance of two points whose coordinates are given, on the ground.
    fn length(&self, a: PointId, b: PointId) -> Option<f64> {
        let point = |id: PointId| self.names.points.get(id.0 as usize);
        let (a, b) = (point(a)?, point(b)?);
        let on_grid = a.fixed.zip(b.fixed);
        let on_grid = on_grid.map(|(a, b)| apart(a, b) / self.frame.ground_to_grid);
        on_grid.or(a.site.zip(b.site).map(|(a, b)| apart(a, b)))
    }

    fn distance(
        &mut self,
        row: &Row<'_>,
        column: &'static str,
        (from, to): (PointId, PointId),
        length: f64,
        sigma: Option<f64>,
    ) {
        let level = self.level(row, length, from, to);
        let value = self.grid_length(level);
        let sigma = self.grid_length(sigma.unwrap_or_else(|| self.tape_sigma(length)));
        self.push(
            row,
            column,
            Kind::Distance { from, to },
            (value, sigma, length),
        );
    }

    fn bearing(
        &mut self,
        row: &Row<'_>,
        (subject, column): (&Subject, &'static str),
        (from, to): (PointId, PointId),
        (bearing, north): (f64, North),
        sigma: Option<f64>,
    ) {
        let azimuth = self.frame.grid_azimuth(bearing, north);
        if north == North::Magnetic {
            self.compass.used(subject, column);
        }
        let a = &self.job.accuracy;
        let default = if north == North::Magnetic {
            a.bearing
        } else {
            a.bearing_grid
        };
        self.push(
            row,
            column,
            Kind::Azimuth { from, to },
            (azimuth, sigma.unwrap_or(default), bearing),
        );
    }

    /// A reference point's coordinates. Without a sigma they are exact.
    pub(super) fn control(&mut self, control: &Control, given: Given, site_is_grid: bool) {
        let Some(at) = self.names.get(&control.point) else {
            return;
        };
        let row = Row {
            source: &control.source,
            usage: control.usage,
            again: 0.0,
        };
        // Of a point that is only compared and has a place on both systems, the site's is where it is.
        let own = self.names.points.get(at.0 as usize).map(|point| point.role);
        let owns = matches!(own, Some(PointRole::Control(row)) if self.job.control.get(row) == Some(control));
        let elsewhere = given.grid.is_some() || given.geographic.is_some();
        let site_row = Row {
            source: &control.source,
            usage: if owns && elsewhere {
                Use::Yes
            } else {
                control.usage
            },
            again: 0.0,
        };
        let mut grid = given.grid;
        let mut site = control.site;
        if site_is_grid {
            grid = grid.or(site.take());
        }
        let shared = given.geographic.filter(|fixed| fixed.shift.is_some());
        let exact = control.sigma.is_none() && control.usage == Use::Yes;
        let fixed = grid.or(given
            .geographic
            .filter(|fixed| fixed.shift.is_none())
            .map(|fixed| fixed.place));
        let sigma = control.sigma.unwrap_or(self.job.accuracy.grid);
        if exact {
            self.names.points[at.0 as usize].fixed = fixed;
        } else if let Some(place) = grid {
            self.coordinates(
                &row,
                at,
                Fixed { place, shift: None },
                (sigma, sigma),
                ["easting", "northing"],
            );
        }
        if let Some(geographic) = given.geographic {
            // An exact place is not observed a second time; a further one is, and so is one that moves with its datum.
            let sigma = match (exact, grid, shared) {
                (true, None, None) => None,
                (true, None, Some(_)) => Some(EXACT),
                _ => Some(sigma),
            };
            if let Some(sigma) = sigma {
                self.coordinates(
                    &row,
                    at,
                    geographic,
                    (sigma, sigma),
                    ["longitude", "latitude"],
                );
            }
        }
        if let Some(place) = site {
            let site_sigma = match (fixed.filter(|_| exact), elsewhere, control.sigma) {
                // Exact in both systems is once too often: the site's figures get the sigma of grid coordinates.
                (Some(_), ..) => Some(self.job.accuracy.grid),
                // The sigma belongs to the grid coordinates, if there are any.
                (None, false, Some(sigma)) => Some(sigma),
                _ => None,
            };
            self.site(&site_row, at, place, site_sigma);
        }
    }

    /// The point that a mark is measured from; nothing where no point has the name, or where it is the mark's own.
    fn reference(
        &mut self,
        name: &Arc<str>,
        subject: &Subject,
        column: &str,
        at: PointId,
    ) -> Option<PointId> {
        let point = self
            .names
            .resolve(name, subject, column, &mut self.problems)?;
        if point == at {
            self.problems.push(Problem::FromItself {
                subject: subject.clone(),
                column: column.to_owned(),
            });
            return None;
        }
        Some(point)
    }

    /// Whether a line leads from one point to another, as far as both have coordinates; if not, that is a problem.
    fn is_line(
        &mut self,
        subject: &Subject,
        column: &'static str,
        (from, to): (PointId, PointId),
    ) -> bool {
        let is_line = self.length(from, to).is_none_or(|off| off > SAME_PLACE);
        if !is_line {
            let name = |point: PointId| Arc::clone(&self.names.points[point.0 as usize].name);
            self.problems.push(Problem::NoLine {
                subject: subject.clone(),
                column,
                points: [name(from), name(to)],
            });
        }
        is_line
    }

    /// Coordinates on the site grid; exact without a sigma.
    fn site(&mut self, row: &Row<'_>, at: PointId, (x, y): Plane, sigma: Option<f64>) {
        if sigma.is_none() && row.usage == Use::Yes {
            self.names.points[at.0 as usize].site = Some((x, y));
            return;
        }
        let sigma = sigma.unwrap_or(self.job.accuracy.grid);
        self.push(row, "x", Kind::SiteX { at }, (x, sigma, x));
        self.push(row, "y", Kind::SiteY { at }, (y, sigma, y));
    }

    /// Everything that a row of `marks.csv` says of its place.
    pub(super) fn mark(&mut self, i: usize, mark: &MarkRow, given: Given) {
        let subject = Subject {
            run: Some(mark.run),
            name: self.names.called(mark),
            source: mark.source.clone(),
        };
        let Some(at) = self.names.of_row(i, mark) else {
            if mark.usage == Use::Check {
                let seen = mark.role == Role::Exposed && self.names.located(mark);
                if !seen {
                    self.problems.push(Problem::NothingToCompare { subject });
                } else if has_place(&mark.placing) {
                    self.problems.push(Problem::ExposureKeptOut { subject });
                }
            }
            return;
        };
        let row = Row {
            source: &mark.source,
            usage: mark.usage,
            again: located_again(&self.job.accuracy, mark),
        };
        let placing = &mark.placing;
        if let Some(baseline) = &placing.baseline {
            self.baseline(&row, &subject, at, baseline);
        }
        self.ties(&row, &subject, at, &placing.ties, placing.side);
        if let Some(polar) = &placing.polar {
            self.polar(&row, &subject, at, polar);
        }
        let a = &self.job.accuracy;
        let grid_sigma = placing.sigma.unwrap_or(a.grid);
        if let Some(place) = given.grid {
            self.coordinates(
                &row,
                at,
                Fixed { place, shift: None },
                (grid_sigma, grid_sigma),
                ["easting", "northing"],
            );
        }
        if let (Some(fixed), Some(gnss)) = (given.geographic, &placing.gnss) {
            let usual = super::window::usual_sigma(gnss, a);
            let sigma = placing.sigma.unwrap_or(usual);
            self.coordinates(&row, at, fixed, (sigma, sigma), ["longitude", "latitude"]);
            self.poor(&subject, gnss.fix, sigma);
        }
        if let Some((fixed, mean)) = given.window {
            let (east, north, _) = mean.sigma;
            let (east, north) = placing.sigma.map_or((east, north), |sigma| (sigma, sigma));
            self.coordinates(&row, at, fixed, (east, north), ["from_time", "from_time"]);
            match mean.carried {
                Some(furthest) => self.problems.push(Problem::Carried {
                    subject,
                    furthest,
                    sigma: east.max(north),
                }),
                None => self.poor(&subject, Some(mean.fix), east.max(north)),
            }
        }
    }

    /// A position by GNSS that is no better than a guess is told.
    fn poor(&mut self, subject: &Subject, fix: Option<Fix>, sigma: f64) {
        if sigma > self.job.limits.gnss_sigma || fix == Some(Fix::Single) {
            self.problems.push(Problem::PoorFix {
                subject: subject.clone(),
                fix,
                sigma,
            });
        }
    }

    fn baseline(
        &mut self,
        row: &Row<'_>,
        subject: &Subject,
        at: PointId,
        baseline: &BaselineOffset,
    ) {
        let from = self.reference(&baseline.from, subject, "baseline", at);
        let to = self.reference(&baseline.to, subject, "baseline", at);
        let (Some(from), Some(to)) = (from, to) else {
            return;
        };
        if !self.is_line(subject, "baseline", (from, to)) {
            return;
        }
        let a = &self.job.accuracy;
        let (s, o) = (baseline.station, baseline.offset);
        let station = self.tape_sigma(s).hypot(a.square * o);
        let offset = a.offset.hypot(a.tape_fraction * o);
        let k = self.frame.ground_to_grid;
        let (level, off) = self.level_off((from, to, at), (s, o));
        self.push(
            row,
            "station",
            Kind::Station { from, to, at },
            (k * level, k * station, s),
        );
        self.push(
            row,
            "offset",
            Kind::Offset { from, to, at },
            (k * off, k * offset, o),
        );
    }

    fn ties(
        &mut self,
        row: &Row<'_>,
        subject: &Subject,
        at: PointId,
        ties: &[Tie],
        side: Option<Side>,
    ) {
        let mut refs = Vec::with_capacity(ties.len());
        for tie in ties {
            let column = format!("tie_{}_ref", tie.number);
            let Some(from) = self.reference(&tie.from, subject, &column, at) else {
                continue;
            };
            self.distance(row, tie_column(tie.number), (from, at), tie.length, None);
            refs.push(from);
        }
        if let (Some(side), [from, to, ..], Use::Yes) = (side, refs.as_slice(), row.usage) {
            self.out.sides.push(SideHint {
                at,
                from: *from,
                to: *to,
                right: side == Side::Right,
            });
        }
    }

    fn polar(&mut self, row: &Row<'_>, subject: &Subject, at: PointId, polar: &Polar) {
        let Some(setup) = self.reference(&polar.setup, subject, "setup", at) else {
            return;
        };
        match &polar.direction {
            Some(PolarDirection::Angle { backsight, angle }) => {
                if let Some(from) = self.reference(backsight, subject, "backsight", at)
                    && self.is_line(subject, "backsight", (setup, from))
                {
                    let kind = Kind::Angle {
                        at: setup,
                        from,
                        to: at,
                    };
                    self.push(
                        row,
                        "angle",
                        kind,
                        (around(*angle), self.job.accuracy.angle, *angle),
                    );
                }
            }
            Some(PolarDirection::Bearing { north, bearing }) => {
                let place = (subject, "bearing");
                self.bearing(row, place, (setup, at), (*bearing, *north), None);
            }
            None => {}
        }
        if let Some(length) = polar.distance {
            self.distance(row, "distance", (setup, at), length, None);
        }
    }

    /// A row of `measures.csv`; heights are not of the plane.
    pub(super) fn measure(&mut self, measure: &Measure) {
        let subject = Subject {
            run: None,
            name: Arc::clone(&measure.to),
            source: measure.source.clone(),
        };
        let row = Row {
            source: &measure.source,
            usage: measure.usage,
            again: 0.0,
        };
        if measure.kind == MeasureKind::HeightDifference {
            return;
        }
        let from = self
            .names
            .resolve(&measure.from, &subject, "from", &mut self.problems);
        let to = self
            .names
            .resolve(&measure.to, &subject, "to", &mut self.problems);
        let (Some(from), Some(to)) = (from, to) else {
            return;
        };
        match &measure.kind {
            MeasureKind::Distance => {
                self.distance(&row, "value", (from, to), measure.value, measure.sigma);
            }
            MeasureKind::Angle { at } => {
                if let Some(at) = self.names.resolve(at, &subject, "at", &mut self.problems) {
                    let sigma = measure.sigma.unwrap_or(self.job.accuracy.angle);
                    let angle = around(measure.value);
                    self.push(
                        &row,
                        "value",
                        Kind::Angle { at, from, to },
                        (angle, sigma, measure.value),
                    );
                }
            }
            MeasureKind::Bearing { north } => {
                self.bearing(
                    &row,
                    (&subject, "value"),
                    (from, to),
                    (measure.value, *north),
                    measure.sigma,
                );
            }
            MeasureKind::HeightDifference => {}
        }
    }
}

/// Name of the column that holds a tie's length.
fn tie_column(number: u16) -> &'static str {
    static NAMES: LazyLock<Vec<String>> =
        LazyLock::new(|| (0..1000).map(|number| format!("tie_{number}")).collect());
    NAMES.get(usize::from(number)).map_or("tie", String::as_str)
}
