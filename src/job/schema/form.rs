//! The registry of cell forms: what a cell may hold, how that is said to people, how it is read.

use std::borrow::Cow;

use crate::job::table::Kind;
use crate::units::{
    Axis, LengthUnit, Plain, mangled, parse_angle, parse_bearing, parse_coordinate, parse_date,
    parse_declination, parse_fraction, parse_grade, parse_length, parse_number, parse_offset,
    parse_station, parse_time,
};

/// Which signs a number may have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sign {
    /// Any.
    Any,
    /// Not under zero.
    NotNegative,
    /// Above zero.
    Positive,
}

/// What the cells of a column hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// Free text.
    Text,
    /// A name: one line without `>`.
    Name,
    /// A job's id: letters, digits, `. _ -`.
    Id,
    /// A coordinate system.
    Crs,
    /// Names, parted by commas.
    Names,
    /// One of these words.
    Word(&'static [&'static str]),
    /// yes or no.
    YesNo,
    /// Two names, `P>Q`.
    Baseline,
    /// Position on the pipe wall.
    Clock,
    /// A whole number from 0.
    Count,
    /// ISO 8601 date.
    Date,
    /// A figure or the name of a table.
    MinGrade,
    /// Metres.
    Length(Sign),
    /// Metres, plain numbers in the unit of the coordinate system.
    Grid,
    /// Metres along a line.
    Station,
    /// Metres, right positive.
    Offset,
    /// Radians.
    Angle,
    /// Radians clockwise from a north.
    Bearing,
    /// Radians, east positive.
    Declination,
    /// Radians, north positive.
    Latitude,
    /// Radians, east positive.
    Longitude,
    /// A plain number.
    Number(Sign),
    /// A ratio, or a percentage.
    Fraction,
    /// Seconds since 1970-01-01 UTC, or of the day.
    Time,
    /// A length or an angle, by another cell of the row.
    LengthOrAngle,
}

/// A cell: its text as typed, trimmed, and what a workbook says that it is.
#[derive(Clone, Copy, Debug)]
pub struct Cell<'a> {
    /// Text.
    pub text: &'a str,
    /// Kind.
    pub kind: Kind,
}

/// How the plain figures of a table are meant.
#[derive(Clone, Copy, Debug)]
pub struct Typing {
    /// Lengths.
    pub plain: Plain,
    /// Metres in the unit of the coordinate system.
    pub grid: f64,
    /// Day that a bare time of day belongs to.
    pub day: Option<i64>,
    /// The heading says that angles are in degrees, minutes, seconds.
    pub dms: bool,
}

impl Typing {
    /// Lengths and grid coordinates in one unit, no day.
    pub fn plain(unit: LengthUnit) -> Self {
        Self {
            plain: Plain::of(unit),
            grid: unit.metres(),
            day: None,
            dms: false,
        }
    }

    /// Plain grid coordinates: in the system's own unit, which beats the international foot of a cell or heading that
    /// says no more than `ft`.
    fn grid_plain(&self) -> Plain {
        let foot = if (self.grid / self.plain.foot - 1.0).abs() < 1e-4 {
            self.grid
        } else {
            self.plain.foot
        };
        let metres = if self.plain.named {
            if (self.plain.metres / foot - 1.0).abs() < 1e-4 {
                foot
            } else {
                self.plain.metres
            }
        } else {
            self.grid
        };
        Plain {
            metres,
            foot,
            feet: false,
            ..self.plain
        }
    }
}

const LENGTHS: &str = "12.5 (in the unit of the job or the heading), 3.81 m, 12.5 ft, 12' 6 1/2\", 6 1/2 in, 150 mm, 38 cm";

impl Form {
    /// Whether plain figures are lengths, or may be: a heading can name their unit.
    pub const fn takes_unit(self) -> bool {
        matches!(
            self,
            Self::Length(_) | Self::Grid | Self::Station | Self::Offset | Self::LengthOrAngle
        )
    }

    /// Whether plain figures are degrees.
    pub const fn is_angle(self) -> bool {
        matches!(
            self,
            Self::Angle | Self::Bearing | Self::Declination | Self::Latitude | Self::Longitude
        )
    }

