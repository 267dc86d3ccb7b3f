//! Stage 13: a utility takes in results. Comes in: records as `build` writes them, plain deliveries described by a field file, the
//! map of the mains, what is on file. Goes out: accepted records, each with the main that its laterals meet, and one report row a
//! delivery.
//!
//! A delivery is accepted whole or refused whole, with every reason at once and the way to mend each. Of several revisions of a job the
//! highest that is good is taken, whatever their order; the others are `superseded`. The same deliveries again, in the same order, leave
//! the same on file: a record that is there already is `unchanged`. So an intake that was interrupted is run again.

mod blanks;
pub mod checks;
pub mod fields;
pub mod lateral;
pub mod ledger;
pub mod mains;
pub mod plain;
pub mod read;
pub mod report;
mod said;
pub mod same;

use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::path::PathBuf;

use crate::error::{Error, unread};
use crate::export::load::{Identity, Version};
use crate::record::{AsBuilt, hash};
use checks::{CHECKS, Case};
use fields::{Fields, Require};
use lateral::Lateral;
use ledger::Ledger;
use mains::{Mains, Tap};
use read::{Delivery, Refusal};
use report::{Reason, Row, Status};

/// Records in a row that could not be put on file, after which no more are tried (our choice: a full disk or a database that others
/// hold keeps every one out, and each try may wait for it).
const GIVE_UP: usize = 3;

/// A record on file, with its laterals on the mains' grid.
#[derive(Debug)]
pub struct OnFile {
    /// Supplier and job.
    pub identity: (String, String),
    /// Revision.
    pub revision: Option<u32>,
    /// What it is told by, as `told` has it.
    pub hash: Option<String>,
    /// Its laterals; none where its coordinate system has no way to the mains', or `load` put it there.
    pub laterals: Vec<Lateral>,
    /// `load` put it there: of the record nothing is known but what is here.
    pub loaded: bool,
    /// The delivery of this intake that brought it, or was found to be it.
    pub delivery: Option<String>,
}

impl OnFile {
    fn of(record: &AsBuilt, mains: &Mains, delivery: Option<&str>) -> Self {
        Self {
            delivery: delivery.map(str::to_owned),
            identity: identity(record),
            revision: record.job.revision,
            hash: told(record),
            laterals: lateral::of(record, &mains.crs).unwrap_or_default(),
            loaded: false,
        }
    }

    fn loaded((identity, version): (Identity, Version)) -> Self {
        Self {
            delivery: None,
            identity: (identity.supplier, identity.job),
            revision: version
                .revision
                .and_then(|revision| u32::try_from(revision).ok()),
            hash: Some(version.hash),
            laterals: Vec::new(),
            loaded: true,
        }
    }
}

/// What a record is told by: its hash; of one that a plain delivery became, that of what the delivery says, whatever its file is called
/// and whichever version of this program read it.
fn told(record: &AsBuilt) -> Option<String> {
    if !plain::is_plain(record) {
        return record.hash.clone();
    }
    let said = AsBuilt {
        generator: String::new(),
        inputs: Vec::new(),
        // Made from the vertices; they name the file.
        marks: Vec::new(),
        hash: None,
        ..record.clone()
    };
    hash(&said).ok()
}

/// Where records go, and how many in a row could not.
struct Keeper<'a> {
    ledger: &'a mut dyn Ledger,
    failed: usize,
}

impl Keeper<'_> {
    /// Puts a record on file; the reason where it can't be.
    fn accept(&mut self, record: &AsBuilt, taps: &[Tap]) -> Result<(), Reason> {
        let why = if self.failed >= GIVE_UP {
            format!("it was not tried, because the last {GIVE_UP} could not be either")
        } else if let Err(why) = self.ledger.accept(record, taps) {
            self.failed += 1;
            why.to_string()
        } else {
            self.failed = 0;
            return Ok(());
        };
        let message = format!(
            "Nothing is wrong with it, and it could not be put on file: {why}. Mend that and run the intake again."
        );
        Err(Reason::new("not-kept", message))
    }
}

fn identity(record: &AsBuilt) -> (String, String) {
    (
        record.job.supplier.clone().unwrap_or_default(),
        record.job.id.clone(),
    )
}

