//! Records into a utility's own database: PostgreSQL with PostGIS, or a GeoPackage that many jobs share.
//!
//! A record's identity is its supplier and its job. Loading replaces all that the database holds of that identity, and
//! touches nothing else:
//!
//! - the same record again replaces its rows by the same ones;
//! - another record of the same identity needs a higher `revision`, or [`Options::replace`]; what it replaces is kept in
//!   the history tables, with its hash and the time;
//! - everything that one call loads goes in by one transaction: the database holds the old or the new, never a mixture,
//!   whatever is killed when. Loads into the same tables wait for each other.
//!
//! Tables: `run`, `mark`, `camera`, `reference` (columns as in every format, the geometry as `geom`, a key `fid`),
//! `record` (what is loaded: identity, revision, hash, time), and each with `_history` after its name. A table that is
//! there already must have exactly these columns; otherwise nothing is loaded, and the message names the difference.
//!
//! Refused: a record without a supplier, a draft, a record in site coordinates, a `record.json` that does not have the hash
//! that it states.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::fields::Fields;
use super::table::{Column, Table};
use super::value::{Kind, Value};
use super::{View, geometry, system};
use crate::error::Error;
use crate::record::AsBuilt;

mod columns;
mod geopackage;
pub mod intake;
mod postgis;
mod source;

pub use source::{Found, NO_RECORD, WITHDRAWN, find, has_errors, withdrawn};

/// Where records go.
#[derive(Clone, Debug)]
pub enum Target {
    /// A PostgreSQL server with PostGIS: its URL, and the password where the URL has none.
    Postgis {
        /// `postgres://user@host/database`.
        url: String,
        /// Password.
        password: Option<String>,
    },
    /// A GeoPackage, made where it isn't there.
    GeoPackage(PathBuf),
}

/// How they go there.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Schema of the tables in PostgreSQL; `aslaid` if left out.
    pub schema: Option<String>,
    /// Names of tables by what they hold: `run`, `mark`, `camera`, `reference`, `record`.
    pub tables: BTreeMap<String, String>,
    /// Replace a record whatever its revision.
    pub replace: bool,
}

/// What can be given a name by [`Options::tables`].
pub const TABLES: [&str; 5] = ["run", "mark", "camera", "reference", "record"];

/// Whose record it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Identity {
    /// Who made it.
    pub supplier: String,
    /// Job.
    pub job: String,
}

/// Which record it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Version {
    /// Its revision.
    pub revision: Option<i64>,
    /// Its hash.
    pub hash: String,
}

/// What became of one record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Loaded {
    /// Whose it is.
    pub identity: Identity,
    /// Which.
    pub version: Version,
    /// What it replaced: `None` where there was nothing, the same version where it was there already.
    pub before: Option<Version>,
    /// Rows by table.
    pub rows: Vec<(&'static str, u64)>,
}

/// A table of the database and what fills it.
struct Layer<'a> {
    /// Its name there.
    name: String,
    table: &'a Table,
    /// Names of the columns that hold supplier and job.
    supplier: &'a str,
    job: &'a str,
}

/// Names of the tables that say which records are there.
#[derive(Clone, Debug)]
struct Registry {
    name: String,
}

impl Registry {
    fn history(&self) -> String {
        history(&self.name)
    }
}

fn history(name: &str) -> String {
    format!("{name}_history")
}

/// A table of plain values whose rows belong to records; besides its own columns it has `supplier` and `job`.
struct Further {
    name: String,
    meaning: &'static str,
    columns: &'static [(&'static str, Kind)],
}