    /// What the cell should be, for a message.
    pub fn noun(self) -> &'static str {
        match self {
            Self::Text => "text",
            Self::Name => "a name",
            Self::Id => "an id",
            Self::Crs => "a coordinate system",
            Self::Names => "a list of names",
            Self::Word(_) => "one of its words",
            Self::YesNo => "yes or no",
            Self::Baseline => "a baseline",
            Self::Clock => "a clock position",
            Self::Count => "a whole number",
            Self::Date => "a date",
            Self::MinGrade => "a grade",
            Self::Length(_) => "a length",
            Self::Grid => "a grid coordinate",
            Self::Station => "a station",
            Self::Offset => "an offset",
            Self::Angle => "an angle",
            Self::Bearing => "a bearing",
            Self::Declination => "a declination",
            Self::Latitude => "a latitude",
            Self::Longitude => "a longitude",
            Self::Number(_) => "a number",
            Self::Fraction => "a fraction",
            Self::Time => "a time",
            Self::LengthOrAngle => "a length or an angle",
        }
    }

    /// The forms that are accepted, for a message.
    pub fn accepted(self) -> String {
        match self {
            Self::Text => "any text",
            Self::Name => "any text on one line of at most 200 characters, without >",
            Self::Id => "letters, digits, . _ - (at most 100, not beginning with a dot)",
            Self::Crs => "EPSG:2264 (the code of a projected system), or local",
            Self::Names => "names parted by commas",
            Self::Word(words) => return words.join(", "),
            Self::YesNo => "yes, no",
            Self::Baseline => "P>Q, the names of its two ends",
            Self::Clock => "3, or 10-2 for a range, hours from 1 to 12",
            Self::Count => "0, 1, 2, \u{2026}",
            Self::Date => "2026-05-14",
            Self::MinGrade => "2 %, 1:48, 1/4 in per ft, IPC 704.1",
            Self::Length(_) => LENGTHS,
            Self::Offset => "4.2 (right positive), -4.2, R 4.2, L 4.2, each with a unit if it isn't the job's: L 12' 6 1/2\"",
            Self::Grid => "1432429.595 in the unit of the coordinate system",
            Self::Station => "142.6, 1+42.6 in a job in feet, 0+042.6 in a job in metres, or a length with its unit",
            Self::Angle => "123.4567, 123 45 06, 123\u{b0}45'06\" (degrees)",
            Self::Bearing => "123.4567, 123\u{b0}45'06\", N 45\u{b0}30' E (degrees)",
            Self::Declination => "-8.1, 8.1 W (degrees, east positive)",
            Self::Latitude => "35.2251, 35\u{b0}13'30.4\" N",
            Self::Longitude => "-80.8431, 80\u{b0}50'35.2\" W",
            Self::Number(_) => "12.5",
            Self::Fraction => "0.0005, 0.05 %",
            Self::Time => "2026-05-14T13:02:05Z, or 13:02:05 UTC of located_on",
            Self::LengthOrAngle => "by kind: 12.5, 3.81 m, 12' 6 1/2\"; or 123\u{b0}45'06\", N 45\u{b0}30' E",
        }
        .to_owned()
    }

    /// What to say of a cell that is not of the form: the text, why, and what would do.
    pub fn refusal(self, text: &str, why: &str) -> String {
        let accepted = self.accepted();
        match self {
            Self::Word(_) => {
                format!("{text} is not one of the words that belong here. Accepted: {accepted}")
            }
            _ => format!(
                "{text} can't be read as {}: {why}. Accepted: {accepted}",
                self.noun()
            ),
        }
    }

    /// The number in a cell of a form that has one; metres, radians, ratios, seconds. An error is a clause that says why.
    pub fn value(self, cell: Cell<'_>, typing: &Typing) -> Result<f64, String> {
        if cell.kind == Kind::Error {
            return Err("it is a spreadsheet's error value".to_owned());
        }
        if cell.kind == Kind::Date && !matches!(self, Self::Time) {
            return Err(changed(cell.text).unwrap_or_else(|| "it is a date".to_owned()));
        }
        self.number(cell.text, typing).map_err(|why| match self {
            Self::Time | Self::Date => why,
            _ => changed(cell.text).unwrap_or(why),
        })
    }

    /// Whether the cell is the figure that such a column holds; `None` if it holds words.
    pub fn is_figure(self, cell: Cell<'_>, typing: &Typing) -> Option<bool> {
        let reads = |form: Self| form.value(cell, typing).is_ok();
        match self {
            Self::Text
            | Self::Name
            | Self::Id
            | Self::Crs
            | Self::Names
            | Self::Word(_)
            | Self::YesNo
            | Self::Baseline
            | Self::Clock
            | Self::MinGrade => None,
            Self::LengthOrAngle => Some(reads(Self::Length(Sign::Any)) || reads(Self::Bearing)),
            _ => Some(reads(self)),
        }
    }

    fn number(self, text: &str, typing: &Typing) -> Result<f64, String> {
        let comma = typing.plain.decimal_comma;
        if typing.dms && self.is_angle() {
            let parts = match self {
                Self::Latitude => "35 13 30.4 N",
                Self::Longitude => "80 50 35.2 W",
                _ => "310 30 00",
            };
            parted(text, comma, parts)?;
        }
        match self {
            Self::Length(sign) => signed(parse_length(text, typing.plain)?, sign),
            Self::Grid => parse_length(text, typing.grid_plain()),
            Self::Station => parse_station(text, typing.plain),
            Self::Offset => parse_offset(text, typing.plain),
            Self::Angle => parse_angle(text, comma),
            Self::Bearing => parse_bearing(text, comma),
            Self::Declination => parse_declination(text, comma),
            Self::Latitude => parse_coordinate(text, Axis::Latitude, comma),
            Self::Longitude => parse_coordinate(text, Axis::Longitude, comma),
            Self::Number(sign) => signed(parse_number(text, comma)?, sign),
            Self::Fraction => signed(parse_fraction(text, comma)?, Sign::NotNegative),
            Self::MinGrade => signed(parse_grade(text, comma)?, Sign::Positive),
            Self::Time => parse_time(text, typing.day),
            Self::Date => parse_date(text).map(|day| day as f64),
            Self::Count => match text.parse::<u32>() {
                Ok(count) => Ok(f64::from(count)),
                Err(_) => Err("it is not a whole number".to_owned()),
            },
            _ => Err("it is not a number".to_owned()),
        }
    }

    /// Whether the text is of the form, for every form.
    #[cfg(test)]
    pub fn check(self, cell: Cell<'_>, typing: &Typing) -> Result<(), String> {
        match self {
            Self::Word(words) if words.contains(&cell.text) => Ok(()),
            Self::Word(_) => Err("not one of the words".to_owned()),
            Self::Name => name(cell).map(|_| ()),
            Self::Id => id(cell).map(|_| ()),
            Self::Baseline => baseline(cell.text).map(|_| ()),
            Self::Clock => clock(cell.text).map(|_| ()),
            Self::YesNo => yes_no(cell.text)
                .map(|_| ())
                .ok_or_else(|| "neither".to_owned()),
            Self::MinGrade if cell.text == "IPC 704.1" => Ok(()),
            Self::LengthOrAngle => parse_length(cell.text, typing.plain).map(|_| ()),
            Self::Text | Self::Names | Self::Crs => Ok(()),
            _ => self.value(cell, typing).map(|_| ()),
        }
    }
}

