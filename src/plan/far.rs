//! A plan that lands far from its job: which coordinate system, unit or order of axes would bring it near.
//!
//! Only reading the same figures in another way is tried, and only what lands within [`FAR`] of the job is named. The two feet
//! can't be told apart like this: 2 parts in a million of a state-plane coordinate are a step or two, not a distance.

use geo::{CoordsIter, Rect};

use super::Site;
use super::layers::PLAN_UNITS;
use super::placing::Way;
use crate::crs::{Crs, Datum, systems_about};
use crate::maps::RawPlan;
use crate::units::LengthUnit;

/// A plan whose nearest feature is farther than this from the job is in the wrong place, metres (our choice: a plan of the next
/// street is no use, and no mix-up of units or zones lands this near).
pub const FAR: f64 = 1000.0;

/// Places of a plan that are tried (our choice: the outlier that someone drew far away must not decide).
const SAMPLE: usize = 200;

/// Readings that a message names, at most.
const NAMED: usize = 4;

/// An angle that no two datums differ by, radians: some 6 km, with [`FAR`] and a site's width in it.
const ROUGH: f64 = 1e-3;

/// How far about the job the areas of other systems are looked for, radians: a zone of UTM on each side.
const ZONE: f64 = 6.0 * std::f64::consts::PI / 180.0;

/// Coordinates of a plan, evenly taken from its features.
#[must_use]
pub fn sample(raw: &RawPlan) -> Vec<(f64, f64)> {
    let features: Vec<_> = raw
        .layers
        .iter()
        .flat_map(|layer| &layer.features)
        .collect();
    let step = features.len().div_ceil(SAMPLE).max(1);
    let firsts = features
        .iter()
        .step_by(step)
        .filter_map(|feature| feature.geometry.coords_iter().next());
    firsts.map(|c| (c.x, c.y)).collect()
}

/// The distance of two rectangles; 0 where they meet.
#[must_use]
pub fn gap(a: &Rect<f64>, b: &Rect<f64>) -> f64 {
    let x = (a.min().x - b.max().x).max(b.min().x - a.max().x).max(0.0);
    let y = (a.min().y - b.max().y).max(b.min().y - a.max().y).max(0.0);
    x.hypot(y)
}

/// The message for a plan that lies far away.
#[must_use]
pub fn message(file: &str, gap: f64, sample: &[(f64, f64)], site: &Site) -> String {
    let away = if gap < 10_000.0 {
        format!("{gap:.0} m")
    } else {
        format!("{:.0} km", gap / 1000.0)
    };
    format!(
        "{file}: the plan lies {away} from the job. {} What stands under [[file]] in the layers file (--plan-layers) beats what the \
         plan says itself.",
        would_fit(sample, site)
    )
}

/// Which readings of the figures would bring a plan near, in a sentence or two.
#[must_use]
pub fn would_fit(sample: &[(f64, f64)], site: &Site) -> String {
    let found = readings(sample, site);
    if found.is_empty() {
        return "No coordinate system of this area, unit or order of axes brings its figures near: it may be in assumed or ground \
                coordinates (tie it with common points, --plan-tie), or belong to another place."
            .to_owned();
    }
    format!(
        "Its figures would lie at the job if read as {}.",
        found.join("; or as ")
    )
}

/// The readings that land at the job.
fn readings(sample: &[(f64, f64)], site: &Site) -> Vec<String> {
    let swapped: Vec<_> = sample.iter().map(|(x, y)| (*y, *x)).collect();
    let both = [(sample, ""), (&swapped[..], ", with the axes swapped")];
    let mut found = Vec::new();
    // The system's own unit first: it is the likelier of the two feet.
    let mut units = PLAN_UNITS.to_vec();
    units.sort_by_key(|unit| (unit.metres / site.job_unit() - 1.0).abs() > 1e-9);
    for (points, turned) in both {
        for unit in &units {
            if lands(&Way::of_job(site, unit.metres), points, site) {
                found.push(format!(
                    "{} in {} (unit = \"{}\"){turned}",
                    site.job_code(),
                    unit.word,
                    unit.word
                ));
            }
        }
        if points
            .iter()
            .all(|(x, y)| x.abs() <= 180.0 && y.abs() <= 90.0)
            && lands(&Way::Geographic("EPSG:4326".to_owned()), points, site)
        {
            found.push(format!("longitude, latitude (crs = \"EPSG:4326\"){turned}"));
        }
    }
    for crs in candidates(site) {
        if found.len() >= NAMED {
            break;
        }
        let turned = both.iter().find(|(points, _)| fits(&crs, points, site));
        if let Some((_, turned)) = turned {
            found.push(format!("{} (crs = \"{}\"){turned}", crs.name(), crs.code()));
        }
    }
    found.truncate(NAMED);
    found
}

/// Whether some of the figures land near the job.
fn lands(way: &Way, points: &[(f64, f64)], site: &Site) -> bool {
    let near = |place: &(f64, f64)| gap(&Rect::new(*place, *place), &site.extent) <= FAR;
    way.map(site, points)
        .is_ok_and(|(places, _)| places.iter().any(near))
}

/// Whether the figures land near the job as those of another system. Its own longitudes and latitudes are looked at first: they
/// cost no search for an operation between datums, and no two datums are [`ROUGH`] apart.
fn fits(crs: &Crs, points: &[(f64, f64)], site: &Site) -> bool {
    let metres = crs.unit_metres();
    let scaled: Vec<_> = points
        .iter()
        .map(|(x, y)| (x * metres, y * metres))
        .collect();
    let Some((longitude, latitude)) = centre(site) else {
        return false;
    };
    let rough = crs
        .to_geographic(&Datum::OfCrs, &scaled)
        .is_ok_and(|(places, _)| {
            places
                .iter()
                .any(|(x, y)| ((x - longitude) * latitude.cos()).hypot(y - latitude) < ROUGH)
        });
    rough && lands(&Way::Projected(crs.clone(), metres), points, site)
}

/// Longitude and latitude of the job, radians; `None` on a site grid.
fn centre(site: &Site) -> Option<(f64, f64)> {
    let centre = site.extent.center();
    site.crs
        .as_ref()?
        .to_wgs84(&[(centre.x, centre.y)])
        .ok()?
        .0
        .first()
        .copied()
}

/// The other systems in use about the job, those of its own datum first.
fn candidates(site: &Site) -> Vec<Crs> {
    let about = centre(site)
        .and_then(|(longitude, latitude)| systems_about(longitude, latitude, ZONE).ok());
    let codes = about
        .unwrap_or_default()
        .into_iter()
        .filter(|code| *code != site.code && code != site.job_code());
    let all = codes.filter_map(|code| Crs::new(&code, LengthUnit::Metre).ok());
    let (mut own, other): (Vec<_>, Vec<_>) = all.partition(|crs| same_datum(crs, site));
    own.extend(other);
    own
}

/// Names begin with the datum: `NAD83 / North Carolina (ftUS)`.
fn same_datum(crs: &Crs, site: &Site) -> bool {
    let datum = |name: &str| name.split(" / ").next().unwrap_or_default().to_owned();
    site.crs
        .as_ref()
        .is_some_and(|own| datum(own.name()) == datum(crs.name()))
}
