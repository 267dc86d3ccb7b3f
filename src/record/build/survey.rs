//! The record's part about the survey: the frame, the adjustment as a whole, every measurement.

use super::PointQuality;
use super::scale::Scale;
use crate::crs::Crs;
use crate::height::Heights;
use crate::job::model::Job;
use crate::math::stats::NORMAL_95;
use crate::observe::{Kind, Observation, Observed, PointId};
use crate::position::check::checks;
use crate::position::{Adjusted, Residual};
use crate::record::model::{Adjustment, Check, Frame, Measurement, Operation, SiteGrid};
use crate::run::compare::{Compared, Comparison, depth_checks, exposures};
use crate::run::{Inputs, Traced};
use crate::units::LengthUnit;

/// Everything that the survey stages know.
#[derive(Clone, Copy)]
pub struct Survey<'a> {
    /// The job.
    pub job: &'a Job,
    /// Its coordinate system.
    pub crs: &'a Crs,
    /// Stage 2.
    pub observed: &'a Observed,
    /// Stage 3.
    pub adjusted: &'a Adjusted,
    /// Stage 5.
    pub heights: &'a Heights,
    /// Result unit.
    pub unit: LengthUnit,
}

impl Survey<'_> {
    fn scale(&self) -> Scale {
        Scale {
            unit: self.unit,
            crs_unit: self.crs.unit_metres(),
        }
    }

    fn name(&self, point: PointId) -> String {
        let points = &self.observed.observations.points;
        points
            .get(point.0 as usize)
            .map_or_else(String::new, |point| point.name.to_string())
    }

    /// Coordinate system, with its definition where `defined`; units, datum operations.
    #[must_use]
    pub fn frame(&self, defined: bool) -> Frame {
        let grid = &self.job.grid;
        let facts = &self.observed.frame;
        Frame {
            crs: self.crs.code().to_owned(),
            crs_name: self.crs.name().to_owned(),
            given_crs: self.crs.given().map(|crs| crs.code().to_owned()),
            local: self.crs.is_local(),
            crs_unit: self.crs.unit_name().to_owned(),
            crs_unit_metres: self.crs.unit_metres(),
            unit: self.unit,
            vertical: grid.vertical.clone(),
            geoid: grid.geoid.clone(),
            geoid_separation: grid.geoid_separation.map(|metres| self.unit.of(metres)),
            height: grid.height.map(|metres| self.unit.of(metres)),
            grid_scale: facts.grid_scale,
            height_factor: facts.height_factor,
            combined_factor: (!self.crs.is_local()).then_some(facts.combined),
            convergence: facts.convergence.map(f64::to_degrees),
            declination: facts.declination.map(f64::to_degrees),
            declination_from: facts.declination_from.clone(),
            operations: self.operations(),
            taped: grid.taped_on_slope.then(|| "slope".to_owned()),
            distances: grid.distances_on_grid.then(|| "grid".to_owned()),
            site_grid: self.site_grid(),
            projjson: defined.then(|| self.crs.projjson()).flatten(),
            wkt: defined.then(|| self.crs.wkt()).flatten(),
        }
    }

    /// The datum operations: from the system that the files are in, where results were asked for in another; into the grid; and
    /// to WGS 84.
    fn operations(&self) -> Vec<Operation> {
        let mut all = self.observed.frame.all_operations();
        if let Some(recast) = self.job.recast.as_ref().filter(|by| !all.contains(by)) {
            all.insert(0, recast.clone());
        }
        all
    }

    fn site_grid(&self) -> Option<SiteGrid> {
        let site = self.adjusted.site.as_ref()?;
        let scale = self.scale();
        let (easting, northing) = site.similarity.apply((0.0, 0.0));
        let residual = |&(point, e, n): &(PointId, f64, f64)| {
            (self.name(point), self.unit.of(e), self.unit.of(n))
        };
        Some(SiteGrid {
            scale: site.similarity.scale(),
            rotation: site.similarity.rotation().to_degrees(),
            easting: scale.grid(easting),
            northing: scale.grid(northing),
            points: site.residuals.len(),
            residuals: site.residuals.iter().map(residual).collect(),
        })
    }

    /// The adjustment as a whole.
    #[must_use]
    pub fn adjustment(&self) -> Adjustment {
        let (summary, heights) = (self.adjusted.summary, self.heights.fit());
        let whole = summary.fit.and(heights);
        let bounds = whole.bounds();
        Adjustment {
            equations: summary.equations,
            unknowns: summary.unknowns,
            redundancy: whole.redundancy,
            redundancy_of_heights: heights.redundancy,
            components: summary.components,
            variance_factor: whole.factor(),
            variance_lower: bounds.map(|bounds| bounds.0),
            variance_upper: bounds.map(|bounds| bounds.1),
        }
    }

    /// Every measurement with its residual: the plane's, then the heights'.
    #[must_use]
    pub fn measurements(&self) -> Vec<Measurement> {
        let plane = self
            .observed
            .observations
            .plane
            .iter()
            .zip(&self.adjusted.residuals);
        let plane = plane.map(|(observation, residual)| self.measurement(observation, residual));
        let heights = self.heights.residuals.iter().map(|height| Measurement {
            kind: height.what.to_owned(),
            points: height.points.iter().map(ToString::to_string).collect(),
            value: self.unit.of(height.value),
            sigma: self.unit.of(height.sigma),
            residual: self.unit.of(height.residual),
            standardised: height.standardised,
            redundancy: height.redundancy,
            source: height.source.to_string(),
        });
        plane.chain(heights).collect()
    }

    fn measurement(&self, observation: &Observation, residual: &Residual) -> Measurement {
        let angular = matches!(observation.kind, Kind::Angle { .. } | Kind::Azimuth { .. });
        let coordinate = matches!(observation.kind, Kind::East { .. } | Kind::North { .. });
        let figure = |value: f64| {
            if angular {
                value.to_degrees()
            } else {
                self.unit.of(value)
            }
        };
        let value = match coordinate {
            true => self.scale().grid(observation.measured),
            false => figure(observation.measured),
        };
        Measurement {
            kind: word(observation.kind).to_owned(),
            points: observation
                .kind
                .points()
                .into_iter()
                .flatten()
                .map(|point| self.name(point))
                .collect(),
            value,
            sigma: figure(observation.sigma),
            residual: figure(residual.residual.unwrap_or(0.0)),
            standardised: residual.standardised,
            redundancy: residual.redundancy,
            source: observation.source.to_string(),
        }
    }

    /// Every comparison: rows kept out of positions and heights, depths kept out, exposures.
    #[must_use]
    pub fn checks(&self, inputs: Inputs<'_>, traced: &[Traced]) -> Vec<Check> {
        let plane = checks(self.adjusted, &self.observed.observations)
            .into_iter()
            .map(|shot| {
                let figure = |value: f64| {
                    if shot.angular {
                        value.to_degrees()
                    } else {
                        self.unit.of(value)
                    }
                };
                Check {
                    point: self.name(shot.point),
                    what: shot.what.to_owned(),
                    difference: figure(shot.difference),
                    east: shot.parts.map(|(east, _)| figure(east)),
                    north: shot.parts.map(|(_, north)| figure(north)),
                    bound: figure(shot.bound),
                    inside: shot.inside,
                    from: "check".to_owned(),
                    source: shot.source.to_string(),
                }
            });
        let heights = self.heights.checks.iter().map(|check| {
            let bound = NORMAL_95 * check.sigma;
            Check {
                point: check.point.clone(),
                what: "vertical".to_owned(),
                difference: self.unit.of(check.difference),
                east: None,
                north: None,
                bound: self.unit.of(bound),
                inside: check.difference.abs() <= bound,
                from: "check".to_owned(),
                source: check.source.to_string(),
            }
        });
        let compared = |comparison: Comparison, from: &str| Check {
            point: comparison.name.to_string(),
            what: match comparison.what {
                Compared::Place => "horizontal".to_owned(),
                Compared::Depth => "depth".to_owned(),
            },
            difference: self.unit.of(comparison.difference),
            east: comparison.parts.map(|(east, _)| self.unit.of(east)),
            north: comparison.parts.map(|(_, north)| self.unit.of(north)),
            bound: self.unit.of(comparison.bound),
            inside: comparison.inside(),
            from: from.to_owned(),
            source: comparison.source.to_string(),
        };
        let depths = depth_checks(inputs, traced)
            .into_iter()
            .map(|c| compared(c, "check"));
        let exposed = exposures(inputs, traced)
            .into_iter()
            .map(|c| compared(c, "exposure"));
        plane.chain(heights).chain(depths).chain(exposed).collect()
    }

    /// What the adjustment says of each point's own measurements, by point.
    #[must_use]
    pub fn quality(&self) -> Vec<Option<PointQuality>> {
        let observations = &self.observed.observations;
        let mut all: Vec<Option<PointQuality>> = vec![None; observations.points.len()];
        for (observation, residual) in observations.plane.iter().zip(&self.adjusted.residuals) {
            for point in observation.kind.points().into_iter().flatten() {
                let Some(slot) = all.get_mut(point.0 as usize) else {
                    continue;
                };
                let quality = slot.get_or_insert(PointQuality {
                    redundancy: 0.0,
                    largest_residual: None,
                });
                quality.redundancy += residual.redundancy;
                if let Some(standardised) = residual.standardised {
                    let largest = quality
                        .largest_residual
                        .unwrap_or(0.0)
                        .max(standardised.abs());
                    quality.largest_residual = Some(largest);
                }
            }
        }
        all
    }
}

/// The word for a kind of measurement, as the record and the page have it.
const fn word(kind: Kind) -> &'static str {
    match kind {
        Kind::Distance { .. } => "distance",
        Kind::Station { .. } => "station",
        Kind::Offset { .. } => "offset",
        Kind::Angle { .. } => "angle",
        Kind::Azimuth { .. } => "bearing",
        Kind::East { .. } => "easting",
        Kind::North { .. } => "northing",
        Kind::SiteX { .. } => "site x",
        Kind::SiteY { .. } => "site y",
    }
}
