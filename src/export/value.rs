//! A cell of a deliverable, what its number measures, and how far it is rounded: one table for every format.

use std::borrow::Cow;

use serde::Serialize;

use crate::record::model::Frame;

/// What a column holds, which decides its type, its unit and its rounding.
///
/// | quantity | unit | decimals | finest step |
/// | --- | --- | --- | --- |
/// | text, integer | | | as it is |
/// | coordinate | the CRS's own | 4 | 0.1 mm or finer |
/// | length | the result's | 4 | 0.1 mm or finer |
/// | degrees | degree | 4 | 0.4 seconds |
/// | percent | percent | 4 | 1 mm on 1 km |
/// | ratio | 1 | 4 | |
/// | figure | as its finding's message says | 6 | |
/// | converted | as the field file says | as it says | |
///
/// Longitude and latitude in geometries have 9 decimals (0.11 mm), ellipsoidal heights 4 (0.1 mm). `record.json` is
/// not rounded at all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Words.
    Text,
    /// A count or a number without a unit.
    Integer,
    /// Easting or northing.
    Coordinate,
    /// A length, depth or elevation.
    Length,
    /// An angle.
    Degrees,
    /// A grade.
    Percent,
    /// A plain number.
    Ratio,
    /// The figure of a finding.
    Figure,
    /// A number that a field file has converted and rounded.
    Converted,
}

/// Decimals of longitudes and latitudes: 0.11 mm at the equator, the precision that coordinates keep.
pub const GEOGRAPHIC_DECIMALS: i32 = 9;
/// Decimals of coordinates, lengths and heights: 0.1 mm in metres, less in feet.
pub const LENGTH_DECIMALS: i32 = 4;

/// The type of a column's cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Words.
    Text,
    /// A whole number.
    Integer,
    /// A real number.
    Real,
}

impl Quantity {
    /// The type of its cells.
    #[must_use]
    pub const fn kind(self) -> Kind {
        match self {
            Self::Text => Kind::Text,
            Self::Integer => Kind::Integer,
            _ => Kind::Real,
        }
    }

    /// Decimals that writers keep; `None` for what isn't a real number.
    #[must_use]
    pub const fn decimals(self) -> Option<i32> {
        match self {
            Self::Text | Self::Integer | Self::Converted => None,
            Self::Figure => Some(6),
            _ => Some(LENGTH_DECIMALS),
        }
    }

    /// The unit of a column of this quantity, for people.
    #[must_use]
    pub fn unit(self, frame: &Frame) -> Option<&str> {
        match self {
            Self::Text | Self::Integer | Self::Ratio | Self::Figure | Self::Converted => None,
            Self::Coordinate => Some(&frame.crs_unit),
            Self::Length => Some(frame.unit.symbol()),
            Self::Degrees => Some("degree"),
            Self::Percent => Some("percent"),
        }
    }

    /// What it measures, for a schema that knows no job.
    #[must_use]
    pub const fn words(self) -> Option<&'static str> {
        match self {
            Self::Text | Self::Integer | Self::Ratio | Self::Figure | Self::Converted => None,
            Self::Coordinate => Some("in the CRS's own unit"),
            Self::Length => Some("in the result unit (property `unit`)"),
            Self::Degrees => Some("in degrees"),
            Self::Percent => Some("in percent"),
        }
    }
}

/// Ten to the power of `decimals`.
pub(super) fn power(decimals: i32) -> f64 {
    match decimals {
        LENGTH_DECIMALS => 1e4,
        GEOGRAPHIC_DECIMALS => 1e9,
        other => 10f64.powi(other),
    }
}

/// `value` to so many decimals, never −0: what every writer does with a real number.
#[must_use]
pub fn round(value: f64, decimals: i32) -> f64 {
    let scale = power(decimals);
    let scaled = value * scale;
    // Beyond 2^52 a double has no decimals left to round, and the product could overflow.
    if scaled.abs() >= 4_503_599_627_370_496.0 {
        return value;
    }
    scaled.round() / scale + 0.0
}

