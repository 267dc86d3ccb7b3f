//! Every form in which a length, a station, an offset or a grade may be typed.

use super::number::parse_number;
use super::{FOOT, LengthUnit, US_SURVEY_FOOT};

/// How the plain numbers of a cell are to be taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plain {
    /// Metres in one of the unit of plain numbers.
    pub metres: f64,
    /// Metres in what a cell calls `ft` or `'`: the survey foot in a `us-ft` job, else the international foot.
    pub foot: f64,
    /// Plain numbers are feet, so `12-6 1/2` is feet and inches.
    pub feet: bool,
    /// The heading names the unit, so a bare fraction is in it.
    pub named: bool,
    /// A comma is a decimal comma.
    pub decimal_comma: bool,
}

impl Plain {
    /// Plain numbers in a job's unit, with a decimal point.
    #[must_use]
    pub fn of(unit: LengthUnit) -> Self {
        let foot = if unit == LengthUnit::UsSurveyFoot {
            US_SURVEY_FOOT
        } else {
            FOOT
        };
        Self {
            metres: unit.metres(),
            foot,
            feet: unit.is_foot(),
            named: false,
            decimal_comma: false,
        }
    }

    /// Plain numbers in the unit that a heading names.
    #[must_use]
    pub fn named(self, word: &str) -> Option<Self> {
        let unit = plain_unit(word)?;
        Some(Self {
            metres: unit.metres(self.foot),
            feet: unit.is_foot(),
            named: true,
            ..self
        })
    }
}

/// A unit that a cell or a heading can name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CellUnit {
    /// Metre.
    Metre,
    /// Centimetre.
    Centimetre,
    /// Millimetre.
    Millimetre,
    /// The job's foot.
    Foot,
    /// A twelfth of the job's foot.
    Inch,
    /// US survey foot, whatever the job's.
    UsSurveyFoot,
}

impl CellUnit {
    fn metres(self, foot: f64) -> f64 {
        match self {
            Self::Metre => 1.0,
            Self::Centimetre => 0.01,
            Self::Millimetre => 0.001,
            Self::Foot => foot,
            Self::Inch => foot / 12.0,
            Self::UsSurveyFoot => US_SURVEY_FOOT,
        }
    }

    fn is_foot(self) -> bool {
        matches!(self, Self::Foot | Self::UsSurveyFoot)
    }
}

/// The unit of a word, whatever its case; `None` if it is not a unit of length.
#[must_use]
pub fn plain_unit(word: &str) -> Option<CellUnit> {
    Some(
        match word.trim().trim_end_matches('.').to_lowercase().as_str() {
            "m" | "metre" | "metres" | "meter" | "meters" => CellUnit::Metre,
            "cm" | "centimetre" | "centimetres" | "centimeter" | "centimeters" => {
                CellUnit::Centimetre
            }
            "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => {
                CellUnit::Millimetre
            }
            "ft" | "foot" | "feet" | "'" | "\u{2032}" => CellUnit::Foot,
            "in" | "inch" | "inches" | "\"" | "\u{2033}" => CellUnit::Inch,
            "us-ft" | "us ft" | "us_ft" | "usft" | "ftus" | "sft" | "us survey foot"
            | "us survey feet" => CellUnit::UsSurveyFoot,
            _ => return None,
        },
    )
}

/// A length in metres. An error is a clause that says why.
///
/// Forms: `12.5`, `3.81 m`, `12.5 ft`, `12.5'`, `12'6"`, `12' 6 1/2"`, `12'-6 1/2"`, `12 ft 6 in`, `6 1/2 in`,
/// `150 mm`, `38 cm`, `12.5 us-ft`; in feet `12-6 1/2` too. Typographic marks and vulgar fractions are read.
pub fn parse_length(text: &str, plain: Plain) -> Result<f64, String> {
    let first = match parse_number(text, plain.decimal_comma) {
        Ok(value) => return Ok(value * plain.metres),
        Err(why) => why,
    };
    let mut text = tidy(text);
    let negative = text.starts_with('-');
    if negative || text.starts_with('+') {
        text = text.split_off(1);
    }
    let Some(tokens) = tokens(&text, plain.decimal_comma) else {
        return Err(unknown_unit(&text).unwrap_or(first));
    };
    let metres = shape(&tokens, plain).map_err(|why| if why.is_empty() { first } else { why })?;
    Ok(if negative { -metres } else { metres })
}

