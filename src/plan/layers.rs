//! The layers file: what the layers of a plan mean, in TOML.
//!
//! ```toml
//! near = "10 ft"            # within this a feature is reported; plain numbers are in the job's unit
//! crs = "EPSG:2264"         # of plans that don't name theirs
//! layer_column = "layer"    # attribute that names the layer, in files without layers of their own
//!
//! [[file]]                  # beats what the file itself says
//! name = "old-survey.geojson"
//! unit = "us-ft"            # its coordinates are in the job's system, in this unit
//!
//! [[layer]]
//! name = "WATER*"           # * stands for anything; letter case does not count
//! role = "utility"
//! kind = "water"
//! elevation = { drawn = true, to = "axis" }    # heights of its lines, where they are drawn with some
//! depth = { column = "DEPTH", unit = "ft", to = "top", sigma = "0.5 ft" }
//! size = { column = "DIAM", unit = "in" }
//! required = { horizontal = "10 ft", vertical = "18 in", source = "utility's standard 4.2" }
//! sigma = "0.3 ft"          # one-sigma of its lines, each axis
//! ```
//!
//! The first `[[layer]]` whose name fits decides.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::de::value::MapAccessDeserializer;
use serde::de::{MapAccess, Visitor};
use serde::{Deserialize, Deserializer};

use super::role::Role;
use crate::error::{Error, toml_wrong};
use crate::maps::RawFeature;
use crate::units::{LengthUnit, Plain, parse_length};

/// Distance within which a feature is reported where nothing else is said, metres (our choice: 10 ft, the distance that rules of
/// separation most often name).
pub const NEAR: f64 = 10.0 * crate::units::FOOT;

/// Depth beyond which a utility's is taken for a stand-in where none is known, metres; so is an elevation that far above or below all of
/// the job (our choice: deeper is tunnelled, and is not met by a drain).
pub const DEEPEST: f64 = 30.0;

/// Rise over way of a line that is drawn with heights; steeper, one of the two heights is none. Our choice.
const STEEPEST: f64 = 1.0;

/// A length as written: a plain number, or one with its unit.
#[derive(Clone, Debug, JsonSchema)]
#[schemars(untagged)]
enum Cell {
    Number(f64),
    Text(String),
}

/// A length that is the same for the layer, or stands in a column.
#[derive(Clone, Debug, JsonSchema)]
#[schemars(untagged)]
enum Figure {
    Fixed(Cell),
    Table(FigureTable),
}

// By hand, so that what is wrong is told in the words of the form that was met.
impl<'de> Deserialize<'de> for Cell {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
        source.deserialize_any(CellVisitor)
    }
}

impl<'de> Deserialize<'de> for Figure {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
        source.deserialize_any(FigureVisitor)
    }
}

struct CellVisitor;

impl Visitor<'_> for CellVisitor {
    type Value = Cell;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a length such as 0.3 or \"12 in\"")
    }

    fn visit_f64<E: serde::de::Error>(self, value: f64) -> Result<Cell, E> {
        Ok(Cell::Number(value))
    }

    fn visit_i64<E: serde::de::Error>(self, value: i64) -> Result<Cell, E> {
        Ok(Cell::Number(value as f64))
    }

    fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Cell, E> {
        Ok(Cell::Text(text.to_owned()))
    }
}

struct FigureVisitor;

impl<'de> Visitor<'de> for FigureVisitor {
    type Value = Figure;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        CellVisitor.expecting(f)?;
        f.write_str(", or a table such as { column = \"DEPTH\", unit = \"ft\" }")
    }

    fn visit_f64<E: serde::de::Error>(self, value: f64) -> Result<Figure, E> {
        CellVisitor.visit_f64(value).map(Figure::Fixed)
    }

    fn visit_i64<E: serde::de::Error>(self, value: i64) -> Result<Figure, E> {
        CellVisitor.visit_i64(value).map(Figure::Fixed)
    }

    fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Figure, E> {
        CellVisitor.visit_str(text).map(Figure::Fixed)
    }

    fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Figure, A::Error> {
        FigureTable::deserialize(MapAccessDeserializer::new(map)).map(Figure::Table)
    }
}

