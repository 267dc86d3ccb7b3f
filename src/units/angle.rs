//! Angles, bearings, and geographic coordinates as people write them; radians come out.

use super::number::{checked, is_bare, parse_number};

/// Which geographic coordinate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Axis {
    /// North positive, at most 90°.
    Latitude,
    /// East positive, at most 180°.
    Longitude,
}

/// An angle in radians: decimal degrees, `123 45 06`, `123°45'06"`, `123-45-06`; at most one turn either way.
pub fn parse_angle(text: &str, decimal_comma: bool) -> Result<f64, String> {
    within(degrees(text, decimal_comma)?.value, 360.0)
}

/// A bearing in radians clockwise from north: an angle from 0 to 360°, or a quadrant bearing `N 45°30' E`.
pub fn parse_bearing(text: &str, decimal_comma: bool) -> Result<f64, String> {
    let upper = text.trim().to_uppercase();
    let Some(south) = upper
        .starts_with(['N', 'S'])
        .then(|| upper.starts_with('S'))
    else {
        let value = degrees(text, decimal_comma)?.value;
        return if value < 0.0 {
            Err("a bearing is not negative".to_owned())
        } else {
            within(value, 360.0)
        };
    };
    let west = upper.ends_with('W');
    if !west && !upper.ends_with('E') {
        return Err("a quadrant bearing ends with E or W".to_owned());
    }
    let inner = upper.get(1..upper.len() - 1).unwrap_or_default();
    let angle = degrees(inner, decimal_comma)?.value;
    if !(0.0..=90.0).contains(&angle) {
        return Err("a quadrant bearing lies between 0 and 90 degrees".to_owned());
    }
    let value = match (south, west) {
        (false, false) => angle,
        (true, false) => 180.0 - angle,
        (true, true) => 180.0 + angle,
        (false, true) => (360.0 - angle) % 360.0,
    };
    Ok(value.to_radians())
}

/// A latitude or longitude in radians: signed decimal degrees, or degrees (minutes, seconds) with a hemisphere.
pub fn parse_coordinate(text: &str, axis: Axis, decimal_comma: bool) -> Result<f64, String> {
    let (positive, negative, limit) = match axis {
        Axis::Latitude => ('N', 'S', 90.0),
        Axis::Longitude => ('E', 'W', 180.0),
    };
    let (body, sign) = hemisphere(text, positive, negative)?;
    let angle = degrees(body, decimal_comma)?;
    if sign.is_some() && angle.signed {
        return Err("it has a sign and a hemisphere: one of them".to_owned());
    }
    if sign.is_none() && angle.groups > 1 {
        return Err(format!(
            "degrees and minutes need their hemisphere, {positive} or {negative}"
        ));
    }
    within(angle.value * sign.unwrap_or(1.0), limit)
}

/// A declination in radians, east positive: a signed angle, or one with E or W.
pub fn parse_declination(text: &str, decimal_comma: bool) -> Result<f64, String> {
    let (body, sign) = hemisphere(text, 'E', 'W')?;
    within(
        degrees(body, decimal_comma)?.value * sign.unwrap_or(1.0),
        180.0,
    )
}

/// Takes a hemisphere's letter off either end.
fn hemisphere(text: &str, positive: char, negative: char) -> Result<(&str, Option<f64>), String> {
    let text = text.trim();
    let sign = |letter: char| match letter.to_ascii_uppercase() {
        letter if letter == positive => Some(1.0),
        letter if letter == negative => Some(-1.0),
        _ => None,
    };
    let before = text.chars().next().and_then(sign);
    let after = text.chars().next_back().and_then(sign);
    match (before, after) {
        (Some(_), Some(_)) => Err("it has two hemispheres".to_owned()),
        (Some(_), None) => Ok((text.get(1..).unwrap_or_default(), before)),
        (None, Some(_)) => Ok((text.get(..text.len() - 1).unwrap_or_default(), after)),
        (None, None) => Ok((text, None)),
    }
}

fn within(degrees: f64, limit: f64) -> Result<f64, String> {
    if degrees.abs() <= limit {
        Ok(degrees.to_radians())
    } else {
        Err(format!("it is more than {limit} degrees"))
    }
}

/// Degrees with how they were written.
struct Degrees {
    value: f64,
    signed: bool,
    groups: usize,
}

/// Degrees, minutes, seconds, each closed by its own mark, a blank, a dash or the end.
fn degrees(text: &str, decimal_comma: bool) -> Result<Degrees, String> {
    let text = text.trim();
    if is_bare(text) {
        // Most of all.
        return Ok(Degrees {
            value: checked(text)?,
            signed: text.starts_with(['-', '+']),
            groups: 1,
        });
    }
    let text = text.replace(['\u{2212}', '\u{2013}'], "-");
    let signed = text.starts_with(['-', '+']);
    let negative = text.starts_with('-');
    let mut rest = text.trim_start_matches(['-', '+']).trim_start();
    if text.len() - rest.len() > 1
        && text.starts_with(['-', '+'])
        && text.get(1..2).is_some_and(|c| c == "-" || c == "+")
    {
        return Err("it has two signs".to_owned());
    }
    let (mut value, mut groups, mut decimals) = (0.0, 0, false);
    while !rest.is_empty() {
        let end = rest
            .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == ','))
            .unwrap_or(rest.len());
        let (figure, after) = rest.split_at_checked(end).unwrap_or((rest, ""));
        let part = parse_number(figure, decimal_comma)?;
        if decimals || groups > 2 || (groups > 0 && part >= 60.0) {
            return Err(
                "only the last part may have decimals, and minutes and seconds are under 60"
                    .to_owned(),
            );
        }
        decimals = !figure.bytes().all(|byte| byte.is_ascii_digit());
        value += part
            / [1.0, 60.0, 3600.0]
                .get(groups)
                .copied()
                .unwrap_or(f64::INFINITY);
        rest = close_group(after, groups)
            .ok_or("its marks are not those of degrees, minutes, seconds")?;
        groups += 1;
    }
    if groups == 0 {
        return Err("it is not a number".to_owned());
    }
    Ok(Degrees {
        value: if negative { -value } else { value },
        signed,
        groups,
    })
}

