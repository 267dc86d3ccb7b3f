//! From a plan's own coordinates to the job's grid.

use std::collections::BTreeMap;
use std::sync::Arc;

use geo::{BoundingRect, Coord, CoordsIter, Geometry, MapCoords, Polygon};

use super::layers::{Layers, PLAN_UNITS, PlanUnit, Rule, Said, no_size};
use super::role::{Role, RoleFrom};
use super::tie::Tie;
use super::{Feature, LayerUse, Plan, Request, Site, far};
use crate::crs::{Crs, CrsError, Datum, GEOGRAPHIC, shift_sigma};
use crate::error::Error;
use crate::maps::{RawFeature, RawLayer, RawPlan, System};
use crate::record::model::{Note, Operation};

/// One way onto the job's grid.
#[derive(Clone, Debug)]
pub enum Way {
    /// The job's own system, this many metres a unit.
    Own(f64),
    /// Another projected system, this many metres a unit.
    Projected(Crs, f64),
    /// Longitude and latitude of the geographic system with this code.
    Geographic(String),
    /// Common points.
    Tied(Arc<Tie>),
}

/// Places on the job's grid, with the operation between the two systems, where there is one.
pub type Mapped = (Vec<(f64, f64)>, Option<Operation>);

impl Way {
    /// From the job's own system, so many metres a unit.
    pub(super) fn of_job(site: &Site, metres: f64) -> Self {
        match &site.given {
            Some(own) => Self::Projected(own.clone(), metres),
            None => Self::Own(metres),
        }
    }

    /// Coordinates of the plan on the job's grid, metres.
    ///
    /// # Errors
    /// A place that can't be converted.
    pub fn map(&self, site: &Site, points: &[(f64, f64)]) -> Result<Mapped, CrsError> {
        let scaled = |metres: f64| {
            points
                .iter()
                .map(|(x, y)| (x * metres, y * metres))
                .collect::<Vec<_>>()
        };
        match (self, &site.crs) {
            (Self::Own(metres), _) => Ok((scaled(*metres), None)),
            (Self::Tied(tie), _) => {
                let tied = points.iter().map(|point| tie.similarity.apply(*point));
                Ok((tied.collect(), None))
            }
            (Self::Projected(from, metres), Some(to)) => {
                let (places, by) = from.to_other(to, &scaled(*metres))?;
                // From the job's own system the results came the same way: nothing of it lies between the two.
                let own = site
                    .given
                    .as_ref()
                    .is_some_and(|own| own.code() == from.code());
                Ok((places, (!own).then_some(by)))
            }
            (Self::Geographic(code), Some(to)) => {
                let radians: Vec<_> = points
                    .iter()
                    .map(|(x, y)| (x.to_radians(), y.to_radians()))
                    .collect();
                let (places, by) = to.to_grid(&Datum::Named(code.clone()), &radians)?;
                Ok((places, Some(by)))
            }
            (Self::Projected(..) | Self::Geographic(_), None) => Err(CrsError::Local),
        }
    }

    /// Places of the job's grid (metres) in the plan's own coordinates.
    ///
    /// # Errors
    /// A place that can't be converted.
    pub fn back(&self, site: &Site, places: &[(f64, f64)]) -> Result<Vec<(f64, f64)>, CrsError> {
        let scaled = |places: &[(f64, f64)], metres: f64| {
            let scale = |(e, n): &(f64, f64)| (e / metres, n / metres);
            places.iter().map(scale).collect::<Vec<_>>()
        };
        match (self, &site.crs) {
            (Self::Own(metres), _) => Ok(scaled(places, *metres)),
            (Self::Tied(tie), _) => Ok(places.iter().map(|place| tie.back(*place)).collect()),
            (Self::Projected(to, metres), Some(from)) => {
                Ok(scaled(&from.to_other(to, places)?.0, *metres))
            }
            (Self::Geographic(code), Some(from)) => {
                let (radians, _) = from.to_geographic(&Datum::Named(code.clone()), places)?;
                let degrees = radians
                    .iter()
                    .map(|(x, y)| (x.to_degrees(), y.to_degrees()));
                Ok(degrees.collect())
            }
            (Self::Projected(..) | Self::Geographic(_), None) => Err(CrsError::Local),
        }
    }