/// A database in a transaction that [`Store::commit`] ends; dropped before, it leaves nothing.
trait Store {
    /// Makes the tables that are missing, and holds the others against what they must be.
    fn ready(
        &mut self,
        registry: &Registry,
        layers: &[Layer<'_>],
        record: &AsBuilt,
    ) -> Result<(), String>;
    /// What is there of an identity.
    fn stored(
        &mut self,
        registry: &Registry,
        identity: &Identity,
    ) -> Result<Option<Version>, String>;
    /// Copies the rows of an identity into the history.
    fn keep(
        &mut self,
        registry: &Registry,
        layers: &[Layer<'_>],
        identity: &Identity,
        version: &Version,
    ) -> Result<(), String>;
    /// Removes the rows of an identity from a layer.
    fn clear(&mut self, layer: &Layer<'_>, identity: &Identity) -> Result<(), String>;
    /// Writes a record's rows, and gives their number.
    fn fill(&mut self, layer: &Layer<'_>, record: &AsBuilt) -> Result<u64, String>;
    /// Writes down which record is there now.
    fn enter(
        &mut self,
        registry: &Registry,
        identity: &Identity,
        version: &Version,
    ) -> Result<(), String>;
    /// Every record that is there, by supplier and job; none where no record has come yet.
    fn entered(&mut self, registry: &Registry) -> Result<Vec<(Identity, Version)>, String>;
    /// Makes a further table where it is missing, and holds it against what it must be.
    fn further(&mut self, table: &Further) -> Result<(), String>;
    /// Puts rows in place of those of an identity.
    fn put(
        &mut self,
        table: &Further,
        identity: &Identity,
        rows: &[Vec<Value<'_>>],
    ) -> Result<(), String>;
    /// Removes the rows of an identity from a further table, where there is one.
    fn forget(&mut self, table: &Further, identity: &Identity) -> Result<(), String>;
    /// A column of texts, by supplier and job.
    fn texts(&mut self, table: &Further, column: &str) -> Result<Vec<String>, String>;
    /// Makes all of it stay.
    fn commit(&mut self) -> Result<(), String>;
}

/// Loads records, all of them or none.
///
/// # Errors
/// [`Error::Read`] for a record that can't be loaded anywhere, [`Error::Load`] where the database refuses it.
pub fn load(
    records: &[PathBuf],
    into: &Target,
    fields: Option<&Fields>,
    options: &Options,
) -> Result<Vec<Loaded>, Error> {
    let (target, mut store) = open(into, options)?;
    let failed = |why| Error::Load {
        target: target.clone(),
        why,
    };
    let mut loaded = Vec::with_capacity(records.len());
    for path in records {
        let record = source::read(path)?;
        loaded.push(one(path, &record, store.as_mut(), fields, options).map_err(
            |why| match why {
                Problem::Record(error) => error,
                Problem::There(why) => failed(format!(
                    "{why}; give it a higher `revision` in job.toml, or load it with --replace"
                )),
                Problem::Store(why) => failed(why),
            },
        )?);
    }
    store.commit().map_err(failed)?;
    Ok(loaded)
}

/// A database with its transaction begun, and its name for messages.
fn open(into: &Target, options: &Options) -> Result<(String, Box<dyn Store>), Error> {
    Ok(match into {
        Target::Postgis { url, password } => {
            let schema = options.schema.as_deref().unwrap_or("aslaid");
            let (target, store) = postgis::open(url, password.as_deref(), schema)?;
            (target, Box::new(store))
        }
        Target::GeoPackage(path) => (
            path.display().to_string(),
            Box::new(geopackage::open(path)?),
        ),
    })
}

/// Why a table that holds the coordinate system `theirs` does not take a record in `ours`; nothing, where it does.
fn other_system(table: &str, theirs: Option<i32>, ours: i32) -> Result<(), String> {
    match theirs {
        Some(other) if other != ours => Err(format!(
            "{table} holds the coordinate system {other}, and the record is in {ours}; build it with --crs EPSG:{other}, or name another table with --table"
        )),
        _ => Ok(()),
    }
}

enum Problem {
    Record(Error),
    /// Another record of its identity is there, whose place it may not take.
    There(String),
    Store(String),
}

impl From<String> for Problem {
    fn from(why: String) -> Self {
        Self::Store(why)
    }
}

fn one(
    path: &Path,
    record: &AsBuilt,
    store: &mut dyn Store,
    fields: Option<&Fields>,
    options: &Options,
) -> Result<Loaded, Problem> {
    let (identity, version) = source::identity(path, record).map_err(Problem::Record)?;
    let view = match fields {
        Some(fields) => View::with_fields(record, fields).map_err(Problem::Record)?,
        None => View::new(record),
    };
    let registry = registry(options);
    let layers = layers(&view, options)?;
    store.ready(&registry, &layers, record)?;
    let before = store.stored(&registry, &identity)?;
    if let Some(before) = &before {
        allow(&identity, before, &version, options).map_err(Problem::There)?;
        if before.hash != version.hash {
            store.keep(&registry, &layers, &identity, before)?;
        }
    }
    let mut rows = Vec::new();
    for layer in &layers {
        store.clear(layer, &identity)?;
        rows.push((layer.table.name, store.fill(layer, record)?));
    }
    if before
        .as_ref()
        .is_none_or(|before| before.hash != version.hash)
    {
        store.enter(&registry, &identity, &version)?;
        // What an intake kept there is of the record that was there before.
        for table in intake::tables(options) {
            store.forget(&table, &identity)?;
        }
    }
    Ok(Loaded {
        identity,
        version,
        before,
        rows,
    })
}

fn registry(options: &Options) -> Registry {
    Registry {
        name: named("record", options),
    }
}

fn named(what: &str, options: &Options) -> String {
    options
        .tables
        .get(what)
        .map_or(what, String::as_str)
        .to_owned()
}

fn layers<'a>(view: &'a View<'_>, options: &Options) -> Result<Vec<Layer<'a>>, String> {
    let mut layers = Vec::new();
    // What a run crosses is told by a site plan of the day, not by the record alone: it stays in the files.
    for table in view.features().filter(|table| TABLES.contains(&table.name)) {
        layers.push(Layer {
            name: named(table.name, options),
            table,
            supplier: holder(table, "supplier")?,
            job: holder(table, "job")?,
        });
    }
    Ok(layers)
}

/// The name of the column that holds a part of the identity.
fn holder<'a>(table: &'a Table, what: &str) -> Result<&'a str, String> {
    let holds = |column: &&Column| column.holds(what);
    let found = table
        .columns
        .iter()
        .find(holds)
        .map(|column| column.name.as_str());
    found.ok_or_else(|| {
        format!(
            "the field file leaves `{what}` out of [{}], or converts it; a record is told by its supplier and job: list a column `from = \"{what}\"`, under any name",
            table.name
        )
    })
}

/// Whether a record may take another's place.
fn allow(
    identity: &Identity,
    before: &Version,
    now: &Version,
    options: &Options,
) -> Result<(), String> {
    let higher = now.revision.unwrap_or(0) > before.revision.unwrap_or(0);
    if options.replace || higher || before.hash == now.hash {
        return Ok(());
    }
    let word = |version: &Version| {
        version
            .revision
            .map_or_else(|| "no revision".to_owned(), |it| format!("revision {it}"))
    };
    Err(format!(
        "job {} of {} is there with {} (record {}), and this one has {} (record {})",
        identity.job,
        identity.supplier,
        word(before),
        short(&before.hash),
        word(now),
        short(&now.hash)
    ))
}

fn short(hash: &str) -> &str {
    hash.get(..12).unwrap_or(hash)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn version(revision: Option<i64>, hash: &str) -> Version {
        Version {
            revision,
            hash: hash.to_owned(),
        }
    }

    #[test]
    fn only_a_higher_revision_or_the_same_record_takes_a_place() {
        let identity = Identity {
            supplier: "S".to_owned(),
            job: "J".to_owned(),
        };
        let may = |before: &Version, now: &Version, replace| {
            let options = Options {
                replace,
                ..Options::default()
            };
            allow(&identity, before, now, &options).is_ok()
        };
        assert!(may(&version(Some(1), "a"), &version(Some(2), "b"), false));
        assert!(may(&version(None, "a"), &version(Some(1), "b"), false));
        assert!(may(&version(Some(2), "a"), &version(Some(2), "a"), false));
        assert!(!may(&version(Some(2), "a"), &version(Some(2), "b"), false));
        assert!(!may(&version(Some(2), "a"), &version(Some(1), "b"), false));
        assert!(!may(&version(None, "a"), &version(None, "b"), false));
        assert!(may(&version(Some(2), "a"), &version(Some(1), "b"), true));
    }
}