/// Refuses a decimal number under a heading that says degrees, minutes, seconds: some pack them into its decimals.
fn parted(text: &str, decimal_comma: bool, parts: &str) -> Result<(), String> {
    match parse_number(text, decimal_comma) {
        Ok(number) if number.fract() != 0.0 => Err(format!(
            "its heading says degrees, minutes, seconds, and a decimal number may be either. Part them ({parts}), or let the heading \
             say (deg) for decimal degrees"
        )),
        _ => Ok(()),
    }
}

fn signed(value: f64, sign: Sign) -> Result<f64, String> {
    match sign {
        Sign::NotNegative if value < 0.0 => Err("it is negative".to_owned()),
        Sign::Positive if value <= 0.0 => Err("it is not greater than 0".to_owned()),
        _ => Ok(value),
    }
}

/// What to say of a cell that a spreadsheet has turned into a date or a time.
fn changed(text: &str) -> Option<String> {
    let found = mangled(text)?;
    let advice =
        "write it with its unit (12' 6\", 3/8 in) or format the column as text before typing";
    Some(match found.typed.as_slice() {
        [] => format!("a spreadsheet changed what was typed into a time of day: {advice}"),
        typed => format!(
            "a spreadsheet changed what was typed into a date, probably {}: {advice}",
            typed.join(" or ")
        ),
    })
}

