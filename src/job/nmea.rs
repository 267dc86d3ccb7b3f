//! Receiver logs: NMEA 0183 GGA, GST and RMC sentences ([`crate::sources::Source::Nmea0183`]).
//!
//! Heights are read here and not by a library, since the ones at hand keep them in single precision (4 mm at 50 km, but
//! 0.03 mm steps become visible at 300 m already); a library checks the rest in the tests.

use super::model::Fix;
use crate::units::parse_date;

/// A receiver log, parsed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Log {
    /// File name.
    pub file: String,
    /// Epochs in the order of the file.
    pub epochs: Vec<Epoch>,
    /// Lines that could not be used: line number and reason.
    pub broken: Vec<(u32, String)>,
}

/// One epoch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Epoch {
    /// Seconds since 1970-01-01 UTC, or of the day where no sentence dates it.
    pub time: f64,
    /// `time` includes the date.
    pub dated: bool,
    /// Radians, north positive.
    pub latitude: f64,
    /// Radians, east positive.
    pub longitude: f64,
    /// Metres above the ellipsoid: mean-sea-level height plus geoid separation.
    pub height: Option<f64>,
    /// Geoid minus ellipsoid, metres, where the log has it and it is not the 0.000 of receivers that give
    /// ellipsoidal heights.
    pub separation: Option<f64>,
    /// Fix.
    pub fix: Fix,
    /// One-sigma of latitude, longitude, height from GST, metres.
    pub sigma: Option<(f64, f64, f64)>,
}

const DAY: f64 = 86_400.0;

/// Time of day, and one-sigmas of latitude, longitude, height.
type TimedSigmas = (f64, (f64, f64, f64));

/// Reads a log. Its epochs are dated by the nearest RMC sentence before or after, else by `located_on` (days since
/// 1970-01-01); epochs without a fix are passed over; lines that can't be used are named.
#[must_use]
pub fn parse(file: &str, bytes: &[u8], located_on: Option<i64>) -> Log {
    let mut log = Log {
        file: file.to_owned(),
        ..Log::default()
    };
    // Index of the epoch that a date stands before, its time of day, its day.
    let mut dates: Vec<(usize, f64, i64)> = Vec::new();
    let mut sigmas: Option<TimedSigmas> = None;
    for (line, text) in (1_u32..).zip(bytes.split(|byte| *byte == b'\n')) {
        let text = text.trim_ascii();
        if text.is_empty() || text.starts_with(b"#") {
            continue;
        }
        let taken = sentence(text).and_then(|fields| match fields.as_slice() {
            [kind, fields @ ..] if kind.len() == 5 && kind.ends_with("GGA") => {
                let Some(mut epoch) = gga(fields)? else {
                    return Ok(());
                };
                epoch.sigma = sigmas
                    .filter(|(time, _)| same(*time, epoch.time))
                    .map(|(_, sigma)| sigma);
                log.epochs.push(epoch);
                Ok(())
            }
            [kind, fields @ ..] if kind.len() == 5 && kind.ends_with("GST") => {
                let found = gst(fields)?;
                if let Some(((time, sigma), last)) = found
                    .zip(log.epochs.last_mut())
                    .filter(|((time, _), last)| same(*time, last.time))
                {
                    last.sigma = Some(sigma);
                    let _ = time;
                }
                sigmas = found;
                Ok(())
            }
            [kind, fields @ ..] if kind.len() == 5 && kind.ends_with("RMC") => {
                if let Some((time, day)) = rmc(fields)? {
                    dates.push((log.epochs.len(), time, day));
                }
                Ok(())
            }
            _ => Ok(()),
        });
        if let Err(why) = taken {
            log.broken.push((line, why));
        }
    }
    date(&mut log.epochs, &dates, located_on);
    log
}

fn same(one: f64, other: f64) -> bool {
    (one - other).abs() < 1e-3
}

