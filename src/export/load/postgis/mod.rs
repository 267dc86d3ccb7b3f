//! PostgreSQL with PostGIS: COPY in its binary form, one transaction, one advisory lock for each schema.
//!
//! The connection is not encrypted by this program: use a local socket, or a tunnel.
//!
//! Geometries have a third coordinate there where the invert is known, so the column is plain `geometry`, with checks for
//! the coordinate system and the kind of geometry, which PostGIS's `geometry_columns` reads.

use std::time::Duration;

use postgres::binary_copy::BinaryCopyInWriter;
use postgres::config::{Host, SslMode};
use postgres::types::{ToSql, Type};
use postgres::{Client, Config, NoTls};

use super::columns::Typed;
use super::{Further, Identity, Layer, Registry, Store, Version, geometry, history, system};
use crate::error::Error;
use crate::export::gpkg::layer::{Layer as Names, quoted};
use crate::export::value::{Kind, Value};
use crate::export::wkb;
use crate::record::AsBuilt;

mod cell;
mod tables;

use cell::Cell;

/// First half of the advisory lock's key, "asla"; the second is the schema's.
const LOCK: i32 = 0x6173_6c61;
/// How long a connection may take to come about: our choice.
const CONNECT: Duration = Duration::from_secs(15);

pub(super) struct Postgis {
    client: Client,
    schema: String,
    /// Number of the coordinate system in this database, and the code it stands for.
    srid: Option<(String, i32)>,
}

/// Connects, begins the transaction, and waits for its turn. Gives the database's name for messages as well.
pub(super) fn open(
    url: &str,
    password: Option<&str>,
    schema: &str,
) -> Result<(String, Postgis), Error> {
    let mut config: Config = url
        .parse()
        .map_err(|e: postgres::Error| Error::Usage(format!("--into: {}", plain(&e))))?;
    let target = describe(&config);
    let failed = |why| Error::Load {
        target: target.clone(),
        why,
    };
    if config.get_ssl_mode() == SslMode::Require {
        return Err(failed("this program can't encrypt the connection; use a local socket or a tunnel, and take sslmode=require out".to_owned()));
    }
    if let (None, Some(password)) = (config.get_password(), password) {
        config.password(password);
    }
    config.application_name("aslaid").connect_timeout(CONNECT);
    let client = config.connect(NoTls).map_err(|e| failed(plain(&e)))?;
    let mut store = Postgis {
        client,
        schema: schema.to_owned(),
        srid: None,
    };
    store.begin().map_err(failed)?;
    Ok((target, store))
}

fn describe(config: &Config) -> String {
    let host = config
        .get_hosts()
        .first()
        .map_or_else(String::new, |host| match host {
            Host::Tcp(name) => name.clone(),
            #[cfg(unix)]
            Host::Unix(path) => path.display().to_string(),
        });
    format!("{host}/{}", config.get_dbname().unwrap_or_default())
}

/// The server's own words, and nothing of the program's.
fn plain(error: &postgres::Error) -> String {
    if let Some(error) = error.as_db_error() {
        let more = [error.detail(), error.hint()].into_iter().flatten();
        return more.fold(error.message().to_owned(), |text, more| {
            format!("{text}; {more}")
        });
    }
    let source = std::error::Error::source(error)
        .map(|source| format!(": {source}"))
        .unwrap_or_default();
    format!("{error}{source}")
}

impl Postgis {
    fn begin(&mut self) -> Result<(), String> {
        self.client.batch_execute("BEGIN").map_err(|e| plain(&e))?;
        let lock = "SELECT pg_advisory_xact_lock($1, hashtext($2))";
        self.client
            .execute(lock, &[&LOCK, &self.schema])
            .map_err(|e| plain(&e))?;
        let extension = "SELECT 1 FROM pg_extension WHERE extname = 'postgis'";
        if self
            .client
            .query_opt(extension, &[])
            .map_err(|e| plain(&e))?
            .is_none()
        {
            return Err(
                "the database has no PostGIS; let its owner run CREATE EXTENSION postgis"
                    .to_owned(),
            );
        }
        // Made only where it is missing: making it needs a right that loading does not.
        let there = "SELECT 1 FROM pg_namespace WHERE nspname = $1";
        if self
            .client
            .query_opt(there, &[&self.schema])
            .map_err(|e| plain(&e))?
            .is_none()
        {
            self.run(&format!("CREATE SCHEMA {}", quoted(&self.schema)))?;
        }
        Ok(())
    }

    fn run(&mut self, sql: &str) -> Result<(), String> {
        self.client.batch_execute(sql).map_err(|e| plain(&e))
    }

    fn execute(&mut self, sql: &str, values: &[&(dyn ToSql + Sync)]) -> Result<u64, String> {
        self.client.execute(sql, values).map_err(|e| plain(&e))
    }

