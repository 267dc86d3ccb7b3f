//! The simulator itself: without errors its measurements are the geometry, and what it writes can be read.

use std::collections::BTreeMap;
use std::fs;

use crate::simulation::book::{Book, Cell, Row};
use crate::simulation::frame::{Crs, LOCAL, TEXAS, UTAH, UTM_32};
use crate::simulation::mirror::{both_ways_from, from_the_other_end};
use crate::simulation::scenario::{Bend, EndPoints, Heights, Method, Scenario, Unit};
use crate::simulation::survey::{AXIS_ABOVE_INVERT, LENS, survey};
use crate::simulation::truth::Truth;
use crate::simulation::write::write;

const METHODS: [Method; 12] = [
    Method::ThreeTies,
    Method::TwoTies,
    Method::Baseline,
    Method::BaselineAndTie,
    Method::Angle,
    Method::MagneticBearing,
    Method::TrueBearing,
    Method::GridBearing,
    Method::Rtk,
    Method::Dgnss,
    Method::Grid,
    Method::Float,
];

/// A level pipe without errors: the paint is over the transmitter.
fn level(method: Method, crs: &'static Crs) -> Scenario {
    let level = Scenario::default()
        .grade((0.0, 0.0))
        .errors(0.0)
        .exact(true);
    level.methods(vec![method]).crs(crs)
}

/// Places of the references, by name.
fn references(book: &Book) -> BTreeMap<String, [f64; 2]> {
    let place = |row: &Row| {
        Some((
            row.text("point").to_owned(),
            [row.number("easting")?, row.number("northing")?],
        ))
    };
    book.control.iter().filter_map(place).collect()
}

/// Checks whatever a row measured against a place on the grid; returns how many cells were checked.
fn check(row: &Row, at: [f64; 2], book: &Book, convergence: f64) -> usize {
    let places = references(book);
    let vector = |name: &str| [at[0] - places[name][0], at[1] - places[name][1]];
    let ground = |name: &str| vector(name)[0].hypot(vector(name)[1]) / book.scale;
    let azimuth = |[e, n]: [f64; 2]| e.atan2(n).rem_euclid(std::f64::consts::TAU);
    let mut checked = 0;
    let mut same = |found: f64, expected: f64| {
        assert!(
            (found - expected).abs() < 1e-6,
            "{found} for {expected}: {row:?}"
        );
        checked += 1;
    };
    for i in 1..=3 {
        if let Some(tie) = row.number(&format!("tie_{i}")) {
            same(tie, ground(row.text(&format!("tie_{i}_ref"))));
        }
    }
    if let (Some((p, q)), Some(s), Some(o)) = (
        row.text("baseline").split_once('>'),
        row.number("station"),
        row.number("offset"),
    ) {
        let line = [places[q][0] - places[p][0], places[q][1] - places[p][1]];
        let length = line[0].hypot(line[1]);
        let [e, n] = vector(p);
        same(s, (e * line[0] + n * line[1]) / length / book.scale);
        same(o, (e * line[1] - n * line[0]) / length / book.scale);
    }
    if let Some(distance) = row.number("distance") {
        same(distance, ground(row.text("setup")));
    }
    if let Some(angle) = row.number("angle") {
        let backsight = places[row.text("backsight")];
        let setup = places[row.text("setup")];
        let back = azimuth([backsight[0] - setup[0], backsight[1] - setup[1]]);
        same(
            (azimuth(vector(row.text("setup"))) - back - angle).sin(),
            0.0,
        );
    }
    if let Some(bearing) = row.number("bearing") {
        let grid = match row.text("bearing_from") {
            "magnetic" => bearing + book.declination.to_radians() - convergence,
            "true" => bearing - convergence,
            _ => bearing,
        };
        same((azimuth(vector(row.text("setup"))) - grid).sin(), 0.0);
    }
    let found = match (row.number("longitude"), row.number("latitude")) {
        (Some(lon), Some(lat)) => book.crs.forward([lon, lat]),
        _ => row
            .number("easting")
            .zip(row.number("northing"))
            .map(|(e, n)| [e, n]),
    };
    if let Some([e, n]) = found {
        same(e, at[0]);
        same(n, at[1]);
    }
    checked
}

