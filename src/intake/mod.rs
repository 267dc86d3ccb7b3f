//! Stage 13: a utility takes in results. Comes in: records as `build` writes them, plain deliveries described by a field file, the
//! map of the mains, what is on file. Goes out: accepted records, each with the main that its laterals meet, and one report row a
//! delivery.
//!
//! A delivery is accepted whole or refused whole, with every reason at once and the way to mend each. Of several revisions of a job the
//! highest that is good is taken, whatever their order; the others are `superseded`. The same deliveries again, in the same order, leave
//! the same on file: a record that is there already is `unchanged`. So an intake that was interrupted is run again.

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
use crate::record::AsBuilt;
use checks::{CHECKS, Case};
use fields::{Fields, Require};
use lateral::Lateral;
use ledger::Ledger;
use mains::{Mains, Tap};
use read::{Delivery, Refusal};
use report::{Reason, Row, Status};

/// A record on file, with its laterals on the mains' grid.
#[derive(Debug)]
pub struct OnFile {
    /// Supplier and job.
    pub identity: (String, String),
    /// Revision.
    pub revision: Option<u32>,
    /// Hash of the record.
    pub hash: Option<String>,
    /// Its laterals; none where its coordinate system has no way to the mains'.
    pub laterals: Vec<Lateral>,
    /// The delivery of this intake that brought it, or was found to be it.
    pub delivery: Option<String>,
}

impl OnFile {
    fn of(record: &AsBuilt, mains: &Mains, delivery: Option<&str>) -> Self {
        Self {
            delivery: delivery.map(str::to_owned),
            identity: identity(record),
            revision: record.job.revision,
            hash: record.hash.clone(),
            laterals: lateral::of(record, &mains.crs).unwrap_or_default(),
        }
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
/// A path where nothing is, before anything is taken; what is on file can't be read, or an accepted record can't be written; rows up to there are on file.
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
    let require = fields.require(&mains.fields)?;
    let deliveries: Vec<_> = paths
        .iter()
        .flat_map(|path| read::deliveries(path, fields))
        .collect();
    let mut rows = BTreeMap::new();
    for (at, delivery) in turns(deliveries) {
        let row = match delivery {
            Err(refusal) => Row::unread(refusal),
            Ok(delivery) => one(&delivery, &require, mains, &mut on_file, ledger)?,
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
    ledger: &mut dyn Ledger,
) -> Result<Row, Error> {
    let record = &delivery.record;
    let identity = identity(record);
    let own = on_file.iter_mut().find(|known| known.identity == identity);
    if let Some(known) = own {
        if known.hash == record.hash && delivery.unaltered {
            known
                .delivery
                .get_or_insert_with(|| delivery.source.clone());
            let taps = taps(record, mains);
            return Ok(Row::of(delivery, Status::Unchanged, Vec::new(), taps));
        }
        if let Some(reason) = superseded(record, known) {
            return Ok(Row::of(
                delivery,
                Status::Superseded,
                vec![reason],
                Vec::new(),
            ));
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
        && let Err(message) = ledger.takes(record)
    {
        reasons.push(Reason::new("database", message));
    }
    if reasons.is_empty() {
        ledger.accept(record, &taps)?;
        on_file.retain(|known| known.identity != identity);
        on_file.push(OnFile::of(record, mains, Some(&delivery.source)));
        return Ok(Row::of(delivery, Status::Accepted, reasons, taps));
    }
    Ok(Row::of(delivery, Status::Refused, reasons, taps))
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