/// Text for programs whose strings end at the character NUL: each NUL becomes U+FFFD, so that nothing after it is lost.
#[must_use]
pub fn without_nul(text: &str) -> Cow<'_, str> {
    if text.contains('\0') {
        Cow::Owned(text.replace('\0', "\u{fffd}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// One cell.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Value<'a> {
    /// Not known: absent or empty, never 0.
    Absent,
    /// Words, as entered.
    Text(Cow<'a, str>),
    /// A whole number.
    Integer(i64),
    /// A real number.
    Real(f64),
}

impl Value<'_> {
    /// Whether there is nothing to write.
    #[must_use]
    pub const fn is_absent(&self) -> bool {
        matches!(self, Self::Absent)
    }

    /// Rounded as its column's quantity says.
    #[must_use]
    pub fn rounded(self, quantity: Quantity) -> Self {
        match (self, quantity.decimals()) {
            (Self::Real(value), Some(decimals)) => Self::Real(round(value, decimals)),
            (value, _) => value,
        }
    }

    /// As text: empty where absent, numbers in plain decimal form.
    #[must_use]
    pub fn text(&self) -> Cow<'_, str> {
        match self {
            Self::Absent => Cow::Borrowed(""),
            Self::Text(text) => Cow::Borrowed(text),
            Self::Integer(value) => Cow::Owned(value.to_string()),
            Self::Real(value) => Cow::Owned(value.to_string()),
        }
    }
}

impl<'a> From<Option<&'a str>> for Value<'a> {
    fn from(text: Option<&'a str>) -> Self {
        text.map_or(Self::Absent, Self::from)
    }
}

impl<'a> From<&'a str> for Value<'a> {
    fn from(text: &'a str) -> Self {
        Self::Text(Cow::Borrowed(text))
    }
}

impl<'a> From<&'a String> for Value<'a> {
    fn from(text: &'a String) -> Self {
        Self::Text(Cow::Borrowed(text))
    }
}

impl From<String> for Value<'_> {
    fn from(text: String) -> Self {
        Self::Text(Cow::Owned(text))
    }
}

impl<'a> From<&'a Option<String>> for Value<'a> {
    fn from(text: &'a Option<String>) -> Self {
        text.as_deref().map_or(Self::Absent, Self::from)
    }
}

impl<'a> From<Option<&'a String>> for Value<'a> {
    fn from(text: Option<&'a String>) -> Self {
        text.map_or(Self::Absent, Self::from)
    }
}

impl From<f64> for Value<'_> {
    fn from(value: f64) -> Self {
        Self::Real(value)
    }
}

impl From<Option<f64>> for Value<'_> {
    fn from(value: Option<f64>) -> Self {
        value.map_or(Self::Absent, Self::Real)
    }
}

impl From<u32> for Value<'_> {
    fn from(value: u32) -> Self {
        Self::Integer(i64::from(value))
    }
}

impl From<usize> for Value<'_> {
    fn from(value: usize) -> Self {
        i64::try_from(value).map_or(Self::Absent, Self::Integer)
    }
}

impl From<Option<u32>> for Value<'_> {
    fn from(value: Option<u32>) -> Self {
        value.map_or(Self::Absent, Self::from)
    }
}

impl From<bool> for Value<'_> {
    fn from(value: bool) -> Self {
        Self::from(if value { "yes" } else { "no" })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_keeps_a_tenth_of_a_millimetre_and_never_writes_minus_zero() {
        assert_eq!(round(541_700.123_449, 4).to_string(), "541700.1234");
        assert_eq!(round(-0.000_01, 4).to_string(), "0");
        assert_eq!(
            round(-80.841_098_058_448_21, 9).to_string(),
            "-80.841098058"
        );
        assert_eq!(round(1e300, 9).to_bits(), 1e300_f64.to_bits());
    }

    #[test]
    fn an_absent_value_is_empty_and_a_zero_is_not() {
        assert_eq!(Value::Absent.text(), "");
        assert_eq!(Value::from(0.0).text(), "0");
        assert_eq!(Value::from(None::<f64>), Value::Absent);
    }
}
