//! Plain decimal numbers: the strict grammar behind every other form.

/// The largest magnitude that a cell may hold: no length, angle or coordinate on Earth is larger, and squares of
/// it stay finite. [`crate::sources::Source::OurChoice`].
pub(super) const LARGEST: f64 = 1e9;

/// A plain decimal number: sign, digits, one decimal point; a decimal comma where `decimal_comma` allows it.
///
/// Refused, with the reason: thousands separators, `NaN`, `inf`, hexadecimal, numbers that a spreadsheet has
/// shortened to a positive power of ten, and magnitudes above 1e9. An error is a clause that says why.
pub fn parse_number(text: &str, decimal_comma: bool) -> Result<f64, String> {
    let text = text.trim();
    if is_bare(text) {
        return checked(text);
    }
    let dotted = with_point(&text.replace(['\u{2212}', '\u{2013}'], "-"), decimal_comma)?;
    if let Some((mantissa, exponent)) = dotted.split_once(['e', 'E']) {
        let digits = exponent.trim_start_matches(['+', '-']);
        if !is_bare(mantissa)
            || digits.is_empty()
            || !digits.bytes().all(|byte| byte.is_ascii_digit())
        {
            return Err("it is not a number".to_owned());
        }
        if !exponent.starts_with('-') && digits.bytes().any(|byte| byte != b'0') {
            return Err("a power of ten like this is what a spreadsheet leaves of a number too wide for its column, \
                        and digits may be lost: type the whole number"
                .to_owned());
        }
        return checked(&dotted);
    }
    if is_bare(&dotted) {
        checked(&dotted)
    } else {
        Err("it is not a number".to_owned())
    }
}

/// A plain number, or a percentage as a ratio: `0.0005`, `0.05 %`.
pub fn parse_fraction(text: &str, decimal_comma: bool) -> Result<f64, String> {
    match text.trim().strip_suffix('%') {
        Some(percent) => Ok(parse_number(percent, decimal_comma)? / 100.0),
        None => parse_number(text, decimal_comma),
    }
}

/// Replaces an allowed decimal comma by a point; refuses every other comma.
fn with_point(text: &str, decimal_comma: bool) -> Result<String, String> {
    match text.matches(',').count() {
        0 => Ok(text.to_owned()),
        1 if decimal_comma && !text.contains('.') => Ok(text.replace(',', ".")),
        1 if !decimal_comma && !text.contains('.') => {
            Err("a comma can be a decimal comma or a thousands separator here: use a point, no separator".to_owned())
        }
        _ => Err("it has a thousands separator: leave it out".to_owned()),
    }
}

/// Sign, digits and at most one point, with at least one digit.
pub(super) fn is_bare(text: &str) -> bool {
    let digits = text.strip_prefix(['-', '+']).unwrap_or(text);
    let (mut points, mut any) = (0, false);
    for byte in digits.bytes() {
        match byte {
            b'0'..=b'9' => any = true,
            b'.' => points += 1,
            _ => return false,
        }
    }
    any && points <= 1
}

pub(super) fn checked(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.abs() <= LARGEST => Ok(value),
        Ok(_) => Err("it is larger than anything on Earth".to_owned()),
        Err(_) => Err("it is not a number".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(text: &str, comma: bool, value: f64) {
        let found = parse_number(text, comma).unwrap();
        assert!(
            (found - value).abs() < 1e-15 * value.abs().max(1.0),
            "{text}: {found}"
        );
    }

    #[test]
    fn reads_what_people_and_spreadsheets_write() {
        close("12.5", false, 12.5);
        close(" -0.5 ", false, -0.5);
        close("+3", false, 3.0);
        close(".5", false, 0.5);
        close("5.", false, 5.0);
        close("12,5", true, 12.5);
        close("\u{2212}8.1", false, -8.1);
        close("4.5E-05", false, 4.5e-5);
        close("2e0", false, 2.0);
    }

    #[test]
    fn refuses_what_is_no_plain_number() {
        for text in [
            "NaN",
            "nan",
            "inf",
            "-inf",
            "infinity",
            "1e400",
            "0x10",
            "1,234.5",
            "1.234,5",
            "1,234,567",
            "",
            ".",
            "-",
            "1.2.3",
            "1 234",
            "1_000",
            "1.43243E+06",
            "1e",
            "e5",
            "--1",
            "1-",
            "12,5",
            "١٢",
            "9999999999",
        ] {
            assert!(parse_number(text, false).is_err(), "{text}");
        }
        for text in ["1,234.5", "1.234,5", "1,2,3", ","] {
            assert!(parse_number(text, true).is_err(), "{text}");
        }
    }

    #[test]
    fn a_percentage_is_a_ratio() {
        assert!((parse_fraction("0.05 %", false).unwrap() - 0.0005).abs() < 1e-18);
        assert!((parse_fraction("0.0005", false).unwrap() - 0.0005).abs() < 1e-18);
    }
}
