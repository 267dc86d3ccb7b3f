//! A GeoPackage that many jobs share: the same layers as `asbuilt.gpkg`, their history as layers of their own.
//!
//! One transaction of SQLite; a second load waits for it, for a minute. What a killed load has begun is undone by whoever
//! opens the file next.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::types::Value as Cell;
use rusqlite::{Connection, OptionalExtension, params};

use super::columns::{Typed, compare};
use super::{Further, Identity, Layer, Registry, Store, Version, history, other_system, system};
use crate::error::Error;
use crate::export::gpkg::layer::{Head, Layer as Sheet, quoted, sql_type};
use crate::export::gpkg::{blob, container};
use crate::export::table::{Column, Getter, Table};
use crate::export::value::{Quantity, Value};
use crate::record::AsBuilt;

/// How long a load waits for another one: our choice.
const WAIT: Duration = Duration::from_mins(1);
/// The file's own clock: nothing here reads another.
const NOW: &str = "strftime('%Y-%m-%dT%H:%M:%fZ', 'now')";

pub(super) struct GeoPackage {
    connection: Connection,
    /// The file, if this load makes it and has not ended yet.
    making: Option<PathBuf>,
}

/// A file that a failed load began to make goes again. The transaction still holds it then, and nothing of another load can be in it; one
/// that waits for it finds that it is gone.
impl Drop for GeoPackage {
    fn drop(&mut self) {
        if let Some(path) = &self.making {
            // What can't be removed stays empty, and the next load fills it.
            let _ = std::fs::remove_file(path);
        }
    }
}

/// Opens or makes the file, and begins the transaction.
pub(super) fn open(path: &Path) -> Result<GeoPackage, Error> {
    let failed = |why: String| Error::Load {
        target: path.display().to_string(),
        why,
    };
    let was_there = path.exists();
    let connection = Connection::open(path).map_err(|e| failed(plain(&e)))?;
    begin(&connection).map_err(|e| failed(plain(&e)))?;
    let mut package = GeoPackage {
        connection,
        making: None,
    };
    if package.is_empty().map_err(|e| failed(plain(&e)))? {
        package.making = (!was_there).then(|| path.to_owned());
        container::create(&package.connection).map_err(|e| failed(plain(&e)))?;
        return Ok(package);
    }
    let id: i32 = package
        .connection
        .pragma_query_value(None, "application_id", |row| row.get(0))
        .map_err(|e| failed(plain(&e)))?;
    if id == container::APPLICATION_ID {
        Ok(package)
    } else {
        Err(failed(
            "is a database, but no GeoPackage; name another file".to_owned(),
        ))
    }
}

fn begin(connection: &Connection) -> rusqlite::Result<()> {
    connection.busy_timeout(WAIT)?;
    blob::add_functions(connection)?;
    connection.execute_batch("BEGIN IMMEDIATE")
}

fn plain(error: &rusqlite::Error) -> String {
    match error.sqlite_error_code() {
        Some(rusqlite::ErrorCode::DatabaseBusy) => {
            "another program holds the file; close it there, and run this again".to_owned()
        }
        Some(rusqlite::ErrorCode::NotADatabase) => "is no GeoPackage; name another file".to_owned(),
        Some(rusqlite::ErrorCode::CannotOpen) => {
            "the file can't be opened or made; look at its folder and the permissions there".to_owned()
        }
        Some(rusqlite::ErrorCode::ReadOnly) => {
            "the file may not be written; look at its permissions".to_owned()
        }
        Some(rusqlite::ErrorCode::SystemIoFailure) => {
            "the disk does not give or take what it should, or a load that failed has taken its new file away; run this again"
                .to_owned()
        }
        _ => error.to_string(),
    }
}

impl GeoPackage {
    /// Whether nothing is in the file yet.
    fn is_empty(&self) -> rusqlite::Result<bool> {
        let ask = "SELECT count(*) = 0 FROM sqlite_master";
        self.connection.query_row(ask, [], |row| row.get(0))
    }

