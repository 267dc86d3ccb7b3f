//! A layer of a [GeoPackage](crate::sources::Source::GeoPackage): its table, its spatial index, and what the standard's
//! own tables say of it. Both `asbuilt.gpkg` and loading into a GeoPackage are made of these.

use std::collections::BTreeSet;

use rusqlite::types::ToSqlOutput;
use rusqlite::{Connection, Result, ToSql, params, params_from_iter};

use super::{blob, rtree};
use crate::export::geometry;
use crate::export::table::{Column, Row, Table};
use crate::export::value::{Kind, Value, without_nul};
use crate::record::model::Frame;

/// A layer as it is to be made or filled.
#[derive(Clone, Debug)]
pub struct Layer<'a> {
    /// Name of its table.
    pub name: String,
    /// What fills it.
    pub table: &'a Table,
    /// Name of its primary key.
    pub key: String,
    /// Name of its geometry column.
    pub geometry: String,
    /// Number of its coordinate system.
    pub srs: i32,
}

impl<'a> Layer<'a> {
    /// A layer for a table. Key and geometry are called `fid` and `geom`, with as many underscores as it takes to differ
    /// from the table's own columns.
    #[must_use]
    pub fn new(name: &str, table: &'a Table, srs: i32) -> Self {
        let taken: BTreeSet<String> = table
            .columns
            .iter()
            .map(|column| column.name.to_lowercase())
            .collect();
        let free = |wanted: &str| {
            let mut name = wanted.to_owned();
            while taken.contains(&name) {
                name.push('_');
            }
            name
        };
        Self {
            name: name.to_owned(),
            table,
            key: free("fid"),
            geometry: free("geom"),
            srs,
        }
    }

    /// Makes the table, registers it, and makes its spatial index.
    ///
    /// # Errors
    /// SQLite's.
    pub fn create(&self, connection: &Connection, head: &Head<'_>) -> Result<()> {
        connection.execute_batch(&self.table_ddl())?;
        connection.execute(
            "INSERT INTO gpkg_contents VALUES (?1, 'features', ?1, ?2, ?3, NULL, NULL, NULL, NULL, ?4)",
            params![self.name, head.description, head.changed, self.srs],
        )?;
        // z = 2: there where the invert is known.
        connection.execute(
            "INSERT INTO gpkg_geometry_columns VALUES (?1, ?2, ?3, ?4, 2, 0)",
            params![self.name, self.geometry, self.shape(), self.srs],
        )?;
        connection.execute(
            "INSERT INTO gpkg_extensions VALUES (?1, ?2, 'gpkg_rtree_index', 'http://www.geopackage.org/spec120/#extension_rtree', 'write-only')",
            params![self.name, self.geometry],
        )?;
        self.describe(connection, head.frame)?;
        connection.execute_batch(&rtree::ddl(&self.name, &self.key, &self.geometry))
    }

