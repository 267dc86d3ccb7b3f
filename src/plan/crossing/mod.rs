//! Where each run crosses, or comes near, what a plan shows.
//!
//! **Clearance.** The plan's lines are taken as drawn, with the one-sigma that the layers file states and that of the tie or the datum
//! operation which brought them to the job's grid (σ, [`Feature::sigma`]). The distance d from the
//! run's line to a feature moves by n·e, with n the unit vector between the two nearest points and e the pipe's error at its own, so
//! its bound is 1.96·√(nᵀCn + σ²). Around a distance that is folded at 0 this holds at least 95 %. Where several places may as well be the
//! nearest, beside a line that goes along the run, the one taken is the one that came out nearest, and so too near more often than not: the
//! quantile is then that of the least of as many.
//!
//! **Crossing.** With t along the run, m square to it, τ along the feature and n square to that: a pipe off by e crosses the
//! feature (m·e)/(m·τ) farther along it, and at a fraction of the leg that is off by (n·e)/(L·n·t). The second goes into the bounds
//! of depth and invert through their slope. Where the run lies within 1° of the feature's own direction neither is stated.
//! A feature whose heights are drawn is met at another height if it is met elsewhere: the way along it times its slope is in the bound
//! of the height between the two.
//!
//! **Required separation.** Whatever doesn't keep one for certain has a row, however far `near` reaches. A run that crosses a feature and also
//! goes along it has one for each: the height between the two is judged where they cross, their distance where they lie side by side.

pub mod leg;
pub mod meet;
pub mod vertical;

use std::collections::HashSet;

use geo::{BoundingRect, Coord, Geometry, Rect};

use super::far::gap;
use super::layers::{Level, Lie, Required};
use super::{Feature, Plan, Site};
use crate::error::Error;
use crate::math::ellipse::Ellipse as OneSigma;
use crate::math::stats::{ELLIPSE_95, NORMAL_95, NORMAL_95_ONE_SIDED, chi_square_quantile};
use crate::record::AsBuilt;
use crate::record::model::{
    Crossing, Direction, Ellipse, Geographic, Meeting, Requirement, Run, Separation,
};
use leg::{Figure, Leg, Path, along};
use meet::{Outline, Touch, Which};
use vertical::{Pipe, pass};

/// Sine of the angle to the feature below which where exactly they cross is not stated (our choice: 1°).
const FLAT: f64 = 0.017_452;

/// Places farther off than the nearest by more than this many one-sigmas are not the nearest: an alarm's, of a difference (√2 · 3.29).
const RIVAL: f64 = 4.65;

/// How far the bound of a distance reaches at most, metres: what is farther off than this and what is required is not looked at (our choice).
const UNSURE: f64 = 20.0;

/// All crossings and near places, run by run, by station.
///
/// # Errors
/// A place that can't be converted to WGS 84.
pub fn crossings(record: &AsBuilt, plan: &Plan, site: &Site) -> Result<Vec<Crossing>, Error> {
    let boxes: Vec<Option<Rect<f64>>> = plan
        .features
        .iter()
        .map(|feature| feature.geometry.bounding_rect())
        .collect();
    let mut all = Vec::new();
    let like = record
        .marks
        .iter()
        .filter(|mark| mark.mark.starts_with('x'));
    let taken: HashSet<&str> = like.map(|mark| &*mark.id).collect();
    for run in &record.runs {
        let Some(path) = Path::bridged(record, run) else {
            continue;
        };
        let extent = extent(&path);
        let work = Work {
            record,
            run,
            path: &path,
        };
        let mut found = Vec::new();
        for (feature, rect) in plan.features.iter().zip(&boxes) {
            let reach = feature
                .near
                .max(work.keeps_away(feature).map_or(0.0, |away| away + UNSURE));
            if rect.is_some_and(|rect| gap(&rect, &extent) <= reach) {
                found.extend(work.with(feature));
            }
        }
        found.sort_by(|a, b| a.station.total_cmp(&b.station));
        for (number, crossing) in (1..).zip(&mut found) {
            crossing.id = format!("{}/x{number}", run.id);
            // A mark of that name has the id.
            if taken.contains(&*crossing.id) {
                crossing.id.push_str(" (crossing)");
            }
        }
        all.extend(found);
    }
    place_on_earth(&mut all, record, site)?;
    Ok(all)
}

