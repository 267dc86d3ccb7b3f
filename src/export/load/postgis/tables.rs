//! The tables of a schema: made where they are missing, held against what they must be where they are there.

use super::{Postgis, plain};
use crate::export::gpkg::layer::{Layer as Names, quoted, shape};
use crate::export::load::columns::{Typed, compare};
use crate::export::load::{Layer, history, other_system};
use crate::export::value::{Kind, without_nul};

impl Postgis {
    /// The columns of a table; none where there is no such table.
    pub(super) fn columns(&mut self, name: &str) -> Result<Vec<Typed>, String> {
        let ask = "SELECT a.attname, format_type(a.atttypid, NULL) FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid \
                   JOIN pg_namespace n ON n.oid = c.relnamespace WHERE n.nspname = $1 AND c.relname = $2 AND a.attnum > 0 \
                   AND NOT a.attisdropped ORDER BY a.attnum";
        let rows = self
            .client
            .query(ask, &[&self.schema, &name])
            .map_err(|e| plain(&e))?;
        let typed = |row: &postgres::Row| {
            let (name, kind): (String, String) = (row.get(0), row.get(1));
            // PostGIS may be installed in a schema of its own.
            let kind = if kind.ends_with(".geometry") {
                "geometry"
            } else {
                &kind
            };
            Typed::new(&name, kind)
        };
        Ok(rows.iter().map(typed).collect())
    }

    /// Makes a table, or holds it against what it must be; gives whether it was made.
    pub(super) fn table(
        &mut self,
        name: &str,
        wanted: &[Typed],
        key: Option<&str>,
        more: &str,
    ) -> Result<bool, String> {
        let found = self.columns(name)?;
        if !found.is_empty() {
            return compare(&self.full(name), &found, wanted).map(|()| false);
        }
        let definition = |column: &Typed| {
            let identity = if key == Some(column.name.as_str()) {
                " GENERATED ALWAYS AS IDENTITY PRIMARY KEY"
            } else {
                ""
            };
            format!("{} {}{identity}", quoted(&column.name), column.kind)
        };
        let columns: Vec<String> = wanted.iter().map(definition).collect();
        self.run(&format!(
            "CREATE TABLE {} ({}{more})",
            self.full(name),
            columns.join(", ")
        ))?;
        Ok(true)
    }

    pub(super) fn layer(&mut self, layer: &Layer<'_>, srid: i32) -> Result<(), String> {
        let names = Names::new(&layer.name, layer.table, srid);
        let geometry = quoted(&names.geometry);
        let checks = format!(
            ", CHECK (st_srid({geometry}) = {srid}), CHECK (geometrytype({geometry}) = '{}')",
            shape(layer.table)
        );
        let mut wanted = vec![
            Typed::new(&names.key, "bigint"),
            Typed::new(&names.geometry, "geometry"),
        ];
        wanted.extend(
            layer
                .table
                .columns
                .iter()
                .map(|column| Typed::new(&column.name, sql_type(column.quantity.kind()))),
        );
        let made = self.table(&layer.name, &wanted, Some(&names.key), &checks)?;
        let identity = format!("{}, {}", quoted(layer.supplier), quoted(layer.job));
        if made {
            let table = self.full(&layer.name);
            self.run(&format!("CREATE INDEX ON {table} USING gist ({geometry}); CREATE INDEX ON {table} ({identity})"))?;
            for column in layer.table.columns.iter().filter(|column| column.required) {
                self.run(&format!(
                    "ALTER TABLE {table} ALTER COLUMN {} SET NOT NULL",
                    quoted(&column.name)
                ))?;
            }
            self.describe(layer)?;
        } else {
            self.check_system(&layer.name, &names.geometry, srid)?;
        }
        let past = history(&layer.name);
        wanted.extend([
            Typed::new("record_hash", "text"),
            Typed::new("replaced_at", "timestamp with time zone"),
        ]);
        if self.table(&past, &wanted, None, "")? {
            self.run(&format!(
                "CREATE INDEX ON {} ({identity})",
                self.full(&past)
            ))?;
        }
        Ok(())
    }

    fn describe(&mut self, layer: &Layer<'_>) -> Result<(), String> {
        let table = self.full(&layer.name);
        let meaning = literal(layer.table.meaning);
        self.run(&format!("COMMENT ON TABLE {table} IS {meaning}"))?;
        for column in &layer.table.columns {
            let (name, meaning) = (quoted(&column.name), literal(&column.meaning));
            self.run(&format!("COMMENT ON COLUMN {table}.{name} IS {meaning}"))?;
        }
        Ok(())
    }

    /// A table holds one coordinate system.
    fn check_system(&mut self, name: &str, geometry: &str, srid: i32) -> Result<(), String> {
        let ask = "SELECT srid FROM geometry_columns WHERE f_table_schema = $1 AND f_table_name = $2 AND f_geometry_column = $3";
        let found = self
            .client
            .query_opt(ask, &[&self.schema, &name, &geometry])
            .map_err(|e| plain(&e))?;
        // 0 stands for a table that anyone made without a system.
        let theirs = found.map(|row| row.get(0)).filter(|other| *other != 0);
        other_system(&format!("table {}", self.full(name)), theirs, srid)
    }
}

pub(super) const fn sql_type(kind: Kind) -> &'static str {
    match kind {
        Kind::Text => "text",
        Kind::Integer => "bigint",
        Kind::Real => "double precision",
    }
}

/// A text in SQL, whatever the server takes a backslash for.
fn literal(text: &str) -> String {
    let doubled = without_nul(text).replace('\'', "''").replace('\\', "\\\\");
    format!("E'{doubled}'")
}
