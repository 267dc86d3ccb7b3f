//! Locates one transmitter: where the field puts the paint, what the receiver shows, what the crew writes down.

use std::f64::consts::PI;

use super::book::{Book, Cell, Row};
use super::crew::Crew;
use super::dipole;
use super::frame::Ground;
use super::log::Log;
use super::pipe::{Pipe, Surface};
use super::position::{Means, measure};
use super::scenario::{EndPoints, Found, Heights, Method, Scenario, Signals};
use super::site::distance;
use super::survey::{AXIS_ABOVE_INVERT, LENS, beside};
use super::truth::{TrueMark, Truth};

/// A mark on the ground.
pub struct Paint {
    /// Mark name.
    pub mark: String,
    /// Run id.
    pub run: String,
    /// Where it is.
    pub at: Ground,
}

/// A transmitter as it lies, and the receiver on the ground over it. Ahead is the direction of the push.
struct Lying {
    place: Ground,
    azimuth: f64,
    surface: Surface,
    axis: f64,
    sensor_height: f64,
    tilt: f64,
}

impl Lying {
    /// The place so far ahead of the transmitter and so far to its right.
    fn at(&self, ahead: f64, right: f64) -> Ground {
        let (sin, cos) = self.azimuth.sin_cos();
        let [x, y] = self.place;
        [x + ahead * sin + right * cos, y + ahead * cos - right * sin]
    }

    fn along(&self, ahead: f64) -> Ground {
        self.at(ahead, 0.0)
    }

    /// How far ahead of the transmitter and to its right a place is.
    fn local(&self, [x, y]: Ground) -> [f64; 2] {
        let (sin, cos) = self.azimuth.sin_cos();
        let (x, y) = (x - self.place[0], y - self.place[1]);
        [x * sin + y * cos, x * cos - y * sin]
    }

    /// Ground over the transmitter's axis.
    fn over(&self, ahead: f64) -> f64 {
        self.surface.at(self.along(ahead)) - self.axis
    }

    /// Sensing point over the transmitter's axis.
    fn sensed(&self, ahead: f64) -> f64 {
        self.over(ahead) + self.sensor_height
    }

    /// Strength of the field at the sensing point over a place.
    fn strength(&self, at: Ground) -> f64 {
        let [x, y] = self.local(at);
        let height = self.surface.at(at) - self.axis + self.sensor_height;
        dipole::strength([x, y, height], self.tilt)
    }
}

/// The crew at work on a site, and all that it has done so far.
pub struct Locator<'a> {
    /// What is to be simulated.
    pub scenario: &'a Scenario,
    /// Site and instruments.
    pub means: Means<'a>,
    /// The crew.
    pub crew: Crew,
    /// Receiver log.
    pub log: Log,
    /// Marks on the ground.
    pub paints: Vec<Paint>,
    /// Field book.
    pub book: Book,
    /// Truth.
    pub truth: Truth,
}