fn extent(path: &Path) -> Rect<f64> {
    let ends = path
        .legs
        .iter()
        .flat_map(|leg| [leg.a.at, leg.b.at])
        .map(|at| (at.x + path.origin.x, at.y + path.origin.y));
    super::bounds(ends).unwrap_or_else(|| Rect::new(path.origin, path.origin))
}

/// Longitudes and latitudes, and heights above the ellipsoid where the separation is known.
fn place_on_earth(crossings: &mut [Crossing], record: &AsBuilt, site: &Site) -> Result<(), Error> {
    let Some(crs) = &site.crs else { return Ok(()) };
    let metres = site.unit_metres;
    let places: Vec<_> = crossings
        .iter()
        .map(|crossing| (crossing.easting * metres, crossing.northing * metres))
        .collect();
    let (places, _) = crs
        .to_wgs84(&places)
        .map_err(|why| Error::Usage(why.to_string()))?;
    for (crossing, (longitude, latitude)) in crossings.iter_mut().zip(places) {
        let height = crossing
            .invert
            .zip(record.frame.geoid_separation)
            .map(|(invert, separation)| invert + separation);
        crossing.geographic = Some(Geographic {
            longitude: longitude.to_degrees(),
            latitude: latitude.to_degrees(),
            ellipsoidal_height: height.map(|height| height * record.frame.unit.metres()),
        });
    }
    Ok(())
}

/// One run on its way through the features.
struct Work<'a> {
    record: &'a AsBuilt,
    run: &'a Run,
    path: &'a Path,
}