    fn columns(&self, name: &str) -> rusqlite::Result<Vec<Typed>> {
        let mut statement = self
            .connection
            .prepare("SELECT name, type FROM pragma_table_info(?1)")?;
        let rows = statement.query_map([name], |row| {
            let (name, kind): (String, String) = (row.get(0)?, row.get(1)?);
            Ok(Typed::new(&name, &kind))
        })?;
        rows.collect()
    }

    /// Makes a layer, or holds it against what it must be.
    fn layer(&self, sheet: &Sheet<'_>, record: &AsBuilt) -> Result<(), String> {
        let found = self.columns(&sheet.name).map_err(|e| plain(&e))?;
        if found.is_empty() {
            let head = Head {
                description: sheet.table.meaning,
                changed: "1970-01-01T00:00:00.000Z",
                frame: &record.frame,
            };
            return sheet.create(&self.connection, &head).map_err(|e| plain(&e));
        }
        let mut wanted = vec![
            Typed::new(&sheet.key, "INTEGER"),
            Typed::new(&sheet.geometry, sheet.shape()),
        ];
        wanted.extend(
            sheet
                .table
                .columns
                .iter()
                .map(|column| Typed::new(&column.name, sql_type(column.quantity.kind()))),
        );
        compare(&sheet.name, &found, &wanted)?;
        let ask = "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = ?1";
        let srs: Option<i32> = self
            .connection
            .query_row(ask, [&sheet.name], |row| row.get(0))
            .optional()
            .map_err(|e| plain(&e))?;
        other_system(&format!("layer {}", sheet.name), srs, sheet.srs)
    }

    /// Makes a table without geometry, or holds it against what it must be.
    fn registry(&self, name: &str, wanted: &[Typed], meaning: &str) -> Result<(), String> {
        let found = self.columns(name).map_err(|e| plain(&e))?;
        if !found.is_empty() {
            return compare(name, &found, wanted);
        }
        let columns: Vec<String> = wanted
            .iter()
            .map(|column| match column.name.as_str() {
                "fid" => "fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL".to_owned(),
                name => format!("{name} {}", column.kind),
            })
            .collect();
        let sql = format!("CREATE TABLE {} ({})", quoted(name), columns.join(", "));
        self.connection.execute_batch(&sql).map_err(|e| plain(&e))?;
        let sql = "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id) VALUES (?1, 'attributes', ?1, ?2, 0)";
        self.connection
            .execute(sql, params![name, meaning])
            .map(|_| ())
            .map_err(|e| plain(&e))
    }

    fn srs(&self, record: &AsBuilt) -> Result<i32, String> {
        container::add_system(&self.connection, system::of(record).as_ref()).map_err(|e| plain(&e))
    }

    fn touch(&self, sheet: &Sheet<'_>) -> Result<(), String> {
        sheet
            .update_bounds(&self.connection)
            .map_err(|e| plain(&e))?;
        let sql = format!("UPDATE gpkg_contents SET last_change = {NOW} WHERE table_name = ?1");
        self.connection
            .execute(&sql, [&sheet.name])
            .map(|_| ())
            .map_err(|e| plain(&e))
    }
}

/// A layer's table with the columns that only its history has.
fn past(table: &Table) -> Table {
    let text = |name: &str, meaning: &str| Column {
        name: name.to_owned(),
        quantity: Quantity::Text,
        required: true,
        meaning: meaning.to_owned(),
        getter: Getter::Fixed(String::new()),
    };
    let mut table = table.clone();
    table.columns.push(text(
        "record_hash",
        "hash of the record that this row was part of",
    ));
    table.columns.push(text(
        "replaced_at",
        "when another record took its place, UTC",
    ));
    table
}

