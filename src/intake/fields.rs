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
//! transmitter_depth = "DEPTH_FT"
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
//! unit = "ft"                # left out: that of the coordinate system
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

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;

use crate::crs::Crs;
use crate::error::{Error, toml_wrong};
use crate::limits::Limits;
use crate::units::{FOOT, LengthUnit, Plain, parse_length};

/// Names of ours that a plain delivery can have, with what they are. Lengths can be in a unit of their own.
pub const NAMES: &[(&str, &str)] = &[
    ("supplier", "who made it"),
    ("job", "job; supplier and job are a delivery's identity"),
    ("run", "run of the job; 1 if there is no such column"),
    (
        "mark",
        "name of the mark; the row's number if there is none",
    ),
    (
        "order",
        "number by which the marks of a run follow each other, downstream; as they stand if there is none",
    ),
    (
        "easting",
        "easting of the mark, in the coordinate system's unit; in maps the shape gives it",
    ),
    (
        "northing",
        "northing of the mark, in the coordinate system's unit; in maps the shape gives it",
    ),
    ("ground", "elevation of the ground"),
    (
        DEPTH,
        "ground to the transmitter's axis; `depth` is the same",
    ),
    ("cover", "ground to the outside top of the pipe"),
    ("invert", "elevation of the invert"),
    (
        "horizontal_95",
        "radius of the circle that holds the place with 95 %",
    ),
    ("depth_95", "95 % bound of the depth"),
    ("invert_95", "95 % bound of the invert"),
    ("diameter", "inside diameter of the run"),
    ("wall", "wall of the run's pipe"),
    ("material", "material of the run"),
    ("system", "what flows in it"),
    ("located_on", "date of locating, YYYY-MM-DD"),
    (
        "fitting",
        "what is there, such as a cleanout; looked for, and not kept",
    ),
    ("revision", "revision of the job, a whole number"),
];

const DEPTH: &str = "transmitter_depth";

/// Our name for a name in a field file: `depth` is what `transmitter_depth` was called here at first.
fn ours(name: &str) -> Result<&'static str, String> {
    let name = if name == "depth" { DEPTH } else { name };
    let known = NAMES.iter().find(|(known, _)| *known == name);
    known.map(|(known, _)| *known).ok_or_else(|| {
        let all: Vec<&str> = NAMES.iter().map(|(known, _)| *known).collect();
        format!("`{name}` is none of our names: {}", all.join(", "))
    })
}

/// How far a lateral's end may lie from the main beside its bound where nothing is said, metres (our choice: half a main and the last
/// stretch that a transmitter is not pushed).
const REACH: f64 = 6.0 * FOOT;

#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
struct Written {
    delivery: DeliveryTable,
    /// Columns of plain deliveries: our name = theirs. A column that is named must be there; one of our names that stands nowhere here
    /// is read where a column has just that name.
    #[schemars(schema_with = "columns_schema")]
    fields: BTreeMap<String, String>,
    /// Units of columns that are not in the delivery's: our name = m, cm, mm, ft, in or us-ft.
    #[schemars(schema_with = "columns_schema")]
    units: BTreeMap<String, String>,
    require: RequireTable,
    mains: MainsTable,
}

fn columns_schema(_: &mut SchemaGenerator) -> Schema {
    let one = |(name, meaning): &(&str, &str)| {
        let schema = serde_json::json!({"type": "string", "description": meaning});
        ((*name).to_owned(), schema)
    };
    let mut all: serde_json::Map<_, _> = NAMES.iter().map(one).collect();
    all.extend([one(&("depth", "the same as `transmitter_depth`"))]);
    json_schema!({"type": "object", "properties": all, "additionalProperties": false})
}

fn names_schema(_: &mut SchemaGenerator) -> Schema {
    let names = NAMES.iter().map(|(name, _)| *name);
    let names: Vec<&str> = names.chain(["depth"]).collect();
    json_schema!({"type": "array", "items": {"enum": names}})
}

/// What plain deliveries don't say themselves.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct DeliveryTable {
    /// Coordinate system of deliveries that don't name one, such as EPSG:2264.
    pub crs: Option<String>,
    /// Unit of lengths without one in plain deliveries and under `[require]`, and unit of the report: m, ft or us-ft. Left out, it is
    /// that of the delivery's coordinate system, and for the report and `[require]` that of the mains.
    pub unit: Option<String>,
    /// Height datum of their elevations, such as NAVD88.
    pub vertical: Option<String>,
    /// Supplier, where no column names it.
    pub supplier: Option<String>,
}

