//! From a code to what is known of its coordinate system.

use super::ffi::{Axis, Kind, Object};
use super::{Area, CrsError, Earth, GEOGRAPHIC, System};
use crate::units::{FOOT, LengthUnit, US_SURVEY_FOOT};

/// The forms that are passed on to PROJ: `AUTHORITY:CODE`, and `AUTHORITY:CODE+CODE` for a compound system. PROJ
/// would take whole definitions and file names too, which have no business in a job.
pub(super) fn is_code(text: &str) -> bool {
    text.split_once(':').is_some_and(|(authority, code)| {
        let word = |word: &str| {
            !word.is_empty()
                && word.len() <= 32
                && word.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_')
        };
        word(authority) && code.split('+').count() <= 2 && code.split('+').all(word)
    })
}

/// The projected CRS in what PROJ made of a code.
pub(super) fn projected(code: &str, object: Object) -> Result<Object, CrsError> {
    let horizontal = match object.kind() {
        Kind::Compound => object.horizontal().unwrap_or(object),
        _ => object,
    };
    let kind = match horizontal.kind() {
        Kind::Projected => return Ok(horizontal),
        Kind::Geographic2D | Kind::Geographic3D => GEOGRAPHIC,
        Kind::Geocentric => "Earth-centred",
        Kind::Vertical => "a height system",
        _ => "not a projected coordinate system",
    };
    Err(CrsError::NotProjected {
        code: code.to_owned(),
        name: horizontal.name(),
        kind,
    })
}

/// Metres in one unit: exact for the units of the registry that have an exact definition, which PROJ rounds to 15
/// digits.
pub(super) fn metres(axis: &Axis) -> f64 {
    match axis.unit_code.as_str() {
        "EPSG:9001" => 1.0,
        "EPSG:9002" => FOOT,
        "EPSG:9003" => US_SURVEY_FOOT,
        _ => axis.factor,
    }
}

impl System {
    /// A site grid.
    pub(super) fn local(unit: LengthUnit) -> Self {
        let unit_name = match unit {
            LengthUnit::Metre => "metre",
            LengthUnit::Foot => "foot",
            LengthUnit::UsSurveyFoot => "US survey foot",
        };
        Self {
            code: "local".to_owned(),
            name: "local site grid".to_owned(),
            unit_name: unit_name.to_owned(),
            unit_metres: unit.metres(),
            area: None,
            deprecated: false,
            earth: None,
        }
    }

    /// What PROJ knows of a projected CRS.
    pub(super) fn read(code: &str, object: &Object) -> Result<Self, CrsError> {
        let axes = object.axes();
        let mut directions: Vec<&str> = axes.iter().map(|axis| axis.direction.as_str()).collect();
        let described = directions.join(" and ");
        directions.sort_unstable();
        let (["east", "north"], Some(axis)) = (&directions[..], axes.first()) else {
            return Err(CrsError::Axes {
                code: code.to_owned(),
                name: object.name(),
                axes: described,
            });
        };
        let (semi_major, reciprocal) = object
            .ellipsoid()
            .ok_or(CrsError::Library("it knows no ellipsoid of this CRS"))?;
        let flattening = if reciprocal > 0.0 {
            1.0 / reciprocal
        } else {
            0.0
        };
        Ok(Self {
            code: object.code().unwrap_or_else(|| code.to_owned()),
            name: object.name(),
            unit_name: axis.unit.clone(),
            unit_metres: metres(axis),
            area: object.area().map(Area::from),
            deprecated: object.is_deprecated(),
            earth: Some(Earth {
                semi_major,
                eccentricity_squared: flattening * (2.0 - flattening),
                meridian: object
                    .base()
                    .and_then(|base| base.prime_meridian())
                    .unwrap_or(0.0),
                projjson: object.projjson(),
                wkt: object.wkt(),
                wkt1: object.wkt1(),
            }),
        })
    }
}

impl Earth {
    /// √(MN) = a·√(1 − e²)/(1 − e²·sin²φ), see [`crate::sources::Source::Iogp72`].
    pub(super) fn mean_radius(&self, latitude: f64) -> f64 {
        let e2 = self.eccentricity_squared;
        self.semi_major * (1.0 - e2).sqrt() / (1.0 - e2 * latitude.sin().powi(2))
    }
}

impl From<super::ffi::AreaDegrees> for Area {
    fn from((bounds, name): super::ffi::AreaDegrees) -> Self {
        let [west, south, east, north] = bounds.map(f64::to_radians);
        Self {
            west,
            south,
            east,
            north,
            name,
        }
    }
}