    /// Metres in one of the plan's unit, for heights; `None` where its coordinates are degrees. Tied plans are taken to be drawn
    /// in the unit nearest to the tie's scale, if one is within a hundredth of it.
    #[must_use]
    pub fn unit_metres(&self) -> Option<f64> {
        match self {
            Self::Own(metres) | Self::Projected(_, metres) => Some(*metres),
            Self::Geographic(_) => None,
            Self::Tied(tie) => {
                let scale = tie.similarity.scale();
                let near = |metres: f64| is_unit(scale, metres);
                let unit = PLAN_UNITS.iter().find(|unit| near(unit.metres));
                Some(unit.map_or(scale, |unit| unit.metres))
            }
        }
    }

    /// The tie of a tied plan.
    fn tie(&self) -> Option<&Arc<Tie>> {
        match self {
            Self::Tied(tie) => Some(tie),
            _ => None,
        }
    }
}

/// What is said of a layer that is not used.
const UNUSED: &str = "not used";

/// How each layer of a file comes to the job's grid, with the words for it.
#[derive(Clone, Debug)]
pub struct Placing {
    ways: Vec<(Way, String)>,
}

impl Placing {
    /// Decides for every layer of a file.
    ///
    /// # Errors
    /// A layer that says nothing, or something unknown, and nobody says more.
    pub fn of(raw: &RawPlan, request: &Request<'_>, site: &Site) -> Result<Self, Error> {
        let ways = raw.layers.iter().map(|layer| {
            let idle = request
                .layers
                .rule(&layer.name)
                .is_some_and(|rule| !rule.used)
                || layer.features.is_empty();
            if idle {
                return Ok((Way::Own(site.unit_metres), UNUSED.to_owned()));
            }
            way(raw, layer, request, site).map_err(|why| {
                Error::Usage(format!("{}, layer \"{}\": {why}", raw.file, layer.name))
            })
        });
        Ok(Self {
            ways: ways.collect::<Result<_, _>>()?,
        })
    }

    /// The way of the file: that of its first layer in use.
    #[must_use]
    pub fn way(&self, raw: &RawPlan) -> Option<&Way> {
        let mut both = raw.layers.iter().zip(&self.ways);
        both.find(|(layer, (_, words))| !layer.features.is_empty() && words != UNUSED)
            .map(|(_, (way, _))| way)
    }
}

fn way(
    raw: &RawPlan,
    layer: &RawLayer,
    request: &Request<'_>,
    site: &Site,
) -> Result<(Way, String), String> {
    let beats = request.layers.beats(&raw.file);
    if let (Some(tie), Some(Said { crs: None, unit })) = (request.tie, beats) {
        return tied(tie, *unit);
    }
    if let Some(said) = beats {
        let said = with_unit(said, &layer.system, site);
        return as_said(&said, site, "as the layers file says of this file");
    }
    if let Some(tie) = request.tie {
        let drawn = match &layer.system {
            System::Unit(word) => PLAN_UNITS.iter().find(|unit| unit.word == *word).copied(),
            _ => None,
        };
        return tied(tie, drawn);
    }
    let otherwise = request.layers.otherwise();
    let said = *otherwise != Said::default();
    match &layer.system {
        System::Code(code) => of_code(code, None, site)
            .map(|(way, words)| (way, format!("{words}, as the file says"))),
        system if said => as_said(
            &with_unit(otherwise, system, site),
            site,
            "as the layers file says",
        ),
        System::Unit(word) => as_drawn(word, site),
        unsaid => {
            let what = match unsaid {
                System::Unknown(name) => {
                    format!("the coordinate system \"{name}\" is not known here")
                }
                _ => "the plan does not say its coordinate system".to_owned(),
            };
            Err(format!(
                "{what}: give `crs` or `unit` in the layers file (--plan-layers), or common points (--plan-tie). {}",
                far::would_fit(&far::sample(raw), site)
            ))
        }
    }
}

/// Whether a tie's scale is that of a unit: within a hundredth (our choice: no ground-to-grid factor is more).
fn is_unit(scale: f64, metres: f64) -> bool {
    (scale / metres - 1.0).abs() < 0.01
}

