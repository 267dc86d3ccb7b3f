//! Carries out a simulated job: lays the pipe, sets out references, locates, measures, reads, levels, exposes.

use super::book::{Book, Cell, Row, RunHead};
use super::crew::{self, Crew};
use super::frame::Frame;
use super::layout::{Layout, lay, lay_branch};
use super::levels;
use super::locate::Locator;
use super::log::Log;
use super::position::Means;
use super::rng::Rng;
use super::scenario::{Heights, Method, Scenario, Signals};
use super::site::{Site, corners, distance, references};
use super::truth::{TrueBend, TrueSight, Truth};
use crate::row;

/// Transmitter's axis above the pipe's invert.
pub const AXIS_ABOVE_INVERT: f64 = 0.04;
/// From the lens back to the transmitter.
pub const LENS: f64 = 0.25;
/// Deepest transmitter that is laid, but for what bends add.
pub const DEEPEST: f64 = 5.5;
const ANTENNA: f64 = 1.8;

/// Carries out one job of a scenario.
pub fn survey(scenario: &Scenario, seed: u64) -> (Book, Truth) {
    let mut rng = Rng::new(seed, 0);
    let (site, layout) = set_out(scenario, &mut rng);
    let mut crew = Crew::new(seed, scenario.errors);
    let mut book = open_book(scenario, &site, &mut rng);
    control(&site, scenario, &mut crew, &mut rng, &mut book);
    if scenario.methods.contains(&Method::Corners) {
        house_corners(&site, &mut crew, &mut book);
    }
    let means = Means {
        site: &site,
        declination: book.declination,
        antenna: ANTENNA,
        heights: scenario.heights == Heights::Gnss,
    };
    let grade = layout.pipe.profile.grade;
    let truth = Truth {
        class: scenario.class,
        grade,
        scale: site.frame.scale,
        ..Truth::default()
    };
    let (log, paints) = (Log::default(), Vec::new());
    let mut locator = Locator {
        scenario,
        means,
        crew,
        log,
        paints,
        book,
        truth,
    };
    run(&mut locator, &layout, "A", &mut rng);
    further(&mut locator, &layout, &mut rng);
    if scenario.branch {
        let (branch, meets) = lay_branch(&layout, &site.surface, scenario, &mut rng);
        run(&mut locator, &branch, "B", &mut rng);
        locator.truth.junction = Some(site.frame.grid(layout.pipe.plan.at(meets)));
    }
    if scenario.heights == Heights::Levels {
        levels::book(&mut locator);
    }
    let Locator {
        mut book,
        truth,
        log,
        ..
    } = locator;
    book.log = log.lines;
    (book, truth)
}

/// Pipe, ground and references.
fn set_out(scenario: &Scenario, rng: &mut Rng) -> (Site, Layout) {
    let frame = Frame::new(scenario.crs, rng);
    let (layout, surface) = lay(scenario, frame.height, rng);
    let references = references(&layout.pipe.plan, rng);
    let corners = corners(&layout.pipe.plan, rng);
    (
        Site {
            frame,
            surface,
            references,
            corners,
        },
        layout,
    )
}

fn open_book(scenario: &Scenario, site: &Site, rng: &mut Rng) -> Book {
    let head = |id: &str, joins: Option<&str>| RunHead {
        id: id.to_owned(),
        upstream: scenario.upstream,
        joins: joins.map(str::to_owned),
    };
    let mut runs = vec![head("A", None)];
    if scenario.branch {
        runs.push(head("B", Some("A")));
    }
    Book {
        id: "simulated".to_owned(),
        crs: scenario.crs,
        unit: scenario.unit,
        exact: scenario.exact,
        height: site.frame.height,
        declination: (10.0 * rng.between((-12.0, 12.0))).round() / 10.0,
        lens: LENS,
        axis: AXIS_ABOVE_INVERT,
        sensor_height: scenario.sensor_height,
        linear: scenario.signals != Signals::None,
        antenna: ANTENNA,
        scale: site.frame.scale,
        runs,
        control: Vec::new(),
        marks: Vec::new(),
        measures: Vec::new(),
        camera: Vec::new(),
        levels: Vec::new(),
        pushes: Vec::new(),
        log: Vec::new(),
    }
}