/// What is asked of every delivery, plain or not.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
struct RequireTable {
    /// Names of ours that every run must have a value of, at each mark if they belong to marks.
    #[schemars(schema_with = "names_schema")]
    fields: Vec<String>,
    /// Widest 95 % radius of a place, such as "3 ft".
    horizontal_95: Option<String>,
    /// Widest 95 % bound of an invert.
    invert_95: Option<String>,
    /// Deepest plausible pipe [default: 9 m].
    max_depth: Option<String>,
}

/// The way in which the lines of the mains are drawn.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
enum Drawn {
    /// From the upstream manhole to the downstream one.
    #[default]
    Downstream,
    /// From the downstream manhole to the upstream one.
    Upstream,
}

/// How the map of the mains is to be read: one line a main. A column that is named here must be there.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
struct MainsTable {
    /// Coordinate system of a map that does not name its own; a map in longitude and latitude is brought to it.
    crs: Option<String>,
    /// Column: name of the main [default: the map's own identifier, or the main's number].
    id: Option<String>,
    /// Column: manhole at its upstream end.
    upstream_manhole: Option<String>,
    /// Column: manhole at its downstream end, from which the stations of taps are counted.
    downstream_manhole: Option<String>,
    /// Column: invert at the upstream manhole.
    upstream_invert: Option<String>,
    /// Column: invert at the downstream manhole.
    downstream_invert: Option<String>,
    /// Column: inside diameter.
    diameter: Option<String>,
    /// Unit of diameters without one: m, cm, mm, ft, in or us-ft [default: `unit`].
    diameter_unit: Option<String>,
    /// Unit of inverts, and of lengths in this table, without one: m, ft or us-ft [default: that of the mains' coordinate system].
    unit: Option<String>,
    /// The way in which the lines are drawn [default: downstream].
    drawn: Drawn,
    /// Height datum of the inverts; deliveries with inverts must be in it.
    vertical: Option<String>,
    /// One-sigma of the lines' places, each axis [default: 0].
    sigma: Option<String>,
    /// One-sigma of the inverts [default: 0].
    invert_sigma: Option<String>,
    /// How far a lateral's end may lie from the main beside its own bound [default: 6 ft].
    reach: Option<String>,
}

/// What is asked of a delivery; metres.
#[derive(Clone, Debug, PartialEq)]
pub struct Require {
    /// Fields that every run must have.
    pub fields: Vec<&'static str>,
    /// Widest 95 % radius of a place.
    pub horizontal_95: Option<f64>,
    /// Widest 95 % bound of an invert.
    pub invert_95: Option<f64>,
    /// Deepest plausible pipe.
    pub max_depth: f64,
    /// Unit of messages and of the report.
    pub unit: LengthUnit,
}

/// How the mains' file is to be read; metres.
#[derive(Clone, Debug, PartialEq)]
pub struct MainFields {
    /// Attribute: name of the main.
    pub id: Option<String>,
    /// Attributes: manholes, upstream and downstream.
    pub manholes: [Option<String>; 2],
    /// Attributes: inverts at the manholes, upstream and downstream.
    pub inverts: [Option<String>; 2],
    /// Attribute: inside diameter, and how its plain numbers are to be taken.
    pub diameter: (Option<String>, Plain),
    /// Unit of plain inverts.
    pub unit: LengthUnit,
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

/// The field file, read. Lengths in it wait for the unit of the mains, which may be that of their coordinate system.
#[derive(Clone, Debug, PartialEq)]
pub struct Fields {
    /// Name of the file, for messages.
    file: String,
    /// What plain deliveries don't say.
    pub delivery: DeliveryTable,
    unit: Option<LengthUnit>,
    /// Columns of plain deliveries, by our name.
    columns: BTreeMap<&'static str, String>,
    units: BTreeMap<&'static str, String>,
    require: RequireTable,
    mains: MainsTable,
}

impl Fields {
    /// Reads a field file. `name` is its name for messages.
    ///
    /// # Errors
    /// What can't be read.
    pub fn parse(text: &str, name: &str) -> Result<Self, Error> {
        let written: Written = toml::from_str(text).map_err(|why| toml_wrong(name, text, &why))?;
        Self::resolve(written, name).map_err(|why| Error::Usage(format!("{name}: {why}")))
    }

    /// JSON Schema of the file.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        schemars::schema_for!(Written).to_value()
    }

    fn resolve(written: Written, name: &str) -> Result<Self, String> {
        let unit = written.delivery.unit.as_deref().map(unit).transpose()?;
        for word in written.units.values() {
            if Plain::of(LengthUnit::Metre).named(word).is_none() {
                return Err(format!("unit \"{word}\" is not known"));
            }
        }
        for name in &written.require.fields {
            ours(name)?;
        }
        Ok(Self {
            file: name.to_owned(),
            unit,
            columns: by_name(written.fields)?,
            units: by_name(written.units)?,
            require: written.require,
            mains: written.mains,
            delivery: written.delivery,
        })
    }