/// The fields of a sentence whose checksum is right.
fn sentence(line: &[u8]) -> Result<Vec<&str>, String> {
    let text = std::str::from_utf8(line).map_err(|_| "is no text".to_owned())?;
    let Some(body) = text.strip_prefix(['$', '!']) else {
        return Err("does not begin with $".to_owned());
    };
    let (body, stated) = body
        .rsplit_once('*')
        .ok_or_else(|| "has no checksum".to_owned())?;
    let computed = body.bytes().fold(0, |sum, byte| sum ^ byte);
    let hexadecimal = stated.len() == 2 && stated.bytes().all(|byte| byte.is_ascii_hexdigit());
    match u8::from_str_radix(stated, 16) {
        Ok(sum) if hexadecimal && sum == computed => Ok(body.split(',').collect()),
        _ => Err(format!("checksum is {computed:02X}, not {stated}")),
    }
}

/// Field as a number; `None` if it is blank.
fn number(fields: &[&str], at: usize, what: &str) -> Result<Option<f64>, String> {
    match fields.get(at).copied().unwrap_or_default() {
        "" => Ok(None),
        text => crate::units::parse_number(text, false)
            .map(Some)
            .map_err(|why| format!("{what}: {why}")),
    }
}

/// `hhmmss.ss` as seconds of the day.
fn clock(text: &str) -> Result<f64, String> {
    let wrong = || format!("time {text:?} is not hhmmss");
    let digits = text.split('.').next().unwrap_or_default();
    if digits.len() != 6 || !digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return Err(wrong());
    }
    let part = |from: usize, to: usize| {
        text.get(from..to)
            .and_then(|part| part.parse::<f64>().ok())
            .ok_or_else(wrong)
    };
    let (hour, minute, second) = (part(0, 2)?, part(2, 4)?, part(4, text.len())?);
    if hour < 24.0 && minute < 60.0 && second < 61.0 {
        Ok(hour * 3600.0 + minute * 60.0 + second)
    } else {
        Err(wrong())
    }
}

/// `ddmm.mmmm` with its hemisphere, in radians.
fn angle(
    value: &str,
    hemisphere: &str,
    positive: &str,
    negative: &str,
    limit: f64,
) -> Result<f64, String> {
    let wrong = || {
        format!("position {value:?} {hemisphere:?} is not degrees and minutes with a hemisphere")
    };
    let at = value
        .find('.')
        .unwrap_or(value.len())
        .checked_sub(2)
        .ok_or_else(wrong)?;
    let (degrees, minutes) = value.split_at_checked(at).ok_or_else(wrong)?;
    if !degrees.bytes().all(|byte| byte.is_ascii_digit()) {
        return Err(wrong());
    }
    let degrees = if degrees.is_empty() {
        0.0
    } else {
        degrees.parse::<f64>().map_err(|_| wrong())?
    };
    let minutes = crate::units::parse_number(minutes, false).map_err(|_| wrong())?;
    let value = degrees + minutes / 60.0;
    let sign = match hemisphere {
        letter if letter == positive => 1.0,
        letter if letter == negative => -1.0,
        _ => return Err(wrong()),
    };
    if (0.0..60.0).contains(&minutes) && value <= limit {
        Ok((sign * value).to_radians())
    } else {
        Err(wrong())
    }
}

/// A position; `None` without a fix.
fn gga(fields: &[&str]) -> Result<Option<Epoch>, String> {
    let field = |at: usize| fields.get(at).copied().unwrap_or_default();
    let fix = match field(5) {
        "0" | "" => return Ok(None),
        "1" | "3" => Fix::Single,
        "2" => Fix::Dgnss,
        "4" => Fix::Rtk,
        "5" => Fix::Float,
        "6" => return Err("dead reckoning, no position".to_owned()),
        "7" | "8" => return Err("position typed in or simulated".to_owned()),
        other => return Err(format!("fix {other:?} is not known")),
    };
    let altitude = number(fields, 8, "altitude")?;
    let separation = number(fields, 10, "geoid separation")?;
    // 0.000 is what receivers write that give the height above the ellipsoid as altitude.
    let height = altitude
        .zip(separation)
        .map(|(altitude, separation)| altitude + separation);
    Ok(Some(Epoch {
        time: clock(field(0))?,
        dated: false,
        latitude: angle(field(1), field(2), "N", "S", 90.0)?,
        longitude: angle(field(3), field(4), "E", "W", 180.0)?,
        height,
        separation: separation.filter(|separation| *separation != 0.0),
        fix,
        sigma: None,
    }))
}

