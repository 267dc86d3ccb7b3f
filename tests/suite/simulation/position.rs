//! Measures a place by one of the methods: fills the cells of a row.

use super::book::{Cell, Row};
use super::crew::{self, Crew};
use super::frame::Ground;
use super::log::Log;
use super::scenario::Method;
use super::site::{
    Point, Site, azimuth, best_baseline, best_ties, distance, set_up, station_offset,
};

/// What measuring needs to know besides the place.
pub struct Means<'a> {
    /// Site.
    pub site: &'a Site,
    /// Declination, degrees east.
    pub declination: f64,
    /// Antenna above the ground.
    pub antenna: f64,
    /// GNSS rows carry the height that their ground is to come from.
    pub heights: bool,
}

/// Measures a place.
pub fn measure(
    method: Method,
    at: Ground,
    means: &Means,
    crew: &mut Crew,
    log: &mut Log,
    row: &mut Row,
) {
    let references = &means.site.references;
    match method {
        Method::ThreeTies => tapes(&best_ties(references, at, 3), at, crew, row),
        Method::TwoTies => two_tapes(references, at, crew, row),
        Method::Corners => tapes(&best_ties(&means.site.corners, at, 3), at, crew, row),
        Method::Baseline => baseline(references, at, crew, row),
        Method::BaselineAndTie => {
            baseline(references, at, crew, row);
            tapes(&best_ties(references, at, 1), at, crew, row);
        }
        Method::Angle => {
            let [setup, backsight] = set_up(references, at);
            let angle = azimuth(setup.at, at) - azimuth(setup.at, backsight.at);
            row.set("setup", setup.name.as_str());
            row.set("backsight", backsight.name.as_str());
            row.set("angle", Cell::Angle(turn(crew.angle(angle))));
            row.set("distance", Cell::Length(crew.tape(distance(setup.at, at))));
        }
        Method::MagneticBearing | Method::TrueBearing | Method::GridBearing => {
            bearing(method, at, means, crew, row);
        }
        Method::Rtk => gnss(at, "rtk", crew::RTK, means, crew, row),
        Method::Float => gnss(at, "float", crew::FLOAT, means, crew, row),
        Method::Dgnss => {
            gnss(at, "dgnss", crew::DGNSS, means, crew, row);
            row.set("datum", means.site.frame.crs.geographic);
        }
        Method::Log => {
            let up = height(at, crew::RTK, means, crew);
            let [from, to] = log.window(crew.place(at, crew::RTK), up, &means.site.frame, crew);
            row.set("from_time", from);
            row.set("to_time", to);
        }
        Method::Grid => {
            let [e, n] = means.site.frame.grid(crew.place(at, crew::GRID));
            row.set("easting", Cell::Grid(e));
            row.set("northing", Cell::Grid(n));
        }
    }
}

/// An angle in one turn.
pub fn turn(angle: f64) -> f64 {
    angle.rem_euclid(std::f64::consts::TAU)
}

fn tapes(points: &[&Point], at: Ground, crew: &mut Crew, row: &mut Row) {
    for (i, point) in (1..).zip(points) {
        row.set(&format!("tie_{i}_ref"), point.name.as_str());
        row.set(
            &format!("tie_{i}"),
            Cell::Length(crew.tape(distance(point.at, at))),
        );
    }
}

fn two_tapes(references: &[Point], at: Ground, crew: &mut Crew, row: &mut Row) {
    let chosen = best_ties(references, at, 2);
    tapes(&chosen, at, crew, row);
    if let [p, q] = chosen.as_slice() {
        row.set(
            "side",
            if station_offset(p.at, q.at, at)[1] < 0.0 {
                "left"
            } else {
                "right"
            },
        );
    }
}

fn baseline(references: &[Point], at: Ground, crew: &mut Crew, row: &mut Row) {
    let [p, q] = best_baseline(references, at);
    let [station, offset] = station_offset(p.at, q.at, at);
    let [station, offset] = crew.baseline(station, offset);
    row.set("baseline", format!("{}>{}", p.name, q.name));
    row.set("station", Cell::Length(station));
    row.set("offset", Cell::Length(offset));
}

fn bearing(method: Method, at: Ground, means: &Means, crew: &mut Crew, row: &mut Row) {
    let [setup, _] = set_up(&means.site.references, at);
    let grid = azimuth(setup.at, at);
    let true_north = grid + means.site.frame.convergence;
    let (from, bearing) = match method {
        Method::MagneticBearing => (
            "magnetic",
            crew.compass(true_north - means.declination.to_radians()),
        ),
        Method::TrueBearing => ("true", crew.bearing(true_north)),
        _ => ("grid", crew.bearing(grid)),
    };
    row.set("setup", setup.name.as_str());
    row.set("bearing", Cell::Angle(turn(bearing)));
    row.set("bearing_from", from);
    row.set("distance", Cell::Length(crew.tape(distance(setup.at, at))));
}

fn gnss(at: Ground, fix: &str, sigma: f64, means: &Means, crew: &mut Crew, row: &mut Row) {
    let [lon, lat] = means.site.frame.geographic(crew.place(at, sigma));
    row.set("latitude", Cell::Geographic(lat));
    row.set("longitude", Cell::Geographic(lon));
    row.set("fix", fix);
    let crs = means.site.frame.crs;
    // No correction network works in the old datum; whoever has such positions says so.
    if crs.code == "EPSG:27700" {
        row.set("datum", crs.geographic);
    }
    if means.heights {
        row.set("height", Cell::Length(height(at, sigma, means, crew)));
    }
}

/// Ellipsoidal height of the antenna over a place, as a receiver of that horizontal sigma gives it.
fn height(at: Ground, sigma: f64, means: &Means, crew: &mut Crew) -> f64 {
    let antenna = means.site.surface.at(at) + means.site.frame.crs.separation + means.antenna;
    antenna + crew.error(crew::VERTICAL_RATIO * sigma)
}
