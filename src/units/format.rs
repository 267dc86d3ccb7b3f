//! Lengths and angles for people: feet and inches, stations, degrees, rounded figures.

use super::LengthUnit;

/// `value` rounded to a multiple of `step`.
#[must_use]
pub fn round_to(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}

/// A number with so many decimals, never `-0`.
#[must_use]
pub fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| b == b'0' || b == b'.') => rest.to_owned(),
        _ => text,
    }
}

/// A length with its unit, to the millimetre or a hundredth of a foot.
#[must_use]
pub fn length_text(metres: f64, unit: LengthUnit) -> String {
    format!("{} {unit}", fixed(unit.of(metres), length_digits(unit)))
}

/// Decimals of a length in a sentence.
#[must_use]
pub const fn length_digits(unit: LengthUnit) -> usize {
    if unit.is_foot() { 2 } else { 3 }
}

/// What goes before "over", "under" or "outside" where rounding hides by how much.
#[must_use]
pub fn just(figure: &str, limit: &str) -> &'static str {
    if figure == limit { "just " } else { "" }
}

/// A figure as fine as a bound is worth: two decimals, three where it is small.
#[must_use]
pub fn rough(value: f64) -> String {
    fixed(value, if value.abs() < 0.1 { 3 } else { 2 })
}

/// How many of a thing there are: `1 row`, `2 rows`.
#[must_use]
pub fn counted(count: usize, one: &str) -> String {
    if count == 1 {
        format!("1 {one}")
    } else {
        format!("{count} {one}s")
    }
}