#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
struct FigureTable {
    /// Attribute that holds it.
    column: Option<String>,
    /// The same for every feature.
    value: Option<Cell>,
    /// Elevations only: the heights that its shape is drawn with. One that has none, or 0 throughout, counts as drawn flat.
    drawn: bool,
    /// Unit of plain numbers; of drawn heights, if it is not the plan's.
    unit: Option<String>,
    /// What of the utility it is measured to.
    to: Part,
    /// One-sigma.
    sigma: Option<Cell>,
}

/// What of a utility a depth or an elevation belongs to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Part {
    /// Its outside top.
    #[default]
    Top,
    /// Its axis.
    Axis,
    /// Its outside bottom.
    Bottom,
}

#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
struct RequiredTable {
    horizontal: Option<Cell>,
    vertical: Option<Cell>,
    source: Option<String>,
}

#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct LayerTable {
    /// Name of the layer; `*` stands for anything.
    name: String,
    /// What its features are.
    role: Option<Role>,
    /// `false` leaves it out.
    #[serde(rename = "use", default = "yes")]
    used: bool,
    /// Kind of a utility: `water`, `gas`, …
    kind: Option<String>,
    /// Attribute that names a feature.
    name_column: Option<String>,
    /// Depth below the ground.
    depth: Option<Figure>,
    /// Elevation in the job's height datum.
    elevation: Option<Figure>,
    /// Outside width or diameter.
    size: Option<Figure>,
    /// One-sigma of its lines, each axis.
    sigma: Option<Cell>,
    /// Distance within which its features are reported.
    near: Option<Cell>,
    /// Separation required from its features.
    required: Option<RequiredTable>,
}

fn yes() -> bool {
    true
}

#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct FileTable {
    /// Name of the file.
    name: String,
    /// Its coordinate system, whatever it says itself: `EPSG:2264`, or `job`.
    crs: Option<String>,
    /// Its unit, whatever it says itself: m, ft, us-ft, mm, cm, in. Without `crs` its coordinates are then in the job's system, or tied by
    /// common points where those are given (--plan-tie).
    unit: Option<String>,
}

/// The layers file, as written.
#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
struct LayersFile {
    /// Coordinate system of plans that don't name theirs: `EPSG:2264`, or `job`.
    crs: Option<String>,
    /// Unit of plans that don't name theirs: m, ft, us-ft, mm, cm, in.
    unit: Option<String>,
    /// Distance within which a feature is reported.
    near: Option<Cell>,
    /// Attribute that names the layer, in files without layers of their own.
    layer_column: Option<String>,
    /// Files that need a word of their own.
    file: Vec<FileTable>,
    /// Layers.
    layer: Vec<LayerTable>,
}

/// Unit of a plan's coordinates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlanUnit {
    /// Its word.
    pub word: &'static str,
    /// Metres in one.
    pub metres: f64,
}

/// The units that plans are drawn in.
pub const PLAN_UNITS: &[PlanUnit] = &[
    PlanUnit {
        word: "m",
        metres: 1.0,
    },
    PlanUnit {
        word: "ft",
        metres: crate::units::FOOT,
    },
    PlanUnit {
        word: "us-ft",
        metres: crate::units::US_SURVEY_FOOT,
    },
    PlanUnit {
        word: "mm",
        metres: 0.001,
    },
    PlanUnit {
        word: "cm",
        metres: 0.01,
    },
    PlanUnit {
        word: "in",
        metres: crate::units::INCH,
    },
];

/// What is said of a plan's coordinates.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Said {
    /// Coordinate system: a code, or `job`.
    pub crs: Option<String>,
    /// Unit.
    pub unit: Option<PlanUnit>,
}

/// A length, metres, or the column that it stands in.
#[derive(Clone, Debug, PartialEq)]
enum Length {
    Fixed(f64),
    Column(String, Plain),
}

/// A figure of the layers file.
#[derive(Clone, Debug, PartialEq)]
enum Taken {
    Length(Length),
    /// Heights of the shape: metres in one, where they are not in the plan's unit.
    Shape(Option<f64>),
}