impl Work<'_> {
    fn with(&self, feature: &Feature) -> Vec<Crossing> {
        let (legs, origin) = (&self.path.legs[..], self.path.origin);
        let heights = match &feature.lie {
            Some(Lie::Drawn { heights, .. }) => &heights[..],
            _ => &[],
        };
        let outline = Outline::of(&feature.geometry, heights, origin);
        let meetings = meet::meetings(legs, &outline);
        if !meetings.is_empty() {
            let crosses = meetings
                .iter()
                .filter_map(|touch| self.row(feature, Meeting::Crosses, touch, NORMAL_95));
            // Where no vertical separation is required, the horizontal one is judged where they cross.
            let required = feature.required.as_ref();
            let beside = required
                .filter(|required| required.vertical.is_some())
                .and_then(|_| self.near(feature, &meet::nearest(legs, &outline, Which::Beside)))
                .filter(is_in_doubt);
            return crosses.chain(beside).collect();
        }
        if meet::inside(legs, origin, &feature.geometry) {
            let start = Touch {
                leg: 0,
                u: 0.0,
                distance: 0.0,
                direction: Coord::zero(),
                height: None,
            };
            return self
                .row(feature, Meeting::Within, &start, NORMAL_95)
                .into_iter()
                .collect();
        }
        self.near(feature, &meet::nearest(legs, &outline, Which::All))
            .filter(|row| {
                row.distance * self.record.frame.unit.metres() <= feature.near || is_in_doubt(row)
            })
            .into_iter()
            .collect()
    }

    /// The nearest of the places on each leg.
    fn near(&self, feature: &Feature, nearest: &[Touch]) -> Option<Crossing> {
        let touch = nearest.first()?;
        let leg = self.path.legs.get(touch.leg)?;
        let sigma = self.bounds(leg, Meeting::Near, touch, feature).clearance;
        let within = sigma.map_or(0.0, |sigma| RIVAL * sigma);
        let rivals = meet::rivals(&self.path.legs, nearest, within);
        self.row(feature, Meeting::Near, touch, quantile_of_least(rivals))
    }

    fn bounds(&self, leg: &Leg, meeting: Meeting, touch: &Touch, feature: &Feature) -> Bounds {
        let at = leg.at(touch.u) + self.path.origin;
        Bounds::of(leg, meeting, touch, feature.sigma_at(at.x_y()))
    }

    /// Between the middles of the two where the horizontal separation that is required is just kept, metres.
    fn keeps_away(&self, feature: &Feature) -> Option<f64> {
        let required = feature.required.as_ref()?.horizontal?;
        Some(required + self.half_width() + half_width_of(feature))
    }

    /// Half the pipe's outside width, metres, as far as it is known.
    fn half_width(&self) -> f64 {
        let wall = self.run.wall.unwrap_or(0.0);
        self.run
            .diameter
            .map_or(0.0, |diameter| 0.5 * diameter + wall)
            * self.record.frame.unit.metres()
    }

    /// The row of a place; `quantile` makes its clearance's one-sigma a bound.
    fn row(
        &self,
        feature: &Feature,
        meeting: Meeting,
        touch: &Touch,
        quantile: f64,
    ) -> Option<Crossing> {
        let leg = self.path.legs.get(touch.leg)?;
        let (unit, grid) = (self.record.frame.unit, self.record.frame.crs_unit_metres);
        let bounds = self.bounds(leg, meeting, touch, feature);
        let at = leg.at(touch.u) + self.path.origin;
        let clearance = (touch.distance - self.half_width() - half_width_of(feature)).max(0.0);
        let mut row = Crossing {
            id: String::new(),
            run: self.run.run.clone(),
            meeting,
            role: feature.role.word().to_owned(),
            layer: feature.layer.to_string(),
            kind: feature.kind.clone(),
            name: feature.name.clone(),
            station: unit.of(leg.station(touch.u)),
            easting: at.x / grid,
            northing: at.y / grid,
            geographic: None,
            ellipse: leg
                .covariance(touch.u)
                .map(|block| ellipse(block, unit.metres())),
            along_95: bounds.along.map(|sigma| unit.of(NORMAL_95 * sigma)),
            distance: unit.of(touch.distance),
            clearance: unit.of(clearance),
            clearance_95: bounds.clearance.map(|sigma| unit.of(quantile * sigma)),
            transmitter_depth: None,
            depth_95: None,
            cover: None,
            cover_least: None,
            invert: None,
            invert_95: None,
            passes: None,
            vertical_clearance: None,
            vertical_clearance_95: None,
            requirement: None,
            source: feature.source.clone(),
        };
        self.levels(&mut row, feature, leg, touch, &bounds);
        row.requirement = feature
            .required
            .as_ref()
            .and_then(|required| requirement(&row, required, unit.metres()));
        Some(row)
    }

    /// Depth, cover and invert there, and how the other utility is passed.
    fn levels(
        &self,
        row: &mut Crossing,
        feature: &Feature,
        leg: &Leg,
        touch: &Touch,
        bounds: &Bounds,
    ) {
        let variance_of_u = bounds.fraction;
        let unit = self.record.frame.unit;
        let bound = |figure: &Figure| {
            figure
                .variance
                .map(|variance| unit.of(NORMAL_95 * variance.sqrt()))
        };
        let depth = leg.depth(touch.u, variance_of_u);
        let invert = leg.invert(touch.u, variance_of_u);
        let cover = leg.cover(touch.u);
        row.transmitter_depth = depth.map(|figure| unit.of(figure.value));
        row.depth_95 = depth.as_ref().and_then(bound);
        row.cover = cover.map(|cover| unit.of(cover));
        let sigma = depth.and_then(|figure| figure.variance).map(f64::sqrt);
        row.cover_least = cover
            .zip(sigma)
            .map(|(cover, sigma)| unit.of(cover - NORMAL_95_ONE_SIDED * sigma));
        row.invert = invert.map(|figure| unit.of(figure.value));
        row.invert_95 = invert.as_ref().and_then(bound);
        let Some((level, known)) = level(feature, touch, bounds) else {
            return;
        };
        let (wall, metres) = (self.run.wall.unwrap_or(0.0), unit.metres());
        let Some(diameter) = self.run.diameter.map(|diameter| diameter * metres) else {
            return;
        };
        let wall = wall * metres;
        let pipe = if level.is_elevation {
            invert.map(|invert| Pipe {
                top: -(invert.value + diameter + wall),
                bottom: -(invert.value - wall),
                variance: invert.variance,
            })
        } else {
            let variance = depth.and_then(|figure| figure.variance);
            cover.map(|cover| Pipe {
                top: cover,
                bottom: cover + diameter + 2.0 * wall,
                variance,
            })
        };
        let Some(passing) = pipe.map(|pipe| pass(pipe, &level, feature.size)) else {
            return;
        };
        row.passes = Some(if passing.under { "under" } else { "over" }.to_owned());
        row.vertical_clearance = passing.clearance.map(|clearance| unit.of(clearance));
        let sigma = passing.clearance.and(passing.sigma).filter(|_| known);
        row.vertical_clearance_95 = sigma.map(|sigma| unit.of(NORMAL_95 * sigma));
    }
}

