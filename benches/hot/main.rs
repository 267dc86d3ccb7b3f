//! The hot parts, each alone: `cargo bench --bench hot [-- NAME]` times them.
//!
//! `ASLAID_ONCE=NAME` does one of them once and nothing else, in the function [`measured`]: so that a counter of instructions
//! that is told to look at that function alone (`scripts/bench f`) counts the part and not what prepares it. Prints the names
//! for `ASLAID_ONCE=?`.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    missing_docs,
    reason = "a program for whoever measures: it may stop where its own data are wrong"
)]

mod made;

use std::hint::black_box;
use std::path::Path;

use aslaid::crs::{Crs, Datum};
use aslaid::export::deliver::{Delivery, deliver};
use aslaid::export::{FORMATS, View, select};
use aslaid::job::model::Job;
use aslaid::job::{self, JobPath};
use aslaid::observe::{Observed, observe};
use aslaid::pipeline::{self, Options};
use aslaid::position::adjust;
use aslaid::record::AsBuilt;
use aslaid::transmitter::sense;
use aslaid::units::{LengthUnit, Plain, parse_length};
use criterion::{Criterion, Throughput};

/// As in the program.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

type Act = Box<dyn FnMut() + Send>;

/// A hot part: its name, how many pieces it does at once, and what prepares it.
struct Part {
    name: &'static str,
    pieces: usize,
    prepare: fn(&Path, usize) -> Act,
}

const fn part(name: &'static str, pieces: usize, prepare: fn(&Path, usize) -> Act) -> Part {
    Part {
        name,
        pieces,
        prepare,
    }
}

const PARTS: &[Part] = &[
    part("length", 8, length),
    part("csv", 2_000, csv),
    part("rows", 1_000, rows),
    part("transmitter", 20, transmitter),
    part("projection", 10_000, projection),
    part("network", 225, network),
    part("geojson", 1_000, |folder, marks| {
        writer(folder, marks, "geojson")
    }),
    part("points", 1_000, |folder, marks| {
        writer(folder, marks, "points")
    }),
    part("job", 1, everyday),
];

/// Cells in every form, feet job.
fn length(_: &Path, _: usize) -> Act {
    const CELLS: [&str; 8] = [
        "12.5",
        "12.5 ft",
        "12'6\"",
        "12' 6 1/2\"",
        "12-6 1/2",
        "6 1/2 in",
        "150 mm",
        "3.81 m",
    ];
    let plain = Plain::of(LengthUnit::Foot);
    Box::new(move || {
        for cell in CELLS {
            black_box(parse_length(black_box(cell), plain).unwrap());
        }
    })
}

fn read(folder: &Path) -> Job {
    let unit = |code: &str| {
        Crs::new(code, LengthUnit::Metre)
            .map(|crs| crs.unit_metres())
            .map_err(|error| error.to_string())
    };
    let reading = job::read(&JobPath::of(folder), &unit).unwrap();
    assert!(
        reading.usable && reading.findings.is_empty(),
        "{:?}",
        reading.findings
    );
    reading.job
}

fn reading(folder: &Path) -> Act {
    let folder = folder.to_owned();
    Box::new(move || {
        black_box(read(&folder));
    })
}

/// A table of references: nearly all of it is taking the file apart.
fn csv(folder: &Path, points: usize) -> Act {
    made::control(folder, points);
    reading(folder)
}

/// A table of marks.
fn rows(folder: &Path, marks: usize) -> Act {
    made::gnss(folder, marks);
    reading(folder)
}

fn observed(folder: &Path) -> (Job, Observed) {
    let job = read(folder);
    let crs = Crs::new(&job.grid.crs, job.grid.unit).unwrap();
    let observed = observe(&job, &crs);
    (job, observed)
}

/// Depth, tilt and ends of one run's marks.
fn transmitter(folder: &Path, marks: usize) -> Act {
    made::taped(folder, marks);
    let (job, observed) = observed(folder);
    let adjusted = adjust(&observed.observations, &job.limits);
    Box::new(move || {
        black_box(sense(&job, &observed.observations, &adjusted));
    })
}

fn projection(_: &Path, points: usize) -> Act {
    let crs = Crs::new("EPSG:26910", LengthUnit::Metre).unwrap();
    let places: Vec<(f64, f64)> = (0..points)
        .map(|i| (-2.13 + 1e-7 * i as f64, 0.825 + 1e-7 * i as f64))
        .collect();
    Box::new(move || {
        black_box(crs.to_grid(&Datum::Wgs84, &places).unwrap());
    })
}

/// A network of free points, with the covariance of every one.
fn network(folder: &Path, points: usize) -> Act {
    made::network(folder, points.isqrt());
    let (job, observed) = observed(folder);
    Box::new(move || {
        black_box(adjust(&observed.observations, &job.limits));
    })
}

fn record(folder: &Path) -> AsBuilt {
    let outcome = pipeline::run(folder, &Options::default()).unwrap();
    assert!(!outcome.blocked(), "{:?}", outcome.findings);
    outcome.record.unwrap()
}

fn writer(folder: &Path, marks: usize, name: &str) -> Act {
    made::gnss(folder, marks);
    let record = record(folder);
    let format = FORMATS.iter().find(|format| format.name() == name).unwrap();
    Box::new(move || {
        let mut out = Vec::new();
        format.write(&View::new(&record), &mut out).unwrap();
        black_box(out);
    })
}

/// One job from its folder to the folder of its results, text formats.
fn everyday(folder: &Path, _: usize) -> Act {
    made::taped(&folder.join("job"), 20);
    let folder = folder.to_owned();
    let words = ["record", "geojson", "kml", "csv", "dxf"].map(str::to_owned);
    let formats = select(&words).unwrap();
    Box::new(move || {
        let delivery = Delivery {
            id: "HOT",
            record: Some(record(&folder.join("job"))),
            file: None,
            findings: &[],
            corrections: None,
            formats: &formats,
            fields: None,
            sheet: &aslaid::sheet::SheetOptions::default(),
        };
        black_box(deliver(&folder.join("out"), delivery).unwrap());
    })
}

/// What a counter of instructions looks at.
#[inline(never)]
fn measured(act: &mut Act) {
    act();
    black_box(());
}

fn main() {
    let scratch = tempfile::tempdir().unwrap();
    let prepare = |part: &Part| (part.prepare)(&scratch.path().join(part.name), part.pieces);
    match std::env::var("ASLAID_ONCE") {
        Err(_) => {
            let mut criterion = Criterion::default().configure_from_args();
            let mut group = criterion.benchmark_group("hot");
            for part in PARTS {
                group.throughput(Throughput::Elements(part.pieces as u64));
                let mut act: Option<Act> = None;
                group.bench_function(part.name, |bencher| {
                    let act = act.get_or_insert_with(|| prepare(part));
                    bencher.iter(|| measured(act));
                });
            }
            group.finish();
            criterion.final_summary();
        }
        Ok(name) if name == "?" => {
            for part in PARTS {
                println!("{} {}", part.name, part.pieces);
            }
        }
        Ok(name) => {
            let part = PARTS.iter().find(|part| part.name == name).unwrap();
            let mut act = prepare(part);
            // All of it on one thread, beneath the one function that is looked at.
            let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build();
            pool.unwrap().install(|| {
                // What is made once a thread (a projection, a table of a formula) is not what the part costs.
                act();
                measured(&mut act);
            });
        }
    }
}