    /// What is asked of a delivery; where the field file names no unit, lengths are in that of the mains.
    ///
    /// # Errors
    /// A name that is none of ours, a length that is none.
    pub fn require(&self, mains: &MainFields) -> Result<Require, Error> {
        let (written, unit) = (&self.require, self.unit.unwrap_or(mains.unit));
        let names = written.fields.iter().map(|name| ours(name));
        let read = || -> Result<Require, String> {
            let length = |text: &Option<String>, key| length(text.as_ref(), Plain::of(unit), key);
            Ok(Require {
                fields: names.collect::<Result<_, _>>()?,
                horizontal_95: length(&written.horizontal_95, "require.horizontal_95")?,
                invert_95: length(&written.invert_95, "require.invert_95")?,
                max_depth: length(&written.max_depth, "require.max_depth")?
                    .unwrap_or(Limits::default().max_depth),
                unit,
            })
        };
        read().map_err(|why| self.wrong(&why))
    }

    /// The coordinate system that is named for the mains.
    #[must_use]
    pub fn mains_crs(&self) -> Option<&str> {
        self.mains.crs.as_deref()
    }

    /// How the mains are to be read whose coordinate system is `crs`.
    ///
    /// # Errors
    /// A unit that is not known, a length that is none.
    pub fn mains(&self, crs: &Crs) -> Result<MainFields, Error> {
        mains(&self.mains, crs).map_err(|why| self.wrong(&why))
    }

    /// Unit of a plain delivery in a coordinate system.
    ///
    /// # Errors
    /// The field file names none, and the coordinate system has one that no length can be in.
    pub fn delivered_in(&self, crs: &Crs) -> Result<LengthUnit, String> {
        self.unit.map_or_else(|| unit_of(crs, "[delivery]"), Ok)
    }

    /// The columns that are named, each with our name.
    pub fn columns(&self) -> impl Iterator<Item = (&'static str, &str)> {
        self.columns
            .iter()
            .map(|(name, column)| (*name, column.as_str()))
    }

    /// Every column that is looked for, named or by our own name.
    pub fn looked_for(&self) -> impl Iterator<Item = &str> {
        let ours = NAMES.iter().map(|(name, _)| *name);
        let own = ours.filter(|name| !self.columns.contains_key(name));
        self.columns().map(|(_, column)| column).chain(own)
    }

    /// The text that a delivery has for one of our names.
    #[must_use]
    pub fn text<'a>(
        &self,
        attributes: &'a BTreeMap<String, String>,
        name: &str,
    ) -> Option<&'a str> {
        let cell = match self.columns.get(name) {
            Some(column) => attributes.get(column),
            None if name == DEPTH => attributes.get(DEPTH).or_else(|| attributes.get("depth")),
            None => attributes.get(name),
        };
        cell.map(|text| text.trim()).filter(|text| !text.is_empty())
    }

    /// The length, metres, that a delivery has for one of our names; `plain` is how its plain numbers are to be taken.
    pub fn length(
        &self,
        attributes: &BTreeMap<String, String>,
        name: &str,
        plain: Plain,
    ) -> Result<Option<f64>, String> {
        let own = self.units.get(name).and_then(|word| plain.named(word));
        let length = self.text(attributes, name).map(|text| {
            parse_length(text, own.unwrap_or(plain))
                .map_err(|why| format!("`{name}`: \"{text}\" is no length: {why}"))
        });
        length.transpose()
    }

    fn wrong(&self, why: &str) -> Error {
        Error::Usage(format!("{}: {why}", self.file))
    }
}

/// What is said of names, each of ours once.
fn by_name(written: BTreeMap<String, String>) -> Result<BTreeMap<&'static str, String>, String> {
    let mut all = BTreeMap::new();
    for (name, text) in written {
        let name = ours(&name)?;
        if all.insert(name, text).is_some() {
            return Err(format!("`{name}` is named twice"));
        }
    }
    Ok(all)
}

fn unit(word: &str) -> Result<LengthUnit, String> {
    LengthUnit::from_word(word)
        .ok_or_else(|| format!("unit \"{word}\" is not known: m, ft or us-ft"))
}

/// The unit of a coordinate system, if a length can be in it.
fn unit_of(crs: &Crs, table: &str) -> Result<LengthUnit, String> {
    let all = [
        LengthUnit::Metre,
        LengthUnit::Foot,
        LengthUnit::UsSurveyFoot,
    ];
    let same = |unit: &LengthUnit| (crs.unit_metres() / unit.metres() - 1.0).abs() < 1e-9;
    all.into_iter().find(same).ok_or_else(|| {
        format!(
            "the unit of {} is {}: give `unit` under {table} in the field file (m, ft or us-ft)",
            crs.code(),
            crs.unit_name()
        )
    })
}