/// Time of day and one-sigmas of latitude, longitude, height; `None` where they are blank.
fn gst(fields: &[&str]) -> Result<Option<TimedSigmas>, String> {
    let time = clock(fields.first().copied().unwrap_or_default())?;
    let sigma =
        |at: usize| number(fields, at, "sigma").map(|sigma| sigma.filter(|sigma| *sigma > 0.0));
    let (latitude, longitude, height) = (sigma(5)?, sigma(6)?, sigma(7)?);
    Ok(latitude
        .zip(longitude)
        .zip(height)
        .map(|((latitude, longitude), height)| (time, (latitude, longitude, height))))
}

/// Time of day and day; `None` if the receiver does not vouch for it.
fn rmc(fields: &[&str]) -> Result<Option<(f64, i64)>, String> {
    let field = |at: usize| fields.get(at).copied().unwrap_or_default();
    if field(1) != "A" || field(8).is_empty() {
        return Ok(None);
    }
    let date = field(8);
    let part = |from: usize, to: usize| {
        date.get(from..to)
            .filter(|_| date.len() == 6)
            .unwrap_or_default()
    };
    // Two digits of a year: the satellites' own time began in 1980.
    let century = if part(4, 6) < "80" { "20" } else { "19" };
    let iso = format!("{century}{}-{}-{}", part(4, 6), part(2, 4), part(0, 2));
    let day = parse_date(&iso).map_err(|_| format!("date {date:?} is not ddmmyy"))?;
    Ok(Some((clock(field(0))?, day)))
}