/// What to say of figures with a word behind them that is no unit.
fn unknown_unit(text: &str) -> Option<String> {
    let figures = |letter: char| letter.is_ascii_digit() || " .,/'\"-".contains(letter);
    let behind = text.trim_start_matches(figures);
    let word = behind
        .split(|letter: char| !letter.is_alphabetic())
        .next()
        .filter(|word| !word.is_empty())?;
    (text.starts_with(|letter: char| letter.is_ascii_digit()) && plain_unit(word).is_none())
        .then(|| format!("\"{word}\" is no unit of length that is known"))
}

/// Typographic marks to typewriter marks, vulgar fractions to `n/d` after a blank.
pub fn tidy(text: &str) -> String {
    let mut tidied = String::with_capacity(text.len() + 4);
    for letter in text.trim().chars() {
        match letter {
            '\u{2018}' | '\u{2019}' | '\u{2032}' | '\u{b4}' | '`' => tidied.push('\''),
            '\u{201c}' | '\u{201d}' | '\u{201e}' | '\u{2033}' => tidied.push('"'),
            '\u{2212}' | '\u{2010}'..='\u{2014}' => tidied.push('-'),
            '\u{2044}' => tidied.push('/'),
            '\u{a0}' | '\u{2009}' | '\u{202f}' | '\u{2007}' => tidied.push(' '),
            other => match VULGAR.iter().find(|(vulgar, _)| *vulgar == other) {
                Some((_, typed)) => tidied.extend([" ", typed]),
                None => tidied.push(other),
            },
        }
    }
    tidied
}

/// Unicode's vulgar fractions that field books hold.
const VULGAR: [(char, &str); 9] = [
    ('\u{bd}', "1/2"),
    ('\u{bc}', "1/4"),
    ('\u{be}', "3/4"),
    ('\u{215b}', "1/8"),
    ('\u{215c}', "3/8"),
    ('\u{215d}', "5/8"),
    ('\u{215e}', "7/8"),
    ('\u{2153}', "1/3"),
    ('\u{2154}', "2/3"),
];

#[derive(Clone, Copy, Debug, PartialEq)]
enum Token {
    /// Value, and whether it was written without a decimal point.
    Number(f64, bool),
    Fraction(f64),
    Dash,
    Unit(CellUnit),
}

/// The tokens of a length, or `None` where something else stands in it.
fn tokens(text: &str, decimal_comma: bool) -> Option<Vec<Token>> {
    let mut tokens = Vec::new();
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let (token, length) = match first {
            ' ' => (None, 1),
            '-' => (Some(Token::Dash), 1),
            '"' => (Some(Token::Unit(CellUnit::Inch)), 1),
            '\'' if rest.starts_with("''") => (Some(Token::Unit(CellUnit::Inch)), 2),
            '\'' => (Some(Token::Unit(CellUnit::Foot)), 1),
            '0'..='9' | '.' | ',' => {
                let (token, length) = figure(rest, decimal_comma)?;
                (Some(token), length)
            }
            _ if first.is_ascii_alphabetic() => {
                let (unit, length) = word(rest)?;
                (Some(Token::Unit(unit)), length)
            }
            _ => return None,
        };
        tokens.extend(token);
        if tokens.len() > 6 {
            return None; // no form is longer
        }
        rest = rest.get(length..)?;
    }
    Some(tokens)
}

/// A unit at the start of the text, with its length in bytes.
fn word(text: &str) -> Option<(CellUnit, usize)> {
    let survey = ["us-ft", "us ft", "us_ft"]
        .iter()
        .find(|word| text.to_ascii_lowercase().starts_with(*word));
    let length = match survey {
        Some(word) => word.len(),
        None => text
            .find(|letter: char| !letter.is_ascii_alphabetic())
            .unwrap_or(text.len()),
    };
    let unit = plain_unit(text.get(..length)?)?;
    let dot = usize::from(text.get(length..)?.starts_with('.'));
    Some((unit, length + dot))
}