impl Length {
    /// Metres; `None` where the cell is empty, an error where it can't be read.
    fn of(&self, attributes: &BTreeMap<String, String>) -> Result<Option<f64>, String> {
        let (column, plain) = match self {
            Self::Fixed(metres) => return Ok(Some(*metres)),
            Self::Column(column, plain) => (column, *plain),
        };
        let Some(text) = attributes
            .get(column)
            .map(|text| text.trim())
            .filter(|text| !text.is_empty())
        else {
            return Ok(None);
        };
        parse_length(text, plain)
            .map(Some)
            .map_err(|why| format!("column `{column}`: \"{text}\" is no length: {why}"))
    }
}

/// A level in height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// Metres: depth below the ground, or elevation.
    pub value: f64,
    /// It is an elevation.
    pub is_elevation: bool,
    /// What of the feature it belongs to.
    pub part: Part,
    /// One-sigma, metres; 0 where none is stated.
    pub sigma: f64,
}

/// Where a feature lies in height.
#[derive(Clone, Debug, PartialEq)]
pub enum Lie {
    /// At one level.
    Level(Level),
    /// As its shape is drawn.
    Drawn {
        /// Elevation of each of its points, metres, in the order of `coords_iter`; NaN where a point has none.
        heights: Vec<f64>,
        /// What of the feature they belong to.
        part: Part,
        /// One-sigma, metres; 0 where none is stated.
        sigma: f64,
    },
}

impl Lie {
    /// Why it can't be, and is a word for "not known". `levels` are the job's lowest and highest, metres.
    #[must_use]
    pub fn doubt(&self, levels: Option<[f64; 2]>) -> Option<String> {
        let off = |height: f64| levels.is_some_and(|levels| is_far(height, levels));
        let far = |height: f64| {
            format!(
                "its elevation of {height:.3} m is more than {DEEPEST} m above or below all of the job"
            )
        };
        match self {
            Self::Level(Level {
                value,
                is_elevation: false,
                ..
            }) => no_depth(*value).map(|why| format!("its depth is {value:.3} m: {why}")),
            Self::Level(Level { value, .. }) => off(*value).then(|| far(*value)),
            // A long line may well rise out of the site; what counts is whether any of it can be met.
            Self::Drawn { heights, .. } => {
                let mut known = heights.iter().copied().filter(|height| height.is_finite());
                let first = known.next()?;
                (off(first) && known.all(off)).then(|| far(first))
            }
        }
    }

    /// Takes away the heights of points that are drawn at 0, or down or up a slope that no pipe has, far off the job: nobody levelled those.
    /// What they were, if there were any. `points` are the shape's, metres, in the order of the heights.
    pub fn blank(&mut self, points: &[(f64, f64)], levels: Option<[f64; 2]>) -> Option<String> {
        let (Self::Drawn { heights, .. }, Some(levels)) = (self, levels) else {
            return None;
        };
        let off = |height: f64| is_far(height, levels);
        let steep = |i: usize, j: usize| {
            let (Some(a), Some(b)) = (points.get(i), points.get(j)) else {
                return false;
            };
            let (Some(from), Some(to)) = (heights.get(i), heights.get(j)) else {
                return false;
            };
            !off(*to) && (to - from).abs() > STEEPEST * (b.0 - a.0).hypot(b.1 - a.1)
        };
        let stand_in = |i: usize, height: f64| {
            off(height) && (height == 0.0 || steep(i, i.wrapping_sub(1)) || steep(i, i + 1))
        };
        let all = heights.iter().enumerate();
        let blank: Vec<usize> = all
            .filter(|(i, z)| stand_in(*i, **z))
            .map(|(i, _)| i)
            .collect();
        let first = *heights.get(*blank.first()?)?;
        for i in &blank {
            if let Some(height) = heights.get_mut(*i) {
                *height = f64::NAN;
            }
        }
        let of = match blank.len() {
            1 => "one of its points lies".to_owned(),
            several => format!("{several} of its points lie"),
        };
        Some(format!(
            "{of} at {first:.3} m, more than {DEEPEST} m above or below all of the job, and counts as without a height"
        ))
    }
}

#[derive(Clone, Debug, PartialEq)]
struct LevelRule {
    from: Taken,
    is_elevation: bool,
    part: Part,
    sigma: f64,
}

/// A required separation; metres.
#[derive(Clone, Debug, PartialEq)]
pub struct Required {
    /// In plan.
    pub horizontal: Option<f64>,
    /// In height.
    pub vertical: Option<f64>,
    /// Where it comes from, as entered.
    pub source: Option<String>,
}

