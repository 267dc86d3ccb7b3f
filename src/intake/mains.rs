//! The map of the mains: which one a lateral meets, where along it, and how high above its invert.

use std::collections::BTreeSet;
use std::path::Path;

use geo::{Coord, CoordsIter, Geometry, Rect};

use super::blanks;
use super::fields::{Fields, MainFields};
use super::lateral::{Lateral, Spot};
use crate::crs::{Crs, CrsError, Datum, GEOGRAPHIC, shift_sigma};
use crate::error::Error;
use crate::job::near;
use crate::maps::{self, RawFeature, RawPlan, System};
use crate::math::stats::NORMAL_95;
use crate::plan::Site;
use crate::units::{LengthUnit, Plain, parse_length};

/// A main; metres on the mains' grid.
#[derive(Clone, Debug)]
pub struct Main {
    /// Its name.
    pub id: String,
    /// In the direction of flow.
    pub line: Vec<Coord<f64>>,
    /// Length in plan.
    pub length: f64,
    /// Manholes, upstream and downstream.
    pub manholes: [Option<String>; 2],
    /// Inverts at the manholes, upstream and downstream.
    pub inverts: [Option<f64>; 2],
    /// Inside diameter.
    pub diameter: Option<f64>,
}

/// The map of the mains.
#[derive(Clone, Debug)]
pub struct Mains {
    /// Its coordinate system.
    pub crs: Crs,
    /// Mains.
    pub mains: Vec<Main>,
    /// What they span.
    pub extent: Rect<f64>,
    /// How they were read.
    pub fields: MainFields,
    /// What of them counts as not known, one sentence or more each.
    pub notes: Vec<String>,
}

/// Where a lateral meets a main; metres.
#[derive(Clone, Debug, PartialEq)]
pub struct Tap {
    /// Run.
    pub run: String,
    /// Main.
    pub main: String,
    /// Along the main from its downstream manhole.
    pub station: f64,
    /// That manhole.
    pub from: Option<String>,
    /// From the lateral's end to the main's line.
    pub distance: f64,
    /// Its 95 % bound.
    pub distance_95: f64,
    /// The lateral's invert at its end above the main's there.
    pub above: Option<f64>,
    /// Its 95 % bound.
    pub above_95: Option<f64>,
    /// The main's inside diameter.
    pub diameter: Option<f64>,
    /// Another main that is as near, the bounds considered.
    pub or: Option<String>,
}

/// A place projected onto a main.
struct Foot<'a> {
    main: &'a Main,
    /// From its upstream end.
    along: f64,
    distance: f64,
    /// From the main to the place.
    direction: Coord<f64>,
}

impl Mains {
    /// Reads a map of mains; one in longitude and latitude is brought to the projected system that the field file names.
    ///
    /// # Errors
    /// A file that can't be read, has no line or no coordinate system, or is in longitude and latitude where the field file names no
    /// projected one; an invert that is no length.
    pub fn read(path: &Path, fields: &Fields) -> Result<Self, Error> {
        let raw = maps::file(path, None)?;
        let broken = |why: String| Error::Read {
            path: path.to_owned(),
            why,
        };
        let own = raw.layers.iter().find_map(|layer| match &layer.system {
            System::Code(code) => Some(code.as_str()),
            _ => None,
        });
        let (crs, from) = systems(own, fields).map_err(broken)?;
        let said = fields.mains(&crs)?;
        missing(&raw, &said).map_or(Ok(()), |why| Err(broken(why)))?;
        let features = raw.layers.iter().flat_map(|layer| &layer.features);
        let lines = features.filter_map(|feature| Some((feature, line(feature).transpose()?)));
        let mut sigma = said.sigma;
        let mains = lines.map(|(feature, line)| {
            let line = match &from {
                None => line?
                    .into_iter()
                    .map(|place| place * crs.unit_metres())
                    .collect(),
                Some(from) => {
                    let (line, shift) = carried(&line?, from, &crs)
                        .map_err(|why| format!("main number {}: {why}", feature.number))?;
                    sigma = sigma.max(said.sigma.hypot(shift));
                    line
                }
            };
            main(feature, line, &said)
        });
        let mut mains: Vec<Main> = mains.collect::<Result<_, _>>().map_err(broken)?;
        let notes = blanks::take(&mut mains, said.unit);
        let places = mains.iter().flat_map(|main| &main.line);
        let extent =
            bounds(places).ok_or_else(|| broken("the map of the mains has no line".to_owned()))?;
        Ok(Self {
            crs,
            mains,
            extent,
            fields: MainFields { sigma, ..said },
            notes,
        })
    }

    /// The mains as the site that figures are tried against.
    #[must_use]
    pub fn site(&self) -> Site {
        Site {
            crs: Some(self.crs.clone()),
            code: self.crs.code().to_owned(),
            unit_metres: self.crs.unit_metres(),
            given: None,
            extent: self.extent,
            levels: None,
        }
    }

