//! The test data of IOGP GIGS and of PROJ in `gie` form, read by a small reader of our own. What a projected CRS of
//! the registry can answer is run; what it can't is counted, with the reason.

use std::collections::BTreeMap;
use std::path::Path;

use aslaid::crs::{Crs, CrsError, Datum};
use aslaid::units::LengthUnit;

use crate::projections::support::{read, reference};

/// What a block of cases is about.
#[derive(Clone, Debug)]
enum Way {
    /// From longitude and latitude of a datum to a grid, or back.
    Run {
        crs: Crs,
        datum: Datum,
        inverse: bool,
        angles: Angles,
    },
    /// Not for a projected CRS of the registry.
    Skip(String),
}

/// How the file writes longitudes and latitudes.
#[derive(Clone, Copy, Debug)]
struct Angles {
    /// Radians in one of its unit.
    unit: f64,
    /// Longitude of its meridian from Greenwich, radians.
    meridian: f64,
    /// Latitude first.
    latitude_first: bool,
}

const DEGREES: Angles = Angles {
    unit: std::f64::consts::PI / 180.0,
    meridian: 0.0,
    latitude_first: false,
};

impl Angles {
    fn read(self, (x, y): (f64, f64)) -> (f64, f64) {
        let (lon, lat) = if self.latitude_first { (y, x) } else { (x, y) };
        (lon * self.unit + self.meridian, lat * self.unit)
    }
}

#[derive(Default)]
struct Tally {
    passed: usize,
    trips: usize,
    worst: f64,
    worst_trip: f64,
    skipped: BTreeMap<String, usize>,
}

/// Systems that GIGS writes out by parameters and that have a code all the same.
fn coded(step: &str) -> Option<&'static str> {
    let has = |words: &[&str]| words.iter().all(|word| step.contains(word));
    if has(&[
        "proj=etmerc",
        "lat_0=-90",
        "lon_0=-60",
        "x_0=5500000",
        "ellps=GRS80",
    ]) {
        return Some("EPSG:22175"); // POSGAR 98 / Argentina 5
    }
    if has(&[
        "proj=poly",
        "lat_0=0",
        "lon_0=-54",
        "x_0=5000000",
        "y_0=10000000",
        "ellps=GRS80",
    ]) {
        return Some("EPSG:5880"); // SIRGAS 2000 / Brazil Polyconic
    }
    None
}

/// `EPSG:n` of a step of a pipeline.
fn code_of(step: &str) -> Option<String> {
    let init = step
        .split_whitespace()
        .find_map(|word| word.trim_start_matches('+').strip_prefix("init=epsg:"));
    init.map(|number| format!("EPSG:{number}"))
        .or_else(|| coded(step).map(str::to_owned))
}

fn pipeline(definition: &str) -> Way {
    let steps: Vec<&str> = definition
        .split("step")
        .skip(1)
        .filter(|step| !step.contains("unitconvert"))
        .collect();
    let codes: Vec<Option<String>> = steps.iter().map(|step| code_of(step)).collect();
    let [Some(from), Some(to)] = &codes[..] else {
        return Way::Skip("written out by parameters; the registry has no such CRS".to_owned());
    };
    // As written in the files: what epsg:4807 means there is a longitude from Paris, in grads where they say so.
    let paris = from == "EPSG:4807" || to == "EPSG:4807";
    let unit = if definition.contains("grad") {
        std::f64::consts::PI / 200.0
    } else {
        DEGREES.unit
    };
    let meridian = if paris {
        2.596_921_3 * std::f64::consts::PI / 200.0
    } else {
        0.0
    };
    way(
        from,
        to,
        Angles {
            unit,
            meridian,
            latitude_first: false,
        },
    )
}

fn way(from: &str, to: &str, angles: Angles) -> Way {
    let new = |code: &str| Crs::new(code, LengthUnit::Metre);
    match (new(from), new(to)) {
        (Ok(_), Ok(_)) => Way::Skip("from one projected CRS to another".to_owned()),
        (Err(CrsError::Axes { .. }), _) | (_, Err(CrsError::Axes { .. })) => {
            Way::Skip("counts west and south, which is refused".to_owned())
        }
        (Ok(crs), _) => Way::Run {
            crs,
            datum: Datum::Named(to.to_owned()),
            inverse: true,
            angles,
        },
        (_, Ok(crs)) => Way::Run {
            crs,
            datum: Datum::Named(from.to_owned()),
            inverse: false,
            angles,
        },
        _ => Way::Skip("without a projected CRS".to_owned()),
    }
}

/// `0.03 m`, `30 mm`, in metres.
fn length(text: &str) -> f64 {
    let mut words = text.split_whitespace();
    let value: f64 = words.next().unwrap().parse().unwrap();
    value
        * match words.next() {
            Some("m") => 1.0,
            Some("mm") => 1e-3,
            Some("um") => 1e-6,
            other => panic!("{other:?}"),
        }
}

fn pair(text: &str) -> (f64, f64) {
    let numbers: Vec<f64> = text
        .split_whitespace()
        .map(|word| word.parse().unwrap())
        .collect();
    (numbers[0], numbers[1])
}