    /// `POINT` or `LINESTRING`.
    #[must_use]
    pub fn shape(&self) -> &'static str {
        shape(self.table)
    }

    fn table_ddl(&self) -> String {
        let columns: Vec<String> = self.table.columns.iter().map(definition).collect();
        format!(
            "CREATE TABLE {} ({} INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, {} {}, {})",
            quoted(&self.name),
            quoted(&self.key),
            quoted(&self.geometry),
            self.shape(),
            columns.join(", "),
        )
    }

    fn describe(&self, connection: &Connection, frame: &Frame) -> Result<()> {
        let mut statement = connection
            .prepare("INSERT INTO gpkg_data_columns (table_name, column_name, description) VALUES (?1, ?2, ?3)")?;
        for column in &self.table.columns {
            let unit = column
                .unit(frame)
                .map(|unit| format!(", in {unit}"))
                .unwrap_or_default();
            statement.execute(params![
                self.name,
                column.name,
                format!("{}{unit}", column.meaning)
            ])?;
        }
        Ok(())
    }

    /// Writes rows, and gives their number.
    ///
    /// # Errors
    /// SQLite's.
    pub fn insert<'r>(
        &self,
        connection: &Connection,
        rows: impl Iterator<Item = Row<'r>>,
    ) -> Result<u64> {
        let own = self.table.columns.iter().map(|column| quoted(&column.name));
        let names: Vec<String> = std::iter::once(quoted(&self.geometry)).chain(own).collect();
        let places = ", ?".repeat(self.table.columns.len());
        let mut statement = connection.prepare(&format!(
            "INSERT INTO {} ({}) VALUES (?{places})",
            quoted(&self.name),
            names.join(", "),
        ))?;
        let mut count = 0;
        for row in rows {
            let geometry = blob::encode(&geometry::projected(row), self.srs);
            let cells = self
                .table
                .columns
                .iter()
                .map(|column| Cell::Value(column.value(row)));
            statement.execute(params_from_iter(
                std::iter::once(Cell::Geometry(geometry)).chain(cells),
            ))?;
            count += 1;
        }
        Ok(count)
    }

    /// Sets the box that the contents state to that of the rows.
    ///
    /// # Errors
    /// SQLite's.
    pub fn update_bounds(&self, connection: &Connection) -> Result<()> {
        let geometry = quoted(&self.geometry);
        connection.execute(
            &format!(
                "UPDATE gpkg_contents SET (min_x, min_y, max_x, max_y) = (SELECT min(ST_MinX({geometry})), min(ST_MinY({geometry})), max(ST_MaxX({geometry})), max(ST_MaxY({geometry})) FROM {}) WHERE table_name = ?1",
                quoted(&self.name)
            ),
            [&self.name],
        )?;
        Ok(())
    }
}

/// What the contents say of a layer.
#[derive(Clone, Copy, Debug)]
pub struct Head<'a> {
    /// What it holds.
    pub description: &'a str,
    /// When it was last changed, ISO 8601 UTC with milliseconds.
    pub changed: &'a str,
    /// Units for the columns' descriptions.
    pub frame: &'a Frame,
}

/// `POINT` or `LINESTRING`: what the rows of a feature table are.
#[must_use]
pub fn shape(table: &Table) -> &'static str {
    if table.name == "run" {
        "LINESTRING"
    } else {
        "POINT"
    }
}

/// A name as SQL takes any text for one.
#[must_use]
pub fn quoted(name: &str) -> String {
    format!("\"{}\"", without_nul(name).replace('"', "\"\""))
}

/// A column's definition in SQL.
#[must_use]
pub fn definition(column: &Column) -> String {
    let kind = sql_type(column.quantity.kind());
    let need = if column.required { " NOT NULL" } else { "" };
    format!("{} {kind}{need}", quoted(&column.name))
}

/// The standard's name of a type.
#[must_use]
pub const fn sql_type(kind: Kind) -> &'static str {
    match kind {
        Kind::Text => "TEXT",
        Kind::Integer => "INTEGER",
        Kind::Real => "DOUBLE",
    }
}

enum Cell<'a> {
    Geometry(Option<Vec<u8>>),
    Value(Value<'a>),
}

impl ToSql for Cell<'_> {
    fn to_sql(&self) -> Result<ToSqlOutput<'_>> {
        use rusqlite::types::{Value as Owned, ValueRef};
        Ok(match self {
            Self::Geometry(Some(blob)) => ToSqlOutput::Borrowed(ValueRef::Blob(blob)),
            Self::Geometry(None) | Self::Value(Value::Absent) => ToSqlOutput::Owned(Owned::Null),
            Self::Value(Value::Integer(value)) => ToSqlOutput::Owned(Owned::Integer(*value)),
            Self::Value(Value::Real(value)) => ToSqlOutput::Owned(Owned::Real(*value)),
            Self::Value(Value::Text(text)) => {
                ToSqlOutput::Owned(Owned::Text(without_nul(text).into_owned()))
            }
        })
    }
}