/// What is said of a layer; metres.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    pattern: String,
    /// What its features are, if said.
    pub role: Option<Role>,
    /// It takes part.
    pub used: bool,
    /// Kind of a utility.
    pub kind: Option<String>,
    /// Attribute that names a feature.
    pub name_column: Option<String>,
    level: Vec<LevelRule>,
    size: Option<Length>,
    /// One-sigma of its lines.
    pub sigma: f64,
    /// Distance within which its features are reported.
    pub near: Option<f64>,
    /// Separation required.
    pub required: Option<Arc<Required>>,
}

impl Rule {
    /// Where a feature lies in height: by elevation where it has one, else by depth. `unit_metres` is that of the plan.
    pub fn lie(&self, feature: &RawFeature, unit_metres: f64) -> Result<Option<Lie>, String> {
        for rule in &self.level {
            let LevelRule {
                is_elevation,
                part,
                sigma,
                ..
            } = *rule;
            match &rule.from {
                Taken::Shape(_) if feature.heights.is_empty() => {}
                Taken::Shape(unit) => {
                    let metres = unit.unwrap_or(unit_metres);
                    return Ok(Some(Lie::Drawn {
                        heights: feature.heights.iter().map(|z| z * metres).collect(),
                        part,
                        sigma,
                    }));
                }
                Taken::Length(length) => {
                    if let Some(value) = length.of(&feature.attributes)? {
                        return Ok(Some(Lie::Level(Level {
                            value,
                            is_elevation,
                            part,
                            sigma,
                        })));
                    }
                }
            }
        }
        Ok(None)
    }

    /// Whether it says how deep or how high features lie.
    #[must_use]
    pub fn tells_level(&self) -> bool {
        !self.level.is_empty()
    }

    /// Whether that is to be seen from their shapes.
    #[must_use]
    pub fn looks_at_heights(&self) -> bool {
        let mut level = self.level.iter();
        level.any(|level| matches!(level.from, Taken::Shape(_)))
    }

    /// The columns of features that it names.
    pub fn columns(&self) -> impl Iterator<Item = &str> {
        let lengths = self
            .level
            .iter()
            .filter_map(|level| match &level.from {
                Taken::Length(length) => Some(length),
                Taken::Shape(_) => None,
            })
            .chain(&self.size);
        let columns = lengths.filter_map(|length| match length {
            Length::Column(column, _) => Some(column.as_str()),
            Length::Fixed(_) => None,
        });
        columns.chain(self.name_column.as_deref())
    }

    /// A feature's outside width, metres.
    pub fn size(&self, attributes: &BTreeMap<String, String>) -> Result<Option<f64>, String> {
        let size = self.size.as_ref();
        size.map_or(Ok(None), |length| length.of(attributes))
    }
}

/// The layers file, read; metres.
#[derive(Clone, Debug, PartialEq)]
pub struct Layers {
    said: Said,
    files: Vec<(String, Said)>,
    /// Distance within which a feature is reported.
    pub near: f64,
    /// Attribute that names the layer, in files without layers of their own.
    pub layer_column: Option<String>,
    rules: Vec<Rule>,
}

impl Default for Layers {
    fn default() -> Self {
        Self {
            said: Said::default(),
            files: Vec::new(),
            near: NEAR,
            layer_column: None,
            rules: Vec::new(),
        }
    }
}

impl Layers {
    /// Reads a layers file. `name` is its name for messages; plain numbers are in `unit`.
    ///
    /// # Errors
    /// What can't be read, with the line.
    pub fn parse(text: &str, name: &str, unit: LengthUnit) -> Result<Self, Error> {
        let written: LayersFile =
            toml::from_str(text).map_err(|why| toml_wrong(name, text, &why))?;
        Self::resolve(&written, Plain::of(unit))
            .map_err(|why| Error::Usage(format!("{name}: {why}")))
    }

