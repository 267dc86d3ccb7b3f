//! The field file of an intake, in TOML: what plain deliveries call their columns, what is required, how the mains are described.
//!
//! ```toml
//! [delivery]                 # what plain deliveries don't say themselves
//! crs = "EPSG:2264"
//! unit = "ft"
//! vertical = "NAVD88"
//! supplier = "Northside Drains"
//!
//! [fields]                   # ours = "theirs"
//! job = "WORK_ORDER"
//! run = "LINE"
//! easting = "X"
//! northing = "Y"
//! depth = "DEPTH_FT"         # ground to transmitter axis
//! invert = "INV_EL"
//! invert_95 = "ACC_V"
//! horizontal_95 = "ACC_H"
//! diameter = "DIAM_IN"
//!
//! [units]                    # of columns that are not in the delivery's unit
//! diameter = "in"
//!
//! [require]
//! fields = ["diameter", "material"]
//! horizontal_95 = "3 ft"     # widest that is accepted
//! invert_95 = "1 ft"
//! max_depth = "30 ft"
//!
//! [mains]
//! crs = "EPSG:2264"          # where the map does not say it, or is in longitude and latitude: what it is brought to
//! id = "MAIN_ID"
//! upstream_manhole = "US_MH"
//! downstream_manhole = "DS_MH"
//! upstream_invert = "US_INV"
//! downstream_invert = "DS_INV"
//! diameter = "DIAM_IN"
//! diameter_unit = "in"
//! drawn = "downstream"       # the way in which the lines are drawn
//! vertical = "NAVD88"
//! reach = "6 ft"             # a lateral's end may lie this far from the main beside its own bound
//! ```

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Deserialize;

use crate::error::{Error, toml_wrong};
use crate::limits::Limits;
use crate::units::{FOOT, LengthUnit, Plain, parse_length};

/// Names of ours that a plain delivery can have.
pub const NAMES: &[&str] = &[
    "supplier",
    "job",
    "run",
    "mark",
    "order",
    "easting",
    "northing",
    "ground",
    "depth",
    "cover",
    "invert",
    "horizontal_95",
    "depth_95",
    "invert_95",
    "diameter",
    "wall",
    "material",
    "system",
    "located_on",
    "fitting",
    "revision",
];

/// How far a lateral's end may lie from the main beside its bound where nothing is said, metres (our choice: half a main and the last
/// stretch that a transmitter is not pushed).
const REACH: f64 = 6.0 * FOOT;

#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
struct Written {
    delivery: DeliveryTable,
    fields: BTreeMap<String, String>,
    units: BTreeMap<String, String>,
    require: RequireTable,
    mains: MainsTable,
}

/// What plain deliveries don't say themselves.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct DeliveryTable {
    /// Coordinate system.
    pub crs: Option<String>,
    /// Unit of lengths.
    pub unit: Option<String>,
    /// Height datum.
    pub vertical: Option<String>,
    /// Supplier.
    pub supplier: Option<String>,
}