impl Store for GeoPackage {
    fn ready(
        &mut self,
        registry: &Registry,
        layers: &[Layer<'_>],
        record: &AsBuilt,
    ) -> Result<(), String> {
        let mut wanted = vec![
            Typed::new("fid", "INTEGER"),
            Typed::new("supplier", "TEXT"),
            Typed::new("job", "TEXT"),
            Typed::new("revision", "INTEGER"),
            Typed::new("hash", "TEXT"),
            Typed::new("loaded_at", "TEXT"),
        ];
        self.registry(&registry.name, &wanted, "records that are loaded")?;
        wanted.push(Typed::new("replaced_at", "TEXT"));
        self.registry(
            &registry.history(),
            &wanted,
            "records that others took the place of",
        )?;
        let srs = self.srs(record)?;
        for layer in layers {
            self.layer(&Sheet::new(&layer.name, layer.table, srs), record)?;
            let table = past(layer.table);
            self.layer(&Sheet::new(&history(&layer.name), &table, srs), record)?;
        }
        Ok(())
    }

    fn stored(
        &mut self,
        registry: &Registry,
        identity: &Identity,
    ) -> Result<Option<Version>, String> {
        let ask = format!(
            "SELECT revision, hash FROM {} WHERE supplier = ?1 AND job = ?2",
            quoted(&registry.name)
        );
        let version = |row: &rusqlite::Row<'_>| {
            Ok(Version {
                revision: row.get(0)?,
                hash: row.get(1)?,
            })
        };
        self.connection
            .query_row(&ask, params![identity.supplier, identity.job], version)
            .optional()
            .map_err(|e| plain(&e))
    }

    fn keep(
        &mut self,
        registry: &Registry,
        layers: &[Layer<'_>],
        identity: &Identity,
        version: &Version,
    ) -> Result<(), String> {
        for layer in layers {
            let table = past(layer.table);
            let sheet = Sheet::new(&history(&layer.name), &table, 0);
            let own = layer
                .table
                .columns
                .iter()
                .map(|column| quoted(&column.name));
            let columns: Vec<String> = std::iter::once(quoted(&sheet.geometry))
                .chain(own)
                .collect();
            let columns = columns.join(", ");
            let sql = format!(
                "INSERT INTO {} ({columns}, record_hash, replaced_at) SELECT {columns}, ?3, {NOW} FROM {} WHERE {} = ?1 AND {} = ?2",
                quoted(&sheet.name),
                quoted(&layer.name),
                quoted(layer.supplier),
                quoted(layer.job)
            );
            self.connection
                .execute(&sql, params![identity.supplier, identity.job, version.hash])
                .map_err(|e| plain(&e))?;
            self.touch(&sheet)?;
        }
        let sql = format!(
            "INSERT INTO {} (supplier, job, revision, hash, loaded_at, replaced_at) SELECT supplier, job, revision, hash, loaded_at, {NOW} FROM {} WHERE supplier = ?1 AND job = ?2",
            quoted(&registry.history()),
            quoted(&registry.name)
        );
        self.connection
            .execute(&sql, params![identity.supplier, identity.job])
            .map(|_| ())
            .map_err(|e| plain(&e))
    }

    fn clear(&mut self, layer: &Layer<'_>, identity: &Identity) -> Result<(), String> {
        let (table, supplier, job) = (
            quoted(&layer.name),
            quoted(layer.supplier),
            quoted(layer.job),
        );
        let sql = format!("DELETE FROM {table} WHERE {supplier} = ?1 AND {job} = ?2");
        self.connection
            .execute(&sql, params![identity.supplier, identity.job])
            .map(|_| ())
            .map_err(|e| plain(&e))
    }

    fn fill(&mut self, layer: &Layer<'_>, record: &AsBuilt) -> Result<u64, String> {
        let sheet = Sheet::new(&layer.name, layer.table, self.srs(record)?);
        let rows = sheet
            .insert(&self.connection, layer.table.rows(record))
            .map_err(|e| plain(&e))?;
        self.touch(&sheet)?;
        Ok(rows)
    }

    fn enter(
        &mut self,
        registry: &Registry,
        identity: &Identity,
        version: &Version,
    ) -> Result<(), String> {
        let name = quoted(&registry.name);
        let clear = format!("DELETE FROM {name} WHERE supplier = ?1 AND job = ?2");
        let enter = format!(
            "INSERT INTO {name} (supplier, job, revision, hash, loaded_at) VALUES (?1, ?2, ?3, ?4, {NOW})"
        );
        self.connection
            .execute(&clear, params![identity.supplier, identity.job])
            .map_err(|e| plain(&e))?;
        let values = params![
            identity.supplier,
            identity.job,
            version.revision,
            version.hash
        ];
        self.connection
            .execute(&enter, values)
            .map(|_| ())
            .map_err(|e| plain(&e))
    }

    fn entered(&mut self, registry: &Registry) -> Result<Vec<(Identity, Version)>, String> {
        let columns = self.columns(&registry.name).map_err(|e| plain(&e))?;
        if columns.is_empty() {
            return Ok(Vec::new());
        }
        let ask = format!(
            "SELECT supplier, job, revision, hash FROM {} ORDER BY supplier, job",
            quoted(&registry.name)
        );
        let entry = |row: &rusqlite::Row<'_>| {
            let identity = Identity {
                supplier: row.get(0)?,
                job: row.get(1)?,
            };
            let version = Version {
                revision: row.get(2)?,
                hash: row.get(3)?,
            };
            Ok((identity, version))
        };
        let mut ask = self.connection.prepare(&ask).map_err(|e| plain(&e))?;
        let rows = ask.query_map([], entry);
        rows.and_then(Iterator::collect).map_err(|e| plain(&e))
    }

