//! The mean of a receiver log between two times.

use std::collections::BTreeMap;

use crate::job::model::{Fix, Geographic, Job, MarkRow};
use crate::job::nmea::Epoch;
use crate::limits::Accuracy;
use crate::units::parse_date;

/// Seconds.
const DAY: f64 = 86_400.0;

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
    /// Greatest distance of an epoch from the mean, metres, where they scatter so much that the receiver was carried.
    pub carried: Option<f64>,
}

/// What a window with too few epochs misses.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Missed {
    /// First and last epoch of all logs, seconds since 1970.
    pub log: (f64, f64),
    /// So many hours later, or earlier, there are enough.
    pub hours: Option<f64>,
}

/// Epochs that scatter this many times as much as the receiver says, and lie [`AWAY`] from their mean, are of a receiver that was carried:
/// our choice.
const TIMES: f64 = 5.0;
/// Metres: our choice.
const AWAY: f64 = 0.3;
/// Seconds: clocks of the world are off UTC by whole numbers of these, but for a few.
const HALF_HOUR: f64 = 1_800.0;
/// And by no more than so many.
const SHIFTS: i32 = 28;

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

/// The epochs of a job's logs, each with its time in seconds since 1970.
fn epochs(job: &Job) -> impl Iterator<Item = (f64, &Epoch)> {
    let day = midnight(job);
    let all = job.logs.iter().flat_map(|log| &log.epochs);
    all.map(move |epoch| {
        let since = if epoch.dated { 0.0 } else { day };
        (epoch.time + since, epoch)
    })
}

/// The day of `located_on`, seconds since 1970.
fn midnight(job: &Job) -> f64 {
    let day = job.head.located_on.as_deref();
    let day = day.and_then(|day| parse_date(day).ok());
    DAY * day.unwrap_or(0) as f64
}

/// A window in seconds since 1970. A time of the day is below two days; dated times are far above.
fn dated(job: &Job, window: (f64, f64)) -> (f64, f64) {
    let on_day = |time: f64| {
        if time < 2.0 * DAY {
            time + midnight(job)
        } else {
            time
        }
    };
    (on_day(window.0), on_day(window.1))
}

/// What is beside a window in which epochs are missing; `None` where the logs have none at all.
#[must_use]
pub fn missed(job: &Job, window: (f64, f64)) -> Option<Missed> {
    let (from, to) = dated(job, window);
    let mut log: Option<(f64, f64)> = None;
    let mut counts: BTreeMap<i32, u32> = BTreeMap::new();
    for (time, _) in epochs(job) {
        let (first, last) = log.unwrap_or((time, time));
        log = Some((first.min(time), last.max(time)));
        // The shifts by which it would lie within.
        let least = ((time - to) / HALF_HOUR).ceil().max(-f64::from(SHIFTS));
        let most = ((time - from) / HALF_HOUR).floor().min(f64::from(SHIFTS));
        for shift in least as i32..=most as i32 {
            *counts.entry(shift).or_default() += 1;
        }
    }
    let enough = counts
        .into_iter()
        .filter(|(shift, count)| *shift != 0 && f64::from(*count) >= job.limits.log_epochs);
    let nearest = enough
        .map(|(shift, _)| shift)
        .min_by_key(|shift| shift.abs());
    let hours = nearest.map(|shift| 0.5 * f64::from(shift));
    let log = log?;
    Some(Missed { log, hours })
}

/// The mean over a window (seconds since 1970, or of the day where `located_on` dates it); `None` without epochs.
#[must_use]
pub fn mean(job: &Job, window: (f64, f64)) -> Option<WindowMean> {
    let (from, to) = dated(job, window);
    let within = epochs(job).filter(|(time, _)| (from..=to).contains(time));
    let all: Vec<&Epoch> = within.map(|(_, epoch)| epoch).collect();
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
    let off = |e: &&Epoch| {
        let east = (e.longitude - longitude) * latitude.cos();
        RADIAN * east.hypot(e.latitude - latitude)
    };
    let furthest = best.iter().map(off).fold(0.0, f64::max);
    let restless = scatter_e.max(scatter_n) > TIMES * east.max(north) && furthest > AWAY;
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
        carried: restless.then_some(furthest),
    })
}

/// How far the antenna stood above the ground, metres; of a reference point's height nothing is to be taken off.
#[must_use]
pub fn antenna(job: &Job, row: &MarkRow) -> f64 {
    let of_point = row.placing.gnss.as_ref().is_some_and(|gnss| gnss.surveyed);
    let pole = row.placing.pole.unwrap_or(job.equipment.antenna_height);
    if of_point { 0.0 } else { pole }
}

/// Height of a mark's ground above the ellipsoid by its own position or its receiver log, metres.
#[must_use]
pub fn above_ellipsoid(job: &Job, row: &MarkRow) -> Option<f64> {
    let own = row.placing.gnss.as_ref().and_then(|gnss| gnss.height);
    let by_log = || mean(job, row.placing.window?)?.height;
    Some(own.or_else(by_log)? - antenna(job, row))
}

/// One-sigma of a position that a row gives without one, each axis, metres: by its fix; of a reference point's place as of grid coordinates.
#[must_use]
pub fn usual_sigma(gnss: &Geographic, accuracy: &Accuracy) -> f64 {
    match gnss.fix {
        Some(fix) => fix_sigma(fix, accuracy),
        None if gnss.surveyed => accuracy.grid,
        None => accuracy.single,
    }
}

/// One-sigma of a fix, each axis, metres.
#[must_use]
fn fix_sigma(fix: Fix, accuracy: &Accuracy) -> f64 {
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
        assert_eq!(date(Some("2026-05-14")), Some((2026, 5, 14)));
        assert_eq!(date(Some("2026-13-14")), None);
        assert_eq!(date(Some("yesterday")), None);
    }
}
