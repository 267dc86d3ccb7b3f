//! Stage 13: a utility takes in results. Comes in: records as `build` writes them, plain deliveries described by a field file, the
//! map of the mains, what is on file. Goes out: accepted records, each with the main that its laterals meet, and one report row a
//! delivery.
//!
//! A delivery is accepted whole or refused whole, with every reason at once and the way to mend each. The same deliveries again, in
//! the same order, leave the same on file: a record that is there already is `unchanged`. So an intake that was interrupted is run again.

pub mod checks;
pub mod fields;
pub mod lateral;
pub mod ledger;
pub mod mains;
pub mod plain;
pub mod read;
pub mod report;
pub mod same;

use std::collections::BTreeMap;
use std::path::PathBuf;

use crate::error::Error;
use crate::export::record::seal;
use crate::record::AsBuilt;
use checks::{CHECKS, Case};
use fields::Fields;
use lateral::Lateral;
use ledger::Ledger;
use mains::{Mains, Tap};
use read::Delivery;
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
}

impl OnFile {
    fn of(record: &AsBuilt, mains: &Mains) -> Self {
        Self {
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

/// Takes deliveries in, in the order given; one row each.
///
/// # Errors
/// What is on file can't be read, or an accepted record can't be written; rows up to there are on file.
pub fn take_in(
    paths: &[PathBuf],
    fields: &Fields,
    mains: &Mains,
    ledger: &mut dyn Ledger,
) -> Result<Vec<Row>, Error> {
    let mut on_file: Vec<OnFile> = ledger
        .on_file()?
        .iter()
        .map(|record| OnFile::of(record, mains))
        .collect();
    let mut seen: BTreeMap<(String, String), String> = BTreeMap::new();
    let mut rows = Vec::new();
    for path in paths {
        for delivery in read::deliveries(path, fields) {
            let row = match delivery {
                Err(refusal) => Row::unreadable(refusal),
                Ok(delivery) => one(&delivery, fields, mains, &mut seen, &mut on_file, ledger)?,
            };
            rows.push(row);
        }
    }
    Ok(rows)
}

fn one(
    delivery: &Delivery,
    fields: &Fields,
    mains: &Mains,
    seen: &mut BTreeMap<(String, String), String>,
    on_file: &mut Vec<OnFile>,
    ledger: &mut dyn Ledger,
) -> Result<Row, Error> {
    let record = &delivery.record;
    let sealed =
        seal(record.clone()).map_err(|why| Error::Usage(format!("{}: {why}", delivery.source)))?;
    let identity = identity(record);
    let twice = seen.get(&identity).cloned();
    seen.entry(identity.clone())
        .or_insert_with(|| delivery.source.clone());
    let is_there = |known: &OnFile| {
        known.identity == identity && known.hash == sealed.hash && known.hash == record.hash
    };
    if twice.is_none() && on_file.iter().any(is_there) {
        return Ok(Row::of(
            delivery,
            Status::Unchanged,
            Vec::new(),
            taps(record, mains),
        ));
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
        sealed: &sealed,
        fields,
        mains,
        on_file,
        twice: twice.as_deref(),
    };
    let mut reasons: Vec<Reason> = CHECKS
        .iter()
        .filter_map(|check| {
            (check.test)(&case).map(|message| Reason {
                code: check.code,
                message,
            })
        })
        .collect();
    if reasons.is_empty()
        && let Err(message) = ledger.takes(record)
    {
        let code = "database";
        reasons.push(Reason { code, message });
    }
    if reasons.is_empty() {
        ledger.accept(record, &taps)?;
        on_file.retain(|known| known.identity != identity);
        on_file.push(OnFile::of(record, mains));
        return Ok(Row::of(delivery, Status::Accepted, reasons, taps));
    }
    Ok(Row::of(delivery, Status::Refused, reasons, taps))
}

fn taps(record: &AsBuilt, mains: &Mains) -> Vec<Tap> {
    lateral::of(record, &mains.crs)
        .map(|laterals| mains.taps(&laterals))
        .unwrap_or_default()
}