/// Level of a feature at a touch, and whether its one-sigma is known.
fn level(feature: &Feature, touch: &Touch, bounds: &Bounds) -> Option<(Level, bool)> {
    match feature.lie.as_ref()? {
        Lie::Level(level) => Some((*level, true)),
        Lie::Drawn { part, sigma, .. } => {
            let height = touch.height?;
            let moves = if height.slope == 0.0 {
                Some(0.0)
            } else {
                bounds.on_feature.map(|along| along * height.slope)
            };
            let level = Level {
                value: height.value,
                is_elevation: true,
                part: *part,
                sigma: sigma.hypot(moves.unwrap_or(0.0)),
            };
            Some((level, moves.is_some()))
        }
    }
}

/// Two-sided 95 % quantile of the least of so many distances: each is smaller than its truth by more than this with 0.025 divided by
/// their number, so the least of them is with no more than 0.025, whatever they have in common (Bonferroni's inequality).
fn quantile_of_least(rivals: usize) -> f64 {
    match rivals {
        0 | 1 => NORMAL_95,
        several => chi_square_quantile(1.0 - 0.05 / several as f64, 1.0).sqrt(),
    }
}

/// Half the outside width of a feature that is drawn as its axis or centre, metres, as far as it is known.
fn half_width_of(feature: &Feature) -> f64 {
    if is_thin(&feature.geometry) {
        0.5 * feature.size.unwrap_or(0.0)
    } else {
        0.0
    }
}

/// Whether a separation is required, and not met: for certain, or where nobody knows how certain that is.
fn is_in_doubt(row: &Crossing) -> bool {
    row.requirement.as_ref().is_some_and(|requirement| {
        let bound = row.clearance_95.is_some();
        requirement.verdict != Separation::Met && (bound || row.clearance < requirement.required)
    })
}

/// Whether a shape stands for something by its axis or centre, so that its width is to be taken off.
fn is_thin(geometry: &Geometry<f64>) -> bool {
    !matches!(
        geometry,
        Geometry::Polygon(_)
            | Geometry::MultiPolygon(_)
            | Geometry::Rect(_)
            | Geometry::Triangle(_)
    )
}

/// One-sigmas at a touch, metres.
struct Bounds {
    clearance: Option<f64>,
    /// Along a feature that is crossed.
    along: Option<f64>,
    /// Along a feature, crossed or near.
    on_feature: Option<f64>,
    /// Variance of the fraction on the leg.
    fraction: f64,
}