/// A number or a fraction at the start of the text, with its length in bytes.
fn figure(text: &str, decimal_comma: bool) -> Option<(Token, usize)> {
    let end = |from: &str| {
        from.find(|c: char| !(c.is_ascii_digit() || c == '.' || c == ','))
            .unwrap_or(from.len())
    };
    let length = end(text);
    let (number, rest) = text.split_at_checked(length)?;
    let Some(below) = rest.strip_prefix('/') else {
        let whole = number.bytes().all(|byte| byte.is_ascii_digit());
        return Some((
            Token::Number(parse_number(number, decimal_comma).ok()?, whole),
            length,
        ));
    };
    let (below, _) = below.split_at_checked(end(below))?;
    let (over, under) = (number.parse::<u32>().ok()?, below.parse::<u32>().ok()?);
    // A fraction of an inch: field tapes are divided to 64ths at most.
    if under == 0 || under > 64 || over > under {
        return None;
    }
    Some((
        Token::Fraction(f64::from(over) / f64::from(under)),
        length + 1 + below.len(),
    ))
}

/// Metres of a well-formed sequence; an empty reason stands for "not a length at all".
fn shape(tokens: &[Token], plain: Plain) -> Result<f64, String> {
    use Token::{Dash, Fraction, Number, Unit};
    let in_metres = |value: f64, unit: CellUnit| Ok(value * unit.metres(plain.foot));
    match *tokens {
        [Number(value, _) | Fraction(value), Unit(unit)] => in_metres(value, unit),
        [Number(value, true), Fraction(part), Unit(unit)] | [Number(value, true), Dash, Fraction(part), Unit(unit)] => {
            in_metres(value + part, unit)
        }
        [Number(value, true), Fraction(part)] if plain.named => Ok((value + part) * plain.metres),
        [Fraction(part)] if plain.named => Ok(part * plain.metres),
        [Fraction(_)] | [Number(..), Fraction(_)] | [Number(..), Dash, Fraction(_)] => {
            Err("a fraction needs its unit, as in 6 1/2 in".to_owned())
        }
        [Number(feet, whole), Unit(unit), ref rest @ ..] if unit.is_foot() => {
            let rest = rest.strip_prefix(&[Dash]).unwrap_or(rest);
            let inches = inches(rest)?;
            if whole { in_metres(feet + inches / 12.0, unit) } else { Err("decimals of a foot and inches as well".to_owned()) }
        }
        [Number(..), Dash, Number(..), Dash, Number(..)] => Err(
            "three numbers with dashes are eighths to some, sixteenths to others, and a date to a spreadsheet: \
             write 12' 6 1/2\""
                .to_owned(),
        ),
        [Number(_, true), Dash, Number(..), ..] if !plain.feet => {
            Err("feet and inches with a dash are read only where plain numbers are feet: write 12' 6 1/2\"".to_owned())
        }
        [Number(feet, true), Dash, ref rest @ ..] => Ok((feet + inches(rest)? / 12.0) * plain.metres),
        _ => Err(String::new()),
    }
}