/// `control.csv`: on the grid, or on a site grid of which three points are on the grid as well.
fn control(site: &Site, scenario: &Scenario, crew: &mut Crew, rng: &mut Rng, book: &mut Book) {
    let (sin, cos) = (std::f64::consts::TAU * rng.unit()).sin_cos();
    let count = site.references.len();
    for (i, point) in site.references.iter().enumerate() {
        let mut row = row!["point" => point.name.as_str(), "description" => format!("reference {}", point.name)];
        if scenario.site_grid {
            let [x, y] = point.at;
            row.set("x", Cell::Length(500.0 + x * cos - y * sin));
            row.set("y", Cell::Length(700.0 + x * sin + y * cos));
        }
        // Three points well apart: the first, one in the middle, the last.
        let on_grid = !scenario.site_grid || [0, count / 2, count - 1].contains(&i);
        let uncertain = scenario.site_grid || scenario.uncertain_control;
        if on_grid {
            let at = if uncertain {
                crew.place(point.at, crew::GRID)
            } else {
                point.at
            };
            let [e, n] = site.frame.grid(at);
            row.set("easting", Cell::Grid(e));
            row.set("northing", Cell::Grid(n));
            if uncertain {
                row.set("sigma", Cell::Length(crew::GRID));
            }
        }
        book.control.push(row);
    }
}

/// House corners: points without coordinates, and the tapes that solve them.
fn house_corners(site: &Site, crew: &mut Crew, book: &mut Book) {
    for (i, corner) in site.corners.iter().enumerate() {
        book.control
            .push(row!["point" => corner.name.as_str(), "description" => "house corner"]);
        let mut near: Vec<_> = site.references.iter().collect();
        near.sort_by(|p, q| distance(p.at, corner.at).total_cmp(&distance(q.at, corner.at)));
        for other in near.into_iter().take(5).chain(&site.corners[i + 1..]) {
            book.measures.push(row![
                "kind" => "distance",
                "from" => corner.name.as_str(),
                "to" => other.name.as_str(),
                "value" => Cell::Length(crew.tape(distance(corner.at, other.at))),
            ]);
        }
    }
}

/// A run: its marks in the order of the push.
fn run(locator: &mut Locator, layout: &Layout, id: &str, rng: &mut Rng) {
    let upstream = locator.scenario.upstream;
    let mut stations = layout.marks.clone();
    for _ in 0..locator.scenario.again {
        let spot = rng.below(stations.len());
        stations.insert(spot, stations[spot]);
    }
    if upstream {
        stations.reverse();
    }
    for (i, &station) in stations.iter().enumerate() {
        let ends = i == 0 || i + 1 == stations.len();
        let method = rng.pick(&locator.scenario.methods);
        let mut row = row!["run" => id, "mark" => format!("{id}{}", i + 1)];
        if layout
            .bends
            .iter()
            .any(|(at, _, located)| *located && (at - station).abs() < 1e-9)
        {
            row.set("fitting", "bend");
        }
        locator.mark(&layout.pipe, station, method, (i, ends), row);
    }
}

/// What else there is on the main run: bends, camera observations, check shots, exposures.
fn further(locator: &mut Locator, layout: &Layout, rng: &mut Rng) {
    let count = layout.marks.len();
    for &(station, degrees, located) in &layout.bends {
        let grid = locator.means.site.frame.grid(layout.pipe.plan.at(station));
        locator.truth.bends.push(TrueBend {
            run: "A".to_owned(),
            station,
            grid,
            degrees,
            located,
        });
    }
    for i in 0..locator.scenario.camera {
        let station = rng.between((layout.marks[0], layout.marks[count - 1]));
        sight(locator, layout, station, &format!("observation {}", i + 1));
    }
    let middle = rng.below(count);
    for i in 0..locator.scenario.checks {
        locator.check(&format!("A{}", (middle + 2 * i) % count + 1));
    }
    for i in 0..locator.scenario.exposures {
        locator.expose(
            &layout.pipe,
            &format!("A{}", (middle + 1 + 2 * i) % count + 1),
        );
    }
}

fn sight(locator: &mut Locator, layout: &Layout, station: f64, what: &str) {
    let cable = locator.cable(&layout.pipe, station);
    let counter = locator.crew.counter(cable);
    locator
        .book
        .camera
        .push(row!["run" => "A", "counter" => Cell::Length(counter), "what" => what]);
    let grid = locator.means.site.frame.grid(layout.pipe.plan.at(station));
    let invert = layout.pipe.profile.invert(station);
    locator
        .truth
        .camera
        .insert(what.to_owned(), TrueSight { grid, invert });
}

/// A row of the receiver's findings that is not the mark's own: its run and mark.
pub fn beside(mark: &str, run: &str, role: &str) -> Row {
    row!["run" => run, "mark" => mark, "role" => role]
}