    /// The taps of laterals: each one's downstream end on the nearest main in reach.
    #[must_use]
    pub fn taps(&self, laterals: &[Lateral]) -> Vec<Tap> {
        let own = laterals.iter().filter(|lateral| !lateral.joins);
        own.filter_map(|lateral| self.tap(&lateral.run, lateral.spots.last()?))
            .collect()
    }

    /// The main that an end meets.
    #[must_use]
    pub fn tap(&self, run: &str, end: &Spot) -> Option<Tap> {
        let mut feet: Vec<Foot<'_>> = self
            .mains
            .iter()
            .filter_map(|main| foot(main, end.at))
            .collect();
        feet.sort_by(|a, b| a.distance.total_cmp(&b.distance));
        let bound =
            |foot: &Foot<'_>| NORMAL_95 * end.sigma(foot.direction).hypot(self.fields.sigma);
        let first = feet
            .first()
            .filter(|foot| foot.distance <= self.fields.reach + bound(foot))?;
        let next = feet
            .get(1)
            .filter(|next| next.distance - first.distance <= bound(first).max(bound(next)));
        let main = first.main;
        let part = if main.length > 0.0 {
            first.along / main.length
        } else {
            0.0
        };
        let invert = main.inverts[0]
            .zip(main.inverts[1])
            .map(|(up, down)| up + part * (down - up));
        let sigma = end
            .invert
            .and_then(|invert| invert.variance)
            .map(|variance| variance.sqrt().hypot(self.fields.invert_sigma));
        let above = end.invert.zip(invert).map(|(own, main)| own.value - main);
        Some(Tap {
            run: run.to_owned(),
            main: main.id.clone(),
            station: main.length - first.along,
            from: main.manholes[1].clone(),
            distance: first.distance,
            distance_95: bound(first),
            above,
            above_95: above.and(sigma).map(|sigma| NORMAL_95 * sigma),
            diameter: main.diameter,
            or: next.map(|next| next.main.id.clone()),
        })
    }
}

fn bounds<'a>(mut places: impl Iterator<Item = &'a Coord<f64>>) -> Option<Rect<f64>> {
    let first = places.next()?;
    Some(places.fold(Rect::new(*first, *first), |all, place| {
        let (low, high) = (all.min(), all.max());
        Rect::new(
            (low.x.min(place.x), low.y.min(place.y)),
            (high.x.max(place.x), high.y.max(place.y)),
        )
    }))
}

/// What is wrong if the field file names a column that is blank or absent in every main: a misspelt name would leave all of them
/// without what it holds.
fn missing(raw: &RawPlan, fields: &MainFields) -> Option<String> {
    let features = raw.layers.iter().flat_map(|layer| &layer.features);
    let have: BTreeSet<&str> = features
        .flat_map(|feature| feature.attributes.keys().map(String::as_str))
        .collect();
    let (key, column) = fields
        .columns()
        .find(|(_, column)| !have.contains(column))?;
    let meant = have
        .iter()
        .find(|name| near(&name.to_lowercase(), &column.to_lowercase()))
        .map_or_else(String::new, |name| format!(" Did you mean \"{name}\"?"));
    let have: Vec<&str> = have.into_iter().collect();
    Some(format!(
        "the field file names the column \"{column}\" for `{key}` under [mains], and no main has anything in it.{meant} The mains have {}",
        have.join(", ")
    ))
}

/// The system that laterals and mains are held against each other in, and that of the mains' coordinates where they are longitude and
/// latitude. `own` is what the map says of itself; the field file beats it.
fn systems(own: Option<&str>, fields: &Fields) -> Result<(Crs, Option<Datum>), String> {
    let said = fields.mains_crs();
    let code = said.or(own).ok_or(
        "the map of the mains does not say its coordinate system: give `crs` under [mains] in the field file",
    )?;
    let geographic = |code: &str| {
        let crs = Crs::new(code, LengthUnit::Metre);
        matches!(
            crs,
            Err(CrsError::NotProjected {
                kind: GEOGRAPHIC,
                ..
            })
        )
    };
    let from = [own, said]
        .into_iter()
        .flatten()
        .find(|code| geographic(code));
    let onto = match from {
        Some(from) if geographic(code) => fields.delivery.crs.as_deref().ok_or_else(|| {
            format!(
                "the map of the mains is in longitude and latitude ({from}), and lengths are measured on a grid: give `crs` under \
                 [mains] in the field file, the projected coordinate system to bring them to, such as a state plane or UTM zone"
            )
        })?,
        _ => code,
    };
    let crs = Crs::new(onto, LengthUnit::Metre).map_err(|why| why.to_string())?;
    Ok((crs, from.map(|from| Datum::Named(from.to_owned()))))
}