    fn full(&self, name: &str) -> String {
        format!("{}.{}", quoted(&self.schema), quoted(name))
    }

    /// The database's own number of a record's coordinate system.
    fn srid(&mut self, record: &AsBuilt) -> Result<i32, String> {
        let crs = &record.frame.crs;
        if let Some((known, srid)) = &self.srid
            && known == crs
        {
            return Ok(*srid);
        }
        let missing = || {
            format!(
                "its spatial_ref_sys does not know {crs}; build the record with --crs in one that it knows"
            )
        };
        let system = system::of(record).ok_or_else(missing)?;
        let ask = "SELECT srid FROM spatial_ref_sys WHERE upper(auth_name) = upper($1) AND auth_srid = $2 ORDER BY srid LIMIT 1";
        let found = self
            .client
            .query_opt(ask, &[&system.authority, &system.code])
            .map_err(|e| plain(&e))?;
        let srid = found.ok_or_else(missing)?.get(0);
        self.srid = Some((crs.clone(), srid));
        Ok(srid)
    }
}

impl Store for Postgis {
    fn ready(
        &mut self,
        registry: &Registry,
        layers: &[Layer<'_>],
        record: &AsBuilt,
    ) -> Result<(), String> {
        let srid = self.srid(record)?;
        let mut wanted = vec![
            Typed::new("supplier", "text"),
            Typed::new("job", "text"),
            Typed::new("revision", "bigint"),
            Typed::new("hash", "text"),
            Typed::new("loaded_at", "timestamp with time zone"),
        ];
        self.table(
            &registry.name,
            &wanted,
            None,
            ", PRIMARY KEY (supplier, job)",
        )?;
        wanted.push(Typed::new("replaced_at", "timestamp with time zone"));
        self.table(&registry.history(), &wanted, None, "")?;
        layers.iter().try_for_each(|layer| self.layer(layer, srid))
    }

    fn stored(
        &mut self,
        registry: &Registry,
        identity: &Identity,
    ) -> Result<Option<Version>, String> {
        let ask = format!(
            "SELECT revision, hash FROM {} WHERE supplier = $1 AND job = $2",
            self.full(&registry.name)
        );
        let found = self
            .client
            .query_opt(&ask, &[&identity.supplier, &identity.job])
            .map_err(|e| plain(&e))?;
        Ok(found.map(|row| Version {
            revision: row.get(0),
            hash: row.get(1),
        }))
    }

    fn keep(
        &mut self,
        registry: &Registry,
        layers: &[Layer<'_>],
        identity: &Identity,
        version: &Version,
    ) -> Result<(), String> {
        for layer in layers {
            let names = Names::new(&layer.name, layer.table, 0);
            let own = layer
                .table
                .columns
                .iter()
                .map(|column| quoted(&column.name));
            let columns: Vec<String> = [quoted(&names.key), quoted(&names.geometry)]
                .into_iter()
                .chain(own)
                .collect();
            let columns = columns.join(", ");
            let sql = format!(
                "INSERT INTO {} ({columns}, record_hash, replaced_at) SELECT {columns}, $3, now() FROM {} WHERE {} = $1 AND {} = $2",
                self.full(&history(&layer.name)),
                self.full(&layer.name),
                quoted(layer.supplier),
                quoted(layer.job)
            );
            self.execute(&sql, &[&identity.supplier, &identity.job, &version.hash])?;
        }
        let sql = format!(
            "INSERT INTO {} SELECT supplier, job, revision, hash, loaded_at, now() FROM {} WHERE supplier = $1 AND job = $2",
            self.full(&registry.history()),
            self.full(&registry.name)
        );
        self.execute(&sql, &[&identity.supplier, &identity.job])
            .map(|_| ())
    }

    fn clear(&mut self, layer: &Layer<'_>, identity: &Identity) -> Result<(), String> {
        let (table, supplier, job) = (
            self.full(&layer.name),
            quoted(layer.supplier),
            quoted(layer.job),
        );
        let sql = format!("DELETE FROM {table} WHERE {supplier} = $1 AND {job} = $2");
        self.execute(&sql, &[&identity.supplier, &identity.job])
            .map(|_| ())
    }

    fn fill(&mut self, layer: &Layer<'_>, record: &AsBuilt) -> Result<u64, String> {
        let srid = self.srid(record)?;
        let names = Names::new(&layer.name, layer.table, srid);
        let own = layer
            .table
            .columns
            .iter()
            .map(|column| quoted(&column.name));
        let columns: Vec<String> = std::iter::once(quoted(&names.geometry))
            .chain(own)
            .collect();
        let sql = format!(
            "COPY {} ({}) FROM STDIN (FORMAT binary)",
            self.full(&layer.name),
            columns.join(", ")
        );
        // A geometry's binary form is its extended well-known binary.
        let kinds = layer
            .table
            .columns
            .iter()
            .map(|column| match column.quantity.kind() {
                Kind::Text => Type::TEXT,
                Kind::Integer => Type::INT8,
                Kind::Real => Type::FLOAT8,
            });
        let types: Vec<Type> = std::iter::once(Type::BYTEA).chain(kinds).collect();
        let writer = self.client.copy_in(&sql).map_err(|e| plain(&e))?;
        let mut copy = BinaryCopyInWriter::new(writer, &types);
        for row in layer.table.rows(record) {
            let geometry = wkb::extended(&geometry::projected(row), srid);
            let cells = layer
                .table
                .columns
                .iter()
                .map(|column| Cell::Value(column.value(row)));
            let cells: Vec<Cell<'_>> = std::iter::once(Cell::Geometry(geometry))
                .chain(cells)
                .collect();
            let cells: Vec<&(dyn ToSql + Sync)> = cells
                .iter()
                .map(|cell| cell as &(dyn ToSql + Sync))
                .collect();
            copy.write(&cells).map_err(|e| plain(&e))?;
        }
        copy.finish().map_err(|e| plain(&e))
    }

    fn enter(
        &mut self,
        registry: &Registry,
        identity: &Identity,
        version: &Version,
    ) -> Result<(), String> {
        let sql = format!(
            "INSERT INTO {} (supplier, job, revision, hash, loaded_at) VALUES ($1, $2, $3, $4, now()) ON CONFLICT (supplier, job) \
             DO UPDATE SET revision = excluded.revision, hash = excluded.hash, loaded_at = excluded.loaded_at",
            self.full(&registry.name)
        );
        self.execute(
            &sql,
            &[
                &identity.supplier,
                &identity.job,
                &version.revision,
                &version.hash,
            ],
        )
        .map(|_| ())
    }

    fn entered(&mut self, registry: &Registry) -> Result<Vec<(Identity, Version)>, String> {
        if self.columns(&registry.name)?.is_empty() {
            return Ok(Vec::new());
        }
        let ask = format!(
            "SELECT supplier, job, revision, hash FROM {} ORDER BY supplier COLLATE \"C\", job COLLATE \"C\"",
            self.full(&registry.name)
        );
        let rows = self.client.query(&ask, &[]).map_err(|e| plain(&e))?;
        let entry = |row: &postgres::Row| {
            let identity = Identity {
                supplier: row.get(0),
                job: row.get(1),
            };
            let version = Version {
                revision: row.get(2),
                hash: row.get(3),
            };
            (identity, version)
        };
        Ok(rows.iter().map(entry).collect())
    }

    fn further(&mut self, table: &Further) -> Result<(), String> {
        let mut wanted = vec![Typed::new("supplier", "text"), Typed::new("job", "text")];
        let own = table.columns.iter();
        wanted.extend(own.map(|(name, kind)| Typed::new(name, tables::sql_type(*kind))));
        self.table(&table.name, &wanted, None, "").map(|_| ())
    }

    fn put(
        &mut self,
        table: &Further,
        identity: &Identity,
        rows: &[Vec<Value<'_>>],
    ) -> Result<(), String> {
        self.forget(table, identity)?;
        let name = self.full(&table.name);
        let columns: Vec<&str> = table.columns.iter().map(|(name, _)| *name).collect();
        let places: Vec<String> = (3..columns.len() + 3).map(|at| format!("${at}")).collect();
        let sql = format!(
            "INSERT INTO {name} (supplier, job, {}) VALUES ($1, $2, {})",
            columns.join(", "),
            places.join(", ")
        );
        for row in rows {
            let cells: Vec<Cell<'_>> = row.iter().cloned().map(Cell::Value).collect();
            let mut values: Vec<&(dyn ToSql + Sync)> = vec![&identity.supplier, &identity.job];
            values.extend(cells.iter().map(|cell| cell as &(dyn ToSql + Sync)));
            self.execute(&sql, &values)?;
        }
        Ok(())
    }

    fn forget(&mut self, table: &Further, identity: &Identity) -> Result<(), String> {
        if self.columns(&table.name)?.is_empty() {
            return Ok(());
        }
        let clear = format!(
            "DELETE FROM {} WHERE supplier = $1 AND job = $2",
            self.full(&table.name)
        );
        self.execute(&clear, &[&identity.supplier, &identity.job])
            .map(|_| ())
    }

    fn texts(&mut self, table: &Further, column: &str) -> Result<Vec<String>, String> {
        let ask = format!(
            "SELECT {column} FROM {} ORDER BY supplier COLLATE \"C\", job COLLATE \"C\"",
            self.full(&table.name)
        );
        let rows = self.client.query(&ask, &[]).map_err(|e| plain(&e))?;
        Ok(rows.iter().map(|row| row.get(0)).collect())
    }

    fn commit(&mut self) -> Result<(), String> {
        self.run("COMMIT")
    }
}
