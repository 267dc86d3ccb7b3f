//! The spatial index of a layer and the triggers that keep it, as annex F.3 of the
//! [standard](crate::sources::Source::GeoPackage) (version 1.3) has them.

use super::layer::quoted;

/// SQL that makes both, for a table, its key and its geometry column.
#[must_use]
pub fn ddl(table: &str, key: &str, geometry: &str) -> String {
    let name = format!("rtree_{table}_{geometry}");
    let (rtree, table) = (quoted(&name), quoted(table));
    let (key, geometry) = (quoted(key), quoted(geometry));
    let filled = format!("(NEW.{geometry} NOTNULL AND NOT ST_IsEmpty(NEW.{geometry}))");
    let empty = format!("(NEW.{geometry} ISNULL OR ST_IsEmpty(NEW.{geometry}))");
    let (same, other) = (
        format!("OLD.{key} = NEW.{key}"),
        format!("OLD.{key} != NEW.{key}"),
    );
    let put = format!(
        "INSERT OR REPLACE INTO {rtree} VALUES (NEW.{key}, ST_MinX(NEW.{geometry}), ST_MaxX(NEW.{geometry}), \
         ST_MinY(NEW.{geometry}), ST_MaxY(NEW.{geometry}));"
    );
    let drop = format!("DELETE FROM {rtree} WHERE id = OLD.{key};");
    let drop_both = format!("DELETE FROM {rtree} WHERE id IN (OLD.{key}, NEW.{key});");
    let drop_and_put = format!("{drop} {put}");
    let update = format!("UPDATE OF {geometry}");
    let triggers: [(&str, &str, String, &str); 6] = [
        ("insert", "INSERT", filled.clone(), &put),
        ("update1", &update, format!("{same} AND {filled}"), &put),
        ("update2", &update, format!("{same} AND {empty}"), &drop),
        (
            "update3",
            "UPDATE",
            format!("{other} AND {filled}"),
            &drop_and_put,
        ),
        (
            "update4",
            "UPDATE",
            format!("{other} AND {empty}"),
            &drop_both,
        ),
        (
            "delete",
            "DELETE",
            format!("OLD.{geometry} NOT NULL"),
            &drop,
        ),
    ];
    let triggers = triggers.map(|(suffix, when, condition, then)| {
        let trigger = quoted(&format!("{name}_{suffix}"));
        format!(
            "CREATE TRIGGER {trigger} AFTER {when} ON {table} WHEN {condition} BEGIN {then} END;"
        )
    });
    format!(
        "CREATE VIRTUAL TABLE {rtree} USING rtree(id, minx, maxx, miny, maxy);\n{}",
        triggers.join("\n")
    )
}
