//! Locates one transmitter: where the field puts the paint, what the receiver shows, what the crew writes down.

use super::book::{Book, Cell, Row};
use super::crew::Crew;
use super::dipole;
use super::frame::Ground;
use super::log::Log;
use super::pipe::Pipe;
use super::position::{Means, measure};
use super::scenario::{EndPoints, Heights, Method, Scenario};
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
        let ahead = if self.scenario.upstream { -1.0 } else { 1.0 };
        let azimuth = pipe.plan.azimuth(station);
        let place = pipe.plan.at(station);
        let along = |x: f64| {
            [
                place[0] + ahead * x * azimuth.sin(),
                place[1] + ahead * x * azimuth.cos(),
            ]
        };
        let invert = pipe.profile.invert(station);
        let surface = self.means.site.surface;
        let over = |x: f64| surface.at(along(x)) - invert - AXIS_ABOVE_INVERT;
        let sensed = |x: f64| over(x) + self.scenario.sensor_height;
        let tilt = self.crew.unseen_tilt() - ahead * pipe.profile.slope(station).atan();

        let crossline = dipole::crossline(sensed, tilt);
        let paint = self.crew.mark(along(crossline), over(0.0));
        let shown = dipole::shown_depth(crossline, over(crossline), tilt);
        let cable = self.cable(pipe, station) + LENS;
        row.set("counter", Cell::Length(self.crew.counter(cable)));
        self.measure(method, paint, &mut row);
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
            row.set("ground", Cell::Length(self.crew.ground(surface.at(paint))));
        }
        if self.scenario.tilts && number.0.is_multiple_of(2) {
            row.set("tilt", Cell::Angle(self.crew.given_tilt(tilt)));
        }
        let (name, run) = (row.text("mark").to_owned(), row.text("run").to_owned());
        let grid = self.means.site.frame.grid(place);
        let depth = surface.at(paint) - invert - AXIS_ABOVE_INVERT;
        let heading = format!("{method:?}");
        let mark = TrueMark {
            run,
            grid,
            invert,
            depth,
            tilt,
            method: heading,
            station,
        };
        self.paints.push(Paint {
            mark: name.clone(),
            run: mark.run.clone(),
            at: paint,
        });
        self.truth.marks.insert(name, mark);
        let ends = dipole::ends(sensed, tilt).map(along);
        self.ends(method, paint, ends, over(0.0), row);
    }

    /// Puts the mark's row into the book with its end points, if they are located.
    fn ends(&mut self, method: Method, paint: Ground, ends: [Ground; 2], depth: f64, mut row: Row) {
        let (name, run) = (row.text("mark").to_owned(), row.text("run").to_owned());
        match self.scenario.ends {
            EndPoints::None => self.book.marks.push(row),
            EndPoints::Distances => {
                for (column, end) in ["end_ahead", "end_behind"].into_iter().zip(ends) {
                    let end = self.crew.end(end, depth);
                    row.set(column, Cell::Length(self.crew.tape(distance(paint, end))));
                }
                self.book.marks.push(row);
            }
            EndPoints::Rows => {
                self.book.marks.push(row);
                for (role, end) in ["end_ahead", "end_behind"].into_iter().zip(ends) {
                    let end = self.crew.end(end, depth);
                    let mut row = beside(&name, &run, role);
                    self.measure(method, end, &mut row);
                    self.book.marks.push(row);
                }
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
