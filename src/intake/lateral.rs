//! A delivered run on the mains' grid, in metres.

use geo::{Coord, Rect};

use super::plain;
use crate::crs::{Crs, CrsError, shift_sigma};
use crate::plan::crossing::leg::{Block, End, Figure, Path, along};
use crate::record::AsBuilt;
use crate::record::model::{Operation, Run};
use crate::units::LengthUnit;

/// A vertex on the mains' grid.
#[derive(Clone, Copy, Debug)]
pub struct Spot {
    /// Easting, northing.
    pub at: Coord<f64>,
    /// Covariance of the place, if stated, with what the operations leave in doubt that brought it here.
    pub covariance: Option<Block>,
    /// Transmitter depth.
    pub depth: Option<Figure>,
    /// Invert elevation.
    pub invert: Option<Figure>,
}

impl Spot {
    /// One-sigma of the place along a unit vector; 0 where none is stated.
    #[must_use]
    pub fn sigma(&self, direction: Coord<f64>) -> f64 {
        self.covariance
            .map_or(0.0, |block| along(block, direction).sqrt())
    }
}

/// A run on the mains' grid, in the direction of flow.
#[derive(Clone, Debug)]
pub struct Lateral {
    /// Run id.
    pub run: String,
    /// It joins another run, not a main.
    pub joins: bool,
    /// Vertices, at least one.
    pub spots: Vec<Spot>,
    /// Inside diameter.
    pub diameter: Option<f64>,
    /// What the vertices span.
    pub extent: Rect<f64>,
    /// Largest one-sigma of a vertex along an axis.
    pub reach: f64,
    /// Operations that brought the vertices here, of those that leave them in doubt.
    pub by: Vec<Operation>,
}

impl Lateral {
    fn new(run: &Run, spots: Vec<Spot>, by: Vec<Operation>, unit: LengthUnit) -> Option<Self> {
        let first = spots.first()?.at;
        let extent = spots.iter().fold(Rect::new(first, first), |all, spot| {
            let (low, high) = (all.min(), all.max());
            Rect::new(
                (low.x.min(spot.at.x), low.y.min(spot.at.y)),
                (high.x.max(spot.at.x), high.y.max(spot.at.y)),
            )
        });
        let axes = [Coord { x: 1.0, y: 0.0 }, Coord { x: 0.0, y: 1.0 }];
        let sigmas = spots
            .iter()
            .flat_map(|spot| axes.map(|axis| spot.sigma(axis)));
        Some(Self {
            run: run.run.clone(),
            joins: run.joins.is_some(),
            diameter: run.diameter.map(|diameter| diameter * unit.metres()),
            extent,
            reach: sigmas.fold(0.0, f64::max),
            spots,
            by,
        })
    }

    /// One-sigma of the shift, each axis, that all vertices share because of the operations that brought them here.
    #[must_use]
    pub fn shift(&self) -> f64 {
        self.by.iter().map(shift_sigma).fold(0.0, f64::hypot)
    }
}

/// The runs of a record on another grid.
///
/// # Errors
/// No way from its coordinate system, in words.
pub fn of(record: &AsBuilt, mains: &Crs) -> Result<Vec<Lateral>, String> {
    let own = record.frame.system().map_err(|why| why.to_string())?;
    let mut laterals = Vec::new();
    for run in &record.runs {
        let Some(path) = Path::of(record, run) else {
            continue;
        };
        let mut spots: Vec<Spot> = path.legs.iter().map(|leg| spot(&leg.a)).collect();
        // A run of one vertex is a leg of no length.
        if run.vertices.len() > 1 {
            spots.extend(path.legs.last().map(|leg| spot(&leg.b)));
        }
        for spot in &mut spots {
            spot.at = spot.at + path.origin;
        }
        let carried = carry(&mut spots, &own, mains).map_err(|why| why.to_string())?;
        let by = plain::operations(record).iter().cloned().chain(carried);
        laterals.extend(Lateral::new(run, spots, by.collect(), record.frame.unit));
    }
    Ok(laterals)
}

/// What is known of a vertex itself, whatever its neighbours lack.
fn spot(end: &End) -> Spot {
    Spot {
        at: end.at,
        covariance: end.covariance,
        depth: end.depth,
        invert: end.invert,
    }
}

/// Moves spots from one grid to another, with the turn between the two (their scales differ by parts of a thousand, which no bound shows).
/// What the operation leaves in doubt is in the covariances then; gives the operation where it leaves anything.
fn carry(spots: &mut [Spot], own: &Crs, mains: &Crs) -> Result<Option<Operation>, CrsError> {
    if own.code() == mains.code() {
        return Ok(None);
    }
    let places: Vec<_> = spots
        .iter()
        .flat_map(|spot| [(spot.at.x, spot.at.y), (spot.at.x, spot.at.y + 1.0)])
        .collect();
    let (places, by) = own.to_other(mains, &places)?;
    let shift = shift_sigma(&by);
    for (spot, pair) in spots.iter_mut().zip(places.chunks_exact(2)) {
        let &[(x, y), (north_x, north_y)] = pair else {
            continue;
        };
        spot.at = Coord { x, y };
        let (sin, cos) = (north_x - x).atan2(north_y - y).sin_cos();
        spot.covariance = spot
            .covariance
            .map(|block| shifted(turned(block, sin, cos), shift));
    }
    Ok((shift > 0.0).then_some(by))
}

/// A covariance with that of a shift, one-sigma each axis.
fn shifted([[ee, en], [ne, nn]]: Block, sigma: f64) -> Block {
    let shift = sigma * sigma;
    [[ee + shift, en], [ne, nn + shift]]
}

/// A covariance turned clockwise.
fn turned([[ee, en], [_, nn]]: Block, sin: f64, cos: f64) -> Block {
    let off = (cos * cos - sin * sin) * en + sin * cos * (nn - ee);
    [
        [cos * cos * ee + 2.0 * sin * cos * en + sin * sin * nn, off],
        [off, sin * sin * ee - 2.0 * sin * cos * en + cos * cos * nn],
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_turn_swaps_the_axes() {
        let [[ee, en], [_, nn]] = turned([[4.0, 0.5], [0.5, 1.0]], 1.0, 0.0);
        assert!((ee - 1.0).abs() < 1e-12 && (nn - 4.0).abs() < 1e-12 && (en + 0.5).abs() < 1e-12);
        // An error due north, turned by 30°, points to azimuth 30°.
        let (sin, cos) = 30.0_f64.to_radians().sin_cos();
        let [[ee, en], [_, nn]] = turned([[0.0, 0.0], [0.0, 1.0]], sin, cos);
        assert!(
            (ee - sin * sin).abs() < 1e-12
                && (en - sin * cos).abs() < 1e-12
                && (nn - cos * cos).abs() < 1e-12
        );
    }
}
