//! Coordinate systems: the only user of PROJ.
//!
//! Axis order, always and whatever the CRS says: **easting, northing; longitude, latitude**. Projected
//! coordinates are in **metres** here (the CRS's value times its unit); geographic ones in **radians**, longitudes
//! from Greenwich.
//!
//! A [`Crs`] is plain data and goes to any thread; what PROJ needs to compute is made once a thread and pair of
//! systems and kept there, so that a call costs a look-up. Hand over points in bulk.
//!
//! Which operation joins two datums is decided once a call, by the first point that lies in any operation's area of
//! use: the most accurate one that holds it, then the one with the smaller area, as PROJ does point by point. So all
//! positions of a site share one operation and one shift. Operations that need grid files are left out (none are read, whatever is installed); one that
//! takes no notice of the datums ("ballpark") is used only where there is no other, and says so.

mod datum;
mod error;
mod ffi;
mod no_files;
mod pair;
mod system;
mod thread;

use std::f64::consts::{PI, TAU};
use std::sync::Arc;

pub use error::CrsError;

use crate::record::model::Operation;
use crate::units::LengthUnit;
use pair::Place;

/// A projected coordinate system, or the site grid of a job without one. Cheap to clone, `Send` and `Sync`.
#[derive(Clone, Debug)]
pub struct Crs {
    system: Arc<System>,
    /// The system that coordinates were given in before they were told in this one ([`Self::by_way_of`]).
    given: Option<Arc<System>>,
}

/// Codes of the projected systems that may be used within `margin` of a place (radians), the registry's order; withdrawn ones
/// left out. For messages that say which system would fit.
pub fn systems_about(longitude: f64, latitude: f64, margin: f64) -> Result<Vec<String>, CrsError> {
    let [west, east] = [longitude - margin, longitude + margin].map(f64::to_degrees);
    let [south, north] = [latitude - margin, latitude + margin].map(f64::to_degrees);
    thread::projected_codes([
        west.max(-180.0),
        south.max(-90.0),
        east.min(180.0),
        north.min(90.0),
    ])
}

/// What is known of a coordinate system.
#[derive(Debug)]
struct System {
    /// `EPSG:2264`, or `local`.
    code: String,
    name: String,
    unit_name: String,
    unit_metres: f64,
    area: Option<Area>,
    deprecated: bool,
    /// `None` on a site grid.
    earth: Option<Earth>,
}

/// What only a coordinate system on the Earth has.
#[derive(Debug)]
struct Earth {
    semi_major: f64,
    eccentricity_squared: f64,
    /// Longitude of the base CRS's prime meridian, radians.
    meridian: f64,
    projjson: String,
    wkt: String,
    /// Empty where the old form can't express it.
    wkt1: String,
}

/// The area in which a coordinate system may be used; radians. West is greater than east across the antimeridian.
#[derive(Clone, Debug, PartialEq)]
pub struct Area {
    /// Western bound.
    pub west: f64,
    /// Southern bound.
    pub south: f64,
    /// Eastern bound.
    pub east: f64,
    /// Northern bound.
    pub north: f64,
    /// Its name in the registry.
    pub name: String,
}

impl Area {
    /// Whether a place lies inside, bounds included.
    #[must_use]
    pub fn contains(&self, longitude: f64, latitude: f64) -> bool {
        // To (−π, π], as the bounds are. A place that is not a number lies nowhere.
        let longitude = longitude - TAU * ((longitude - PI) / TAU).ceil();
        let in_longitude = if self.west <= self.east {
            self.west <= longitude && longitude <= self.east
        } else {
            longitude >= self.west || longitude <= self.east
        };
        // −180° is +180°: an area that begins there holds both.
        let at_seam = longitude.to_bits() == PI.to_bits() && self.west <= -PI;
        (in_longitude || at_seam) && self.south <= latitude && latitude <= self.north
    }
}

/// As far as a system is used beyond its area at its edges, radians: half a degree, as maps of neighbouring zones overlap (common practice,
/// no source).
pub const OVERLAP: f64 = 0.5 * PI / 180.0;