/// A tied plan; an error where the unit that the drawing states, or the layers file in its stead, is not what the tie's scale says: then
/// the tie's coordinates are in another, or the statement is wrong, and whoever ties it knows which.
fn tied(tie: &Tie, stated: Option<PlanUnit>) -> Result<(Way, String), String> {
    let way = Way::Tied(Arc::new(tie.clone()));
    let scale = tie.similarity.scale();
    if let Some(unit) = stated.filter(|unit| !is_unit(scale, unit.metres)) {
        return Err(format!(
            "it is drawn in {}, of which one is {:.4} m, and by the common points one of its units is {scale:.4} m. Give plan_x and plan_y \
             as they stand in the drawing; if it states the wrong unit, give the right one in the layers file (--plan-layers) as `unit` of \
             its [[file]]",
            unit.word, unit.metres
        ));
    }
    Ok((way, format!("tied by {} common points", tie.used())))
}

/// What the layers file says, with the unit that the drawing states where it says none.
fn with_unit(said: &Said, system: &System, site: &Site) -> Said {
    let own = match said.crs.as_deref() {
        None | Some("job") => site.job_unit(),
        Some(code) => Crs::new(code, crate::units::LengthUnit::Metre)
            .map_or(site.unit_metres, |crs| crs.unit_metres()),
    };
    let drawn = match system {
        System::Unit(word) if !own_feet(word, own) => {
            PLAN_UNITS.iter().find(|unit| unit.word == *word).copied()
        }
        _ => None,
    };
    Said {
        crs: said.crs.clone(),
        unit: said.unit.or(drawn),
    }
}

/// Whether a drawing's unit is that of its coordinate system (metres in it), though it may name the other foot.
///
/// The feet of a drawing are most often just "feet", whichever foot the coordinates are in (common practice, no source): in a
/// system in feet they are that system's. The layers file says otherwise with `unit`.
fn own_feet(word: &str, own: f64) -> bool {
    word == "ft" && (own / crate::units::FOOT - 1.0).abs() < 1e-5
}

/// A drawing names a unit and no coordinate system: it is taken to lie in the job's, which is held against where it lands.
fn as_drawn(word: &str, site: &Site) -> Result<(Way, String), String> {
    let unit = PLAN_UNITS.iter().find(|unit| unit.word == word);
    let (metres, words) = match unit {
        _ if own_feet(word, site.job_unit()) => (
            site.job_unit(),
            "feet, taken as those of the coordinate system",
        ),
        Some(unit) => (unit.metres, unit.word),
        None => return Err(format!("the drawing's unit \"{word}\" is not known")),
    };
    Ok((
        Way::of_job(site, metres),
        format!(
            "{} in {words}: the drawing states its unit and no coordinate system, so it is taken to lie in the job's",
            site.job_code()
        ),
    ))
}

fn as_said(said: &Said, site: &Site, words: &str) -> Result<(Way, String), String> {
    let (way, name) = match said.crs.as_deref() {
        None | Some("job") => {
            let metres = said.unit.map_or(site.job_unit(), |unit| unit.metres);
            (
                Way::of_job(site, metres),
                format!(
                    "{} in {}",
                    site.job_code(),
                    said.unit.map_or("its own unit", |unit| unit.word)
                ),
            )
        }
        Some(code) => of_code(code, said.unit, site)?,
    };
    Ok((way, format!("{name}, {words}")))
}

fn of_code(code: &str, unit: Option<PlanUnit>, site: &Site) -> Result<(Way, String), String> {
    let Some(own) = &site.crs else {
        return Err(format!(
            "the job lies on a site grid of its own and the plan in {code}: tie it with common points (--plan-tie), or give the job a \
             coordinate system"
        ));
    };
    if code == own.code() {
        return Ok((
            Way::Own(unit.map_or(own.unit_metres(), |unit| unit.metres)),
            code.to_owned(),
        ));
    }
    match Crs::new(code, crate::units::LengthUnit::Metre) {
        Ok(crs) => {
            let metres = unit.map_or(crs.unit_metres(), |unit| unit.metres);
            let name = format!("{} ({})", crs.code(), crs.name());
            Ok((Way::Projected(crs, metres), name))
        }
        Err(CrsError::NotProjected {
            kind: GEOGRAPHIC,
            name,
            ..
        }) => Ok((Way::Geographic(code.to_owned()), format!("{code} ({name})"))),
        Err(why) => Err(why.to_string()),
    }
}