impl Way {
    /// Metres between what comes out and what should.
    fn miss(&self, accept: (f64, f64), expect: (f64, f64)) -> f64 {
        let Way::Run {
            crs,
            datum,
            inverse,
            angles,
        } = self
        else {
            panic!("skipped")
        };
        let unit = crs.unit_metres();
        if *inverse {
            let (found, _) = crs
                .to_geographic(datum, &[(accept.0 * unit, accept.1 * unit)])
                .unwrap();
            let wanted = angles.read(expect);
            // A longitude may be told a full turn apart.
            let east = (found[0].0 - wanted.0).sin() * wanted.1.cos();
            6_378_137.0 * east.hypot(found[0].1 - wanted.1)
        } else {
            let (found, _) = crs.to_grid(datum, &[angles.read(accept)]).unwrap();
            (found[0].0 - expect.0 * unit).hypot(found[0].1 - expect.1 * unit)
        }
    }

    /// Metres between a grid place and itself after `times` trips to longitude and latitude and back (or the other
    /// way about, measured on the grid).
    fn trip(&self, accept: (f64, f64), times: usize) -> f64 {
        let Way::Run {
            crs,
            datum,
            inverse,
            angles,
        } = self
        else {
            panic!("skipped")
        };
        let unit = crs.unit_metres();
        let start = if *inverse {
            (accept.0 * unit, accept.1 * unit)
        } else {
            crs.to_grid(datum, &[angles.read(accept)]).unwrap().0[0]
        };
        let mut at = start;
        for _ in 0..times {
            let (places, _) = crs.to_geographic(datum, &[at]).unwrap();
            at = crs.to_grid(datum, &places).unwrap().0[0];
        }
        (at.0 - start.0).hypot(at.1 - start.1)
    }
}

/// Commands of a file, comments and rules left out, continued lines joined.
fn commands(text: &str) -> Vec<(String, String)> {
    let body = text.split_once("<gie-strict>").map_or("", |(_, body)| body);
    let bare = body
        .lines()
        .map(|line| line.split('#').next().unwrap_or("").trim_end());
    let joined = bare
        .collect::<Vec<_>>()
        .join("\n")
        .replace("\\\n", " ")
        .replace("\\ ", " ");
    let lines = joined
        .lines()
        .map(str::trim)
        .filter(|line| !line.is_empty() && !line.starts_with(['-', '<']));
    lines
        .map(|line| {
            let (word, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
            (word.to_owned(), rest.trim().to_owned())
        })
        .collect()
}

fn run(path: &Path, tally: &mut Tally) {
    let name = path.file_name().unwrap().to_string_lossy().into_owned();
    let mut way = Way::Skip("before any operation".to_owned());
    let (mut tolerance, mut accept, mut source) = (0.0, (0.0, 0.0), String::new());
    for (word, rest) in commands(&read(path)) {
        match word.as_str() {
            "operation" => way = pipeline(&rest),
            "crs_src" => source.clone_from(&rest),
            "crs_dst" => {
                let angles = Angles {
                    latitude_first: true,
                    ..DEGREES
                };
                way = self::way(&source, &rest, angles);
            }
            "tolerance" => tolerance = length(&rest),
            "accept" => accept = pair(&rest),
            "expect" | "roundtrip" => {
                if let Way::Skip(reason) = &way {
                    *tally
                        .skipped
                        .entry(format!("{name}: {reason}"))
                        .or_default() += 1;
                    continue;
                }
                let miss = if word == "expect" {
                    tally.passed += 1;
                    let miss = expected(&way, accept, &rest);
                    tally.worst = tally.worst.max(miss);
                    miss
                } else {
                    tally.trips += 1;
                    let miss = way.trip(accept, rest.parse().unwrap());
                    tally.worst_trip = tally.worst_trip.max(miss);
                    miss
                };
                assert!(
                    miss <= tolerance,
                    "{name}: {accept:?} {word} {rest}: {miss} m of {tolerance} ({way:?})"
                );
            }
            "use_proj4_init_rules" => {}
            other => panic!("{name}: a command that this reader does not know: {other}"),
        }
    }
}

/// YKJ's file gives northing first, as its axes are.
fn expected(way: &Way, accept: (f64, f64), rest: &str) -> f64 {
    let Way::Run { crs, .. } = way else {
        panic!("skipped")
    };
    let (x, y) = pair(rest);
    way.miss(
        accept,
        if crs.code() == "EPSG:2393" {
            (y, x)
        } else {
            (x, y)
        },
    )
}

#[test]
fn the_test_data_of_gigs_and_proj_come_out() {
    let mut tally = Tally::default();
    let mut files = 0;
    for folder in ["gigs", "gie"] {
        let mut paths: Vec<_> = std::fs::read_dir(reference(folder))
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .collect();
        paths.sort();
        for path in paths
            .iter()
            .filter(|path| path.extension().is_some_and(|ext| ext == "gie"))
        {
            run(path, &mut tally);
            files += 1;
        }
    }
    println!(
        "{files} files: {} points within tolerance, worst {:.4} m",
        tally.passed, tally.worst
    );
    println!(
        "{} round trips of 1000, worst {:.1e} m",
        tally.trips, tally.worst_trip
    );
    for (reason, count) in &tally.skipped {
        println!("skipped {count} in {reason}");
    }
    // What can run does run: the figures are those of the files.
    assert_eq!((files, tally.passed, tally.trips), (22, 572, 285));
}
