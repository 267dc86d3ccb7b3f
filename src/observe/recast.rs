//! A job told in another coordinate system, before anything is computed in it.
//!
//! Results in another system are not results moved afterwards: the given coordinates move, and the whole computation (scale,
//! convergence, ellipses, stations) then happens in the other system.

use crate::crs::{Crs, CrsError, Datum};
use crate::job::model::{Job, MeasureKind, North, PolarDirection};
use crate::record::model::Operation;

/// Why a job can't be told in another system.
#[derive(Debug, thiserror::Error)]
pub enum RecastError {
    /// A site grid has no place on earth.
    #[error(
        "the job's own system is a local grid: nothing says where it lies in {0}. Give the job a CRS in [grid] crs"
    )]
    Local(String),
    /// Results on a site grid that nothing ties to the job.
    #[error(
        "the job is in {0}, and nothing says how a local grid lies to that. Leave out --crs, or name a projected coordinate system"
    )]
    ToLocal(String),
    /// The job lies where the other system is not to be used.
    #[error(
        "{row} lies at latitude {latitude:.4}°, longitude {longitude:.4}°, outside the area of use of {name}: name a system that is \
         used there, or leave out --crs"
    )]
    Outside {
        /// A row of the job.
        row: String,
        /// Degrees.
        latitude: f64,
        /// Degrees.
        longitude: f64,
        /// The other system.
        name: String,
    },
    /// Distances that are on the job's own grid.
    #[error(
        "[grid] distances = \"grid\" are distances on the job's own grid: leave out --crs, or give ground distances"
    )]
    OnGrid,
    /// The transformation.
    #[error(transparent)]
    Crs(#[from] CrsError),
}

/// Moves the job's grid coordinates and grid bearings from `from` into `to`, and notes the operation used ([`Job::recast`]). Positions
/// stay as they are: the system that is returned is `to` [by way of](Crs::by_way_of) `from`, and brings them into the grid.
///
/// # Errors
/// [`RecastError`].
pub fn recast(job: &mut Job, from: &Crs, to: &Crs) -> Result<Crs, RecastError> {
    if from.is_local() {
        return Err(RecastError::Local(to.code().to_owned()));
    }
    if to.is_local() {
        return Err(RecastError::ToLocal(from.code().to_owned()));
    }
    if job.grid.distances_on_grid {
        return Err(RecastError::OnGrid);
    }
    let moved = Moved { from, to };
    moved.hold(job)?;
    let turn = moved.turn(job)?;
    let mut grids: Vec<&mut (f64, f64)> = Vec::new();
    grids.extend(
        job.control
            .iter_mut()
            .filter_map(|control| control.grid.as_mut()),
    );
    grids.extend(
        job.marks
            .iter_mut()
            .filter_map(|mark| mark.placing.grid.as_mut()),
    );
    let operation = if grids.is_empty() {
        moved.operation(job)?
    } else {
        let places: Vec<(f64, f64)> = grids.iter().map(|place| **place).collect();
        let (places, used) = from.to_other(to, &places)?;
        grids
            .into_iter()
            .zip(places)
            .for_each(|(old, new)| *old = new);
        Some(used)
    };
    bearings(job, turn);
    to.code().clone_into(&mut job.grid.crs);
    job.recast = operation;
    Ok(to.clone().by_way_of(from))
}

struct Moved<'a> {
    from: &'a Crs,
    to: &'a Crs,
}

impl Moved<'_> {
    /// Every place that lies where the job's own system is used lies where the other one is: that the job's own is left is a finding
    /// about the row, that the other one is, a slip in what was asked for.
    fn hold(&self, job: &Job) -> Result<(), RecastError> {
        let control = job
            .control
            .iter()
            .map(|row| (&row.source, row.grid, row.geographic.as_ref()));
        let marks = job.marks.iter();
        let marks = marks.map(|row| (&row.source, row.placing.grid, row.placing.gnss.as_deref()));
        for (source, grid, geographic) in control.chain(marks) {
            let of_grid = grid.and_then(|place| self.from.to_wgs84(&[place]).ok());
            let of_grid = of_grid.and_then(|(lonlat, _)| lonlat.first().copied());
            let Some((lon, lat)) = geographic.map(|at| (at.longitude, at.latitude)).or(of_grid)
            else {
                continue;
            };
            if self.from.contains(lon, lat) && !self.to.contains(lon, lat) {
                return Err(RecastError::Outside {
                    row: source.to_string(),
                    latitude: lat.to_degrees(),
                    longitude: lon.to_degrees(),
                    name: format!("{} ({})", self.to.code(), self.to.name()),
                });
            }
        }
        Ok(())
    }

    /// What a grid bearing gains, radians: the difference of the convergences at the first given place.
    fn turn(&self, job: &Job) -> Result<f64, RecastError> {
        let Some((e, n)) = self.first(job)? else {
            return Ok(0.0);
        };
        let (there, _) = self.from.to_other(self.to, &[(e, n)])?;
        let (e2, n2) = there.first().copied().unwrap_or((e, n));
        Ok(self.from.factors(e, n)?.convergence - self.to.factors(e2, n2)?.convergence)
    }

    /// The operation between the two systems at the first given place.
    fn operation(&self, job: &Job) -> Result<Option<Operation>, CrsError> {
        let Some(place) = self.first(job)? else {
            return Ok(None);
        };
        Ok(Some(self.from.to_other(self.to, &[place])?.1))
    }

    /// The first given place of a job, on the grid: grid coordinates before positions.
    fn first(&self, job: &Job) -> Result<Option<(f64, f64)>, CrsError> {
        let control = job.control.iter().find_map(|control| control.grid);
        let on_grid = control.or_else(|| job.marks.iter().find_map(|mark| mark.placing.grid));
        if on_grid.is_some() {
            return Ok(on_grid);
        }
        let control = job.control.iter().filter_map(|row| row.geographic.as_ref());
        let marks = job.marks.iter();
        let marks = marks.filter_map(|row| row.placing.gnss.as_deref());
        let written = control.chain(marks).map(|at| (at.longitude, at.latitude));
        let epochs = job.logs.iter().flat_map(|log| &log.epochs);
        let logged = epochs.map(|epoch| (epoch.longitude, epoch.latitude));
        let Some(first) = written.chain(logged).next() else {
            return Ok(None);
        };
        let (grid, _) = self.from.to_grid(&Datum::OfCrs, &[first])?;
        Ok(grid.first().copied())
    }
}

/// Grid bearings refer to the new grid north.
fn bearings(job: &mut Job, turn: f64) {
    for mark in &mut job.marks {
        if let Some(polar) = &mut mark.placing.polar
            && let Some(PolarDirection::Bearing {
                north: North::Grid,
                bearing,
            }) = &mut polar.direction
        {
            *bearing += turn;
        }
    }
    for measure in &mut job.measures {
        if matches!(measure.kind, MeasureKind::Bearing { north: North::Grid }) {
            measure.value += turn;
        }
    }
}