/// Brings a file's features to the job's grid and adds them to the plan.
pub fn lay(
    raw: &RawPlan,
    placing: &Placing,
    layers: &Layers,
    site: &Site,
    plan: &mut Plan,
) -> Result<(), Error> {
    let before = plan.features.len();
    let remarks = raw.remarks.iter();
    plan.notes
        .extend(remarks.map(|text| Note::new(Some(raw.file.clone()), text.clone())));
    for (layer, (way, placed)) in raw.layers.iter().zip(&placing.ways) {
        let rule = layers.rule(&layer.name);
        let (role, role_from) = role(rule, &layer.name);
        let used = rule.is_none_or(|rule| rule.used);
        if used {
            let stand = Stand {
                raw,
                layer,
                layers,
                rule,
                role,
                way,
            };
            let (features, by) = stand.features(site)?;
            plan.notes
                .extend(levels_not_taken(raw, layer, &features.doubted));
            plan.notes
                .extend(sizes_not_taken(raw, layer, &features.sizes));
            plan.features.extend(features.all);
            if let Some(by) = by {
                plan.notes.extend(doubt(raw, layer, &by));
                if !plan.operations.contains(&by) {
                    plan.operations.push(by);
                }
            }
        }
        plan.notes.extend(notes(raw, layer, role, role_from, used));
        plan.notes.extend(
            rule.filter(|_| used)
                .into_iter()
                .flat_map(|rule| unfound(raw, layer, rule)),
        );
        plan.notes.extend(
            heights(layer, rule)
                .filter(|_| used && role == Role::Utility)
                .map(|text| note(raw, layer, text)),
        );
        plan.layers.push(LayerUse {
            file: raw.file.clone(),
            layer: layer.name.clone(),
            role,
            role_from,
            used,
            features: layer.features.len(),
            placed: placed.clone(),
        });
    }
    let laid = plan.features.get(before..).unwrap_or_default();
    let gaps = laid
        .iter()
        .filter_map(|feature| Some(far::gap(&feature.geometry.bounding_rect()?, &site.extent)));
    match gaps.reduce(f64::min) {
        Some(gap) if gap > far::FAR => Err(Error::Usage(far::message(
            &raw.file,
            gap,
            &far::sample(raw),
            site,
        ))),
        _ => Ok(()),
    }
}

fn role(rule: Option<&Rule>, layer: &str) -> (Role, RoleFrom) {
    let given = rule
        .and_then(|rule| rule.role)
        .map(|role| (role, RoleFrom::Given));
    let guess = || Role::guess(layer).map(|role| (role, RoleFrom::Guessed));
    given
        .or_else(guess)
        .unwrap_or((Role::Other, RoleFrom::Unknown))
}

/// What there is to say of a layer.
fn note(raw: &RawPlan, layer: &RawLayer, text: String) -> Note {
    Note::new(Some(format!("{}!{}", raw.file, layer.name)), text)
}

/// What the operation that brings a layer over leaves in doubt, in words; nothing where the two systems have one datum.
fn doubt(raw: &RawPlan, layer: &RawLayer, by: &Operation) -> Option<Note> {
    let text = format!(
        "Its coordinates come from {} to {} by the operation \"{}\", {}: a shift with a one-sigma of {} m, each axis, is in the bounds \
         of every clearance and crossing.{}",
        by.from,
        by.to,
        by.name,
        by.worth()?,
        shift_sigma(by),
        if by.ballpark {
            " Common points (--plan-tie) would do without it."
        } else {
            ""
        }
    );
    Some(note(raw, layer, text))
}

/// What was guessed or left out of a layer.
fn notes(raw: &RawPlan, layer: &RawLayer, role: Role, from: RoleFrom, used: bool) -> Vec<Note> {
    let note = |text: String| note(raw, layer, text);
    let mut notes = Vec::new();
    // Nothing of a layer of lettering is taken for anything.
    let bare = layer.features.is_empty() && !layer.left_out.is_empty();
    match from {
        RoleFrom::Guessed | RoleFrom::Unknown if used && bare => {}
        _ if !used => notes.push(note("Layer left out, as the layers file says.".to_owned())),
        RoleFrom::Guessed => notes.push(note(format!(
            "Layer taken as {} by its name; give its role in the layers file if it is another.",
            role.word()
        ))),
        RoleFrom::Unknown => notes.push(note(
            "Layer of unknown role; give it in the layers file.".to_owned(),
        )),
        RoleFrom::Given => {}
    }
    if let Some((number, why)) = layer.left_out.first().filter(|_| used) {
        let which = match layer.left_out.len() {
            1 => "1 feature left out,".to_owned(),
            several => format!("{several} features left out; the first is"),
        };
        notes.push(note(format!("{which} number {number}: {why}.")));
    }
    notes
}