impl Locator<'_> {
    /// Cable between the opening and a station: the run's upper end, or its lower end when pushed upstream.
    pub fn cable(&self, pipe: &Pipe, station: f64) -> f64 {
        let path = pipe.profile.path(station);
        if self.scenario.upstream {
            pipe.profile.path(pipe.plan.length()) - path
        } else {
            path
        }
    }

    /// Locates the transmitter at a station and fills the mark's row; `number` and whether it is the first or last
    /// decide what is left out.
    pub fn mark(
        &mut self,
        pipe: &Pipe,
        station: f64,
        method: Method,
        number: (usize, bool),
        mut row: Row,
    ) {
        let upright = self.scenario.upright && number.0 % 2 == 1;
        let lying = self.lying(pipe, station, upright);
        let spot = if upright || self.scenario.found == Found::Peak {
            row.set("found_by", "peak");
            dipole::peak(|x| lying.sensed(x), lying.tilt)
        } else {
            dipole::crossline(|x| lying.sensed(x), lying.tilt)
        };
        if upright {
            row.set("attitude", "vertical");
            row.set("read_by", "manual");
        }
        let paint = self.crew.mark(lying.along(spot), lying.over(0.0));
        let shown = dipole::shown_depth(spot, lying.over(spot), lying.tilt);
        let cable = self.cable(pipe, station) + LENS;
        let counter = self.crew.counter(cable);
        if self.scenario.counter {
            row.set("counter", Cell::Length(counter));
        }
        self.measure(method, paint, &mut row);
        self.depth_and_ground(shown, paint, number, &mut row);
        if self.scenario.tilts && number.0.is_multiple_of(2) {
            row.set("tilt", Cell::Angle(self.crew.given_tilt(lying.tilt)));
        }
        let heading = if upright {
            "upright".to_owned()
        } else {
            format!("{method:?}")
        };
        let along = [station, pipe.profile.path(station)];
        self.truly(&lying, along, paint, heading, &row);
        if upright {
            // No two points of vertical field, and the strongest signal is the mark itself.
            self.book.marks.push(row);
        } else {
            self.signs_beside(method, &lying, paint, row);
        }
    }

    /// The transmitter at a station as it lies there, and the receiver over it.
    fn lying(&mut self, pipe: &Pipe, station: f64, upright: bool) -> Lying {
        let (azimuth, slope) = (
            pipe.plan.azimuth(station),
            pipe.profile.slope(station).atan(),
        );
        let (azimuth, slope) = if self.scenario.upstream {
            (azimuth + PI, slope)
        } else {
            (azimuth, -slope)
        };
        Lying {
            place: pipe.plan.at(station),
            azimuth,
            surface: self.means.site.surface,
            axis: pipe.profile.invert(station) + AXIS_ABOVE_INVERT,
            sensor_height: self.scenario.sensor_height,
            tilt: self.crew.unseen_tilt() + if upright { 0.5 * PI } else { slope },
        }
    }

    fn depth_and_ground(
        &mut self,
        shown: f64,
        paint: Ground,
        number: (usize, bool),
        row: &mut Row,
    ) {
        if self.scenario.readings {
            let [first, half_turn_on] = self.crew.depth_pair(shown);
            row.set("depth_1", Cell::Length(first));
            row.set("depth_2", Cell::Length(half_turn_on));
        }
        let ground = match self.scenario.heights {
            Heights::Given => true,
            Heights::Sparse => number.1 || number.0 % 3 != 1,
            Heights::Levels | Heights::Gnss => false,
        };
        if ground {
            let elevation = self.means.site.surface.at(paint);
            row.set("ground", Cell::Length(self.crew.ground(elevation)));
        }
    }

    /// Notes down where the transmitter truly is.
    fn truly(
        &mut self,
        lying: &Lying,
        [station, path]: [f64; 2],
        paint: Ground,
        heading: String,
        row: &Row,
    ) {
        let (name, run) = (row.text("mark").to_owned(), row.text("run").to_owned());
        let frame = &self.means.site.frame;
        let [[e, n], [ahead_e, ahead_n]] =
            [lying.place, lying.along(1.0)].map(|place| frame.grid(place));
        let mark = TrueMark {
            run: run.clone(),
            grid: [e, n],
            azimuth: (ahead_e - e).atan2(ahead_n - n).to_degrees(),
            invert: lying.axis - AXIS_ABOVE_INVERT,
            depth: lying.surface.at(paint) - lying.axis,
            tilt: lying.tilt,
            method: heading,
            station,
            path,
        };
        self.paints.push(Paint {
            mark: name.clone(),
            run,
            at: paint,
        });
        self.truth.marks.insert(name, mark);
    }

    /// What else the receiver shows around the mark: end points, signals, a peak apart from the crossline.
    fn signs_beside(&mut self, method: Method, lying: &Lying, paint: Ground, mut row: Row) {
        let depth = lying.over(0.0);
        let beside = (self.scenario.found == Found::PeakBeside).then(|| {
            let peak = dipole::peak(|x| lying.sensed(x), lying.tilt);
            self.crew.mark(lying.along(peak), depth)
        });
        let ends = (self.scenario.ends != EndPoints::None).then(|| {
            let ends = dipole::ends(|x| lying.sensed(x), lying.tilt);
            ends.map(|end| self.crew.end(lying.along(end), depth))
        });
        let shown_at = match self.scenario.signals {
            Signals::None => None,
            Signals::AtEnds => ends,
            Signals::Step(step) => {
                row.set("signal_step", Cell::Length(step));
                let [x, y] = lying.local(paint);
                Some([step, -step].map(|step| lying.at(x + step, y)))
            }
        };
        if let Some([ahead, behind]) = shown_at {
            let gain = 500.0 / lying.strength(paint);
            for (column, at) in [
                ("signal", paint),
                ("signal_ahead", ahead),
                ("signal_behind", behind),
            ] {
                let reading = self.crew.signal(gain * lying.strength(at));
                row.set(column, format!("{reading:.1}"));
            }
        }
        let (name, run) = (row.text("mark").to_owned(), row.text("run").to_owned());
        self.ends(method, paint, ends, row);
        if let Some(peak) = beside {
            let mut row = self::beside(&name, &run, "peak");
            self.measure(method, peak, &mut row);
            self.book.marks.push(row);
        }
    }

    /// Puts the mark's row into the book with its end points, if they are located.
    fn ends(&mut self, method: Method, paint: Ground, ends: Option<[Ground; 2]>, mut row: Row) {
        let (name, run) = (row.text("mark").to_owned(), row.text("run").to_owned());
        let named = ["end_ahead", "end_behind"];
        let ends: Vec<_> = named.into_iter().zip(ends.into_iter().flatten()).collect();
        if self.scenario.ends == EndPoints::Distances {
            for (column, end) in &ends {
                row.set(column, Cell::Length(self.crew.tape(distance(paint, *end))));
            }
        }
        self.book.marks.push(row);
        if self.scenario.ends == EndPoints::Rows {
            for (role, end) in &ends {
                let mut row = beside(&name, &run, role);
                self.measure(method, *end, &mut row);
                self.book.marks.push(row);
            }
        }
    }

    fn measure(&mut self, method: Method, at: Ground, row: &mut Row) {
        measure(method, at, &self.means, &mut self.crew, &mut self.log, row);
    }

    /// Measures a mark's paint a second time, to check.
    pub fn check(&mut self, name: &str) {
        let Some(paint) = self.paints.iter().find(|paint| paint.mark == name) else {
            return;
        };
        let (run, at) = (paint.run.clone(), paint.at);
        let mut row = beside(name, &run, "centre");
        row.set("use", "check");
        let satellites = self.scenario.crs.code != "local" && !self.scenario.site_grid;
        self.measure(
            if satellites {
                Method::Rtk
            } else {
                Method::ThreeTies
            },
            at,
            &mut row,
        );
        self.book.marks.push(row);
    }

    /// Digs at a mark: the pipe is measured, and its invert's depth.
    pub fn expose(&mut self, pipe: &Pipe, name: &str) {
        let Some(truth) = self.truth.marks.get_mut(name) else {
            return;
        };
        "exposed".clone_into(&mut truth.method);
        let (station, invert, run) = (truth.station, truth.invert, truth.run.clone());
        let place = pipe.plan.at(station);
        let ground = self.means.site.surface.at(place);
        truth.depth = ground - invert - AXIS_ABOVE_INVERT;
        let mut row = beside(name, &run, "exposed");
        self.measure(Method::ThreeTies, place, &mut row);
        row.set(
            "invert_depth",
            Cell::Length(self.crew.exposed(ground - invert)),
        );
        row.set("ground", Cell::Length(self.crew.ground(ground)));
        self.book.marks.push(row);
    }
}
