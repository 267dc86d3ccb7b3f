//! How the ground lies to the grid at the site: scale, height, north.

use super::kinds::{Plane, around};
use super::{declination, window};
use crate::crs::Crs;
use crate::job::model::{Job, North, Note, Use};
use crate::record::model::Operation;

/// Facts of the frame, for the record.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FrameFacts {
    /// Mean place of the given coordinates, metres; where the factors are taken.
    pub site: Option<Plane>,
    /// Point scale there.
    pub grid_scale: Option<f64>,
    /// R / (R + h).
    pub height_factor: Option<f64>,
    /// Radians: true azimuth = grid azimuth + convergence.
    pub convergence: Option<f64>,
    /// Radians east, where it is known.
    pub declination: Option<f64>,
    /// Where it came from; without a declination, that compass bearings had to do without one.
    pub declination_from: Option<String>,
    /// Datum operations by which positions came into the grid.
    pub operations: Vec<Operation>,
    /// The one by which places of the grid go to WGS 84: the best at the site.
    pub to_wgs84: Option<Operation>,
    /// Grid distance over ground distance, as distances are taken; 1 if the job says that they are on the grid.
    pub ground_to_grid: f64,
    /// Grid distance over ground distance at the site.
    pub combined: f64,
}

/// Mean height of the ground: as given, else the mean of the job's elevations, else of what its GNSS heights come to (above the
/// ellipsoid, where no separation is known: it is that height which counts).
fn mean_height(job: &Job, notes: &mut Vec<Note>) -> f64 {
    if let Some(height) = job.grid.height {
        return height;
    }
    let control = job.control.iter().filter(|c| c.usage == Use::Yes);
    let control = control.filter_map(|c| c.elevation);
    let marks = job.marks.iter().filter(|m| m.usage == Use::Yes);
    let marks = marks.filter_map(|m| m.ground.or(m.placing.elevation));
    if let Some(mean) = mean_of(control.chain(marks)) {
        return mean;
    }
    let control = job.control.iter().filter(|c| c.usage == Use::Yes);
    let control = control.filter_map(|c| c.geographic.as_ref()?.height);
    let marks = job.marks.iter().filter(|m| m.usage == Use::Yes);
    let marks = marks.filter_map(|m| window::above_ellipsoid(job, m));
    if let Some(mean) = mean_of(control.chain(marks)) {
        return mean - job.grid.geoid_separation.unwrap_or(0.0);
    }
    let text = if job.grid.distances_on_grid {
        "No height of the site is known: ties and the combined factor are reckoned as if the ground lay at 0. Give `height` in [grid] if \
         it lies higher (100 m make 16 parts in a million)."
    } else {
        "No height of the site is known: taped lengths are brought to the grid as if the ground lay at 0. \
               Give `height` in [grid] if it lies higher (100 m make 16 parts in a million)."
    };
    notes.push(Note {
        source: None,
        text: text.to_owned(),
    });
    0.0
}

/// A grid whose directions differ in scale by more is none that tapes and angles fit: 3 mm in 30 m. Our choice.
const CONFORMAL: f64 = 1e-4;

fn mean_of(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values.fold((0.0, 0_u32), |(sum, count), z| (sum + z, count + 1));
    (count > 0).then(|| sum / f64::from(count))
}