#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
struct RequireTable {
    fields: Vec<String>,
    horizontal_95: Option<String>,
    invert_95: Option<String>,
    max_depth: Option<String>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
enum Drawn {
    #[default]
    Downstream,
    Upstream,
}

#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
struct MainsTable {
    crs: Option<String>,
    id: Option<String>,
    upstream_manhole: Option<String>,
    downstream_manhole: Option<String>,
    upstream_invert: Option<String>,
    downstream_invert: Option<String>,
    diameter: Option<String>,
    diameter_unit: Option<String>,
    unit: Option<String>,
    drawn: Drawn,
    vertical: Option<String>,
    sigma: Option<String>,
    invert_sigma: Option<String>,
    reach: Option<String>,
}

/// What is asked of a delivery; metres.
#[derive(Clone, Debug, PartialEq)]
pub struct Require {
    /// Fields that every run must have.
    pub fields: Vec<String>,
    /// Widest 95 % radius of a place.
    pub horizontal_95: Option<f64>,
    /// Widest 95 % bound of an invert.
    pub invert_95: Option<f64>,
    /// Deepest plausible pipe.
    pub max_depth: f64,
}

/// How the mains' file is to be read; metres.
#[derive(Clone, Debug, PartialEq)]
pub struct MainFields {
    /// Coordinate system, if the file does not name its own; a map in longitude and latitude is brought to it.
    pub crs: Option<String>,
    /// Attribute: name of the main.
    pub id: Option<String>,
    /// Attributes: manholes, upstream and downstream.
    pub manholes: [Option<String>; 2],
    /// Attributes: inverts at the manholes, upstream and downstream.
    pub inverts: [Option<String>; 2],
    /// Attribute: inside diameter, and how its plain numbers are to be taken.
    pub diameter: (Option<String>, Plain),
    /// How plain inverts are to be taken.
    pub plain: Plain,
    /// Lines are drawn in the direction of flow.
    pub downstream: bool,
    /// Height datum of the inverts.
    pub vertical: Option<String>,
    /// One-sigma of the lines, each axis.
    pub sigma: f64,
    /// One-sigma of the inverts.
    pub invert_sigma: f64,
    /// How far a lateral's end may lie from the main, beside its own bound.
    pub reach: f64,
}

impl MainFields {
    /// The columns that are named, each with the key that names it.
    pub fn columns(&self) -> impl Iterator<Item = (&'static str, &str)> {
        let [up, down] = &self.manholes;
        let [up_invert, down_invert] = &self.inverts;
        let all = [
            ("id", &self.id),
            ("upstream_manhole", up),
            ("downstream_manhole", down),
            ("upstream_invert", up_invert),
            ("downstream_invert", down_invert),
            ("diameter", &self.diameter.0),
        ];
        all.into_iter()
            .filter_map(|(key, column)| Some((key, column.as_deref()?)))
    }
}

/// The field file, read.
#[derive(Clone, Debug, PartialEq)]
pub struct Fields {
    /// What plain deliveries don't say.
    pub delivery: DeliveryTable,
    /// Unit of plain deliveries, and of the report.
    pub unit: LengthUnit,
    columns: BTreeMap<String, String>,
    units: BTreeMap<String, Plain>,
    /// What is required.
    pub require: Require,
    /// The mains' attributes.
    pub mains: MainFields,
}

impl Fields {
    /// Reads a field file. `name` is its name for messages.
    ///
    /// # Errors
    /// What can't be read.
    pub fn parse(text: &str, name: &str) -> Result<Self, Error> {
        let written: Written = toml::from_str(text).map_err(|why| toml_wrong(name, text, &why))?;
        Self::resolve(written).map_err(|why| Error::Usage(format!("{name}: {why}")))
    }

    /// JSON Schema of the file.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(Written).to_value()
    }

    fn resolve(written: Written) -> Result<Self, String> {
        let unit = match &written.delivery.unit {
            None => LengthUnit::Metre,
            Some(word) => LengthUnit::from_word(word)
                .ok_or_else(|| format!("unit \"{word}\" is not known: m, ft or us-ft"))?,
        };
        let ours = written
            .fields
            .keys()
            .chain(written.units.keys())
            .chain(&written.require.fields);
        for name in ours {
            if !NAMES.contains(&name.as_str()) {
                return Err(format!(
                    "`{name}` is none of our names: {}",
                    NAMES.join(", ")
                ));
            }
        }
        let plain = Plain::of(unit);
        let named = |word: &String| {
            plain
                .named(word)
                .ok_or_else(|| format!("unit \"{word}\" is not known"))
        };
        let units = written
            .units
            .iter()
            .map(|(name, word)| Ok((name.clone(), named(word)?)));
        let units: BTreeMap<_, _> = units.collect::<Result<_, String>>()?;
        let require = require(&written.require, plain)?;
        let mains = mains(&written.mains, unit)?;
        Ok(Self {
            delivery: written.delivery,
            unit,
            columns: written.fields,
            units,
            require,
            mains,
        })
    }

    /// The text that a delivery has for one of our names.
    #[must_use]
    pub fn text<'a>(
        &self,
        attributes: &'a BTreeMap<String, String>,
        name: &str,
    ) -> Option<&'a str> {
        let column = self.columns.get(name).map_or(name, String::as_str);
        attributes
            .get(column)
            .map(|text| text.trim())
            .filter(|text| !text.is_empty())
    }

    /// The length, metres, that a delivery has for one of our names.
    pub fn length(
        &self,
        attributes: &BTreeMap<String, String>,
        name: &str,
    ) -> Result<Option<f64>, String> {
        let plain = self
            .units
            .get(name)
            .copied()
            .unwrap_or(Plain::of(self.unit));
        let length = self.text(attributes, name).map(|text| {
            parse_length(text, plain)
                .map_err(|why| format!("`{name}`: \"{text}\" is no length: {why}"))
        });
        length.transpose()
    }
}

