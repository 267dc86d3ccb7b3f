//! From the name of a datum, as people write it, to its geographic CRS.

use std::rc::Rc;

use super::CrsError;
use super::ffi::{Context, Kind, Object};
use super::system::is_code;

/// The geographic CRS (latitude, longitude) of a datum given by name or by code.
pub(super) fn geographic(context: &Rc<Context>, name: &str) -> Result<Object, CrsError> {
    let found = if is_code(name) {
        by_code(context, name)
    } else {
        by_name(context, name)
    };
    found.map_err(|near| {
        let hint = if near.is_empty() {
            String::new()
        } else {
            format!(" (did you mean {}?)", near.join(", "))
        };
        CrsError::Datum {
            name: name.to_owned(),
            hint,
        }
    })
}

fn by_code(context: &Rc<Context>, code: &str) -> Result<Object, Vec<String>> {
    let object = context.object(code).ok_or_else(Vec::new)?;
    match object.kind() {
        Kind::Geographic2D => Ok(object),
        Kind::Geographic3D => object.flat().ok_or_else(Vec::new),
        // A projected CRS named as a datum means the datum below it.
        Kind::Projected => object.base().ok_or_else(Vec::new),
        _ => Err(Vec::new()),
    }
}

/// Exact names and aliases first; then names that differ only in case, blanks and punctuation. A name that is merely
/// like one is never taken: the wrong realization is metres off without a sign of it.
fn by_name(context: &Rc<Context>, name: &str) -> Result<Object, Vec<String>> {
    if name.is_empty() {
        return Err(Vec::new());
    }
    if let Some(object) = best(context.geographic_named(name, false)) {
        return Ok(object);
    }
    let near = context.geographic_named(name, true);
    let hints = near.iter().take(3).map(Object::name).collect();
    let plain = plain(name);
    best(
        near.into_iter()
            .filter(|object| self::plain(&object.name()) == plain)
            .collect(),
    )
    .ok_or(hints)
}

/// Of several with one name: not withdrawn before withdrawn, EPSG before others, then as the registry orders them.
fn best(objects: Vec<Object>) -> Option<Object> {
    objects.into_iter().min_by_key(|object| {
        let foreign = object.code().is_none_or(|code| !code.starts_with("EPSG:"));
        (object.is_deprecated(), foreign)
    })
}

fn plain(name: &str) -> String {
    name.chars()
        .filter(char::is_ascii_alphanumeric)
        .map(|c| c.to_ascii_lowercase())
        .collect()
}