/// The frame at the mean of the given places.
pub(super) fn facts(
    job: &Job,
    crs: &Crs,
    places: impl Iterator<Item = Plane>,
    notes: &mut Vec<Note>,
) -> FrameFacts {
    let mut facts = FrameFacts {
        ground_to_grid: 1.0,
        combined: 1.0,
        ..FrameFacts::default()
    };
    let (e, n, count) = places.fold((0.0, 0.0, 0_u32), |(e, n, count), p| {
        (e + p.0, n + p.1, count + 1)
    });
    if count > 0 {
        facts.site = Some((e / f64::from(count), n / f64::from(count)));
    }
    let Some(site) = facts.site.filter(|_| !crs.is_local()) else {
        return facts;
    };
    facts.to_wgs84 = crs.to_wgs84_about(site, &[site]).ok().map(|(_, by)| by);
    let Ok(factors) = crs.factors(site.0, site.1) else {
        return facts;
    };
    if factors.anisotropy > CONFORMAL {
        notes.push(Note {
            source: None,
            text: format!(
                "{} is not conformal: at the site it stretches distances by {:.0} parts in a million more one way than the other, and turns angles by as much. \
                 Taped lengths are brought to it by the mean, and no bound holds the rest. A conformal system (transverse Mercator, Lambert conic) has none of it.",
                crs.name(),
                1e6 * factors.anisotropy
            ),
        });
    }
    facts.convergence = Some(factors.convergence);
    facts.grid_scale = Some(factors.scale);
    let height = mean_height(job, notes) + job.grid.geoid_separation.unwrap_or(0.0);
    facts.combined = factors.ground_to_grid(height);
    facts.height_factor = Some(facts.combined / factors.scale);
    if !job.grid.distances_on_grid {
        facts.ground_to_grid = facts.combined;
    }
    facts
}

impl FrameFacts {
    /// Every datum operation behind the results, each once: into the grid, then out of it.
    #[must_use]
    pub fn all_operations(&self) -> Vec<Operation> {
        let mut all = self.operations.clone();
        all.extend(
            self.to_wgs84
                .iter()
                .filter(|by| !self.operations.contains(by))
                .cloned(),
        );
        all
    }

    /// Finds the declination: for compass bearings, and for whoever stands on the site with a compass. An error says why there is
    /// none, and what to give.
    pub(super) fn find_declination(&mut self, job: &Job, crs: &Crs) -> Result<(), String> {
        let (declination, from) = match job.grid.declination {
            Some(given) => (given, "given".to_owned()),
            None => modelled(self, job, crs)?,
        };
        self.declination = Some(declination);
        self.declination_from = Some(from);
        Ok(())
    }

    /// Declination by the magnetic model, radians east, whatever the job says; `None` where it can't be had.
    pub(super) fn modelled_declination(&self, job: &Job, crs: &Crs) -> Option<f64> {
        modelled(self, job, crs)
            .ok()
            .map(|(declination, _)| declination)
    }

    /// Says that compass bearings were used although the declination is not known.
    pub(super) fn without_declination(&mut self) {
        self.declination_from = Some("compass bearings are taken without one".to_owned());
    }

    /// Grid azimuth of a bearing, radians: grid = true − convergence = magnetic + declination − convergence. A declination that is
    /// not known counts as none.
    pub(super) fn grid_azimuth(&self, bearing: f64, north: North) -> f64 {
        let convergence = self.convergence.unwrap_or(0.0);
        around(match north {
            North::Grid => bearing,
            North::True => bearing - convergence,
            North::Magnetic => bearing + self.declination.unwrap_or(0.0) - convergence,
        })
    }
}

/// Declination by the magnetic model for the site and date.
fn modelled(facts: &FrameFacts, job: &Job, crs: &Crs) -> Result<(f64, String), String> {
    if crs.is_local() {
        return Err(
            "a local grid has no place on the Earth; give `declination` in [grid], 0 where the grid's own north was taken from \
             a compass"
                .to_owned(),
        );
    }
    let date = window::date(job.head.located_on.as_deref())
        .ok_or("the job has no date; give `located_on` or `declination`")?;
    let site = facts
        .site
        .ok_or("the site's place is not known; give `declination`")?;
    let (lonlat, _) = crs.to_wgs84(&[site]).map_err(|error| error.to_string())?;
    let (lon, lat) = lonlat
        .first()
        .copied()
        .ok_or("the site's place is not known; give `declination`")?;
    let height = job.grid.height.unwrap_or(0.0) + job.grid.geoid_separation.unwrap_or(0.0);
    let found =
        declination::declination(lat, lon, height, date).map_err(|error| error.to_string())?;
    let model =
        declination::model(date.0).map_or("World Magnetic Model", crate::sources::Source::cite);
    let (y, m, d) = date;
    Ok((found, format!("{model}, for {y:04}-{m:02}-{d:02}")))
}
