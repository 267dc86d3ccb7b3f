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
    let (names, key) = columns(connection, &layer.name)?;
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

/// Names of a table's columns, in order, and that of its key. Asked as values: a name that is no UTF-8 is a damaged file's, and a
/// statement's own names are taken for granted to be.
fn columns(
    connection: &Connection,
    table: &str,
) -> rusqlite::Result<(Vec<String>, Option<String>)> {
    let mut about = connection
        .prepare("SELECT name, pk FROM pragma_table_xinfo(?1) WHERE hidden <> 1 ORDER BY cid")?;
    let mut rows = about.query([table])?;
    let (mut names, mut key) = (Vec::new(), None);
    while let Some(row) = rows.next()? {
        let name = text(row.get_ref(0)?).unwrap_or_default();
        if row.get_ref(1)?.as_i64() == Ok(1) {
            key = Some(name.clone());
        }
        names.push(name);
    }
    Ok((names, key))
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A package with one table of features, with a column computed and one whose name is damaged in place.
    fn package(damage: bool) -> rusqlite::Result<Vec<RawLayer>> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("p.gpkg");
        let made = Connection::open(&path)?;
        made.execute_batch(
            "CREATE TABLE gpkg_contents (table_name TEXT, data_type TEXT);
             CREATE TABLE gpkg_geometry_columns (table_name TEXT, column_name TEXT, srs_id INTEGER);
             CREATE TABLE gpkg_spatial_ref_sys (srs_id INTEGER, organization TEXT, organization_coordsys_id INTEGER, srs_name TEXT);
             CREATE TABLE water (fid INTEGER PRIMARY KEY, twice INTEGER AS (2 * n), n INTEGER, DEPTH TEXT, geom BLOB);
             INSERT INTO gpkg_contents VALUES ('water', 'features');
             INSERT INTO gpkg_geometry_columns VALUES ('water', 'geom', -1);
             INSERT INTO water VALUES (7, 4, '5 ft', x'47500001000000000101000000000000000000F03F0000000000000040');",
        )?;
        drop(made);
        if damage {
            let mut bytes = std::fs::read(&path).unwrap();
            let at = bytes.windows(5).position(|five| five == b"DEPTH").unwrap();
            bytes[at] = 0xff;
            std::fs::write(&path, bytes).unwrap();
        }
        read(&path)
    }

    #[test]
    fn columns_keep_their_values_and_a_damaged_name_ends_nothing() {
        for damage in [false, true] {
            let layers = package(damage).unwrap();
            let feature = &layers[0].features[0];
            assert_eq!(feature.number, 7);
            let depth = if damage { "\u{fffd}EPTH" } else { "DEPTH" };
            let expected = [("n", "4"), ("twice", "8"), (depth, "5 ft")];
            let expected = expected.map(|(name, text)| (name.to_owned(), text.to_owned()));
            assert_eq!(feature.attributes, BTreeMap::from(expected), "{damage}");
        }
    }
}
