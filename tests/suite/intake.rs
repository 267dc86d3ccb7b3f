//! Intake: a thousand deliveries, a hundred of them bad in 25 ways; taps against shapely; an intake interrupted and repeated.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::too_many_lines,
    reason = "a test may panic, print and be told at length"
)]

use crate::plan::support;
mod database;
mod desk;
mod figures;
mod plain;
mod revisions;
mod town;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use aslaid::error::Error;
use aslaid::intake::fields::Fields;
use aslaid::intake::ledger::{Folder, Ledger};
use aslaid::intake::mains::{Mains, Tap};
use aslaid::intake::report::{Row, Status, write};
use aslaid::intake::take_in;
use aslaid::record::AsBuilt;
use town::{FIELDS, Town};

fn intake(town: &Town, ledger: &mut dyn Ledger) -> Result<Vec<Row>, Error> {
    let fields = Fields::parse(FIELDS, "fields.toml").unwrap();
    let mains = Mains::read(&town.mains, &fields).unwrap();
    take_in(&town.deliveries, &fields, &mains, ledger)
}

/// Every file under a folder with its bytes.
fn contents(root: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    let mut folders = vec![root.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                all.insert(
                    path.strip_prefix(root).unwrap().to_owned(),
                    std::fs::read(&path).unwrap(),
                );
            }
        }
    }
    all
}

/// A ledger that fails after some records.
struct Failing {
    ledger: Folder,
    left: usize,
}

impl Ledger for Failing {
    fn on_file(&self) -> Result<Vec<AsBuilt>, Error> {
        self.ledger.on_file()
    }

    fn accept(&mut self, record: &AsBuilt, taps: &[Tap]) -> Result<(), Error> {
        if self.left == 0 {
            return Err(Error::Usage("power cut".to_owned()));
        }
        self.left -= 1;
        self.ledger.accept(record, taps)
    }
}

#[test]
fn of_a_thousand_deliveries_exactly_the_hundred_bad_ones_are_refused() {
    let folder = support::folder();
    let town = Town::build(folder.path());
    let into = folder.path().join("on-file");
    let mut ledger = Folder::open(&into).unwrap();
    town.before(&mut ledger);
    let rows = intake(&town, &mut ledger).unwrap();
    assert_eq!(rows.len(), 1000);
    let mut ways: BTreeMap<&str, usize> = BTreeMap::new();
    for row in &rows {
        let job = row
            .job
            .clone()
            .or_else(|| Town::job_of(&row.source))
            .unwrap_or_default();
        let codes: Vec<&str> = row.reasons.iter().map(|reason| reason.code).collect();
        match town.expected(&row.source, &job) {
            Some(code) => {
                assert_eq!(
                    (row.status, codes),
                    (Status::Refused, vec![code]),
                    "{row:?}"
                );
                assert!(
                    row.reasons[0].message.len() > 40,
                    "{}",
                    row.reasons[0].message
                );
                *ways.entry(code).or_default() += 1;
            }
            None => assert_eq!((row.status, codes.len()), (Status::Accepted, 0), "{row:?}"),
        }
    }
    println!("refused: {ways:?}");
    assert_eq!((ways.len(), ways.values().sum::<usize>()), (25, 100));

    // The same again: nothing changes.
    let before = contents(&into);
    let again = intake(&town, &mut ledger).unwrap();
    let count = |status: Status| again.iter().filter(|row| row.status == status).count();
    assert_eq!(
        (
            count(Status::Unchanged),
            count(Status::Refused),
            count(Status::Accepted)
        ),
        (900, 100, 0)
    );
    assert_eq!(contents(&into), before);

    // Interrupted at several places, then run through: the same on file.
    for cut in [1, 450] {
        let other = folder.path().join(format!("cut-{cut}"));
        let mut ledger = Folder::open(&other).unwrap();
        town.before(&mut ledger);
        let mut failing = Failing {
            ledger: ledger.clone(),
            left: cut,
        };
        // What can't be put on file is told, and so is all the rest.
        let broken = intake(&town, &mut failing).unwrap();
        let count = |rows: &[Row], status| rows.iter().filter(|row| row.status == status).count();
        assert_eq!(
            (broken.len(), count(&broken, Status::Accepted)),
            (1000, cut)
        );
        let least = count(&rows, Status::Accepted) - cut;
        assert!(count(&broken, Status::Failed) >= least);
        let why = broken.iter().filter(|row| row.status == Status::Failed);
        let why: Vec<_> = why.map(|row| row.reasons[0].message.as_str()).collect();
        assert!(
            why[0].contains("could not be put on file: power cut"),
            "{}",
            why[0]
        );
        assert!(why[3].contains("it was not tried"), "{}", why[3]);
        let repeated = intake(&town, &mut ledger).unwrap();
        assert_eq!(repeated.len(), rows.len());
        assert!(
            repeated
                .iter()
                .zip(&rows)
                .all(|(a, b)| (a.status == Status::Refused) == (b.status == Status::Refused))
        );
        assert_eq!(contents(&other), before, "{cut}");
    }
    taps_as_shapely_has_them(&town, &rows, folder.path());

    let mut report = Vec::new();
    write(&rows, aslaid::units::LengthUnit::Metre, &mut report).unwrap();
    let mut table = csv::Reader::from_reader(&report[..]);
    assert_eq!(table.records().map(Result::unwrap).count(), 1000);
}

