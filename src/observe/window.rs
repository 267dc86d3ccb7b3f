//! The mean of a receiver log between two times.

use crate::job::model::{Fix, Job};
use crate::job::nmea::Epoch;

/// The mean of the epochs with the best fix in a window.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindowMean {
    /// Radians.
    pub latitude: f64,
    /// Radians.
    pub longitude: f64,
    /// Metres above the ellipsoid, at the antenna.
    pub height: Option<f64>,
    /// Geoid minus ellipsoid as the log has it, metres.
    pub separation: Option<f64>,
    /// The best fix.
    pub fix: Fix,
    /// One-sigma east, north, up in metres. Not divided by the root of the number of epochs: seconds apart they
    /// are wrong together ([`crate::sources::Source::CommonPractice`]); their scatter is a lower bound.
    pub sigma: (f64, f64, f64),
    /// How many epochs.
    pub epochs: usize,
}

/// Days from 1970-01-01 to a date of the Gregorian calendar.
fn days(year: i64, month: i64, day: i64) -> i64 {
    let y = if month <= 2 { year - 1 } else { year };
    let era = y.div_euclid(400);
    let of_era = y.rem_euclid(400);
    let of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    era * 146_097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719_468
}

/// Year, month, day of `located_on`.
#[must_use]
pub fn date(text: Option<&str>) -> Option<(i32, u8, u8)> {
    let mut parts = text?.split('-');
    let date = (
        parts.next()?.parse().ok()?,
        parts.next()?.parse().ok()?,
        parts.next()?.parse().ok()?,
    );
    (parts.next().is_none() && (1..=12).contains(&date.1) && (1..=31).contains(&date.2))
        .then_some(date)
}

/// Metres of one radian of latitude: near enough for scatters of centimetres.
pub(super) const RADIAN: f64 = 6_371_000.0;

fn spread(values: impl Iterator<Item = f64> + Clone, mean: f64, count: f64) -> f64 {
    if count < 2.0 {
        return 0.0;
    }
    (values.map(|v| (v - mean).powi(2)).sum::<f64>() / (count - 1.0)).sqrt()
}

/// The mean over a window (seconds since 1970, or of the day where `located_on` dates it); `None` without epochs.
#[must_use]
pub fn mean(job: &Job, window: (f64, f64)) -> Option<WindowMean> {
    let day = date(job.head.located_on.as_deref()).map_or(0.0, |(y, m, d)| {
        86_400.0 * days(i64::from(y), i64::from(m), i64::from(d)) as f64
    });
    // A time of the day is below two days; dated times are far above.
    let on_day = |time: f64| if time < 172_800.0 { time + day } else { time };
    let (from, to) = (on_day(window.0), on_day(window.1));
    let all: Vec<&Epoch> = job
        .logs
        .iter()
        .flat_map(|log| &log.epochs)
        .filter(|epoch| {
            (from..=to).contains(&if epoch.dated {
                epoch.time
            } else {
                epoch.time + day
            })
        })
        .collect();
    let fix = all.iter().map(|epoch| epoch.fix).max()?;
    let best: Vec<&Epoch> = all.into_iter().filter(|epoch| epoch.fix == fix).collect();
    let n = best.len() as f64;
    let average = |value: &dyn Fn(&Epoch) -> Option<f64>| {
        let values: Vec<f64> = best.iter().filter_map(|epoch| value(epoch)).collect();
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    };
    let (latitude, longitude) = (
        average(&|e| Some(e.latitude))?,
        average(&|e| Some(e.longitude))?,
    );
    let height = average(&|e| e.height);
    let a = &job.accuracy;
    let by_fix = fix_sigma(fix, a);
    let north = average(&|e| e.sigma.map(|s| s.0)).unwrap_or(by_fix);
    let east = average(&|e| e.sigma.map(|s| s.1)).unwrap_or(by_fix);
    let up = average(&|e| e.sigma.map(|s| s.2)).unwrap_or(a.vertical_ratio * north.max(east));
    let scatter_n = RADIAN * spread(best.iter().map(|e| e.latitude), latitude, n);
    let scatter_e =
        RADIAN * latitude.cos() * spread(best.iter().map(|e| e.longitude), longitude, n);
    let heights = best.iter().filter_map(|e| e.height);
    let scatter_u = height.map_or(0.0, |h| spread(heights.clone(), h, heights.count() as f64));
    Some(WindowMean {
        latitude,
        longitude,
        height,
        separation: average(&|e| e.separation),
        fix,
        sigma: (east.max(scatter_e), north.max(scatter_n), up.max(scatter_u)),
        epochs: best.len(),
    })
}

/// One-sigma of a fix, each axis, metres.
#[must_use]
pub fn fix_sigma(fix: Fix, accuracy: &crate::limits::Accuracy) -> f64 {
    match fix {
        Fix::Rtk => accuracy.rtk,
        Fix::Float => accuracy.float,
        Fix::Dgnss => accuracy.dgnss,
        Fix::Single => accuracy.single,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_of_the_calendar() {
        assert_eq!(days(1970, 1, 1), 0);
        assert_eq!(days(2000, 3, 1), 11_017);
        assert_eq!(days(2026, 5, 14), 20_587);
        assert_eq!(date(Some("2026-05-14")), Some((2026, 5, 14)));
        assert_eq!(date(Some("2026-13-14")), None);
        assert_eq!(date(Some("yesterday")), None);
    }
}