/// A line in longitude and latitude on the grid, metres, with the one-sigma of the shift that the operation leaves in doubt.
fn carried(
    line: &[Coord<f64>],
    from: &Datum,
    onto: &Crs,
) -> Result<(Vec<Coord<f64>>, f64), CrsError> {
    let radians = |place: &Coord<f64>| (place.x.to_radians(), place.y.to_radians());
    let lonlat: Vec<_> = line.iter().map(radians).collect();
    let (places, by) = onto.to_grid(from, &lonlat)?;
    let places = places.into_iter().map(|(x, y)| Coord { x, y });
    Ok((places.collect(), shift_sigma(&by)))
}

/// The line of a feature in its own coordinates; `None` for what is none.
fn line(feature: &RawFeature) -> Result<Option<Vec<Coord<f64>>>, String> {
    match &feature.geometry {
        Geometry::LineString(line) => Ok(Some(line.coords_iter().collect())),
        // GDAL writes single lines as collections of one where a table mixes them.
        Geometry::MultiLineString(lines) if lines.0.len() == 1 => {
            Ok(Some(lines.coords_iter().collect()))
        }
        Geometry::MultiLineString(_) => Err(format!(
            "main number {} is in several pieces: one line a main",
            feature.number
        )),
        _ => Ok(None),
    }
}

/// A main from a feature and its line on the grid, metres.
fn main(
    feature: &RawFeature,
    mut line: Vec<Coord<f64>>,
    fields: &MainFields,
) -> Result<Main, String> {
    if !fields.downstream {
        line.reverse();
    }
    let text = |column: &Option<String>| {
        let cell = column
            .as_ref()
            .and_then(|column| feature.attributes.get(column));
        cell.map(|text| text.trim())
            .filter(|text| !text.is_empty())
            .map(str::to_owned)
    };
    let read = |column: &Option<String>, plain| {
        let length = text(column).map(|cell| {
            parse_length(&cell, plain).map_err(|why| {
                format!(
                    "main number {}: \"{cell}\" is no length: {why}",
                    feature.number
                )
            })
        });
        length.transpose()
    };
    let ([up, down], invert) = (&fields.inverts, Plain::of(fields.unit));
    let (column, plain) = &fields.diameter;
    Ok(Main {
        id: text(&fields.id)
            .or_else(|| feature.id.clone())
            .unwrap_or_else(|| feature.number.to_string()),
        length: line
            .windows(2)
            .map(|pair| match pair {
                [a, b] => (*b - *a).x.hypot((*b - *a).y),
                _ => 0.0,
            })
            .sum(),
        line,
        manholes: [text(&fields.manholes[0]), text(&fields.manholes[1])],
        inverts: [read(up, invert)?, read(down, invert)?],
        diameter: read(column, *plain)?,
    })
}

fn foot(main: &Main, at: Coord<f64>) -> Option<Foot<'_>> {
    let mut before = 0.0;
    let mut best: Option<Foot<'_>> = None;
    for pair in main.line.windows(2) {
        let &[a, b] = pair else { continue };
        let (delta, away) = (b - a, at - a);
        let length = delta.x.hypot(delta.y);
        let part = if length > 0.0 {
            ((delta.x * away.x + delta.y * away.y) / (length * length)).clamp(0.0, 1.0)
        } else {
            0.0
        };
        let off = away - delta * part;
        let distance = off.x.hypot(off.y);
        if best.as_ref().is_none_or(|best| distance < best.distance) {
            // A place on the line itself is as far off as its bound square to it.
            let square = if length > 0.0 {
                Coord {
                    x: -delta.y,
                    y: delta.x,
                } / length
            } else {
                Coord::zero()
            };
            let direction = if distance > 0.0 {
                off / distance
            } else {
                square
            };
            best = Some(Foot {
                main,
                along: before + part * length,
                distance,
                direction,
            });
        }
        before += length;
    }
    best
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that can't go on has failed")]

    use super::*;

    #[test]
    fn a_column_that_no_main_has_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("mains.geojson");
        let map = r#"{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"MAIN_ID":"M1","US_INV":"3.1"},
            "geometry":{"type":"LineString","coordinates":[[500000,5700000],[500100,5700000]]}}]}"#;
        std::fs::write(&path, map).unwrap();
        let read = |column: &str| {
            let text = format!(
                "[mains]\ncrs = \"EPSG:25832\"\nid = \"MAIN_ID\"\nupstream_invert = \"{column}\""
            );
            Mains::read(&path, &Fields::parse(&text, "fields.toml").unwrap())
        };
        let said = read("US_INVT").unwrap_err().to_string();
        for part in [
            "\"US_INVT\"",
            "`upstream_invert`",
            "Did you mean \"US_INV\"?",
            "The mains have MAIN_ID, US_INV",
        ] {
            assert!(said.contains(part), "{part} in {said}");
        }
        assert_eq!(read("US_INV").unwrap().mains.len(), 1);
    }
}