fn taps_as_shapely_has_them(town: &Town, rows: &[Row], folder: &Path) {
    let taps: Vec<_> = rows
        .iter()
        .filter(|row| row.status == Status::Accepted)
        .map(|row| (town.end(row.job.as_deref().unwrap()), &row.taps[0]))
        .map(|(end, tap)| serde_json::json!({"end": end, "main": tap.main, "station": tap.station, "distance": tap.distance, "above": tap.above, "end_invert": 100.5}))
        .collect();
    assert_eq!(taps.len(), 900);
    let path = folder.join("taps.json");
    std::fs::write(&path, serde_json::to_string(&taps).unwrap()).unwrap();
    let said = support::python("../intake/taps.py", &[&path, &town.mains]);
    let worst: f64 = said.trim().parse().unwrap();
    println!("900 taps: largest difference from shapely {worst:.1e} m");
    assert!(worst < 1e-3, "{worst}");
}

/// One main near Charlotte, in the state plane's feet and in longitude and latitude.
fn one_main(folder: &Path) -> (PathBuf, PathBuf) {
    let crs = aslaid::crs::Crs::new("EPSG:2264", aslaid::units::LengthUnit::Metre).unwrap();
    let metres = [(440_000.0, 165_000.0), (440_300.0, 165_015.0)];
    let (lonlat, _) = crs.to_wgs84(&metres).unwrap();
    let feet = metres.map(|(x, y)| (x / support::US_FOOT, y / support::US_FOOT));
    let degrees = lonlat.iter().map(|(x, y)| (x.to_degrees(), y.to_degrees()));
    let (plane, map) = (folder.join("plane.geojson"), folder.join("map.geojson"));
    support::lines(&plane, Some(2264), &[("mains", feet.to_vec())]);
    support::lines(&map, None, &[("mains", degrees.collect())]);
    (plane, map)
}

#[test]
fn mains_in_longitude_and_latitude_come_to_the_projected_system_that_the_field_file_names() {
    let folder = support::folder();
    let (plane, map) = one_main(folder.path());
    let read = |path: &Path, fields: &str| {
        Mains::read(path, &Fields::parse(fields, "fields.toml").unwrap())
            .map_err(|why| why.to_string())
    };
    let own = read(&plane, "").unwrap();
    assert_eq!((own.crs.code(), own.fields.sigma), ("EPSG:2264", 0.0));
    for fields in [
        "[mains]\ncrs = \"EPSG:2264\"",
        "[delivery]\ncrs = \"EPSG:2264\"",
    ] {
        let carried = read(&map, fields).unwrap();
        assert_eq!(carried.crs.code(), "EPSG:2264");
        for (a, b) in own.mains[0].line.iter().zip(&carried.mains[0].line) {
            assert!(
                (*a - *b).x.hypot((*a - *b).y) < 1e-3,
                "{fields}: {a:?} {b:?}"
            );
        }
        assert!((own.mains[0].length - carried.mains[0].length).abs() < 1e-3);
        // What the operation from WGS 84 leaves in doubt is in the mains' own sigma.
        assert!(carried.fields.sigma > 0.5, "{}", carried.fields.sigma);
    }
    let error = read(&map, "").unwrap_err();
    for part in [
        "longitude and latitude (EPSG:4326)",
        "`crs` under [mains]",
        "map.geojson",
    ] {
        assert!(error.contains(part), "{part}: {error}");
    }
}