#[test]
fn without_errors_every_method_measures_the_geometry() {
    for (seed, method) in METHODS.into_iter().enumerate() {
        for crs in [&UTM_32, &TEXAS, &LOCAL] {
            let georeferenced = matches!(
                method,
                Method::Rtk
                    | Method::Dgnss
                    | Method::Float
                    | Method::MagneticBearing
                    | Method::TrueBearing
            );
            if georeferenced && crs.code == LOCAL.code {
                continue;
            }
            let (book, truth) = survey(&level(method, crs), seed as u64);
            let convergence = crs.convergence_at(truth.marks["A1"].grid);
            for row in &book.marks {
                let mark = &truth.marks[row.text("mark")];
                assert!(
                    check(row, mark.grid, &book, convergence) >= 2,
                    "{method:?}: {row:?}"
                );
                let depth = row
                    .number("ground")
                    .zip(Some(mark.invert))
                    .map(|(ground, z)| ground - z - AXIS_ABOVE_INVERT);
                let reading = row.number("depth_1");
                assert!(
                    (reading.zip(depth).map_or(1.0, |(a, b)| a - b)).abs() < 1e-9,
                    "{method:?}: {row:?}"
                );
            }
        }
    }
}

#[test]
fn without_errors_the_counter_is_the_length_of_pipe() {
    for upstream in [false, true] {
        let straight = Scenario::default()
            .grade((0.2, 0.2))
            .errors(0.0)
            .camera(5)
            .upstream(upstream);
        let scenario = straight.bends(vec![Bend {
            degrees: 90.0,
            located: false,
        }]);
        let (book, truth) = survey(&scenario, 3);
        let path = |station: f64| station * 0.2_f64.hypot(1.0) * if upstream { -1.0 } else { 1.0 };
        let of = |row: &Row| {
            row.number("counter").expect("a counter") - path(truth.marks[row.text("mark")].station)
        };
        for row in &book.marks {
            assert!((of(row) - of(&book.marks[0])).abs() < 1e-9, "{row:?}");
            assert!(row.number("counter").expect("a counter") > LENS);
        }
    }
}

#[test]
fn a_sloping_pipe_draws_the_paint_downhill_whichever_way_it_is_pushed() {
    for upstream in [false, true] {
        let sloping = level(Method::Grid, &UTM_32)
            .grade((0.1, 0.1))
            .depth((2.0, 2.0));
        let scenario = sloping.ground_follows(true).upstream(upstream);
        let (book, truth) = survey(&scenario, 9);
        let (first, last) = (&truth.marks["A1"], &truth.marks["A6"]);
        let flow = if upstream { -1.0 } else { 1.0 };
        let down = [0, 1].map(|i| flow * (last.grid[i] - first.grid[i]));
        let row = &book.marks[0];
        let moved = [
            row.number("easting").expect("e") - first.grid[0],
            row.number("northing").expect("n") - first.grid[1],
        ];
        let along = (moved[0] * down[0] + moved[1] * down[1]) / down[0].hypot(down[1]);
        // Two thirds of the depth times the slope; the ground, which slopes as well, changes it a little.
        assert!(
            (along - 2.0 / 3.0 * 2.0 * 0.1).abs() < 0.01,
            "{upstream}: {along}"
        );
    }
}