/// Inches after the feet: `6`, `6.5`, `6 1/2`, `6-1/2`, `1/2`, each with or without its mark.
fn inches(tokens: &[Token]) -> Result<f64, String> {
    use Token::{Dash, Fraction, Number, Unit};
    let tokens = tokens
        .strip_suffix(&[Unit(CellUnit::Inch)])
        .unwrap_or(tokens);
    let (whole, part) = match *tokens {
        [Number(whole, _)] => (whole, 0.0),
        [Number(whole, true), Fraction(part)] | [Number(whole, true), Dash, Fraction(part)] => {
            (whole, part)
        }
        [Fraction(part)] => (0.0, part),
        _ => return Err(String::new()),
    };
    if whole < 12.0 {
        Ok(whole + part)
    } else {
        Err("there are 12 inches or more after the feet".to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn feet(text: &str) -> f64 {
        parse_length(text, Plain::of(LengthUnit::Foot))
            .unwrap_or_else(|why| panic!("{text}: {why}"))
            / FOOT
    }

    #[test]
    fn feet_and_inches_as_published() {
        // check values, section 11: computed with exact fractions
        for (text, value) in [
            ("12'-6 1/2\"", 12.541_666_667),
            ("3' 4-3/8\"", 3.364_583_333),
            ("0'-11 15/16\"", 0.994_791_667),
            ("7\"", 0.583_333_333),
            ("12.54'", 12.54),
            ("12' 6.5\"", 12.541_666_667),
            ("6 1/2 in", 0.541_666_667),
            ("12 ft 6 in", 12.5),
            ("12-6 1/2", 12.541_666_667),
            ("12-6", 12.5),
            ("12'6\"", 12.5),
            ("-12'-6 1/2\"", -12.541_666_667),
            ("12\u{2032}6\u{bd}\u{2033}", 12.541_666_667),
            ("12\u{2019} 6\u{201d}", 12.5),
            ("6\u{be} in", 0.5625),
            ("12.5 ft", 12.5),
            ("12.5 ft.", 12.5),
            ("705' 11 6/8\"", 705.979_166_667),
            ("62' 7 2/8\"", 62.604_166_667),
            ("12' 6 1/2", 12.541_666_667),
            ("1 ft", 1.0),
            ("12''", 1.0),
            ("3/8 in", 0.03125),
            ("6-1/2\"", 0.541_666_667),
            ("12\u{2013}6", 12.5),
            ("12 ft", 12.0),
        ] {
            assert!((feet(text) - value).abs() < 1e-9, "{text}: {}", feet(text));
        }
        assert!((feet("12'-6 1/2\"") * FOOT - 3.8227).abs() < 1e-12);
        assert!((feet("3' 4-3/8\"") * FOOT - 1.025_525).abs() < 1e-12);
        assert!((feet("0'-11 15/16\"") * FOOT - 0.303_212_5).abs() < 1e-12);
    }

    #[test]
    fn metric_and_the_survey_foot() {
        let metre = Plain::of(LengthUnit::Metre);
        let survey = Plain::of(LengthUnit::UsSurveyFoot);
        for (text, plain, metres) in [
            ("3.81 m", metre, 3.81),
            ("150 mm", metre, 0.15),
            ("38cm", metre, 0.38),
            ("12.5 ft", metre, 3.81),
            ("2", metre, 2.0),
            ("2000000", survey, 609_601.219_202_438_4),
            ("12.5 ft", survey, 12.5 * US_SURVEY_FOOT),
            ("1 us-ft", metre, US_SURVEY_FOOT),
            ("66 ftUS", metre, 20.116_840_234),
            ("12' 6\"", survey, 12.5 * US_SURVEY_FOOT),
            (
                "3,81 m",
                Plain {
                    decimal_comma: true,
                    ..metre
                },
                3.81,
            ),
            (
                "3,81",
                Plain {
                    decimal_comma: true,
                    ..metre
                },
                3.81,
            ),
        ] {
            let found = parse_length(text, plain).unwrap_or_else(|why| panic!("{text}: {why}"));
            assert!(
                (found - metres).abs() < 1e-9 * metres.max(1.0),
                "{text}: {found}"
            );
        }
        let inches = Plain::of(LengthUnit::Foot).named("in").unwrap();
        assert!((parse_length("6 1/2", inches).unwrap() - 6.5 * FOOT / 12.0).abs() < 1e-15);
        assert!((parse_length("30", inches).unwrap() - 2.5 * FOOT).abs() < 1e-15);
        assert!((parse_length("2.5 ft", inches).unwrap() - 2.5 * FOOT).abs() < 1e-15);
    }

    #[test]
    fn refuses_what_could_be_something_else() {
        for text in [
            "12.5' 6\"",
            "12-6-8",
            "6 1/2",
            "3/8",
            "12-1/2",
            "12' 13\"",
            "12-12",
            "12 6",
            "6 3/0 in",
            "6 9/8 in",
            "abc",
            "12 yd",
            "12 ft 6 ft",
            "6 in 12 ft",
            "ft",
            "'",
            "1e5 ft",
            "1,234.5 ft",
            "nan m",
            "12'6\"3",
            "12 ft 6 m",
            "--3 m",
            "0x10",
            "5 1/3333333333333 in",
            "\u{661}\u{662}",
        ] {
            assert!(
                parse_length(text, Plain::of(LengthUnit::Foot)).is_err(),
                "{text}"
            );
        }
        for text in ["12-6 1/2", "12-6", "6 1/2"] {
            assert!(
                parse_length(text, Plain::of(LengthUnit::Metre)).is_err(),
                "{text}"
            );
        }
    }
}
