//! Magnetic declination by the World Magnetic Model ([`Source::Wmm2025`], [`Source::Wmm2020`]).

use world_magnetic_model::GeomagneticField;
use world_magnetic_model::time::{Date, Month};
use world_magnetic_model::uom::si::angle::radian;
use world_magnetic_model::uom::si::f32::{Angle, Length};
use world_magnetic_model::uom::si::length::meter;

use crate::sources::Source;

/// Why there is no declination.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum DeclinationError {
    /// No such day.
    #[error("{year}-{month:02}-{day:02} is not a date: mend `located_on`, or give `declination`")]
    NotADate {
        /// Year.
        year: i32,
        /// Month.
        month: u8,
        /// Day.
        day: u8,
    },
    /// The models carried here end.
    #[error(
        "the World Magnetic Model in this program covers 2020 to 2029, not {year}: give `declination` for the date of the bearings"
    )]
    OutOfTime {
        /// Year.
        year: i32,
    },
    /// Not on the Earth, or too far above it.
    #[error(
        "no declination at latitude {latitude}°, longitude {longitude}°, height {height} m: mend the place, or give `declination`"
    )]
    OutOfPlace {
        /// Degrees.
        latitude: f64,
        /// Degrees.
        longitude: f64,
        /// Metres.
        height: f64,
    },
}

/// The model for a year; `None` where none is carried. Each is valid for five years from its own.
#[must_use]
pub const fn model(year: i32) -> Option<Source> {
    match year {
        2020..2025 => Some(Source::Wmm2020),
        2025..2030 => Some(Source::Wmm2025),
        _ => None,
    }
}

/// Magnetic declination, radians, positive east, at a WGS 84 place (radians, metres above the ellipsoid) on a date
/// (year, month, day). True azimuth = magnetic bearing + declination.
///
/// The model's own error is sqrt(0.26² + (5417/H)²) degrees, H the horizontal field in nT ([`Source::Wmm2025`]):
/// 0.3 to 0.4° in the middle latitudes; what iron nearby does is not in it.
pub fn declination(
    latitude: f64,
    longitude: f64,
    height: f64,
    (year, month, day): (i32, u8, u8),
) -> Result<f64, DeclinationError> {
    let date = Month::try_from(month)
        .ok()
        .and_then(|month| Date::from_calendar_date(year, month, day).ok())
        .ok_or(DeclinationError::NotADate { year, month, day })?;
    if model(year).is_none() {
        return Err(DeclinationError::OutOfTime { year });
    }
    // The model wants ±180°.
    let turned = longitude - std::f64::consts::TAU * (longitude / std::f64::consts::TAU).round();
    let field = GeomagneticField::new(
        Length::new::<meter>(height as f32),
        Angle::new::<radian>(latitude as f32),
        Angle::new::<radian>(turned.clamp(-3.141_592_5, 3.141_592_5) as f32),
        date,
    )
    .map_err(|_| DeclinationError::OutOfPlace {
        latitude: latitude.to_degrees(),
        longitude: longitude.to_degrees(),
        height,
    })?;
    Ok(f64::from(field.declination().get::<radian>()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(latitude: f64, longitude: f64, date: (i32, u8, u8)) -> Result<f64, DeclinationError> {
        declination(latitude.to_radians(), longitude.to_radians(), 0.0, date).map(f64::to_degrees)
    }

    #[test]
    fn a_date_decides_the_model_and_outside_them_there_is_none() {
        assert_eq!(
            (model(2024), model(2025)),
            (Some(Source::Wmm2020), Some(Source::Wmm2025))
        );
        for (date, there) in [
            ((2019, 12, 31), false),
            ((2020, 1, 1), true),
            ((2029, 12, 31), true),
            ((2030, 1, 1), false),
        ] {
            assert_eq!(at(45.0, -93.0, date).is_ok(), there, "{date:?}");
        }
        let words = at(45.0, -93.0, (2031, 5, 1)).unwrap_err().to_string();
        assert!(
            words.contains("2031") && words.contains("give `declination`"),
            "{words}"
        );
        for date in [
            (2026, 2, 29),
            (2026, 0, 1),
            (2026, 13, 1),
            (2026, 1, 0),
            (i32::MAX, 1, 1),
        ] {
            assert!(
                matches!(
                    at(45.0, -93.0, date),
                    Err(DeclinationError::NotADate { .. })
                ),
                "{date:?}"
            );
        }
    }

    #[test]
    fn longitudes_wrap_and_nonsense_is_refused() {
        let date = (2026, 7, 2);
        let west = at(45.0, -93.0, date).unwrap();
        assert!((at(45.0, 267.0, date).unwrap() - west).abs() < 1e-4);
        assert!((at(10.0, 180.0, date).unwrap() - at(10.0, -180.0, date).unwrap()).abs() < 1e-4);
        for (latitude, longitude) in [
            (91.0, 0.0),
            (f64::NAN, 0.0),
            (0.0, f64::NAN),
            (0.0, f64::INFINITY),
        ] {
            assert!(
                at(latitude, longitude, date).is_err(),
                "{latitude} {longitude}"
            );
        }
        for height in [-1e6, 1e9, f64::NAN, f64::INFINITY] {
            assert!(declination(0.7, 0.1, height, date).is_err(), "{height}");
        }
    }
}
