//! Dates and times, and lengths that a spreadsheet has turned into one.

/// Seconds in a day.
const DAY: f64 = 86_400.0;

/// Days since 1970-01-01 of an ISO 8601 date, `2026-05-14`.
pub fn parse_date(text: &str) -> Result<i64, String> {
    let mut parts = text.trim().split('-');
    let mut next = |digits: usize| {
        parts
            .next()
            .filter(|part| part.len() == digits && part.bytes().all(|b| b.is_ascii_digit()))?
            .parse::<i64>()
            .ok()
    };
    let (year, month, day) = (next(4), next(2), next(2));
    match (year, month, day, parts.next()) {
        (Some(year), Some(month), Some(day), None) if real(year, month, day) => {
            Ok(days(year, month, day))
        }
        _ => Err("a date is written 2026-05-14".to_owned()),
    }
}

/// The ISO 8601 date of a day since 1970-01-01.
#[must_use]
pub fn date_text(day: i64) -> String {
    // The proleptic Gregorian calendar in eras of 400 years, counted from 1 March of year 0.
    let shifted = day + 719_468;
    let era = shifted.div_euclid(146_097);
    let of_era = shifted.rem_euclid(146_097);
    let year_of_era = (of_era - of_era / 1_460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let march = (5 * of_year + 2) / 153;
    let month = if march < 10 { march + 3 } else { march - 9 };
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    format!(
        "{year:04}-{month:02}-{:02}",
        of_year - (153 * march + 2) / 5 + 1
    )
}

/// Seconds since 1970-01-01 UTC of an ISO 8601 time, or of `HH:MM[:SS]` on `day`; without a day, seconds of the day.
pub fn parse_time(text: &str, day: Option<i64>) -> Result<f64, String> {
    let text = text.trim();
    let Some((date, clock)) = text.split_once(['T', 't', ' ']) else {
        return Ok(clock_seconds(text)? + day.map_or(0.0, |day| day as f64 * DAY));
    };
    let date = parse_date(date)?;
    let (clock, offset) = zone(clock.trim())?;
    Ok(date as f64 * DAY + clock_seconds(clock)? - offset)
}

/// Splits the zone off a clock time: `Z`, `+02:00`; its seconds east of UTC.
fn zone(clock: &str) -> Result<(&str, f64), String> {
    if let Some(bare) = clock.strip_suffix(['Z', 'z']) {
        return Ok((bare, 0.0));
    }
    let Some((bare, sign)) = clock.rfind(['+', '-']).and_then(|at| {
        Some((
            clock.get(..at)?,
            if clock.get(at..)?.starts_with('-') {
                -1.0
            } else {
                1.0
            },
        ))
    }) else {
        return Ok((clock, 0.0));
    };
    let shift = clock.get(bare.len() + 1..).unwrap_or_default();
    let shift = if shift.len() == 2 {
        format!("{shift}:00")
    } else {
        shift.to_owned()
    };
    Ok((bare, sign * clock_seconds(&shift)?))
}

/// Seconds of `HH:MM`, `HH:MM:SS` or `HH:MM:SS.s`.
fn clock_seconds(text: &str) -> Result<f64, String> {
    let wrong = || "a time is written 2026-05-14T13:02:05Z, or 13:02:05".to_owned();
    let parts: Vec<&str> = text.trim().split(':').collect();
    let (hour, minute, second) = match *parts.as_slice() {
        [hour, minute] => (hour, minute, "00"),
        [hour, minute, second] => (hour, minute, second),
        _ => return Err(wrong()),
    };
    let digits = |part: &str| {
        part.len() <= 2 && !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit())
    };
    if !digits(hour) || !digits(minute) || !digits(second.split('.').next().unwrap_or_default()) {
        return Err(wrong());
    }
    let value = |part: &str| part.parse::<f64>().map_err(|_| wrong());
    let (hour, minute, second) = (value(hour)?, value(minute)?, value(second)?);
    if hour < 24.0 && minute < 60.0 && second < 61.0 {
        Ok(hour * 3600.0 + minute * 60.0 + second)
    } else {
        Err(wrong())
    }
}

/// Whether the day exists in the Gregorian calendar.
fn real(year: i64, month: i64, day: i64) -> bool {
    let leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    let last = match month {
        2 if leap => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    };
    (1..=12).contains(&month) && (1..=last).contains(&day)
}

/// Days since 1970-01-01 of a day of the Gregorian calendar.
fn days(year: i64, month: i64, day: i64) -> i64 {
    let year = if month <= 2 { year - 1 } else { year };
    let era = year.div_euclid(400);
    let of_era = year.rem_euclid(400);
    let of_year = (153 * (month + if month > 2 { -3 } else { 9 }) + 2) / 5 + day - 1;
    era * 146_097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719_468
}

/// A cell that a spreadsheet has turned into a date or a time: what was probably typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mangled {
    /// The likeliest typings, best first; empty for a time of day.
    pub typed: Vec<String>,
}

const MONTHS: [&str; 12] = [
    "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec",
];

