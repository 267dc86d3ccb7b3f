//! What an intake keeps in a database besides the tables of `load`: the records themselves, in `record_document`, and the mains
//! that their runs meet, in `tap` (lengths in metres). Both are named after the table of records, if that has another name.

use std::collections::BTreeSet;
use std::path::Path;

use super::{
    Further, Identity, Options, Problem, Target, Version, View, named, one, open, registry, source,
};
use crate::error::{Error, json_wrong};
use crate::export::table::Getter;
use crate::export::value::{Kind, Value};
use crate::record::{AsBuilt, write_json};

/// Where a run meets a main; metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Meets<'a> {
    /// Run.
    pub run: &'a str,
    /// Main.
    pub main: &'a str,
    /// Along the main from its downstream manhole.
    pub station: f64,
    /// That manhole.
    pub from: Option<&'a str>,
    /// From the run's end to the main's line.
    pub distance: f64,
    /// Its 95 % bound.
    pub distance_95: f64,
    /// The run's invert above the main's.
    pub above: Option<f64>,
    /// Its 95 % bound.
    pub above_95: Option<f64>,
    /// Another main that is as near, the bounds considered.
    pub or: Option<&'a str>,
}

const DOCUMENT: &[(&str, Kind)] = &[("hash", Kind::Text), ("document", Kind::Text)];
const TAP: &[(&str, Kind)] = &[
    ("run", Kind::Text),
    ("main", Kind::Text),
    ("station_m", Kind::Real),
    ("from_manhole", Kind::Text),
    ("distance_m", Kind::Real),
    ("distance_95_m", Kind::Real),
    ("above_m", Kind::Real),
    ("above_95_m", Kind::Real),
    ("or_main", Kind::Text),
];

fn document_table(options: &Options) -> Further {
    Further {
        name: format!("{}_document", named("record", options)),
        meaning: "records as they were accepted",
        columns: DOCUMENT,
    }
}

fn tap_table(options: &Options) -> Further {
    let name = match options.tables.get("record") {
        Some(record) => format!("{record}_tap"),
        None => "tap".to_owned(),
    };
    Further {
        name,
        meaning: "where a run meets a main",
        columns: TAP,
    }
}

/// The tables that only an intake fills.
pub(super) fn tables(options: &Options) -> [Further; 2] {
    [document_table(options), tap_table(options)]
}

/// Columns of a record that its job publishes beyond those that every record has.
#[must_use]
pub fn further_columns(record: &AsBuilt) -> Vec<String> {
    let view = View::new(record);
    let columns = view.features().flat_map(|table| &table.columns);
    columns
        .filter(|column| matches!(column.getter, Getter::Published(_)))
        .map(|column| column.name.clone())
        .collect()
}

/// Every record that an intake put there and that is there still, by supplier and job.
///
/// # Errors
/// [`Error::Load`]: the database can't be reached, or what it holds is no record of this program.
pub fn documents(into: &Target, options: &Options) -> Result<Vec<AsBuilt>, Error> {
    kept(into, options, "document", |table, texts, entered| {
        let current: BTreeSet<String> = entered.into_iter().map(|(_, own)| own.hash).collect();
        let records = texts.iter().map(|text| serde_json::from_str(text));
        let records: Vec<AsBuilt> = records.collect::<Result<_, _>>().map_err(|why| {
            let why = json_wrong(&why);
            format!("a document in {table} is no record: {why}")
        })?;
        let is_current = |record: &AsBuilt| {
            let hash = record.hash.as_ref();
            hash.is_some_and(|hash| current.contains(hash))
        };
        Ok(records.into_iter().filter(is_current).collect())
    })
}

/// Every record that is there without its document, as `load` puts them there.
///
/// # Errors
/// [`Error::Load`]: the database can't be reached.
pub fn loaded(into: &Target, options: &Options) -> Result<Vec<(Identity, Version)>, Error> {
    kept(into, options, "hash", |_, hashes, entered| {
        let hashes: BTreeSet<String> = hashes.into_iter().collect();
        let is_bare = |(_, own): &(Identity, Version)| !hashes.contains(&own.hash);
        Ok(entered.into_iter().filter(is_bare).collect())
    })
}

/// What `of` makes of the name of the table of documents, a column of it, and the records that are there; nothing of a file that is not
/// there yet.
fn kept<T>(
    into: &Target,
    options: &Options,
    column: &str,
    of: impl FnOnce(&str, Vec<String>, Vec<(Identity, Version)>) -> Result<Vec<T>, String>,
) -> Result<Vec<T>, Error> {
    if matches!(into, Target::GeoPackage(path) if !path.exists()) {
        return Ok(Vec::new());
    }
    let (target, mut store) = open(into, options)?;
    let table = document_table(options);
    // What this makes where it is missing goes with the transaction, which nothing ends here.
    let made = store.further(&table).and_then(|()| {
        let texts = store.texts(&table, column)?;
        of(&table.name, texts, store.entered(&registry(options))?)
    });
    made.map_err(|why| Error::Load { target, why })
}

/// Puts a record and the mains that it meets there by one transaction: whole or not at all.
///
/// # Errors
/// [`Error::Read`] for a record that has no place in a database, [`Error::Load`] where the database refuses it.
pub fn put(
    record: &AsBuilt,
    meets: &[Meets<'_>],
    into: &Target,
    options: &Options,
) -> Result<(), Error> {
    let (target, mut store) = open(into, options)?;
    let failed = |why: String| Error::Load {
        target: target.clone(),
        why,
    };
    let path = Path::new(&record.job.id);
    let (identity, version) = source::identity(path, record)?;
    let mut document = Vec::new();
    write_json(record, &mut document).map_err(|why| failed(why.to_string()))?;
    let document = String::from_utf8_lossy(&document);
    one(path, record, store.as_mut(), None, options).map_err(|why| match why {
        Problem::Record(error) => error,
        Problem::There(why) => failed(format!("{why}, which came during this intake")),
        Problem::Store(why) => failed(why),
    })?;
    let mut keep = |table: &Further, identity: &Identity, rows: &[Vec<Value<'_>>]| {
        store
            .further(table)
            .and_then(|()| store.put(table, identity, rows))
            .map_err(failed)
    };
    let row = vec![Value::from(&version.hash), Value::from(&*document)];
    keep(&document_table(options), &identity, &[row])?;
    let rows: Vec<Vec<Value<'_>>> = meets.iter().map(cells).collect();
    keep(&tap_table(options), &identity, &rows)?;
    store.commit().map_err(failed)
}

fn cells<'a>(meets: &Meets<'a>) -> Vec<Value<'a>> {
    vec![
        Value::from(meets.run),
        Value::from(meets.main),
        Value::from(meets.station),
        Value::from(meets.from),
        Value::from(meets.distance),
        Value::from(meets.distance_95),
        Value::from(meets.above),
        Value::from(meets.above_95),
        Value::from(meets.or),
    ]
}