/// Takes deliveries in; one row each, in the order given.
///
/// # Errors
/// A path where nothing is, or what is on file can't be read: before anything is taken.
pub fn take_in(
    paths: &[PathBuf],
    fields: &Fields,
    mains: &Mains,
    ledger: &mut dyn Ledger,
) -> Result<Vec<Row>, Error> {
    for path in paths {
        std::fs::metadata(path).map_err(|why| Error::Read {
            path: path.clone(),
            why: unread(&why),
        })?;
    }
    let mut on_file: Vec<OnFile> = ledger
        .on_file()?
        .iter()
        .map(|record| OnFile::of(record, mains, None))
        .collect();
    on_file.extend(ledger.loaded()?.into_iter().map(OnFile::loaded));
    let require = fields.require(&mains.fields)?;
    let deliveries: Vec<_> = paths
        .iter()
        .flat_map(|path| read::deliveries(path, fields))
        .collect();
    let mut keeper = Keeper { ledger, failed: 0 };
    let mut rows = BTreeMap::new();
    for (at, delivery) in turns(deliveries) {
        let row = match delivery {
            Err(refusal) => Row::unread(refusal),
            Ok(delivery) => one(&delivery, &require, mains, &mut on_file, &mut keeper),
        };
        rows.insert(at, row);
    }
    Ok(rows.into_values().collect())
}

/// Deliveries with their places in the order given, in the order in which they are judged: those of one job where its first one
/// stands, the highest revision before the lower ones that it supersedes.
fn turns(
    deliveries: Vec<Result<Delivery, Refusal>>,
) -> impl Iterator<Item = (usize, Result<Delivery, Refusal>)> {
    let mut first: BTreeMap<(String, String), usize> = BTreeMap::new();
    let mut turns: Vec<_> = deliveries
        .into_iter()
        .enumerate()
        .map(|(at, delivery)| {
            let turn = delivery.as_ref().map_or((at, Reverse(0)), |delivery| {
                let place = first.entry(identity(&delivery.record)).or_insert(at);
                (*place, Reverse(revision(&delivery.record)))
            });
            (turn, at, delivery)
        })
        .collect();
    turns.sort_by_key(|(turn, at, _)| (*turn, *at));
    turns.into_iter().map(|(_, at, delivery)| (at, delivery))
}

/// A record's revision as it counts: one without comes before the first.
fn revision(record: &AsBuilt) -> u32 {
    record.job.revision.unwrap_or(0)
}

fn one(
    delivery: &Delivery,
    require: &Require,
    mains: &Mains,
    on_file: &mut Vec<OnFile>,
    keeper: &mut Keeper<'_>,
) -> Row {
    let record = &delivery.record;
    let identity = identity(record);
    let own = on_file.iter_mut().find(|known| known.identity == identity);
    if let Some(known) = own {
        if known.hash == told(record) && delivery.unaltered && !known.loaded {
            known
                .delivery
                .get_or_insert_with(|| delivery.source.clone());
            let taps = taps(record, mains);
            return Row::of(delivery, Status::Unchanged, Vec::new(), taps);
        }
        if let Some(reason) = superseded(record, known) {
            return Row::of(delivery, Status::Superseded, vec![reason], Vec::new());
        }
    }
    let laterals = lateral::of(record, &mains.crs);
    let taps = laterals
        .as_ref()
        .map(|laterals| mains.taps(laterals))
        .unwrap_or_default();
    let case = Case {
        record,
        laterals: &laterals,
        taps: &taps,
        unaltered: delivery.unaltered,
        sheet: delivery.sheet.as_deref(),
        require,
        mains,
        on_file,
    };
    let mut reasons: Vec<Reason> = CHECKS
        .iter()
        .filter_map(|check| Some(Reason::new(check.code, (check.test)(&case)?)))
        .collect();
    if reasons.is_empty()
        && let Err(message) = keeper.ledger.takes(record)
    {
        reasons.push(Reason::new("database", message));
    }
    if !reasons.is_empty() {
        return Row::of(delivery, Status::Refused, reasons, taps);
    }
    if let Err(reason) = keeper.accept(record, &taps) {
        return Row::of(delivery, Status::Failed, vec![reason], taps);
    }
    on_file.retain(|known| known.identity != identity);
    on_file.push(OnFile::of(record, mains, Some(&delivery.source)));
    Row::of(delivery, Status::Accepted, reasons, taps)
}

/// Why a record is not taken whose job is on file as a higher revision.
fn superseded(record: &AsBuilt, known: &OnFile) -> Option<Reason> {
    let theirs = known.revision.filter(|theirs| *theirs > revision(record))?;
    let from = known
        .delivery
        .as_ref()
        .map_or_else(String::new, |delivery| format!(", from {delivery}"));
    let mine = record.job.revision.map_or_else(
        || "has no revision".to_owned(),
        |mine| format!("is revision {mine}"),
    );
    Some(Reason::new(
        "superseded",
        format!(
            "Revision {theirs} of this job is on file{from}, and this {mine}: it is passed over. If it is the newer one, build it with \
             a higher revision."
        ),
    ))
}

fn taps(record: &AsBuilt, mains: &Mains) -> Vec<Tap> {
    lateral::of(record, &mains.crs)
        .map(|laterals| mains.taps(&laterals))
        .unwrap_or_default()
}
