//! Several revisions of one job: the highest is taken, whatever comes first.

use std::path::{Path, PathBuf};

use aslaid::export::record::seal;
use aslaid::intake::fields::Fields;
use aslaid::intake::ledger::{Folder, Ledger};
use aslaid::intake::mains::Mains;
use aslaid::intake::report::{Row, Status};
use aslaid::intake::take_in;
use aslaid::record::AsBuilt;
use aslaid::record::model::Draft;

use super::support;
use super::town::{FIELDS, bytes, good, mains};

fn revision(number: Option<u32>) -> AsBuilt {
    let mut record = good(4);
    record.job.revision = number;
    record
}

/// Records delivered in this order.
fn delivered(folder: &Path, records: &[AsBuilt], ledger: &mut Folder) -> Vec<Row> {
    let paths: Vec<PathBuf> = records
        .iter()
        .enumerate()
        .map(|(at, record)| {
            let path = folder.join(format!("{at}.json"));
            std::fs::write(&path, bytes(record.clone())).unwrap();
            path
        })
        .collect();
    let fields = Fields::parse(FIELDS, "fields.toml").unwrap();
    let mains = Mains::read(&mains(folder), &fields).unwrap();
    take_in(&paths, &fields, &mains, ledger).unwrap()
}

fn statuses(rows: &[Row]) -> Vec<Status> {
    rows.iter().map(|row| row.status).collect()
}

fn on_file(ledger: &Folder) -> Vec<Option<u32>> {
    let records = ledger.on_file().unwrap();
    records.iter().map(|record| record.job.revision).collect()
}

#[test]
fn the_highest_is_taken_in_any_order_and_again() {
    use Status::{Accepted, Superseded, Unchanged};
    for (order, at) in [([1, 2, 3], 2), ([3, 1, 2], 0), ([2, 3, 1], 1)] {
        let folder = support::folder();
        let mut ledger = Folder::open(&folder.path().join("on-file")).unwrap();
        let records = order.map(|number| revision(Some(number)));
        let mut due = vec![Superseded; 3];
        due[at] = Accepted;
        let rows = delivered(folder.path(), &records, &mut ledger);
        assert_eq!(statuses(&rows), due, "{order:?}");
        assert_eq!(on_file(&ledger), [Some(3)]);
        let said = &rows[(at + 1) % 3].reasons[0].message;
        assert!(
            said.contains("Revision 3") && said.contains(&format!("{at}.json")),
            "{said}"
        );
        due[at] = Unchanged;
        let again = delivered(folder.path(), &records, &mut ledger);
        assert_eq!(statuses(&again), due, "{order:?}");
        assert_eq!(on_file(&ledger), [Some(3)]);
    }
}

#[test]
fn a_later_intake_of_an_earlier_revision_changes_nothing() {
    let folder = support::folder();
    let mut ledger = Folder::open(&folder.path().join("on-file")).unwrap();
    delivered(folder.path(), &[revision(Some(2))], &mut ledger);
    for older in [Some(1), None] {
        let rows = delivered(folder.path(), &[revision(older)], &mut ledger);
        assert_eq!(statuses(&rows), [Status::Superseded], "{older:?}");
    }
    let rows = delivered(folder.path(), &[revision(Some(3))], &mut ledger);
    assert_eq!(statuses(&rows), [Status::Accepted]);
    assert_eq!(on_file(&ledger), [Some(3)]);
}

#[test]
fn a_newer_one_that_is_refused_supersedes_nothing() {
    let folder = support::folder();
    let mut ledger = Folder::open(&folder.path().join("on-file")).unwrap();
    let mut newer = revision(Some(2));
    newer.draft = Some(Draft { left_out: 1 });
    let rows = delivered(folder.path(), &[revision(Some(1)), newer], &mut ledger);
    assert_eq!(statuses(&rows), [Status::Accepted, Status::Refused]);
    assert_eq!(on_file(&ledger), [Some(1)]);
}

#[test]
fn one_revision_told_in_two_ways_is_refused_and_the_same_record_twice_is_not() {
    use Status::{Accepted, Refused, Unchanged};
    let folder = support::folder();
    let mut ledger = Folder::open(&folder.path().join("on-file")).unwrap();
    let one = revision(Some(1));
    let mut other = one.clone();
    other.runs[0].diameter = Some(0.125);
    let all = [one.clone(), other, one];
    let codes = |rows: &[Row]| -> Vec<_> {
        let reasons = rows.iter().flat_map(|row| &row.reasons);
        reasons.map(|reason| reason.code).collect()
    };
    let rows = delivered(folder.path(), &all, &mut ledger);
    assert_eq!(statuses(&rows), [Accepted, Refused, Unchanged]);
    assert_eq!(codes(&rows), ["twice"]);
    let again = delivered(folder.path(), &all, &mut ledger);
    assert_eq!(statuses(&again), [Unchanged, Refused, Unchanged]);
    assert_eq!(codes(&again), ["twice"]);
}

#[test]
fn what_is_altered_is_told_once() {
    let folder = support::folder();
    let mut ledger = Folder::open(&folder.path().join("on-file")).unwrap();
    let record = seal(revision(Some(1))).unwrap();
    ledger.accept(&record, &[]).unwrap();
    let text = String::from_utf8(bytes(record)).unwrap();
    let path = folder.path().join("altered.json");
    std::fs::write(&path, text.replacen("2026-05-14", "2026-05-15", 1)).unwrap();
    let fields = Fields::parse(FIELDS, "fields.toml").unwrap();
    let mains = Mains::read(&mains(folder.path()), &fields).unwrap();
    let rows = take_in(&[path], &fields, &mains, &mut ledger).unwrap();
    let codes: Vec<_> = rows[0].reasons.iter().map(|reason| reason.code).collect();
    assert_eq!(codes, ["altered"]);
}