impl Bounds {
    fn of(leg: &Leg, meeting: Meeting, touch: &Touch, sigma: f64) -> Self {
        let none = Self {
            clearance: None,
            along: None,
            on_feature: None,
            fraction: 0.0,
        };
        let Some(covariance) = leg.covariance(touch.u) else {
            return none;
        };
        let off = |direction: Coord<f64>| along(covariance, direction) + sigma * sigma;
        let square = |direction: Coord<f64>| Coord {
            x: -direction.y,
            y: direction.x,
        };
        let (t, d) = (leg.direction(), touch.direction);
        match meeting {
            // Somewhere inside, 0 from it; it is outside by no more than the pipe may be off in any direction.
            Meeting::Within => Self {
                clearance: Some(OneSigma::of(covariance).major.hypot(sigma)),
                ..none
            },
            Meeting::Near => {
                let on_leg = touch.u > 0.0 && touch.u < 1.0;
                let fraction = if on_leg {
                    off(t) / (leg.length * leg.length)
                } else {
                    0.0
                };
                Self {
                    clearance: Some(off(d).sqrt()),
                    along: None,
                    on_feature: Some(off(square(d)).sqrt()),
                    fraction,
                }
            }
            Meeting::Crosses => {
                let sine = (t.x * d.y - t.y * d.x).abs();
                let across = off(square(d));
                if sine < FLAT {
                    return Self {
                        clearance: Some(across.sqrt()),
                        ..none
                    };
                }
                let on_feature = Some(off(square(t)).sqrt() / sine);
                Self {
                    clearance: Some(across.sqrt()),
                    along: on_feature,
                    on_feature,
                    fraction: across / (leg.length * sine).powi(2),
                }
            }
        }
    }
}

/// 95 % ellipse in the result unit.
fn ellipse(block: leg::Block, metres: f64) -> Ellipse {
    let one = OneSigma::of(block);
    let scale = ELLIPSE_95 / metres;
    Ellipse {
        semi_major_95: one.major * scale,
        semi_minor_95: one.minor * scale,
        azimuth_95: one.azimuth.to_degrees(),
    }
}

/// The separation that applies: vertical where the lines meet and one is required, else horizontal.
fn requirement(row: &Crossing, required: &Required, metres: f64) -> Option<Requirement> {
    let meets = row.meeting != Meeting::Near;
    let (direction, needed, value, bound) = match (meets, required.vertical, required.horizontal) {
        (true, Some(needed), _) => (
            Direction::Vertical,
            needed,
            row.vertical_clearance,
            row.vertical_clearance_95,
        ),
        (_, _, Some(needed)) => (
            Direction::Horizontal,
            needed,
            Some(row.clearance),
            row.clearance_95,
        ),
        _ => return None,
    };
    let required_here = needed / metres;
    Some(Requirement {
        direction,
        required: required_here,
        source: required.source.clone(),
        verdict: verdict(value, bound, required_here),
    })
}

/// A figure with its bound against what is required.
fn verdict(value: Option<f64>, bound: Option<f64>, required: f64) -> Separation {
    match value.zip(bound) {
        Some((value, bound)) if value - bound >= required => Separation::Met,
        Some((value, bound)) if value + bound < required => Separation::NotMet,
        _ => Separation::CannotBeTold,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_verdict_turns_exactly_at_the_bound() {
        for (value, bound, verdict_is) in [
            (Some(1.5), Some(0.5), Separation::Met),
            (Some(1.499), Some(0.5), Separation::CannotBeTold),
            (Some(0.5), Some(0.5), Separation::CannotBeTold),
            (Some(0.499), Some(0.5), Separation::NotMet),
            (Some(9.0), None, Separation::CannotBeTold),
            (None, Some(0.1), Separation::CannotBeTold),
        ] {
            assert_eq!(
                verdict(value, bound, 1.0),
                verdict_is,
                "{value:?} {bound:?}"
            );
        }
    }
}
