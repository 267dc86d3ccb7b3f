//! Stations, offsets and grades as people write them.

use super::length::{Plain, parse_length, tidy};
use super::number::{LARGEST, parse_number};
use super::{FOOT, LengthUnit};

/// A station in metres: a length, or `1+42.6` (hundreds of feet) in a job in feet, `0+042.6` (thousands of metres)
/// in a job in metres.
pub fn parse_station(text: &str, plain: Plain) -> Result<f64, String> {
    let tidied = tidy(text);
    let (negative, body) = match tidied.strip_prefix('-') {
        Some(rest) => (true, rest.trim()),
        None => (false, tidied.as_str()),
    };
    let Some((whole, rest)) = body
        .split_once('+')
        .filter(|(whole, _)| !whole.trim().is_empty())
    else {
        return parse_length(text, plain);
    };
    let (digits, step) = if plain.feet { (2, 100.0) } else { (3, 1000.0) };
    let (whole, rest) = (whole.trim(), rest.trim());
    let tail = rest.split(['.', ',']).next().unwrap_or_default();
    if !whole.bytes().all(|byte| byte.is_ascii_digit())
        || tail.len() != digits
        || !tail.bytes().all(|b| b.is_ascii_digit())
    {
        return Err(format!(
            "after the + of a station come exactly {digits} digits, then the decimals"
        ));
    }
    let value = parse_number(whole, false)? * step + parse_number(rest, plain.decimal_comma)?;
    Ok(value * plain.metres * if negative { -1.0 } else { 1.0 })
}

/// An offset in metres, right positive: a length with a sign, or `L 4.2`, `R 4.2`, `4.2 L`, `left 4.2`.
pub fn parse_offset(text: &str, plain: Plain) -> Result<f64, String> {
    let text = text.trim();
    // The last letter of a unit ("meter") is no side.
    if let Ok(value) = parse_length(text, plain) {
        return Ok(value);
    }
    let lower = text.to_lowercase();
    for (word, sign) in [("left", -1.0), ("right", 1.0), ("l", -1.0), ("r", 1.0)] {
        let rest = match (lower.strip_prefix(word), lower.strip_suffix(word)) {
            (Some(rest), _) | (None, Some(rest)) => rest.trim(),
            _ => continue,
        };
        let value = parse_length(rest, plain)?;
        if value < 0.0 || rest.starts_with('+') {
            return Err("it has a side and a sign: one of them".to_owned());
        }
        return Ok(sign * value);
    }
    parse_length(text, plain)
}

/// A grade as a ratio: `2 %`, `1:48`, `1 in 48`, `1/4 in per ft`, `1/4 in/ft`, `20 mm/m`.
pub fn parse_grade(text: &str, decimal_comma: bool) -> Result<f64, String> {
    let lower = text.trim().to_lowercase();
    if let Some(percent) = lower
        .strip_suffix('%')
        .or_else(|| lower.strip_suffix("percent"))
    {
        return Ok(parse_number(percent, decimal_comma)? / 100.0);
    }
    let international = Plain {
        decimal_comma,
        ..Plain::of(LengthUnit::Foot)
    };
    for (per, metres) in [
        ("per foot", FOOT),
        ("per ft", FOOT),
        ("/ft", FOOT),
        ("/m", 1.0),
        ("per m", 1.0),
    ] {
        if let Some(rise) = lower.strip_suffix(per) {
            let rise = rise.trim();
            return if rise.ends_with(char::is_alphabetic) || rise.ends_with('"') {
                Ok(parse_length(rise, international)? / metres)
            } else {
                Err("the rise needs its unit".to_owned())
            };
        }
    }
    let (rise, run) = lower
        .split_once(':')
        .or_else(|| lower.split_once(" in "))
        .ok_or_else(|| "a plain number could be a percentage or a ratio".to_owned())?;
    let (rise, run) = (
        parse_number(rise, decimal_comma)?,
        parse_number(run, decimal_comma)?,
    );
    // A run of next to nothing divides to infinity.
    match rise / run {
        grade if run > 0.0 && grade.abs() <= LARGEST => Ok(grade),
        _ => Err("it divides by nothing".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stations() {
        let (foot, metre) = (Plain::of(LengthUnit::Foot), Plain::of(LengthUnit::Metre));
        let station =
            |text, plain: Plain| parse_station(text, plain).map(|metres| metres / plain.metres);
        for (text, plain, value) in [
            ("142.6", foot, 142.6),
            ("1+42.6", foot, 142.6),
            ("0+042.6", metre, 42.6),
            ("12+05", foot, 1205.0),
            ("-0+12.5", foot, -12.5),
            (
                "2+345,25",
                Plain {
                    decimal_comma: true,
                    ..metre
                },
                2345.25,
            ),
            ("+12.5", foot, 12.5),
            ("142' 6\"", foot, 142.5),
        ] {
            assert!(
                (station(text, plain).unwrap() - value).abs() < 1e-9,
                "{text}"
            );
        }
        for (text, plain) in [
            ("1+4.6", foot),
            ("1+142.6", foot),
            ("0+42.6", metre),
            ("1+", foot),
            ("a+42", foot),
            ("1+42+3", foot),
        ] {
            assert!(station(text, plain).is_err(), "{text}");
        }
    }

    #[test]
    fn offsets_and_grades() {
        let foot = Plain::of(LengthUnit::Foot);
        for (text, value) in [
            ("L 4.2", -4.2),
            ("R 4.2", 4.2),
            ("-4.2", -4.2),
            ("4.2 l", -4.2),
            ("right 4.2", 4.2),
            ("R4' 6\"", 4.5),
        ] {
            assert!(
                (parse_offset(text, foot).unwrap() / FOOT - value).abs() < 1e-12,
                "{text}"
            );
        }
        let metre = Plain::of(LengthUnit::Metre);
        for (text, value) in [
            ("4.2 meter", 4.2),
            ("L 4.2 meter", -4.2),
            ("4.2 meter R", 4.2),
            ("4.2mR", 4.2),
        ] {
            assert_eq!(parse_offset(text, metre), Ok(value), "{text}");
        }
        assert!(parse_offset("L -4.2", foot).is_err());
        assert!(parse_offset("L", foot).is_err());
        for (text, value) in [
            ("2 %", 0.02),
            ("1:48", 1.0 / 48.0),
            ("1 in 48", 1.0 / 48.0),
            ("1/4 in per ft", 1.0 / 48.0),
            ("1/8 in/ft", 1.0 / 96.0),
            ("20 mm/m", 0.02),
            ("1.5 percent", 0.015),
        ] {
            assert!(
                (parse_grade(text, false).unwrap() - value).abs() < 1e-15,
                "{text}"
            );
        }
        for text in ["2", "0.02", "1:0", "steep", "1/4 per ft", ""] {
            assert!(parse_grade(text, false).is_err(), "{text}");
        }
    }
}