/// How the grid lies at a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Factors {
    /// Point scale: grid distance over distance on the ellipsoid (the root of the areal scale, which is the point
    /// scale itself wherever the projection is conformal).
    pub scale: f64,
    /// Convergence, radians, with PROJ's sign: **true azimuth = grid azimuth + convergence**; positive east of the
    /// central meridian in the northern hemisphere. (National manuals may print the other sign,
    /// [`crate::sources::Source::Gda2020Manual`] does.)
    pub convergence: f64,
    /// Gaussian mean radius of the ellipsoid √(MN), metres; `f64::MAX` on a site grid, which lies at the ground's own
    /// height, so that R/(R + h) is 1 there.
    pub radius: f64,
    /// How much more the grid stretches one direction than another here, part of the length: 0 (to rounding, some
    /// 1e-8) wherever the projection is conformal, 0.003 in Pseudo-Mercator at 45°. Lengths and angles bend with their
    /// direction by as much, which no single scale corrects.
    pub anisotropy: f64,
}

impl Factors {
    /// Grid distance over level ground distance at a height above the ellipsoid in metres: point scale × R/(R + h).
    #[must_use]
    pub fn ground_to_grid(&self, height: f64) -> f64 {
        self.scale * (self.radius / (self.radius + height))
    }
}

/// What latitudes and longitudes refer to.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Datum {
    /// The projected CRS's own.
    OfCrs,
    /// WGS 84.
    Wgs84,
    /// As written: `NAD83(2011)`, `ETRS89`, `EPSG:4269`, …
    Named(String),
}

const WGS84: &str = "EPSG:4326";

/// What a system in longitude and latitude is said to be ([`CrsError::NotProjected`]).
pub const GEOGRAPHIC: &str = "geographic, in degrees";

/// One-sigma of the shift between datums that only a ballpark operation joins, each axis, metres: our choice, the size
/// of the differences between the continental datums and WGS 84 today. (Of the registry's 172 systems on the ellipsoids of today that have
/// an operation to WGS 84, it moves the middle of the area of use by less than 2.8 m in 95 of 100; 2.45 times this is 4.9 m.)
const BALLPARK: f64 = 2.0;
/// The same where one of the datums is of the time before satellites. (Of the 257 systems on other ellipsoids, by less than 600 m in 95 of
/// 100, by 190 m in the middle; 2.45 times this is 612 m.)
const OLD_BALLPARK: f64 = 250.0;

/// One-sigma of the shift that all places share which an operation brings over, each axis, metres: its stated accuracy, taken as
/// that (the registry does not say of what kind it is: our choice, the cautious one); of a ballpark one not under 2 m, or 250 m from or to a
/// datum of the time before satellites; 0 where the two systems have one datum, or nothing is stated.
#[must_use]
pub fn shift_sigma(operation: &Operation) -> f64 {
    let stated = operation.accuracy_m.unwrap_or(0.0);
    match (operation.ballpark, operation.old_datum) {
        (true, true) => stated.max(OLD_BALLPARK),
        (true, false) => stated.max(BALLPARK),
        (false, _) => stated,
    }
}

impl Crs {
    /// The coordinate system for a code such as `EPSG:2264`, or for `local`, a site grid in `local_unit`.
    ///
    /// Of a compound CRS (`EPSG:2264+5703`) the horizontal part is taken: heights are carried, not converted.
    pub fn new(code: &str, local_unit: LengthUnit) -> Result<Self, CrsError> {
        let code = code.trim();
        if code.eq_ignore_ascii_case("local") {
            return Ok(Self::of(Arc::new(System::local(local_unit))));
        }
        thread::crs(code)
    }

    fn of(system: Arc<System>) -> Self {
        Self {
            system,
            given: None,
        }
    }

    /// This system for coordinates that were given in another: whatever has a datum goes through that one, into the grid and out of
    /// it, so that a place has one longitude and latitude whichever grid it is told in. [`Datum::OfCrs`] is then that one's.
    #[must_use]
    pub fn by_way_of(self, given: &Self) -> Self {
        Self {
            given: (given.code() != self.code()).then(|| Arc::clone(&given.system)),
            ..self
        }
    }

    /// The system that its coordinates were given in, where that is another.
    #[must_use]
    pub fn given(&self) -> Option<Self> {
        self.given.clone().map(Self::of)
    }