/// Dates the epochs: by the nearest date in the log, across midnight where that is nearer; else by `located_on`.
fn date(epochs: &mut [Epoch], dates: &[(usize, f64, i64)], located_on: Option<i64>) {
    let mut next = 0;
    let (mut rolled, mut before) = (0.0, f64::NEG_INFINITY);
    for (at, epoch) in epochs.iter_mut().enumerate() {
        while dates.get(next).is_some_and(|(index, ..)| *index <= at) {
            next += 1;
        }
        let behind = next.checked_sub(1).and_then(|last| dates.get(last));
        let gap = |date: &&(usize, f64, i64)| {
            let apart = (epoch.time - date.1).abs();
            apart.min(DAY - apart)
        };
        let nearest = [behind, dates.get(next)]
            .into_iter()
            .flatten()
            .min_by(|a, b| gap(a).total_cmp(&gap(b)));
        if let Some((_, of_day, day)) = nearest {
            let apart = epoch.time - of_day;
            let shift = if apart > DAY / 2.0 {
                -DAY
            } else if apart < -DAY / 2.0 {
                DAY
            } else {
                0.0
            };
            epoch.time += *day as f64 * DAY + shift;
            epoch.dated = true;
        } else {
            // A clock that falls by more than half a day has passed midnight.
            if epoch.time < before - DAY / 2.0 {
                rolled += DAY;
            }
            before = epoch.time;
            epoch.time += rolled + located_on.map_or(0.0, |day| day as f64 * DAY);
            epoch.dated = located_on.is_some();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn log(name: &str) -> Log {
        let bytes = std::fs::read(format!("fixtures/reference/nmea/{name}")).unwrap();
        parse(name, &bytes, None)
    }

    fn with_sum(body: &str) -> String {
        format!(
            "${body}*{:02X}\n",
            body.bytes().fold(0, |sum, byte| sum ^ byte)
        )
    }

    fn near(found: f64, expected: f64, tolerance: f64) {
        assert!(
            (found - expected).abs() <= tolerance,
            "{found} is not {expected}"
        );
    }

    #[test]
    fn sentences_of_the_check_values() {
        // check values, section 9: checksums computed again; latitude, longitude, height above the ellipsoid
        for (sentence, latitude, longitude, height, fix) in [
            (
                "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
                48.1173,
                11.516_666_7,
                592.3,
                Fix::Single,
            ),
            (
                "$GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000*6D",
                -19.484_083_3,
                24.1751,
                66.1,
                Fix::Single,
            ),
            (
                "$GPGGA,050004.00,4131.43841,N,07040.33593,W,2,7,1.0,28.99,M,-30.68,M,10,0907*5E",
                41.523_973_5,
                -70.672_265_5,
                -1.69,
                Fix::Dgnss,
            ),
            (
                "$GNGGA,000001.00,2304.167961,N,16553.836924,W,2,11,1.0,44.542,M,0.000,M,2.0,0103*43",
                23.069_466_0,
                -165.897_282_1,
                44.542,
                Fix::Dgnss,
            ),
        ] {
            let log = parse("x", sentence.as_bytes(), None);
            assert!(log.broken.is_empty(), "{:?}", log.broken);
            let epoch = log.epochs[0];
            near(epoch.latitude.to_degrees(), latitude, 5e-8);
            near(epoch.longitude.to_degrees(), longitude, 5e-8);
            near(epoch.height.unwrap(), height, 1e-9);
            assert_eq!(epoch.fix, fix);
        }
        let zero = parse(
            "x",
            b"$GNGGA,000001.00,2304.167961,N,16553.836924,W,2,11,1.0,44.542,M,0.000,M,2.0,0103*43",
            None,
        );
        assert_eq!(zero.epochs[0].separation, None);
        let both = "$GPGGA,172814.0,3723.46587704,N,12202.26957864,W,2,6,1.2,18.893,M,-25.669,M,2.0,0031*4F\n\
                    $GPGST,172814.0,0.006,0.023,0.020,273.6,0.023,0.020,0.031*6A\n";
        assert_eq!(
            parse("x", both.as_bytes(), None).epochs[0].sigma,
            Some((0.023, 0.020, 0.031))
        );
    }

    #[test]
    fn the_logs_give_their_published_counts() {
        let rtk = log("rtk_fix_float.log");
        let count = |fix| rtk.epochs.iter().filter(|epoch| epoch.fix == fix).count();
        assert_eq!(
            (rtk.epochs.len(), count(Fix::Rtk), count(Fix::Dgnss)),
            (122, 18, 104)
        );
        assert!(rtk.broken.is_empty(), "{:?}", rtk.broken);
        assert!(rtk.epochs.iter().all(|epoch| epoch.dated));
        // 18 March 2020 is day 18339
        assert!(
            rtk.epochs
                .iter()
                .all(|epoch| (epoch.time / DAY).floor() as i64 == 18_339)
        );
        let dual = log("dualband_gst_gga.log");
        assert_eq!(dual.epochs.len(), 29);
        assert!(dual.epochs.iter().all(|epoch| epoch.sigma.is_some()));
        // One sentence was cut in two by another that was written into it: two lines that can't be used.
        let small = log("gst_gga_small.log");
        let lines: Vec<u32> = small.broken.iter().map(|(line, _)| *line).collect();
        assert_eq!(lines, [40, 41], "{:?}", small.broken);
        assert!(small.broken[0].1.contains("6A"), "{:?}", small.broken);
    }

    /// Every sentence of every log, against an independent library; its heights are single precision.
    #[test]
    fn agrees_with_a_library() {
        let mut compared = 0;
        for name in [
            "rtk_fix_float.log",
            "dualband_gst_gga.log",
            "gst_gga_small.log",
            "fuzzy_cases.log",
        ] {
            let text = std::fs::read_to_string(format!("fixtures/reference/nmea/{name}")).unwrap();
            for line in text.lines().filter(|line| line.get(3..6) == Some("GGA")) {
                let ours = parse("x", line.as_bytes(), None);
                let Ok(::nmea::ParseResult::GGA(theirs)) = ::nmea::parse_str(line) else {
                    assert!(ours.epochs.is_empty() || line.len() > 82, "{line}");
                    continue;
                };
                let Some(epoch) = ours.epochs.first() else {
                    assert!(
                        matches!(theirs.fix_type, Some(::nmea::sentences::FixType::Invalid)),
                        "{line}: {:?}",
                        ours.broken
                    );
                    continue;
                };
                near(epoch.latitude.to_degrees(), theirs.latitude.unwrap(), 1e-10);
                near(
                    epoch.longitude.to_degrees(),
                    theirs.longitude.unwrap(),
                    1e-10,
                );
                let height = f64::from(theirs.altitude.unwrap())
                    + f64::from(theirs.geoid_separation.unwrap());
                near(epoch.height.unwrap(), height, 1e-4);
                compared += 1;
            }
        }
        assert!(compared > 150, "{compared}");
    }

    #[test]
    fn dates_across_midnight_and_without_a_date() {
        let position = |time: &str| {
            with_sum(&format!(
                "GPGGA,{time},4807.038,N,01131.000,E,4,08,0.9,545.4,M,46.9,M,,"
            ))
        };
        let dated = |time: &str, date: &str| {
            with_sum(&format!(
                "GPRMC,{time},A,4807.038,N,01131.000,E,022.4,084.4,{date},003.1,W"
            ))
        };
        let day = |text: &str| parse_date(text).unwrap() as f64 * DAY;
        let text = position("235959.00") + &position("000001.00") + &dated("000002.00", "150526");
        let log = parse("x", text.as_bytes(), None);
        near(log.epochs[0].time, day("2026-05-14") + DAY - 1.0, 1e-6);
        near(log.epochs[1].time, day("2026-05-15") + 1.0, 1e-6);
        let bare = position("235959.00") + &position("000001.00");
        let log = parse(
            "x",
            bare.as_bytes(),
            Some(parse_date("2026-05-14").unwrap()),
        );
        near(log.epochs[1].time, day("2026-05-15") + 1.0, 1e-6);
        assert!(log.epochs[1].dated);
        let log = parse("x", bare.as_bytes(), None);
        near(log.epochs[0].time, 86_399.0, 1e-9);
        assert!(!log.epochs[0].dated);
        // A receiver that does not vouch for its date is not believed.
        let void = with_sum("GPRMC,000002.00,V,,,,,,,060180,,");
        assert!(!parse("x", (bare + &void).as_bytes(), None).epochs[0].dated);
    }

    #[test]
    fn broken_lines_are_named() {
        let cases = [
            "hello",
            "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*48",
            "$GPGGA,123519",
            "\u{fffd}*",
            "$*",
            "*",
        ];
        for case in cases {
            let log = parse("x", case.as_bytes(), None);
            assert_eq!((log.epochs.len(), log.broken.len()), (0, 1), "{case}");
        }
        for body in [
            "GPGGA,123519,9107.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,",
            "GPGGA,123519,4867.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,",
            "GPGGA,253519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,",
            "GPGGA,123519,4807.038,X,01131.000,E,1,08,0.9,545.4,M,46.9,M,,",
            "GPGGA,123519,4807.038,N,01131.000,E,8,08,0.9,545.4,M,46.9,M,,",
            "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,nan,M,46.9,M,,",
            "GPGGA,123519,,,,,1,08,0.9,,M,,M,,",
            "GPGGA,1,,,,,1",
            "GPRMC,123519,A,,,,,,,320126,,",
            "GPGST,x,,,,,,,",
        ] {
            let log = parse("x", with_sum(body).as_bytes(), None);
            assert_eq!((log.epochs.len(), log.broken.len()), (0, 1), "{body}");
        }
        assert_eq!(
            parse(
                "x",
                with_sum("GPGGA,123519,,,,,0,00,,,M,,M,,").as_bytes(),
                None
            ),
            Log {
                file: "x".to_owned(),
                ..Log::default()
            }
        );
    }
}
