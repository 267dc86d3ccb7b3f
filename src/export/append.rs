//! Figures and words appended to bytes: what makes up most of every text file.

use std::io::Write;

use serde::Serialize;

use super::value::{GEOGRAPHIC_DECIMALS, LENGTH_DECIMALS, power, round};

/// What appends something.
pub(super) type Appending<'a> = &'a dyn Fn(&mut Vec<u8>);

/// Appends a number rounded as [`round`] does, in plain decimal form.
///
/// Up to 15 digits, the shortest decimal that reads back as the same double is the one that it was rounded to (a double
/// keeps any 15 digits: IEEE 754), so an integer's digits will do, and cost a fraction of searching for them.
pub(super) fn figure(value: f64, decimals: i32, out: &mut Vec<u8>) {
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
        LENGTH_DECIMALS => digits::<4>(whole / 10_000, whole % 10_000, out),
        GEOGRAPHIC_DECIMALS => digits::<9>(whole / 1_000_000_000, whole % 1_000_000_000, out),
        6 => digits::<6>(whole / 1_000_000, whole % 1_000_000, out),
        other => {
            // Eighteen decimals hold any number of fewer.
            let (unit, more) = (10_u64.pow(other as u32), 10_u64.pow(18 - other as u32));
            digits::<18>(whole / unit, whole % unit * more, out);
        }
    }
}

/// Appends the same as JSON's writer has it: a whole number ends in `.0`.
pub(super) fn json_figure(value: f64, decimals: i32, out: &mut Vec<u8>) {
    let start = out.len();
    figure(value, decimals, out);
    // Most have a point, and near their end.
    if !out[start..].iter().rev().any(|byte| *byte == b'.') {
        out.extend_from_slice(b".0");
    }
}

/// Appends a string of JSON: as it is, where nothing in it has to be told otherwise.
pub(super) fn json_text(text: &str, out: &mut Vec<u8>) {
    let special = |byte: &u8| *byte < b' ' || *byte == b'"' || *byte == b'\\';
    // Counted to the end: so they are looked at many at a time.
    if text.bytes().filter(special).count() == 0 {
        out.push(b'"');
        out.extend_from_slice(text.as_bytes());
        out.push(b'"');
    } else {
        json(text, out);
    }
}

/// Appends a plain value of JSON.
pub(super) fn json<T: Serialize + ?Sized>(value: &T, out: &mut Vec<u8>) {
    // Neither a vector nor a plain value can fail.
    let _ = serde_json::to_writer(out, value);
}

/// Digits of a number, from the last to the first.
fn digits_of(mut rest: u64) -> impl Iterator<Item = u8> {
    std::iter::from_fn(move || {
        let digit = b'0' + (rest % 10) as u8;
        rest /= 10;
        Some(digit)
    })
}

/// A whole part and a fraction of so many digits, its last zeros left out.
fn digits<const DECIMALS: usize>(whole: u64, fraction: u64, out: &mut Vec<u8>) {
    let length = whole.checked_ilog10().map_or(1, |log| log as usize + 1);
    // Twenty digits of a whole part, the point, eighteen of a fraction.
    let mut text = [b'0'; 39];
    for (slot, digit) in text[..length].iter_mut().rev().zip(digits_of(whole)) {
        *slot = digit;
    }
    let mut end = length;
    if fraction > 0 {
        text[length] = b'.';
        end += 1 + DECIMALS;
        for (slot, digit) in text[length + 1..end]
            .iter_mut()
            .rev()
            .zip(digits_of(fraction))
        {
            *slot = digit;
        }
        while text[end - 1] == b'0' {
            end -= 1;
        }
    }
    // A length that is known beforehand is copied without asking for it; what is too much is taken back.
    let start = out.len();
    if end <= SHORT {
        out.extend_from_slice(&text[..SHORT]);
    } else {
        out.extend_from_slice(&text);
    }
    out.truncate(start + end);
}

/// No shorter than most figures.
const SHORT: usize = 16;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_those_of_the_language_s_own_form() {
        let mut value: f64 = 0.123_456_789;
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
                figure(value, decimals, &mut out);
                assert_eq!(String::from_utf8(out).unwrap(), rounded.to_string());
                let mut out = Vec::new();
                json_figure(value, decimals, &mut out);
                let read: f64 = serde_json::from_slice(&out).unwrap();
                assert_eq!(read.to_bits(), rounded.to_bits(), "{value} {decimals}");
            }
        }
    }

    #[test]
    fn text_is_told_as_json_wants_it() {
        for text in [
            "",
            "plain",
            "a \"b\" \\ c",
            "line\nbreak",
            "\u{1}",
            "é\u{2028}\u{7f}",
        ] {
            let mut out = Vec::new();
            json_text(text, &mut out);
            assert_eq!(out, serde_json::to_vec(text).unwrap());
        }
    }
}