/// Columns that the layers file names and no feature of the layer has: most likely misspelt.
fn unfound(raw: &RawPlan, layer: &RawLayer, rule: &Rule) -> Vec<Note> {
    let none = |column: &&str| {
        let mut features = layer.features.iter();
        !layer.features.is_empty()
            && !features.any(|feature| feature.attributes.contains_key(*column))
    };
    let unfound = |column: &str| {
        let text = format!(
            "The layers file names the column \"{column}\", which no feature of this layer has: nothing is taken from it."
        );
        note(raw, layer, text)
    };
    rule.columns().filter(none).map(unfound).collect()
}

/// Depths and elevations that stand for "not known", or count the wrong way.
fn levels_not_taken(raw: &RawPlan, layer: &RawLayer, doubted: &[(u64, String)]) -> Option<Note> {
    let (number, why) = doubted.first()?;
    let which = match doubted.len() {
        1 => "The level of 1 feature is".to_owned(),
        several => format!("The levels of {several} features are"),
    };
    let text =
        format!("{which} not taken, so how it is passed is not told: number {number}, {why}.");
    Some(note(raw, layer, text))
}

/// Widths that stand for "not known", or are in another unit.
fn sizes_not_taken(raw: &RawPlan, layer: &RawLayer, doubted: &[(u64, String)]) -> Option<Note> {
    let (number, why) = doubted.first()?;
    let which = match doubted.len() {
        1 => "The size of 1 feature is".to_owned(),
        several => format!("The sizes of {several} features are"),
    };
    let text = format!("{which} not taken: number {number}, {why}.");
    Some(note(raw, layer, text))
}

/// Heights of shapes that are not used, and shapes without heights where they should be.
fn heights(layer: &RawLayer, rule: Option<&Rule>) -> Option<String> {
    let some = |feature: &&RawFeature| !feature.heights.is_empty();
    let (all, with) = (
        layer.features.len(),
        layer.features.iter().filter(some).count(),
    );
    let looked_at = rule.is_some_and(Rule::looks_at_heights);
    if looked_at && with < all {
        Some(format!(
            "{} of {all} features are drawn without heights, or at 0 throughout, which counts as none: nothing is taken from them.",
            all - with
        ))
    } else if with > 0 && !rule.is_some_and(Rule::tells_level) {
        Some(
            "It is drawn with heights, which are not used: give `elevation = { drawn = true }` in the layers file, with `to`, if they are \
             elevations in the job's height datum."
                .to_owned(),
        )
    } else {
        None
    }
}

/// A layer on its way to the job's grid.
struct Stand<'a> {
    raw: &'a RawPlan,
    layer: &'a RawLayer,
    layers: &'a Layers,
    rule: Option<&'a Rule>,
    role: Role,
    way: &'a Way,
}