/// What follows the mark that may close this group.
fn close_group(after: &str, group: usize) -> Option<&str> {
    let marks: &[&str] = match group {
        0 => &["\u{b0}", "\u{ba}", "\u{2da}", "deg"],
        1 => &["'", "\u{2032}", "\u{2019}"],
        _ => &["\"", "\u{2033}", "\u{201d}", "''", "\u{2032}\u{2032}"],
    };
    let trimmed = after.trim_start();
    for mark in marks {
        if let Some(rest) = trimmed.strip_prefix(mark) {
            return Some(rest.trim_start());
        }
    }
    if trimmed.is_empty() {
        return Some(trimmed);
    }
    // Without a mark, a blank or a dash parts the groups.
    match trimmed.strip_prefix('-') {
        Some(rest) if group < 2 => {
            Some(rest.trim_start()).filter(|rest| rest.starts_with(|c: char| c.is_ascii_digit()))
        }
        None if after.starts_with(' ') => Some(trimmed),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(found: Result<f64, String>, degrees: f64, text: &str) {
        let found = found
            .unwrap_or_else(|why| panic!("{text}: {why}"))
            .to_degrees();
        assert!((found - degrees).abs() < 1e-11, "{text}: {found}");
    }

    #[test]
    fn angles() {
        let dms = 123.0 + 45.0 / 60.0 + 6.0 / 3600.0;
        for (text, value) in [
            ("123.4567", 123.4567),
            ("123 45 06", dms),
            ("123\u{b0}45'06\"", dms),
            ("123-45-06", dms),
            ("123\u{b0} 45\u{2032} 06\u{2033}", dms),
            ("45\u{b0}30'", 45.5),
            ("45\u{b0}30.5'", 45.0 + 30.5 / 60.0),
            ("-12.5", -12.5),
            ("0", 0.0),
            ("45\u{b0}", 45.0),
            ("90 deg", 90.0),
        ] {
            check(parse_angle(text, false), value, text);
        }
        check(parse_angle("12,5", true), 12.5, "12,5");
        for text in [
            "",
            "abc",
            "45'30\"",
            "45 60",
            "45.5 30",
            "361",
            "1 2 3 4",
            "--5",
            "45\u{b0}\u{b0}",
            "nan",
            "12,5",
            "45-",
            "45\"",
            "1 2 3-4",
        ] {
            assert!(parse_angle(text, false).is_err(), "{text}");
        }
    }

    #[test]
    fn bearings() {
        for (text, value) in [
            ("N 45\u{b0}30' E", 45.5),
            ("S 45\u{b0}30' E", 134.5),
            ("s45.5w", 225.5),
            ("N 45 30 W", 314.5),
            ("N0E", 0.0),
            ("N 0 W", 0.0),
            ("S 90 W", 270.0),
            ("N45-30-15E", 45.504_166_666_666_67),
            ("134.5", 134.5),
            ("360", 360.0),
        ] {
            check(parse_bearing(text, false), value, text);
        }
        for text in [
            "N 91 E", "N 45", "E 45 N", "-5", "361", "N", "NE", "N -5 E", "S",
        ] {
            assert!(parse_bearing(text, false).is_err(), "{text}");
        }
    }

    #[test]
    fn coordinates() {
        use Axis::{Latitude, Longitude};
        for (text, axis, value) in [
            ("35.2251", Latitude, 35.2251),
            ("-80.8431", Longitude, -80.8431),
            ("80.8431 W", Longitude, -80.8431),
            (
                "W 80 50 35.2",
                Longitude,
                -(80.0 + 50.0 / 60.0 + 35.2 / 3600.0),
            ),
            (
                "35\u{b0}13'30.4\"N",
                Latitude,
                35.0 + 13.0 / 60.0 + 30.4 / 3600.0,
            ),
            ("35 13.5067 s", Latitude, -(35.0 + 13.5067 / 60.0)),
        ] {
            check(parse_coordinate(text, axis, false), value, text);
        }
        for (text, axis) in [
            ("91", Latitude),
            ("181", Longitude),
            ("35 13 30", Latitude),
            ("-35 N", Latitude),
            ("35 E", Latitude),
            ("N 35 S", Latitude),
            ("N", Latitude),
            ("35\u{b0}13'30.4\"", Latitude),
            ("", Longitude),
        ] {
            assert!(parse_coordinate(text, axis, false).is_err(), "{text}");
        }
        check(parse_declination("8.1 W", false), -8.1, "8.1 W");
        check(parse_declination("-8.1", false), -8.1, "-8.1");
    }
}