    /// A site grid without a place on the Earth.
    #[must_use]
    pub fn is_local(&self) -> bool {
        self.system.earth.is_none()
    }

    /// Authority and code as the registry writes them, or `local`.
    #[must_use]
    pub fn code(&self) -> &str {
        &self.system.code
    }

    /// Its name in the registry.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.system.name
    }

    /// Name of its unit.
    #[must_use]
    pub fn unit_name(&self) -> &str {
        &self.system.unit_name
    }

    /// Metres in one of its unit; exact for both feet ([`crate::sources::Source::FederalRegister2020`]).
    #[must_use]
    pub fn unit_metres(&self) -> f64 {
        self.system.unit_metres
    }

    /// Its area of use; `None` on a site grid and where the registry has none.
    #[must_use]
    pub fn area(&self) -> Option<&Area> {
        self.system.area.as_ref()
    }

    /// Withdrawn by its authority: old records use it, new ones should not.
    #[must_use]
    pub fn is_deprecated(&self) -> bool {
        self.system.deprecated
    }

    /// Whether a place (radians) lies in the area of use; true where there is none.
    #[must_use]
    pub fn contains(&self, longitude: f64, latitude: f64) -> bool {
        self.area()
            .is_none_or(|area| area.contains(longitude, latitude))
    }

    /// Whether a place (radians) lies no farther than [`OVERLAP`] from the area of use: a job at the edge of a zone stays in one system.
    #[must_use]
    pub fn reaches(&self, longitude: f64, latitude: f64) -> bool {
        let by = [0.0, -OVERLAP, OVERLAP];
        by.iter().any(|north| {
            let inside = |east: &f64| self.contains(longitude + east, latitude + north);
            by.iter().any(inside)
        })
    }

    /// The CRS as PROJJSON; `None` on a site grid.
    #[must_use]
    pub fn projjson(&self) -> Option<serde_json::Value> {
        serde_json::from_str(&self.system.earth.as_ref()?.projjson).ok()
    }

    /// The CRS as WKT2:2019; `None` on a site grid.
    #[must_use]
    pub fn wkt(&self) -> Option<String> {
        self.system.earth.as_ref().map(|earth| earth.wkt.clone())
    }

    /// The CRS as WKT of OGC 01-009, which older formats ask for; `None` on a site grid, and where that form can't
    /// express it.
    #[must_use]
    pub fn wkt1(&self) -> Option<&str> {
        let earth = self.system.earth.as_ref()?;
        Some(earth.wkt1.as_str()).filter(|wkt| !wkt.is_empty())
    }

    /// Scale, convergence and radius at easting, northing in metres. A site grid has scale 1 and no convergence.
    pub fn factors(&self, easting: f64, northing: f64) -> Result<Factors, CrsError> {
        let Some(earth) = &self.system.earth else {
            return Ok(Factors {
                scale: 1.0,
                convergence: 0.0,
                radius: f64::MAX,
                anisotropy: 0.0,
            });
        };
        let (places, _) = thread::convert(
            &self.place(),
            &self.base(),
            (None, None),
            &[(easting, northing)],
        )?;
        let [(longitude, latitude)] = places[..] else {
            return Err(CrsError::Library("it answers one point with several"));
        };
        // PROJ counts from the base CRS's own meridian here, whatever its documentation says.
        let from_meridian = longitude - earth.meridian;
        let shape =
            thread::factors(&self.system.code, from_meridian, latitude)?.ok_or_else(|| {
                CrsError::Place {
                    index: 0,
                    count: 1,
                    x: longitude.to_degrees(),
                    y: latitude.to_degrees(),
                    from: "longitude and latitude".to_owned(),
                    to: self.system.name.clone(),
                }
            })?;
        Ok(Factors {
            scale: shape.areal_scale.sqrt(),
            // Adding 0 makes a negative zero a plain one.
            convergence: shape.convergence + 0.0,
            radius: earth.mean_radius(latitude),
            anisotropy: (shape.longest / shape.shortest - 1.0).max(0.0),
        })
    }

    /// Longitudes and latitudes (radians) of a datum to eastings and northings (metres), with the operation used.
    ///
    /// One place that can't be converted fails the call, and the error says which; without an epoch, so that an
    /// operation that moves with time fails as well ([`Self::to_grid_at`]).
    pub fn to_grid(
        &self,
        datum: &Datum,
        lonlat: &[(f64, f64)],
    ) -> Result<(Vec<(f64, f64)>, Operation), CrsError> {
        self.to_grid_at(datum, None, lonlat)
    }

    /// As [`Self::to_grid`], for positions of a date (decimal year).
    pub fn to_grid_at(
        &self,
        datum: &Datum,
        epoch: Option<f64>,
        lonlat: &[(f64, f64)],
    ) -> Result<(Vec<(f64, f64)>, Operation), CrsError> {
        self.on_earth()?;
        let Some(given) = self.given() else {
            return thread::convert(&self.datum(datum), &self.place(), (None, epoch), lonlat);
        };
        let (places, operation) = given.to_grid_at(datum, epoch, lonlat)?;
        Ok((given.step(self, &places)?.0, operation))
    }

    /// Eastings and northings (metres) to WGS 84 longitudes and latitudes (radians), with the operation used.
    pub fn to_wgs84(&self, en: &[(f64, f64)]) -> Result<(Vec<(f64, f64)>, Operation), CrsError> {
        self.to_geographic(&Datum::Wgs84, en)
    }

    /// As [`Self::to_wgs84`], by the operation that is the best at `about` (easting, northing): all of a job's places go by one
    /// operation, however many there are and however they are shared out.
    pub fn to_wgs84_about(
        &self,
        about: (f64, f64),
        en: &[(f64, f64)],
    ) -> Result<(Vec<(f64, f64)>, Operation), CrsError> {
        self.to_datum(&Datum::Wgs84, Some(about), en)
    }

    /// Eastings and northings (metres) to longitudes and latitudes (radians) of a datum, with the operation used.
    pub fn to_geographic(
        &self,
        datum: &Datum,
        en: &[(f64, f64)],
    ) -> Result<(Vec<(f64, f64)>, Operation), CrsError> {
        self.to_datum(datum, None, en)
    }

    fn to_datum(
        &self,
        datum: &Datum,
        about: Option<(f64, f64)>,
        en: &[(f64, f64)],
    ) -> Result<(Vec<(f64, f64)>, Operation), CrsError> {
        self.on_earth()?;
        let Some(given) = self.given() else {
            return thread::convert(&self.place(), &self.datum(datum), (about, None), en);
        };
        let about = match about {
            Some(place) => self.step(&given, &[place])?.0.first().copied(),
            None => None,
        };
        given.to_datum(datum, about, &self.step(&given, en)?.0)
    }

    /// Eastings and northings (metres) of this CRS to those of another, with the operation used.
    pub fn to_other(
        &self,
        other: &Self,
        en: &[(f64, f64)],
    ) -> Result<(Vec<(f64, f64)>, Operation), CrsError> {
        self.on_earth()?;
        other.on_earth()?;
        match (self.given(), other.given()) {
            (Some(given), _) if given.code() != other.code() => {
                given.to_other(other, &self.step(&given, en)?.0)
            }
            (_, Some(given)) if given.code() != self.code() => {
                let (places, operation) = self.to_other(&given, en)?;
                Ok((given.step(other, &places)?.0, operation))
            }
            _ => self.step(other, en),
        }
    }

    /// As [`Self::to_other`], by no other way.
    fn step(
        &self,
        other: &Self,
        en: &[(f64, f64)],
    ) -> Result<(Vec<(f64, f64)>, Operation), CrsError> {
        thread::convert(&self.place(), &other.place(), (None, None), en)
    }

    fn on_earth(&self) -> Result<(), CrsError> {
        if self.is_local() {
            Err(CrsError::Local)
        } else {
            Ok(())
        }
    }

    fn datum(&self, datum: &Datum) -> Place {
        match datum {
            Datum::OfCrs => self.base(),
            Datum::Wgs84 => Place::Datum(WGS84.to_owned()),
            Datum::Named(name) => Place::Datum(name.trim().to_owned()),
        }
    }

    fn place(&self) -> Place {
        Place::Projected(self.system.code.clone())
    }

    fn base(&self) -> Place {
        Place::BaseOf(self.system.code.clone())
    }
}

#[cfg(test)]
mod tests;