impl Stand<'_> {
    /// The layer's features on the job's grid, with the operation that brought them there.
    fn features(&self, site: &Site) -> Result<(Features, Option<Operation>), Error> {
        let points: Vec<(f64, f64)> = self
            .layer
            .features
            .iter()
            .flat_map(|feature| feature.geometry.coords_iter())
            .map(|c| (c.x, c.y))
            .collect();
        let (mapped, by) = self.way.map(site, &points).map_err(|why| {
            let fit = far::would_fit(&far::sample(self.raw), site);
            Error::Usage(format!(
                "{}, layer \"{}\": {why}. {fit}",
                self.raw.file, self.layer.name
            ))
        })?;
        let name: Arc<str> = Arc::from(self.layer.name.as_str());
        let mut rest = mapped.into_iter();
        let shift = by.as_ref().map_or(0.0, shift_sigma);
        let mut features = Features::default();
        for raw in &self.layer.features {
            let mut feature = self.feature(raw, &name, shift, &mut rest)?;
            let doubt = feature.lie.as_ref().and_then(|lie| lie.doubt(site.levels));
            if doubt.is_some() {
                feature.lie = None;
            }
            let points: Vec<_> = feature.geometry.coords_iter().map(|at| at.x_y()).collect();
            let lie = feature.lie.as_mut();
            let blank = || lie.and_then(|lie| lie.blank(&points, site.levels));
            let doubt = doubt.or_else(blank);
            features.doubted.extend(doubt.map(|why| (raw.number, why)));
            if let Some(why) = feature.size.and_then(no_size) {
                feature.size = None;
                features.sizes.push((raw.number, why));
            }
            features.all.push(feature);
        }
        Ok((features, by))
    }

    fn feature(
        &self,
        raw: &RawFeature,
        layer: &Arc<str>,
        shift: f64,
        mapped: &mut impl Iterator<Item = (f64, f64)>,
    ) -> Result<Feature, Error> {
        let source = format!("{}!{}:{}", self.raw.file, layer, raw.number);
        let broken = |why: String| Error::Usage(format!("{source}: {why}"));
        let rule = self.rule;
        let own = rule.map_or(0.0, |rule| rule.sigma);
        // Beside degrees, heights are in metres (RFC 7946 has no other).
        let unit = self.way.unit_metres().unwrap_or(1.0);
        let name_column = rule.and_then(|rule| rule.name_column.as_deref());
        let name = name_column.map_or_else(
            || usual_name(&raw.attributes),
            |column| raw.attributes.get(column).cloned(),
        );
        Ok(Feature {
            layer: Arc::clone(layer),
            role: self.role,
            kind: rule.and_then(|rule| rule.kind.clone()),
            name: name
                .or_else(|| raw.id.clone())
                .filter(|name| !name.trim().is_empty()),
            geometry: area(replace(&raw.geometry, mapped), self.role),
            lie: rule
                .map_or(Ok(None), |rule| rule.lie(raw, unit))
                .map_err(broken)?,
            size: rule
                .map_or(Ok(None), |rule| rule.size(&raw.attributes))
                .map_err(broken)?,
            sigma: own.hypot(shift),
            tie: self.way.tie().cloned(),
            near: rule.and_then(|rule| rule.near).unwrap_or(self.layers.near),
            required: rule.and_then(|rule| rule.required.clone()),
            attributes: raw.attributes.clone(),
            source,
        })
    }
}

/// Features of a layer on the job's grid.
#[derive(Default)]
struct Features {
    all: Vec<Feature>,
    /// Those whose level can't be and is not taken, or not everywhere, with the reason: number, reason.
    doubted: Vec<(u64, String)>,
    /// Those whose size can't be and is not taken.
    sizes: Vec<(u64, String)>,
}

/// A closed line as the area that it bounds, where its role has areas.
fn area(geometry: Geometry<f64>, role: Role) -> Geometry<f64> {
    match geometry {
        Geometry::LineString(line) if role.is_area() && line.0.len() > 3 && line.is_closed() => {
            Geometry::Polygon(Polygon::new(line, Vec::new()))
        }
        other => other,
    }
}

/// The attribute that most plainly names a feature.
fn usual_name(attributes: &BTreeMap<String, String>) -> Option<String> {
    let named = |wanted: &str| {
        attributes
            .iter()
            .find(|(key, _)| key.eq_ignore_ascii_case(wanted))
            .map(|(_, value)| value.clone())
    };
    named("name").or_else(|| named("id"))
}

/// The same shape with other coordinates, in the order of `coords_iter`.
fn replace(
    geometry: &Geometry<f64>,
    mapped: &mut impl Iterator<Item = (f64, f64)>,
) -> Geometry<f64> {
    let cells: Vec<(f64, f64)> = geometry
        .coords_iter()
        .zip(mapped)
        .map(|(_, place)| place)
        .collect();
    let next = std::cell::Cell::new(0_usize);
    geometry.map_coords(|own: Coord<f64>| {
        let at = next.replace(next.get() + 1);
        cells.get(at).map_or(own, |(x, y)| Coord { x: *x, y: *y })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{line_string, polygon};

    #[test]
    fn every_kind_of_shape_keeps_its_order() {
        let ring = polygon!(exterior: [(x: 0., y: 0.), (x: 4., y: 0.), (x: 0., y: 4.)], interiors: [[(x: 1., y: 1.), (x: 2., y: 1.), (x: 1., y: 2.)]]);
        let line = line_string![(x: 5., y: 6.), (x: 7., y: 8.)];
        for geometry in [
            Geometry::from(ring.clone()),
            Geometry::from(line.clone()),
            Geometry::GeometryCollection(geo::GeometryCollection(vec![ring.into(), line.into()])),
        ] {
            let mut moved = geometry.coords_iter().map(|c| (c.x * 2.0, c.y + 1.0));
            let replaced = replace(&geometry, &mut moved);
            let expected = geometry.map_coords(|c| Coord {
                x: c.x * 2.0,
                y: c.y + 1.0,
            });
            assert_eq!(replaced, expected);
        }
    }
}
