//! GeoPackage ([`crate::sources::Source::GeoPackage`]): every feature table of `gpkg_contents`.

use std::collections::BTreeMap;
use std::path::Path;

use rusqlite::types::ValueRef;
use rusqlite::{Connection, OpenFlags, Row};

use super::{RawLayer, Reader, System, wkb};

/// The format.
pub struct GeoPackage;

impl Reader for GeoPackage {
    fn endings(&self) -> &'static [&'static str] {
        &["gpkg"]
    }

    fn read(
        &self,
        path: &Path,
        _: Option<&str>,
        _: &mut Vec<String>,
    ) -> Result<Vec<RawLayer>, String> {
        read(path).map_err(|why| format!("this is no GeoPackage that can be read: {why}"))
    }
}

/// Its feature tables.
pub fn read(path: &Path) -> rusqlite::Result<Vec<RawLayer>> {
    let connection = Connection::open_with_flags(
        path,
        OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX,
    )?;
    let mut tables = connection.prepare(
        "SELECT g.table_name, g.column_name, s.organization, s.organization_coordsys_id, s.srs_name, g.srs_id
         FROM gpkg_geometry_columns g JOIN gpkg_contents c ON c.table_name = g.table_name
         LEFT JOIN gpkg_spatial_ref_sys s ON s.srs_id = g.srs_id
         WHERE c.data_type = 'features' ORDER BY c.rowid",
    )?;
    let tables = tables.query_map([], |row| {
        Ok((
            row.get::<_, String>(0)?,
            row.get::<_, String>(1)?,
            system(row)?,
        ))
    })?;
    tables
        .map(|table| {
            let (name, column, system) = table?;
            layer(&connection, name, &column, system)
        })
        .collect()
}

/// The system of a table: −1 and 0 stand for undefined ones, by the standard.
fn system(row: &Row<'_>) -> rusqlite::Result<System> {
    let (organization, code, name): (Option<String>, Option<i64>, Option<String>) =
        (row.get(2)?, row.get(3)?, row.get(4)?);
    let id: i64 = row.get(5)?;
    Ok(match (organization, code) {
        _ if id == -1 || id == 0 => System::Unsaid,
        (Some(organization), Some(code)) if organization.eq_ignore_ascii_case("EPSG") => {
            System::Code(format!("EPSG:{code}"))
        }
        _ => System::Unknown(name.unwrap_or_else(|| format!("system {id}"))),
    })
}

fn layer(
    connection: &Connection,
    name: String,
    column: &str,
    system: System,
) -> rusqlite::Result<RawLayer> {
    let mut layer = RawLayer {
        name,
        system,
        features: Vec::new(),
        left_out: Vec::new(),
    };
    let table = layer.name.replace('"', "\"\"");
    let mut rows = connection.prepare(&format!("SELECT * FROM \"{table}\""))?;
    let names: Vec<String> = rows.column_names().into_iter().map(str::to_owned).collect();
    let key = primary_key(connection, &layer.name)?;
    let mut rows = rows.query([])?;
    let mut count = 0;
    while let Some(row) = rows.next()? {
        count += 1;
        let mut number = count;
        let mut shape = Err("it has no shape".to_owned());
        let mut attributes = BTreeMap::new();
        for (index, name) in names.iter().enumerate() {
            let value = row.get_ref(index)?;
            if name.eq_ignore_ascii_case(column) {
                shape = match value {
                    ValueRef::Blob(blob) => wkb::geopackage(blob)
                        .and_then(|found| found.ok_or_else(|| "its shape is empty".to_owned())),
                    _ => Err("it has no shape".to_owned()),
                };
            } else if Some(name) == key.as_ref() {
                number = value
                    .as_i64()
                    .ok()
                    .and_then(|key| u64::try_from(key).ok())
                    .unwrap_or(number);
            } else if let Some(text) = text(value) {
                attributes.insert(name.clone(), text);
            }
        }
        layer.take(number, None, shape, attributes);
    }
    Ok(layer)
}

fn primary_key(connection: &Connection, table: &str) -> rusqlite::Result<Option<String>> {
    let mut about = connection.prepare("SELECT name FROM pragma_table_info(?1) WHERE pk = 1")?;
    let mut names = about.query_map([table], |row| row.get(0))?;
    names.next().transpose()
}

/// A value as text; nothing for null and for bytes.
fn text(value: ValueRef<'_>) -> Option<String> {
    match value {
        ValueRef::Null | ValueRef::Blob(_) => None,
        ValueRef::Integer(number) => Some(number.to_string()),
        ValueRef::Real(number) => Some(number.to_string()),
        ValueRef::Text(text) => Some(String::from_utf8_lossy(text).into_owned()),
    }
}
