//! Intake: a thousand deliveries, a hundred of them bad in 25 ways; taps against shapely; an intake interrupted and repeated.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::too_many_lines,
    reason = "a test may panic, print and be told at length"
)]

use crate::plan::support;
mod database;
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
        assert!(intake(&town, &mut failing).is_err());
        let repeated = intake(&town, &mut ledger).unwrap();
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
