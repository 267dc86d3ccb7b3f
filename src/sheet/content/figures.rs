//! Figures as people read them: rounded here and nowhere before.

use crate::record::model::Frame;
use crate::units::LengthUnit;

pub use crate::units::fixed;

/// What stands where nothing is known.
pub const UNKNOWN: &str = "–";

/// The unit of coordinates, by its name in the coordinate system, as a sentence has it: `metres`, `US survey feet`.
#[must_use]
pub fn units(name: &str) -> String {
    match name.strip_suffix("foot") {
        Some(before) => format!("{before}feet"),
        None if name.ends_with("metre") => format!("{name}s"),
        None => name.to_owned(),
    }
}

/// A length to 0.01 of the unit, or [`UNKNOWN`].
#[must_use]
pub fn length(value: Option<f64>) -> String {
    value.map_or_else(|| UNKNOWN.to_owned(), |v| fixed(v, 2))
}

/// A length rounded down to 0.01: a least cover must not be made greater by rounding.
#[must_use]
pub fn least(value: Option<f64>) -> String {
    // A hair of slack: 2.05 * 100 may come out just below 205.
    value.map_or_else(
        || UNKNOWN.to_owned(),
        |v| fixed((v * 100.0 + 1e-6).floor() / 100.0, 2),
    )
}

/// A length rounded up to 0.01: a greatest depth must not be made less by rounding.
#[must_use]
pub fn most(value: Option<f64>) -> String {
    value.map_or_else(
        || UNKNOWN.to_owned(),
        |v| fixed((v * 100.0 - 1e-6).ceil() / 100.0, 2),
    )
}

/// `± 0.12`, or nothing.
#[must_use]
pub fn bound(value: Option<f64>) -> String {
    value.map_or_else(String::new, |v| format!("± {}", fixed(v, 2)))
}

/// A percentage to two decimals, or [`UNKNOWN`].
#[must_use]
pub fn percent(value: Option<f64>) -> String {
    value.map_or_else(|| UNKNOWN.to_owned(), |v| format!("{} %", fixed(v, 2)))
}

/// A plain number with so many decimals, or [`UNKNOWN`].
#[must_use]
pub fn number(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| UNKNOWN.to_owned(), |v| fixed(v, decimals))
}

/// A number as short as it is: up to four decimals without trailing zeros.
#[must_use]
pub fn plain(value: f64) -> String {
    let text = fixed(value, 4);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A text, or [`UNKNOWN`].
#[must_use]
pub fn text(value: Option<&str>) -> String {
    value
        .filter(|v| !v.trim().is_empty())
        .unwrap_or(UNKNOWN)
        .to_owned()
}

/// A station in drafting notation: hundreds of feet (`1+42.60`), thousands of metres (`0+042.60`).
#[must_use]
pub fn station(value: Option<f64>, unit: LengthUnit) -> String {
    let Some(value) = value else {
        return UNKNOWN.to_owned();
    };
    let (whole, digits) = if unit.is_foot() {
        (100.0, 5)
    } else {
        (1000.0, 6)
    };
    let sign = if value < -0.005 { "-" } else { "" };
    let hundredths = (value.abs() * 100.0).round();
    let major = (hundredths / (whole * 100.0)).floor();
    let minor = hundredths / 100.0 - major * whole;
    format!("{sign}{major}+{minor:0digits$.2}")
}

/// The unit's word inside a sentence.
#[must_use]
pub fn unit_word(unit: LengthUnit) -> &'static str {
    match unit {
        LengthUnit::Metre => "metres",
        LengthUnit::Foot => "international feet",
        LengthUnit::UsSurveyFoot => "US survey feet",
    }
}

/// An angle in degrees, minutes and whole seconds, with a word for its sign.
#[must_use]
pub fn degrees(value: f64, positive: &str, negative: &str) -> String {
    let seconds = (value.abs() * 3600.0).round();
    let (d, rest) = ((seconds / 3600.0).floor(), seconds % 3600.0);
    let word = if seconds == 0.0 {
        ""
    } else if value < 0.0 {
        negative
    } else {
        positive
    };
    format!(
        "{d}° {:02}′ {:02}″ {word}",
        (rest / 60.0).floor(),
        rest % 60.0
    )
    .trim_end()
    .to_owned()
}

/// How grid north lies: `lies 1° 03′ 33″ west of true north`, or `is true north` where the two don't differ by a second.
#[must_use]
pub fn of_true_north(convergence: f64) -> String {
    if (convergence * 3600.0).round() == 0.0 {
        return "is true north".to_owned();
    }
    let text = degrees(convergence, "east", "west");
    format!("lies {text} of true north")
}

/// A frame's declination, or that it is not known where bearings were taken by a compass; nothing where none needed it.
#[must_use]
pub fn declination_of(frame: &Frame) -> Option<String> {
    match (frame.declination, &frame.declination_from) {
        (Some(value), _) => Some(declination(value)),
        (None, Some(_)) => Some("not known".to_owned()),
        (None, None) => None,
    }
}

/// A declination to a tenth of a degree, `8.1° west`: the magnetic model is not better than that on the ground.
fn declination(value: f64) -> String {
    let text = fixed(value.abs(), 1);
    match text.as_str() {
        "0.0" => "0.0°".to_owned(),
        _ if value < 0.0 => format!("{text}° west"),
        _ => format!("{text}° east"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_of_coordinates_in_a_sentence() {
        for (name, words) in [
            ("metre", "metres"),
            ("foot", "feet"),
            ("US survey foot", "US survey feet"),
            ("unknown", "unknown"),
        ] {
            assert_eq!(units(name), words);
        }
    }

    #[test]
    fn bounds_are_rounded_outwards() {
        assert_eq!(
            (least(Some(2.059)), most(Some(2.051))),
            ("2.05".into(), "2.06".into())
        );
        assert_eq!(
            (least(Some(2.05)), most(Some(2.05))),
            ("2.05".into(), "2.05".into())
        );
        assert_eq!(
            (least(Some(-0.071)), most(Some(-0.071))),
            ("-0.08".into(), "-0.07".into())
        );
    }

    #[test]
    fn nothing_is_ever_minus_zero() {
        assert_eq!(plain(-0.000_01), "0");
        assert_eq!(plain(0.015), "0.015");
        assert_eq!(plain(100.0), "100");
    }

    #[test]
    fn stations_carry_into_the_next_hundred() {
        assert_eq!(station(Some(142.6), LengthUnit::Foot), "1+42.60");
        assert_eq!(station(Some(99.999), LengthUnit::Foot), "1+00.00");
        assert_eq!(station(Some(42.6), LengthUnit::Metre), "0+042.60");
        assert_eq!(station(Some(-3.2), LengthUnit::Metre), "-0+003.20");
        assert_eq!(station(None, LengthUnit::Metre), "–");
    }

    #[test]
    fn a_least_cover_is_rounded_down() {
        assert_eq!(least(Some(2.059)), "2.05");
        assert_eq!(least(Some(2.05)), "2.05");
        assert_eq!(least(Some(-0.001)), "-0.01");
    }

    #[test]
    fn angles_name_their_side() {
        assert_eq!(degrees(-8.1, "east", "west"), "8° 06′ 00″ west");
        assert_eq!(degrees(0.999_999_9, "east", "west"), "1° 00′ 00″ east");
        assert_eq!(degrees(0.0, "east", "west"), "0° 00′ 00″");
        assert_eq!(of_true_north(-8.1), "lies 8° 06′ 00″ west of true north");
        assert_eq!(of_true_north(-0.000_01), "is true north");
    }
}