fn length(text: Option<&String>, plain: Plain, key: &str) -> Result<Option<f64>, String> {
    let length = text.map(|text| {
        parse_length(text, plain).map_err(|why| format!("`{key}`: \"{text}\" is no length: {why}"))
    });
    length.transpose()
}

fn mains(written: &MainsTable, crs: &Crs) -> Result<MainFields, String> {
    let unit = match &written.unit {
        None => unit_of(crs, "[mains]")?,
        Some(word) => unit(word).map_err(|why| format!("mains: {why}"))?,
    };
    let plain = Plain::of(unit);
    let diameter = match &written.diameter_unit {
        None => plain,
        Some(word) => plain
            .named(word)
            .ok_or_else(|| format!("mains: unit \"{word}\" is not known"))?,
    };
    let length = |text: &Option<String>, key| length(text.as_ref(), plain, key);
    Ok(MainFields {
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
        unit,
        downstream: written.drawn == Drawn::Downstream,
        vertical: written.vertical.clone(),
        sigma: length(&written.sigma, "mains.sigma")?.unwrap_or(0.0),
        invert_sigma: length(&written.invert_sigma, "mains.invert_sigma")?.unwrap_or(0.0),
        reach: length(&written.reach, "mains.reach")?.unwrap_or(REACH),
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

    fn feet() -> Crs {
        Crs::new("EPSG:2264", LengthUnit::Metre).unwrap()
    }

    #[test]
    fn the_example_of_the_head_comment_reads_and_fits_the_schema() {
        let fields = Fields::parse(&example(), "f.toml").unwrap();
        let attributes = BTreeMap::from([
            ("DIAM_IN".to_owned(), "4".to_owned()),
            ("X".to_owned(), " ".to_owned()),
        ]);
        let plain = Plain::of(fields.delivered_in(&feet()).unwrap());
        let length = |name: &str| fields.length(&attributes, name, plain).unwrap();
        assert!((length("diameter").unwrap() - 0.1016).abs() < 1e-12);
        assert_eq!(length("easting"), None);
        assert!((fields.mains(&feet()).unwrap().reach - 1.8288).abs() < 1e-12);
        let document: serde_json::Value = toml::from_str(&example()).unwrap();
        assert!(
            jsonschema::validator_for(&Fields::schema())
                .unwrap()
                .is_valid(&document)
        );
    }

    #[test]
    fn without_a_unit_lengths_are_in_that_of_the_coordinate_system() {
        let fields = Fields::parse("[mains]\nreach = '10'", "f.toml").unwrap();
        let mains = fields.mains(&feet()).unwrap();
        assert_eq!(mains.unit, LengthUnit::UsSurveyFoot);
        assert!((mains.reach - 12_000.0 / 3937.0).abs() < 1e-12);
        assert_eq!(
            fields.require(&mains).unwrap().unit,
            LengthUnit::UsSurveyFoot
        );
        assert_eq!(fields.delivered_in(&feet()), Ok(LengthUnit::UsSurveyFoot));
        // In links of 0.201168 m no length is written.
        let links = Crs::new("EPSG:3167", LengthUnit::Metre).unwrap();
        for why in [
            fields.mains(&links).unwrap_err().to_string(),
            fields.delivered_in(&links).unwrap_err(),
        ] {
            assert!(why.contains("EPSG:3167") && why.contains("`unit`"), "{why}");
        }
    }

    #[test]
    fn the_depth_has_the_name_of_the_results_and_its_first_one() {
        for name in ["depth", "transmitter_depth"] {
            let text = format!("[fields]\n{name} = 'D'\n[require]\nfields = ['{name}']");
            let fields = Fields::parse(&text, "f.toml").unwrap();
            let cells = BTreeMap::from([("D".to_owned(), "3".to_owned())]);
            assert_eq!(fields.text(&cells, DEPTH), Some("3"));
        }
        let twice = Fields::parse("[fields]\ndepth = 'D'\ntransmitter_depth = 'E'", "f.toml");
        assert!(twice.unwrap_err().to_string().contains("named twice"));
    }

    #[test]
    fn a_length_that_is_none_is_named() {
        let fields = Fields::parse("[require]\nhorizontal_95 = 'wide'", "f.toml").unwrap();
        let mains = fields.mains(&feet()).unwrap();
        let why = fields.require(&mains).unwrap_err().to_string();
        assert!(why.contains("wide") && why.contains("f.toml"), "{why}");
    }

    #[test]
    fn what_cannot_be_read_is_named() {
        for (text, says) in [
            ("[fields]\nlength = 'L'", "`length` is none of our names"),
            ("[delivery]\nunit = 'rod'", "rod"),
            ("[units]\ndiameter = 'rod'", "rod"),
            ("[require]\nfields = ['long']", "`long`"),
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