    fn resolve(written: &LayersFile, plain: Plain) -> Result<Self, String> {
        let near = written
            .near
            .as_ref()
            .map_or(Ok(NEAR), |cell| metres(cell, plain, "near"))?;
        let files = written.file.iter().map(|file| {
            let said = said(file.crs.as_deref(), file.unit.as_deref())?;
            Ok((file.name.clone(), said))
        });
        Ok(Self {
            said: said(written.crs.as_deref(), written.unit.as_deref())?,
            files: files.collect::<Result<_, String>>()?,
            near,
            layer_column: written.layer_column.clone(),
            rules: written
                .layer
                .iter()
                .map(|layer| {
                    rule(layer, plain).map_err(|why| format!("layer \"{}\": {why}", layer.name))
                })
                .collect::<Result<_, String>>()?,
        })
    }

    /// JSON Schema of the file.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(LayersFile).to_value()
    }

    /// What is said of a layer.
    #[must_use]
    pub fn rule(&self, layer: &str) -> Option<&Rule> {
        self.rules.iter().find(|rule| fits(&rule.pattern, layer))
    }

    /// What is said of a file that beats what it says itself.
    #[must_use]
    pub fn beats(&self, file: &str) -> Option<&Said> {
        self.files
            .iter()
            .find(|(name, _)| name == file)
            .map(|(_, said)| said)
    }

    /// What is said of files that say nothing themselves.
    #[must_use]
    pub fn otherwise(&self) -> &Said {
        &self.said
    }

    /// Patterns that fit none of the layers: most likely misspelt.
    #[must_use]
    pub fn idle(&self, layers: &[&str]) -> Vec<&str> {
        let patterns = self.rules.iter().map(|rule| rule.pattern.as_str());
        patterns
            .filter(|pattern| !layers.iter().any(|layer| fits(pattern, layer)))
            .collect()
    }
}

fn said(crs: Option<&str>, unit: Option<&str>) -> Result<Said, String> {
    let unit = unit.map(|word| {
        let known = PLAN_UNITS
            .iter()
            .find(|unit| unit.word == word.trim().to_lowercase());
        known.copied().ok_or_else(|| {
            let words: Vec<&str> = PLAN_UNITS.iter().map(|unit| unit.word).collect();
            format!(
                "unit \"{word}\" is not known: write one of {}",
                words.join(", ")
            )
        })
    });
    Ok(Said {
        crs: crs.map(|code| code.trim().to_owned()),
        unit: unit.transpose()?,
    })
}

fn metres(cell: &Cell, plain: Plain, key: &str) -> Result<f64, String> {
    let metres = match cell {
        Cell::Number(number) if number.is_finite() => number * plain.metres,
        Cell::Number(number) => return Err(format!("`{key}`: {number} is no length")),
        Cell::Text(text) => parse_length(text, plain)
            .map_err(|why| format!("`{key}`: \"{text}\" is no length: {why}"))?,
    };
    Ok(metres)
}

fn distance(cell: Option<&Cell>, plain: Plain, key: &str) -> Result<Option<f64>, String> {
    let Some(cell) = cell else { return Ok(None) };
    match metres(cell, plain, key)? {
        negative if negative < 0.0 => Err(format!("`{key}` is negative")),
        metres => Ok(Some(metres)),
    }
}

fn rule(layer: &LayerTable, plain: Plain) -> Result<Rule, String> {
    let mut level = Vec::new();
    for (figure, is_elevation, key) in [
        (&layer.elevation, true, "elevation"),
        (&layer.depth, false, "depth"),
    ] {
        if let Some(figure) = figure {
            let (from, part, sigma) = figure_rule(figure, plain, key)?;
            level.push(LevelRule {
                from,
                is_elevation,
                part,
                sigma,
            });
        }
    }
    let size = layer
        .size
        .as_ref()
        .map(|figure| match figure_rule(figure, plain, "size")? {
            (Taken::Length(length), _, _) => Ok(length),
            (Taken::Shape(_), _, _) => Err(no_heights("size")),
        })
        .transpose()?;
    let required = layer.required.as_ref().map(|table| {
        Ok::<_, String>(Arc::new(Required {
            horizontal: distance(table.horizontal.as_ref(), plain, "required.horizontal")?,
            vertical: distance(table.vertical.as_ref(), plain, "required.vertical")?,
            source: table.source.clone(),
        }))
    });
    Ok(Rule {
        pattern: layer.name.clone(),
        role: layer.role,
        used: layer.used,
        kind: layer.kind.clone(),
        name_column: layer.name_column.clone(),
        level,
        size,
        sigma: distance(layer.sigma.as_ref(), plain, "sigma")?.unwrap_or(0.0),
        near: distance(layer.near.as_ref(), plain, "near")?,
        required: required.transpose()?,
    })
}