/// Names in a sentence, no more than so many of them: `A1, A2 and 3 more`.
#[must_use]
pub fn listed<S: AsRef<str>>(names: &[S], most: usize) -> String {
    let (shown, rest) = names.split_at(names.len().min(most));
    let shown: Vec<&str> = shown.iter().map(AsRef::as_ref).collect();
    let shown = shown.join(", ");
    match rest.len() {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

/// A length as feet and inches to the nearest `denominator`th of an inch: `12'-6 1/2"`. Empty if it is not finite.
///
/// `foot` is the metres of the foot meant, [`super::FOOT`] or [`super::US_SURVEY_FOOT`].
#[must_use]
pub fn feet_inches(metres: f64, foot: f64, denominator: u32) -> String {
    let parts = f64::from(denominator.max(1));
    let count = (metres / foot * 12.0 * parts).round();
    if !count.is_finite() {
        return String::new();
    }
    let sign = if count < 0.0 { "-" } else { "" };
    let count = count.abs();
    let feet = (count / (12.0 * parts)).floor();
    let left = count - feet * 12.0 * parts;
    let inches = (left / parts).floor();
    let (mut over, mut under) = ((left - inches * parts) as u32, denominator.max(1));
    while over > 0 && over.is_multiple_of(2) && under.is_multiple_of(2) {
        (over, under) = (over / 2, under / 2);
    }
    if over == 0 {
        format!("{sign}{feet}'-{inches}\"")
    } else {
        format!("{sign}{feet}'-{inches} {over}/{under}\"")
    }
}

/// A station as drawings have it: `1+42.60` in feet, `0+042.60` in metres.
#[must_use]
pub fn station_text(metres: f64, unit: LengthUnit, decimals: usize) -> String {
    let (step, digits) = if unit.is_foot() {
        (100.0, 2)
    } else {
        (1000.0, 3)
    };
    let scale = 10_f64.powi(i32::try_from(decimals).unwrap_or(9));
    let rounded = (unit.of(metres).abs() * scale).round() / scale;
    let whole = (rounded / step).floor();
    let sign = if metres < 0.0 && rounded > 0.0 {
        "-"
    } else {
        ""
    };
    let width = digits + if decimals > 0 { decimals + 1 } else { 0 };
    format!(
        "{sign}{whole}+{:0width$.decimals$}",
        (rounded - whole * step).max(0.0)
    )
}

/// An angle as `123°45'06"`, seconds with the decimals asked for.
#[must_use]
pub fn degrees_minutes_seconds(radians: f64, decimals: usize) -> String {
    let scale = 10_f64.powi(i32::try_from(decimals).unwrap_or(9));
    let seconds = (radians.to_degrees().abs() * 3600.0 * scale).round() / scale;
    let degrees = (seconds / 3600.0).floor();
    let minutes = ((seconds - degrees * 3600.0) / 60.0).floor();
    let rest = (seconds - degrees * 3600.0 - minutes * 60.0).max(0.0);
    let sign = if radians < 0.0 && seconds > 0.0 {
        "-"
    } else {
        ""
    };
    let width = 2 + if decimals > 0 { decimals + 1 } else { 0 };
    format!("{sign}{degrees}\u{b0}{minutes:02}'{rest:0width$.decimals$}\"")
}

#[cfg(test)]
mod tests {
    use super::super::{FOOT, Plain, parse_length};
    use super::*;

    #[test]
    fn feet_and_inches_as_published() {
        // check values, section 11
        for (feet, text) in [
            (12.54, "12'-6 1/2\""),
            (5.08, "5'-0 15/16\""),
            (7.92, "7'-11 1/16\""),
            (0.01, "0'-0 1/8\""),
        ] {
            assert_eq!(feet_inches(feet * FOOT, FOOT, 16), text);
        }
        assert_eq!(feet_inches(11.999 * FOOT, FOOT, 4), "12'-0\"");
        assert_eq!(feet_inches(-2.5 * FOOT, FOOT, 4), "-2'-6\"");
        assert_eq!(feet_inches(0.0, FOOT, 16), "0'-0\"");
        assert_eq!(feet_inches(f64::NAN, FOOT, 16), "");
    }

    #[test]
    fn nothing_is_ever_minus_zero() {
        assert_eq!(fixed(-0.001, 2), "0.00");
        assert_eq!(fixed(-0.006, 2), "-0.01");
        assert_eq!(fixed(-0.4, 0), "0");
        assert_eq!(length_text(-0.000_1, LengthUnit::Metre), "0.000 m");
        assert_eq!(length_text(-0.001, LengthUnit::Foot), "0.00 ft");
        assert_eq!(rough(-0.000_4), "0.000");
        assert_eq!(rough(-0.25), "-0.25");
    }

    #[test]
    fn one_of_a_thing_is_no_plural() {
        assert_eq!(counted(0, "row"), "0 rows");
        assert_eq!(counted(1, "row"), "1 row");
        assert_eq!(counted(2, "row"), "2 rows");
    }

    #[test]
    fn what_is_written_reads_back() {
        let plain = Plain::of(LengthUnit::Foot);
        for count in -5000..5000 {
            let metres = f64::from(count) / 64.0 / 12.0 * FOOT * 7.0;
            let read = parse_length(&feet_inches(metres, FOOT, 64), plain).unwrap();
            assert!((read - metres).abs() < 1e-9, "{metres}");
        }
    }

    #[test]
    fn stations_and_angles() {
        assert_eq!(station_text(142.6 * FOOT, LengthUnit::Foot, 1), "1+42.6");
        assert_eq!(station_text(42.6, LengthUnit::Metre, 2), "0+042.60");
        assert_eq!(station_text(99.999 * FOOT, LengthUnit::Foot, 1), "1+00.0");
        assert_eq!(station_text(-5.0, LengthUnit::Metre, 0), "-0+005");
        assert_eq!(
            degrees_minutes_seconds((123.0 + 45.0 / 60.0 + 6.0 / 3600.0_f64).to_radians(), 0),
            "123\u{b0}45'06\""
        );
        assert_eq!(
            degrees_minutes_seconds((-0.999_999_99_f64).to_radians(), 1),
            "-1\u{b0}00'00.0\""
        );
    }
}