/// A name on one line; `>` is kept for baselines.
pub fn name(cell: Cell<'_>) -> Result<&str, String> {
    if cell.kind == Kind::Date {
        return Err(changed(cell.text).unwrap_or_else(|| "it is a date".to_owned()));
    }
    if cell.kind == Kind::Error {
        return Err("it is a spreadsheet's error value".to_owned());
    }
    if cell.text.contains('>')
        || cell.text.chars().any(char::is_control)
        || cell.text.chars().count() > 200
    {
        return Err("a name has no >, no line break, and at most 200 characters".to_owned());
    }
    Ok(cell.text)
}

/// A job's id: it names a folder, so nothing else is let through.
pub fn id(cell: Cell<'_>) -> Result<&str, String> {
    let fits = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '_' | '-');
    if let Some(other) = cell.text.chars().find(|c| !fits(*c)) {
        let other = if other == ' ' {
            "a blank".to_owned()
        } else {
            format!("{other:?}")
        };
        return Err(format!(
            "the results' folder bears this name, and {other} can't stand in it"
        ));
    }
    if cell.text.starts_with('.') {
        return Err("it begins with a dot".to_owned());
    }
    if cell.text.len() > 100 {
        return Err("it is longer than 100 letters".to_owned());
    }
    Ok(cell.text)
}

/// The two names of `P>Q`.
pub fn baseline(text: &str) -> Result<(&str, &str), String> {
    let Some((from, to)) = text.split_once('>') else {
        return Err("it has no >".to_owned());
    };
    let (from, to) = (from.trim(), to.trim());
    if from.is_empty() || to.is_empty() || to.contains('>') {
        return Err("it needs a name on either side of one >".to_owned());
    }
    if from == to {
        return Err("both ends are the same point".to_owned());
    }
    Ok((from, to))
}

/// A clock position, 1 to 12, or a range of two; as typed, but that 2:30 is 2.5.
pub fn clock(text: &str) -> Result<Cow<'_, str>, String> {
    let lower = text.to_lowercase();
    let hours = lower.trim_end_matches("o'clock").trim();
    let hour = |part: &str| {
        let (whole, minutes) = part.trim().split_once(':').unwrap_or((part.trim(), "0"));
        let past = minutes.parse::<u32>().ok().filter(|past| *past < 60)?;
        let hour = whole.parse::<f64>().ok()? + f64::from(past) / 60.0;
        (1.0..13.0).contains(&hour).then_some(hour)
    };
    let parted = hours.split_once(" to ").or_else(|| hours.split_once('-'));
    let read = match parted {
        Some((from, to)) => hour(from).zip(hour(to)).map(|(from, to)| (from, Some(to))),
        None => hour(hours).map(|hour| (hour, None)),
    };
    match read {
        Some((from, to)) if hours.contains(':') => {
            let told = |hour: f64| ((hour * 100.0).round() / 100.0).to_string();
            let further = to.map_or(String::new(), |to| format!("-{}", told(to)));
            Ok(Cow::Owned(told(from) + &further))
        }
        Some(_) => Ok(Cow::Borrowed(text)),
        None => Err("hours run from 1 to 12".to_owned()),
    }
}

/// yes or no, in the words that people and spreadsheets use.
pub fn yes_no(text: &str) -> Option<bool> {
    match text.to_lowercase().as_str() {
        "yes" | "y" | "true" | "1" | "x" => Some(true),
        "no" | "n" | "false" | "0" => Some(false),
        _ => None,
    }
}
