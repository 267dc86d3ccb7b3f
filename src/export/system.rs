//! The record's coordinate system as formats carry it.

use crate::crs::Crs;
use crate::record::AsBuilt;

/// A coordinate system in the forms that formats ask for.
#[derive(Clone, Debug, PartialEq)]
pub struct System {
    /// Its name.
    pub name: String,
    /// `EPSG`, `ESRI`, …
    pub authority: String,
    /// Its number with that authority.
    pub code: i32,
    /// WKT of OGC 01-009; absent where that form can't express it.
    pub wkt1: Option<String>,
    /// PROJJSON.
    pub projjson: Option<serde_json::Value>,
}

/// The system of a record; `None` in site coordinates, and where its code has no number.
#[must_use]
pub fn of(record: &AsBuilt) -> Option<System> {
    let frame = &record.frame;
    if frame.local {
        return None;
    }
    let known = Crs::new(&frame.crs, frame.unit).ok();
    // Of a compound system only the horizontal part has a place in these formats; the heights' datum is a property.
    let code = known.as_ref().map_or(frame.crs.as_str(), Crs::code);
    let (authority, code) = code.split_once(':')?;
    Some(System {
        name: frame.crs_name.clone(),
        authority: authority.to_owned(),
        code: code.parse().ok()?,
        wkt1: known.as_ref().and_then(Crs::wkt1).map(str::to_owned),
        projjson: frame
            .projjson
            .clone()
            .or_else(|| known.as_ref().and_then(Crs::projjson)),
    })
}