/// A figure that is the same for every feature of a layer.
fn fixed(cell: &Cell, plain: Plain, key: &str) -> Result<f64, String> {
    let metres = metres(cell, plain, key)?;
    match no_depth(metres).filter(|_| key == "depth") {
        Some(why) => Err(format!("`depth`: {why}")),
        None => Ok(metres),
    }
}

/// Why a length, metres, is no depth of a utility.
fn no_depth(metres: f64) -> Option<&'static str> {
    if metres <= 0.0 {
        Some("a depth counts downwards from the ground, so it is more than 0 and has no minus")
    } else if metres > DEEPEST {
        Some("that is deeper than any utility in a trench")
    } else {
        None
    }
}

/// Whether a height lies farther from all between the lowest and the highest of a site's than anything that is met there; metres.
#[must_use]
pub fn is_far(height: f64, [low, high]: [f64; 2]) -> bool {
    height < low - DEEPEST || height > high + DEEPEST
}

/// Metres; wider than any utility (our choice): a figure beyond it is in another unit.
const WIDEST: f64 = 10.0;

/// Why a width, metres, can't be one, and is a word for "not known".
#[must_use]
pub fn no_size(metres: f64) -> Option<String> {
    let why = if metres <= 0.0 {
        "a width is more than 0"
    } else if metres > WIDEST {
        "no utility is so wide: look at its unit"
    } else {
        return None;
    };
    Some(format!("its size is {metres:.3} m: {why}"))
}

fn no_heights(key: &str) -> String {
    format!(
        "`{key}.drawn`: what a shape is drawn with is its elevation; write `elevation = {{ drawn = true }}`"
    )
}

fn figure_rule(figure: &Figure, plain: Plain, key: &str) -> Result<(Taken, Part, f64), String> {
    let table = match figure {
        Figure::Fixed(cell) => {
            let length = Length::Fixed(fixed(cell, plain, key)?);
            return Ok((Taken::Length(length), Part::Top, 0.0));
        }
        Figure::Table(table) => table,
    };
    let own = match &table.unit {
        Some(word) => plain
            .named(word)
            .ok_or_else(|| format!("`{key}.unit`: \"{word}\" is no unit"))?,
        None => plain,
    };
    let from = match (&table.column, &table.value, table.drawn) {
        (Some(column), None, false) => Taken::Length(Length::Column(column.clone(), own)),
        (None, Some(cell), false) => Taken::Length(Length::Fixed(fixed(cell, own, key)?)),
        (None, None, true) if key == "elevation" => {
            Taken::Shape(table.unit.is_some().then_some(own.metres))
        }
        (None, None, true) => return Err(no_heights(key)),
        _ => {
            return Err(format!(
                "`{key}` needs one of `column`, `value` and, for elevations, `drawn`"
            ));
        }
    };
    let sigma = distance(table.sigma.as_ref(), own, "sigma")?.unwrap_or(0.0);
    Ok((from, table.to, sigma))
}

