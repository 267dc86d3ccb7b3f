//! Lengths, angles and stations as people write them, and the only place that converts them.
//!
//! Everything behind the reader is in metres and radians; everything that leaves through an exporter is in
//! the result unit and degrees. Conversions happen here and nowhere else.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

mod angle;
mod date;
mod format;
mod length;
mod number;
mod station;

pub use angle::{Axis, parse_angle, parse_bearing, parse_coordinate, parse_declination};
pub use date::{Mangled, date_text, mangled, parse_date, parse_time};
pub use format::{
    counted, degrees_minutes_seconds, feet_inches, fixed, just, length_digits, length_text, listed,
    rough, round_to, station_text,
};
pub use length::{CellUnit, Plain, parse_length, plain_unit};
pub use number::{parse_fraction, parse_number};
pub use station::{parse_grade, parse_offset, parse_station};

/// The international foot in metres: exact by definition (see [`crate::sources::Source::FederalRegister2020`]).
pub const FOOT: f64 = 0.3048;
/// The US survey foot in metres: 1200/3937, exact by definition ([`crate::sources::Source::FederalRegister2020`]).
pub const US_SURVEY_FOOT: f64 = 1200.0 / 3937.0;
/// One inch of the international foot, in metres.
pub const INCH: f64 = FOOT / 12.0;

/// A unit of length that a job or a result can be in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub enum LengthUnit {
    /// Metre.
    #[serde(rename = "m")]
    Metre,
    /// International foot, 0.3048 m.
    #[serde(rename = "ft")]
    Foot,
    /// US survey foot, 1200/3937 m.
    #[serde(rename = "us-ft")]
    UsSurveyFoot,
}

impl LengthUnit {
    /// Metres in one of this unit.
    #[must_use]
    pub const fn metres(self) -> f64 {
        match self {
            Self::Metre => 1.0,
            Self::Foot => FOOT,
            Self::UsSurveyFoot => US_SURVEY_FOOT,
        }
    }

    /// The word that `job.toml`, `--unit` and every result use for it.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Metre => "m",
            Self::Foot => "ft",
            Self::UsSurveyFoot => "us-ft",
        }
    }

    /// Whether this is one of the two feet.
    #[must_use]
    pub const fn is_foot(self) -> bool {
        !matches!(self, Self::Metre)
    }

    /// The units that figures of a job in this one may be in by a slip, the likeliest first.
    #[must_use]
    pub const fn others(self) -> &'static [OtherUnit] {
        match self {
            Self::Metre => &OTHERS_IN_METRES,
            Self::Foot | Self::UsSurveyFoot => &OTHERS_IN_FEET,
        }
    }

    /// As far as the tapes that crews carry reach, metres: 30 m, or 100 ft ([`crate::sources::Source::CommonPractice`]).
    #[must_use]
    pub const fn tape(self) -> f64 {
        match self {
            Self::Metre => 30.0,
            Self::Foot | Self::UsSurveyFoot => 100.0 * FOOT,
        }
    }

    /// Metres to this unit.
    #[must_use]
    pub fn of(self, metres: f64) -> f64 {
        metres / self.metres()
    }

    /// The unit for a word, whatever its case; `None` if the word is not one of ours.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        match word.trim().to_ascii_lowercase().as_str() {
            "m" | "metre" | "metres" | "meter" | "meters" => Some(Self::Metre),
            "ft" | "foot" | "feet" => Some(Self::Foot),
            "us-ft" | "us_ft" | "us ft" | "usft" | "ftus" | "us survey foot" | "us survey feet" => {
                Some(Self::UsSurveyFoot)
            }
            _ => None,
        }
    }
}

/// A unit that a figure may be in though it was read in the job's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OtherUnit {
    /// In words: `feet`.
    pub name: &'static str,
    /// As a cell or a heading has it.
    pub symbol: &'static str,
    /// A length in it is so many times what it was read as.
    pub times: f64,
}

const OTHERS_IN_METRES: [OtherUnit; 4] = [
    OtherUnit::new("feet", "ft", FOOT),
    OtherUnit::new("centimetres", "cm", 0.01),
    OtherUnit::new("inches", "in", INCH),
    OtherUnit::new("millimetres", "mm", 0.001),
];
/// The two feet differ by less than a slip shows.
const OTHERS_IN_FEET: [OtherUnit; 3] = [
    OtherUnit::new("metres", "m", 1.0 / FOOT),
    OtherUnit::new("inches", "in", 1.0 / 12.0),
    OtherUnit::new("centimetres", "cm", 0.01 / FOOT),
];

impl OtherUnit {
    const fn new(name: &'static str, symbol: &'static str, times: f64) -> Self {
        Self {
            name,
            symbol,
            times,
        }
    }
}

impl fmt::Display for LengthUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}
