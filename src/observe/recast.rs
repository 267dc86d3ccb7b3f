//! A job told in another coordinate system, before anything is computed in it.
//!
//! Results in another system are not results moved afterwards: the given coordinates move, and the whole computation (scale,
//! convergence, ellipses, stations) then happens in the other system.

use crate::crs::{Crs, CrsError, Datum};
use crate::job::model::{Fix, Job, MeasureKind, North, PolarDirection};
use crate::record::model::Operation;

/// Why a job can't be told in another system.
#[derive(Debug, thiserror::Error)]
pub enum RecastError {
    /// A site grid has no place on earth.
    #[error(
        "the job's own system is a local grid: nothing says where it lies in {0}. Give the job a CRS in [grid] crs"
    )]
    Local(String),
    /// Distances that are on the job's own grid.
    #[error(
        "[grid] distances = \"grid\" are distances on the job's own grid: leave out --crs, or give ground distances"
    )]
    OnGrid,
    /// The transformation.
    #[error(transparent)]
    Crs(#[from] CrsError),
}

/// Moves the job's coordinates, grid bearings and positions of its own datum from `from` into `to`; gives the operation used.
///
/// # Errors
/// [`RecastError`].
pub fn recast(job: &mut Job, from: &Crs, to: &Crs) -> Result<Option<Operation>, RecastError> {
    if from.is_local() || to.is_local() {
        return Err(RecastError::Local(to.code().to_owned()));
    }
    if job.grid.distances_on_grid {
        return Err(RecastError::OnGrid);
    }
    let moved = Moved { from, to };
    let turn = moved.turn(job)?;
    let mut operation = None;
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
    if !grids.is_empty() {
        let places: Vec<(f64, f64)> = grids.iter().map(|place| **place).collect();
        let (places, used) = from.to_other(to, &places)?;
        grids
            .into_iter()
            .zip(places)
            .for_each(|(old, new)| *old = new);
        operation = Some(used);
    }
    moved.positions(job)?;
    bearings(job, turn);
    to.code().clone_into(&mut job.grid.crs);
    Ok(operation)
}

struct Moved<'a> {
    from: &'a Crs,
    to: &'a Crs,
}

impl Moved<'_> {
    /// What a grid bearing gains, radians: the difference of the convergences at the first given coordinates.
    fn turn(&self, job: &Job) -> Result<f64, RecastError> {
        let control = job.control.iter().find_map(|control| control.grid);
        let Some((e, n)) = control.or_else(|| job.marks.iter().find_map(|mark| mark.placing.grid))
        else {
            return Ok(0.0);
        };
        let (there, _) = self.from.to_other(self.to, &[(e, n)])?;
        let (e2, n2) = there.first().copied().unwrap_or((e, n));
        Ok(self.from.factors(e, n)?.convergence - self.to.factors(e2, n2)?.convergence)
    }

    /// Longitudes and latitudes of the old system's datum in the new one's.
    fn datum(&self, lonlat: &[(f64, f64)]) -> Result<Vec<(f64, f64)>, CrsError> {
        let (grid, _) = self.from.to_grid(&Datum::OfCrs, lonlat)?;
        let (grid, _) = self.from.to_other(self.to, &grid)?;
        Ok(self.to.to_geographic(&Datum::OfCrs, &grid)?.0)
    }

    /// Positions without a datum of their own that are in the CRS's: control, and carrier-phase fixes.
    fn positions(&self, job: &mut Job) -> Result<(), RecastError> {
        let carrier = |fix: Option<Fix>| matches!(fix, Some(Fix::Rtk | Fix::Float));
        let control = job
            .control
            .iter_mut()
            .filter_map(|control| control.geographic.as_mut());
        let marks = job
            .marks
            .iter_mut()
            .filter_map(|mark| mark.placing.gnss.as_deref_mut());
        let of_crs = control.chain(marks.filter(|gnss| carrier(gnss.fix)));
        let mut slots: Vec<(&mut f64, &mut f64)> = of_crs
            .filter(|gnss| gnss.datum.is_none())
            .map(|gnss| (&mut gnss.longitude, &mut gnss.latitude))
            .collect();
        let epochs = job.logs.iter_mut().flat_map(|log| &mut log.epochs);
        slots.extend(
            epochs
                .filter(|epoch| carrier(Some(epoch.fix)))
                .map(|epoch| (&mut epoch.longitude, &mut epoch.latitude)),
        );
        if slots.is_empty() {
            return Ok(());
        }
        let old: Vec<(f64, f64)> = slots.iter().map(|(lon, lat)| (**lon, **lat)).collect();
        for ((lon, lat), new) in slots.into_iter().zip(self.datum(&old)?) {
            (*lon, *lat) = new;
        }
        Ok(())
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