/// Whether a name fits a pattern in which `*` stands for anything; letter case does not count.
fn fits(pattern: &str, name: &str) -> bool {
    let (pattern, name) = (pattern.to_lowercase(), name.to_lowercase());
    let mut parts = pattern.split('*');
    let Some(mut rest) = name.strip_prefix(parts.next().unwrap_or_default()) else {
        return false;
    };
    let parts: Vec<&str> = parts.collect();
    let Some((last, middle)) = parts.split_last() else {
        return rest.is_empty();
    };
    for part in middle {
        let Some(at) = rest.find(part) else {
            return false;
        };
        rest = rest.get(at + part.len()..).unwrap_or_default();
    }
    rest.ends_with(last)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_star_stands_for_anything() {
        for (pattern, name, yes) in [
            ("WATER*", "water_main", true),
            ("*", "", true),
            ("*main", "Gas Main", true),
            ("a*b*c", "a1b2c", true),
            ("a*b*c", "a1c2b", false),
            ("ab*ba", "aba", false),
            ("lot", "lots", false),
            ("Größe*", "GRÖSSE", false),
        ] {
            assert_eq!(fits(pattern, name), yes, "{pattern} {name}");
        }
    }

    #[test]
    fn figures_come_from_columns_in_their_own_unit() {
        let text = r#"
            near = 20
            [[layer]]
            name = "W*"
            role = "utility"
            depth = { column = "D", unit = "in", to = "axis", sigma = 2 }
            size = { value = 8, unit = "in" }
            required = { horizontal = "10 ft", vertical = "18 in", source = "s" }
        "#;
        let layers = Layers::parse(text, "l.toml", LengthUnit::Foot).unwrap();
        assert!((layers.near - 6.096).abs() < 1e-12);
        let rule = layers.rule("water").unwrap();
        let feature = |depth: &str| RawFeature {
            number: 1,
            id: None,
            geometry: geo::Point::new(0.0, 0.0).into(),
            heights: Vec::new(),
            attributes: BTreeMap::from([("D".to_owned(), depth.to_owned())]),
        };
        let Some(Lie::Level(level)) = rule.lie(&feature("48"), 1.0).unwrap() else {
            panic!("no level")
        };
        assert!((level.value - 1.2192).abs() < 1e-12 && (level.sigma - 0.0508).abs() < 1e-12);
        assert_eq!((level.part, level.is_elevation), (Part::Axis, false));
        assert!((rule.size(&feature("48").attributes).unwrap().unwrap() - 0.2032).abs() < 1e-12);
        let required = rule.required.as_ref().unwrap();
        assert!((required.vertical.unwrap() - 0.4572).abs() < 1e-12);
        assert!(
            rule.lie(&feature("deep"), 1.0)
                .unwrap_err()
                .contains("\"deep\"")
        );
        assert!(layers.rule("gas").is_none() && layers.idle(&["gas"]) == ["W*"]);
    }

    #[test]
    fn what_cannot_be_read_is_named() {
        for (text, says) in [
            ("layer = 3", "layer"),
            ("[[layer]]\nname = 'a'\nrole = 'pond'", "pond"),
            ("[[layer]]\nname = 'a'\ncolour = 'red'", "colour"),
            ("unit = 'furlong'", "furlong"),
            ("near = 'far'", "far"),
            ("near = nan", "no length"),
            ("[[layer]]\nname='a'\nsigma = -1", "negative"),
            ("[[layer]]\nname='a'\ndepth = { to = 'top' }", "one of"),
            (
                "[[layer]]\nname='a'\nelevation = { drawn = true, column = 'Z' }",
                "one of",
            ),
            (
                "[[layer]]\nname='a'\ndepth = { drawn = true }",
                "elevation = { drawn = true }",
            ),
            (
                "[[layer]]\nname='a'\nsize = { drawn = true }",
                "elevation = { drawn = true }",
            ),
            ("[[layer]]\nname='a'\ndepth = { colum = 'D' }", "`colum`"),
            ("[[layer]]\nname='a'\ndepth = { to = 'lid' }", "`lid`"),
            (
                "[[layer]]\nname='a'\ndepth = true",
                "expected a length such as 0.3",
            ),
            ("near = { column = 'D' }", "expected a length such as 0.3"),
        ] {
            let error = Layers::parse(text, "l.toml", LengthUnit::Metre)
                .unwrap_err()
                .to_string();
            assert!(
                error.contains(says) && error.contains("l.toml"),
                "{text}: {error}"
            );
        }
    }

    #[test]
    fn the_example_of_the_head_comment_reads_and_fits_the_schema() {
        let example: String = include_str!("layers.rs")
            .lines()
            .skip_while(|line| !line.contains("```toml"))
            .skip(1)
            .take_while(|line| !line.contains("```"))
            .map(|line| format!("{}\n", line.trim_start_matches("//!")))
            .collect();
        let layers = Layers::parse(&example, "l.toml", LengthUnit::Foot).unwrap();
        assert!(
            layers.rule("Water main").is_some() && layers.beats("old-survey.geojson").is_some()
        );
        let validator = jsonschema::validator_for(&Layers::schema()).unwrap();
        let document: serde_json::Value = toml::from_str(&example).unwrap();
        assert!(validator.is_valid(&document));
        assert!(
            !validator.is_valid(&serde_json::json!({"layer": [{"name": "a", "colour": "red"}]}))
        );
    }
}