/// Recognises a date or a time in a cell where neither is due: `6-Dec`, `Dec-06`, `12/6/2026`, `06.12.2026`,
/// `2026-12-06`, `12:06:00`; `None` if the text is neither.
#[must_use]
pub fn mangled(text: &str) -> Option<Mangled> {
    let text = text.trim();
    let date = text.split(['T', ' ']).next().unwrap_or_default();
    if text.contains(':')
        && clock_seconds(text.trim_end_matches(|c: char| c.is_alphabetic() || c == ' ')).is_ok()
    {
        return Some(Mangled { typed: Vec::new() });
    }
    if let Ok(day) = parse_date(date) {
        let iso = date_text(day);
        let part = |from: usize, to: usize| {
            iso.get(from..to)
                .and_then(|part| part.parse::<u32>().ok())
                .unwrap_or(0)
        };
        return Some(from_day(part(5, 7), part(8, 10), Some(part(0, 4))));
    }
    let parts: Vec<&str> = date
        .split(['-', '/', '.'])
        .filter(|part| !part.is_empty())
        .collect();
    let month = |part: &str| {
        let name = part.get(..3)?.to_ascii_lowercase();
        let at = MONTHS.iter().position(|month| *month == name)?;
        part.bytes()
            .all(|byte| byte.is_ascii_alphabetic())
            .then(|| u32::try_from(at + 1).ok())?
    };
    let number = |part: &str| part.parse::<u32>().ok();
    match *parts.as_slice() {
        [a, b] | [a, b, _] if month(a).is_some() => Some(from_day(month(a)?, number(b)?, None)),
        [a, b] | [a, b, _] if month(b).is_some() => Some(from_day(month(b)?, number(a)?, None)),
        [a, b, year] if year.len() == 4 => {
            let (a, b) = (number(a)?, number(b)?);
            number(year)?;
            let american = (1..=12).contains(&a) && (1..=31).contains(&b) && !date.contains('.');
            let other = (1..=31).contains(&a) && (1..=12).contains(&b);
            (american || other).then(|| {
                if american {
                    from_day(a, b, None)
                } else {
                    from_day(b, a, None)
                }
            })
        }
        _ => None,
    }
}

/// What gives this month and day when typed: `12-6`, or a fraction such as `3/8`. The first of a month may be a month
/// with a year: `1/32` becomes January 1932.
fn from_day(month: u32, day: u32, year: Option<u32>) -> Mangled {
    let fraction = month < day && matches!(day, 2 | 4 | 8 | 16);
    let mut typed = vec![format!("{month}-{day}"), format!("{month}/{day}")];
    if fraction {
        typed.reverse();
    }
    if let (1, Some(year)) = (day, year) {
        let short = year % 100;
        typed.push(format!("{month}/{short:02}"));
    }
    Mangled { typed }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_of_the_calendar() {
        // Days by the calendar: 2000-03-01 is day 11017, 2026-05-14 day 20587 (coreutils `date +%s` divided by 86400).
        for (text, day) in [
            ("1970-01-01", 0),
            ("2000-03-01", 11_017),
            ("2026-05-14", 20_587),
            ("1969-12-31", -1),
            ("2024-02-29", 19_782),
        ] {
            assert_eq!(parse_date(text).unwrap(), day, "{text}");
            assert_eq!(date_text(day), text);
        }
        for text in [
            "2026-02-29",
            "2026-13-01",
            "14.05.2026",
            "2026-5-14",
            "5/14/2026",
            "",
            "2026-05-14-1",
            "1900-02-29",
        ] {
            assert!(parse_date(text).is_err(), "{text}");
        }
        // Year 0 to 7500.
        for day in (-719_000..2_000_000).step_by(97) {
            let text = date_text(day);
            assert_eq!(parse_date(&text).unwrap(), day, "{text}");
        }
    }

    #[test]
    fn times() {
        let close = |text: &str, day, value: f64| {
            assert!(
                (parse_time(text, day).unwrap() - value).abs() < 1e-6,
                "{text}"
            );
        };
        close("2026-05-14T13:02:05Z", None, 20_587.0 * DAY + 46_925.0);
        close("2026-05-14 13:02:05", None, 20_587.0 * DAY + 46_925.0);
        close(
            "2026-05-14T13:02:05+02:00",
            None,
            20_587.0 * DAY + 46_925.0 - 7200.0,
        );
        close(
            "2026-05-14T13:02:05-04",
            None,
            20_587.0 * DAY + 46_925.0 + 14_400.0,
        );
        close("13:02:05.5", Some(20_587), 20_587.0 * DAY + 46_925.5);
        close("9:05", None, 32_700.0);
        for text in [
            "",
            "25:00",
            "12:60",
            "noon",
            "2026-05-14T",
            "2026-05-14T1",
            "12",
            "12:00:61",
            "12:-1",
        ] {
            assert!(parse_time(text, None).is_err(), "{text}");
        }
    }

    #[test]
    fn what_was_typed_before_the_spreadsheet_changed_it() {
        for (text, typed) in [
            ("6-Dec", "12-6"),
            ("2026-12-06", "12-6"),
            ("12/6/2026", "12-6"),
            ("06.12.2026", "12-6"),
            ("8-Mar", "3/8"),
            ("2026-03-08", "3/8"),
            ("Dec-06", "12-6"),
            ("2026-12-06T00:00:00", "12-6"),
            ("6-Dec-26", "12-6"),
            ("2026-01-02", "1/2"),
        ] {
            assert_eq!(
                mangled(text).unwrap().typed.first().unwrap(),
                typed,
                "{text}"
            );
        }
        assert!(
            mangled("1932-01-01")
                .unwrap()
                .typed
                .contains(&"1/32".to_owned())
        );
        assert_eq!(mangled("12:06:00").unwrap().typed, Vec::<String>::new());
        assert!(mangled("12:06:00 AM").is_some());
        for text in [
            "12-6", "12.5", "12'6\"", "abc", "12-6 1/2", "", "3/8", "1+42.6",
        ] {
            assert!(mangled(text).is_none(), "{text}");
        }
    }
}
