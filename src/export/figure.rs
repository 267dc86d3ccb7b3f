//! Numbers as text, rounded to so many decimals.

use std::io::Write;

use super::value::{GEOGRAPHIC_DECIMALS, LENGTH_DECIMALS, power, round};

/// Appends a number rounded as [`round`] does, in plain decimal form.
///
/// Up to 15 digits, the shortest decimal that reads back as the same double is the one that it was rounded to (a double
/// keeps any 15 digits: IEEE 754), so an integer's digits will do, and cost a fraction of searching for them.
pub(super) fn append(value: f64, decimals: i32, out: &mut Vec<u8>) {
    let scaled = value * power(decimals);
    let size = scaled.abs();
    // Not a number too.
    if !(0..=18).contains(&decimals) || size.is_nan() || size >= 1e15 {
        // Writing to a vector can't fail.
        let _ = write!(out, "{}", round(value, decimals));
        return;
    }
    // Half away from zero; what is left of a number below 2^52 after its whole part is exact.
    let whole = size as u64;
    let whole = whole + u64::from(size - whole as f64 >= 0.5);
    if scaled < 0.0 && whole > 0 {
        out.push(b'-');
    }
    match decimals {
        LENGTH_DECIMALS => digits(whole / 10_000, whole % 10_000, 4, out),
        GEOGRAPHIC_DECIMALS => digits(whole / 1_000_000_000, whole % 1_000_000_000, 9, out),
        other => {
            let unit = 10_u64.pow(other as u32);
            digits(whole / unit, whole % unit, other as usize, out);
        }
    }
}

/// Appends the same as JSON's writer has it: a whole number ends in `.0`.
pub(super) fn append_json(value: f64, decimals: i32, out: &mut Vec<u8>) {
    let start = out.len();
    append(value, decimals, out);
    if !out[start..].contains(&b'.') {
        out.extend_from_slice(b".0");
    }
}

/// A whole part and a fraction of so many digits, its last zeros left out.
fn digits(whole: u64, fraction: u64, decimals: usize, out: &mut Vec<u8>) {
    // Twenty digits of a whole part, the point, eighteen of a fraction.
    let mut text = [b'0'; 39];
    let mut first = 20;
    let mut rest = whole;
    loop {
        first -= 1;
        text[first] = b'0' + (rest % 10) as u8;
        rest /= 10;
        if rest == 0 {
            break;
        }
    }
    let mut end = 20;
    if fraction > 0 {
        text[20] = b'.';
        end = 21 + decimals;
        let mut rest = fraction;
        for digit in text[21..end].iter_mut().rev() {
            *digit = b'0' + (rest % 10) as u8;
            rest /= 10;
        }
        while text[end - 1] == b'0' {
            end -= 1;
        }
    }
    out.extend_from_slice(&text[first..end]);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_those_of_the_language_s_own_form() {
        let mut value = 0.123_456_789;
        let mut values = vec![
            0.0,
            -0.0,
            -0.5,
            0.499_999_999_999_999_94,
            1.0,
            0.00005,
            -0.000_049_999,
            541_700.123_4,
            -1e-4,
            1e14,
            1e15,
            1e300,
            123_456_789_012.345_6,
            f64::MAX,
        ];
        for _ in 0..20_000 {
            // Golden-ratio steps through many sizes.
            value = (value * 1.618_033_988_7 + 0.7) % 9_999_999.0;
            values.extend([
                value,
                -value / 1e3,
                value * 1e5,
                (value * 2e4).round() / 2e4,
            ]);
        }
        for value in values {
            for decimals in [0, 1, 4, 6, 9] {
                let rounded = round(value, decimals);
                let mut out = Vec::new();
                append(value, decimals, &mut out);
                assert_eq!(String::from_utf8(out).unwrap(), rounded.to_string());
                let mut out = Vec::new();
                append_json(value, decimals, &mut out);
                let read: f64 = serde_json::from_slice(&out).unwrap();
                assert_eq!(read.to_bits(), rounded.to_bits(), "{value} {decimals}");
            }
        }
    }
}