fn length(text: Option<&String>, plain: Plain, key: &str) -> Result<Option<f64>, String> {
    let length = text.map(|text| {
        parse_length(text, plain).map_err(|why| format!("`{key}`: \"{text}\" is no length: {why}"))
    });
    length.transpose()
}

fn require(written: &RequireTable, plain: Plain) -> Result<Require, String> {
    Ok(Require {
        fields: written.fields.clone(),
        horizontal_95: length(
            written.horizontal_95.as_ref(),
            plain,
            "require.horizontal_95",
        )?,
        invert_95: length(written.invert_95.as_ref(), plain, "require.invert_95")?,
        max_depth: length(written.max_depth.as_ref(), plain, "require.max_depth")?
            .unwrap_or(Limits::default().max_depth),
    })
}

fn mains(written: &MainsTable, unit: LengthUnit) -> Result<MainFields, String> {
    let unit = match &written.unit {
        None => unit,
        Some(word) => LengthUnit::from_word(word)
            .ok_or_else(|| format!("mains: unit \"{word}\" is not known"))?,
    };
    let plain = Plain::of(unit);
    let diameter = match &written.diameter_unit {
        None => plain,
        Some(word) => plain
            .named(word)
            .ok_or_else(|| format!("mains: unit \"{word}\" is not known"))?,
    };
    Ok(MainFields {
        crs: written.crs.clone(),
        id: written.id.clone(),
        manholes: [
            written.upstream_manhole.clone(),
            written.downstream_manhole.clone(),
        ],
        inverts: [
            written.upstream_invert.clone(),
            written.downstream_invert.clone(),
        ],
        diameter: (written.diameter.clone(), diameter),
        plain,
        downstream: written.drawn == Drawn::Downstream,
        vertical: written.vertical.clone(),
        sigma: length(written.sigma.as_ref(), plain, "mains.sigma")?.unwrap_or(0.0),
        invert_sigma: length(written.invert_sigma.as_ref(), plain, "mains.invert_sigma")?
            .unwrap_or(0.0),
        reach: length(written.reach.as_ref(), plain, "mains.reach")?.unwrap_or(REACH),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn example() -> String {
        let lines = include_str!("fields.rs")
            .lines()
            .skip_while(|line| !line.contains("```toml"))
            .skip(1);
        lines
            .take_while(|line| !line.contains("```"))
            .map(|line| format!("{}\n", line.trim_start_matches("//!")))
            .collect()
    }

    #[test]
    fn the_example_of_the_head_comment_reads_and_fits_the_schema() {
        let fields = Fields::parse(&example(), "f.toml").unwrap();
        let attributes = BTreeMap::from([
            ("DIAM_IN".to_owned(), "4".to_owned()),
            ("X".to_owned(), " ".to_owned()),
        ]);
        assert!((fields.length(&attributes, "diameter").unwrap().unwrap() - 0.1016).abs() < 1e-12);
        assert_eq!(fields.length(&attributes, "easting"), Ok(None));
        assert!((fields.mains.reach - 1.8288).abs() < 1e-12);
        let document: serde_json::Value = toml::from_str(&example()).unwrap();
        assert!(
            jsonschema::validator_for(&Fields::schema())
                .unwrap()
                .is_valid(&document)
        );
    }

    #[test]
    fn what_cannot_be_read_is_named() {
        for (text, says) in [
            ("[fields]\nlength = 'L'", "`length` is none of our names"),
            ("[delivery]\nunit = 'rod'", "rod"),
            ("[units]\ndiameter = 'rod'", "rod"),
            ("[require]\nhorizontal_95 = 'wide'", "wide"),
            ("[mains]\ndrawn = 'up'", "drawn"),
            ("[main]\n", "main"),
        ] {
            let error = Fields::parse(text, "f.toml").unwrap_err().to_string();
            assert!(
                error.contains(says) && error.contains("f.toml"),
                "{text}: {error}"
            );
        }
    }
}