#[test]
fn jobs_are_written_whole_and_the_same_every_time() {
    let methods = vec![
        Method::ThreeTies,
        Method::Log,
        Method::Baseline,
        Method::MagneticBearing,
    ];
    let scenario = Scenario::default()
        .methods(methods)
        .crs(&UTAH)
        .unit(Unit::Foot)
        .branch(true);
    let scenario = scenario.ends(EndPoints::Rows).heights(Heights::Levels);
    let scenario = scenario.camera(3).exposures(1).checks(1);
    let folder = tempfile::tempdir().expect("a folder");
    let read = |name: &str, seed| {
        let job = folder.path().join(name);
        write(&survey(&scenario, seed).0, &job);
        let mut files = BTreeMap::new();
        for entry in fs::read_dir(job).expect("a folder") {
            let entry = entry.expect("an entry");
            files.insert(
                entry.file_name(),
                fs::read_to_string(entry.path()).expect("text"),
            );
        }
        files
    };
    let files = read("one", 5);
    assert_eq!(files, read("again", 5));
    assert_ne!(files, read("other", 6));
    assert_eq!(files.len(), 6, "{:?}", files.keys());
    let (book, truth) = survey(&scenario, 5);
    assert!(truth.junction.is_some());
    toml::from_str::<toml::Table>(&files[std::ffi::OsStr::new("job.toml")])
        .expect("job.toml is TOML");
    for (name, rows) in [
        ("marks.csv", book.marks.len()),
        ("levels.csv", book.levels.len()),
        ("camera.csv", 3),
    ] {
        let mut reader = csv::Reader::from_reader(files[std::ffi::OsStr::new(name)].as_bytes());
        assert_eq!(reader.records().flatten().count(), rows, "{name}");
    }
}

#[test]
fn levels_close_on_the_reference_without_errors() {
    let scenario = Scenario::default().heights(Heights::Levels).errors(0.0);
    let (book, truth) = survey(&scenario, 8);
    let start = book.control[0].number("elevation").expect("an elevation");
    let (mut instrument, mut read) = (f64::NAN, 0);
    let mut elevation = start;
    for row in &book.levels {
        if let Some(foresight) = row.number("foresight") {
            elevation = instrument - foresight;
        }
        if let Some(backsight) = row.number("backsight") {
            instrument = elevation + backsight;
        }
        if let Some(sight) = row.number("intermediate") {
            let mark = &truth.marks[row.text("point")];
            let ground = mark.invert + AXIS_ABOVE_INVERT + mark.depth;
            assert!((instrument - sight - ground).abs() < 1e-9, "{row:?}");
            read += 1;
        }
    }
    assert_eq!(read, truth.marks.len());
    assert!((elevation - start).abs() < 1e-9);
}

fn close(a: &Row, b: &Row) -> bool {
    let same = |(column, cell): &(String, Cell)| match (cell.number(), b.number(column)) {
        (Some(x), Some(y)) => (x - y).abs() < 1e-9,
        _ => a.text(column) == b.text(column),
    };
    a.0.len() == b.0.len() && a.0.iter().all(same)
}

#[test]
fn told_twice_from_the_other_end_is_as_at_first() {
    let scenario = Scenario::default()
        .methods(vec![Method::Baseline])
        .ends(EndPoints::Rows);
    let scenario = scenario.tilts(true).camera(2).exact(true);
    let (book, truth): (Book, Truth) = survey(&scenario, 4);
    let other = from_the_other_end(&book);
    let again = from_the_other_end(&other);
    assert!(other.runs[0].upstream && !again.runs[0].upstream);
    let shift =
        again.marks[0].number("counter").expect("c") - book.marks[0].number("counter").expect("c");
    for (mut row, twin) in again.marks.into_iter().zip(&book.marks) {
        row.change("counter", |counter| counter - shift);
        assert!(close(&row, twin), "{row:?} {twin:?}");
    }
    let both = both_ways_from(&book, "A3");
    let lengths = |book: &Book| -> Vec<f64> {
        book.marks
            .iter()
            .filter_map(|row| row.number("counter"))
            .collect()
    };
    let (one, two) = (lengths(&book), lengths(&both));
    assert_eq!(one.len(), truth.marks.len());
    assert!((two[2] - LENS).abs() < 1e-9 && (two[0] - LENS - (one[2] - one[0])).abs() < 1e-9);
}