    fn further(&mut self, table: &Further) -> Result<(), String> {
        let mut wanted = vec![
            Typed::new("fid", "INTEGER"),
            Typed::new("supplier", "TEXT"),
            Typed::new("job", "TEXT"),
        ];
        let own = table.columns.iter();
        wanted.extend(own.map(|(name, kind)| Typed::new(name, sql_type(*kind))));
        self.registry(&table.name, &wanted, table.meaning)
    }

    fn put(
        &mut self,
        table: &Further,
        identity: &Identity,
        rows: &[Vec<Value<'_>>],
    ) -> Result<(), String> {
        self.forget(table, identity)?;
        let name = quoted(&table.name);
        let columns: Vec<&str> = table.columns.iter().map(|(name, _)| *name).collect();
        let places: Vec<String> = (3..columns.len() + 3).map(|at| format!("?{at}")).collect();
        let sql = format!(
            "INSERT INTO {name} (supplier, job, {}) VALUES (?1, ?2, {})",
            columns.join(", "),
            places.join(", ")
        );
        let mut insert = self.connection.prepare(&sql).map_err(|e| plain(&e))?;
        for row in rows {
            let head = [&identity.supplier, &identity.job].map(|text| Cell::Text(text.clone()));
            let cells = head.into_iter().chain(row.iter().map(|value| match value {
                Value::Absent => Cell::Null,
                Value::Text(text) => Cell::Text(text.to_string()),
                Value::Integer(number) => Cell::Integer(*number),
                Value::Real(number) => Cell::Real(*number),
            }));
            insert
                .execute(rusqlite::params_from_iter(cells))
                .map_err(|e| plain(&e))?;
        }
        Ok(())
    }

    fn forget(&mut self, table: &Further, identity: &Identity) -> Result<(), String> {
        let columns = self.columns(&table.name).map_err(|e| plain(&e))?;
        if columns.is_empty() {
            return Ok(());
        }
        let clear = format!(
            "DELETE FROM {} WHERE supplier = ?1 AND job = ?2",
            quoted(&table.name)
        );
        self.connection
            .execute(&clear, params![identity.supplier, identity.job])
            .map(|_| ())
            .map_err(|e| plain(&e))
    }

    fn texts(&mut self, table: &Further, column: &str) -> Result<Vec<String>, String> {
        let ask = format!(
            "SELECT {column} FROM {} ORDER BY supplier, job, fid",
            quoted(&table.name)
        );
        let mut ask = self.connection.prepare(&ask).map_err(|e| plain(&e))?;
        let texts = ask.query_map([], |row| row.get(0));
        texts.and_then(Iterator::collect).map_err(|e| plain(&e))
    }

    fn commit(&mut self) -> Result<(), String> {
        self.connection
            .execute_batch("COMMIT")
            .map_err(|e| plain(&e))?;
        self.making = None;
        Ok(())
    }
}
