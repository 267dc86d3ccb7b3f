//! GeoJSON ([`crate::sources::Source::Rfc7946`]), and the `crs` member of its 2008 predecessor, which surveys still write.

use std::collections::BTreeMap;
use std::path::Path;

use geojson::{
    Feature, FeatureCollection, Geometry, GeometryValue, JsonObject, JsonValue, Position,
    feature::Id,
};

use super::{RawLayer, Reader, Shape, System};

/// The format.
pub struct GeoJson;

/// Coordinates without a `crs` member are WGS 84 by the standard.
const WGS84: &str = "EPSG:4326";

impl Reader for GeoJson {
    fn endings(&self) -> &'static [&'static str] {
        &["geojson", "json"]
    }

    fn read(
        &self,
        path: &Path,
        layer_column: Option<&str>,
        _: &mut Vec<String>,
    ) -> Result<Vec<RawLayer>, String> {
        let text =
            std::fs::read_to_string(path).map_err(|why| format!("{why}: GeoJSON is UTF-8 text"))?;
        let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
        let parsed: geojson::GeoJson = text
            .parse()
            .map_err(|why| format!("this is no GeoJSON: {why}"))?;
        let stem = path
            .file_stem()
            .map(|stem| stem.to_string_lossy().into_owned())
            .unwrap_or_default();
        Ok(by_layer(collection(parsed), &stem, layer_column))
    }
}

/// Any of the kinds of GeoJSON as a collection: a feature or a shape alone is one of one.
fn collection(parsed: geojson::GeoJson) -> FeatureCollection {
    let feature = match parsed {
        geojson::GeoJson::FeatureCollection(collection) => return collection,
        geojson::GeoJson::Feature(feature) => feature,
        geojson::GeoJson::Geometry(geometry) => Feature::from(geometry),
    };
    FeatureCollection {
        bbox: None,
        // What an object says of its coordinates, wherever it stands.
        foreign_members: feature.foreign_members.clone(),
        features: vec![feature],
    }
}

fn by_layer(collection: FeatureCollection, stem: &str, column: Option<&str>) -> Vec<RawLayer> {
    let system = system(collection.foreign_members.as_ref(), &collection);
    let mut found: Vec<RawLayer> = Vec::new();
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    for (number, feature) in (1..).zip(collection.features) {
        let attributes = attributes(feature.properties.as_ref());
        let own = match column {
            Some(column) => attributes.get(column),
            None => attributes.get("layer").or_else(|| attributes.get("Layer")),
        };
        let name = own
            .filter(|name| !name.is_empty())
            .map_or(stem, String::as_str)
            .to_owned();
        let at = *places.entry(name.clone()).or_insert(found.len());
        if at == found.len() {
            found.push(RawLayer {
                name,
                system: system.clone(),
                features: Vec::new(),
                left_out: Vec::new(),
            });
        }
        let id = feature.id.map(|id| match id {
            Id::String(text) => text,
            Id::Number(number) => number.to_string(),
        });
        let shape = feature
            .geometry
            .ok_or_else(|| "it has no shape".to_owned())
            .and_then(shape);
        if let Some(layer) = found.get_mut(at) {
            layer.take(number, id, shape, attributes);
        }
    }
    found
}

/// A shape; converting one takes it for granted that every position has its two numbers, which reading sees to for points only.
fn shape(geometry: Geometry) -> Result<Shape, String> {
    if !is_whole(&geometry.value) {
        return Err("a position of its shape has fewer than two numbers".to_owned());
    }
    let mut heights = Vec::new();
    add_heights(&geometry.value, &mut heights);
    let geometry = geo::Geometry::try_from(geometry)
        .map_err(|why| format!("its shape can't be read: {why}"))?;
    Ok(Shape { geometry, heights })
}

/// The third number of every position, NaN where there is none.
fn add_heights(value: &GeometryValue, heights: &mut Vec<f64>) {
    let mut point = |position: &Position| {
        heights.push(position.as_slice().get(2).copied().unwrap_or(f64::NAN));
    };
    match value {
        GeometryValue::Point { coordinates } => point(coordinates),
        GeometryValue::MultiPoint { coordinates } | GeometryValue::LineString { coordinates } => {
            coordinates.iter().for_each(point);
        }
        GeometryValue::MultiLineString { coordinates } | GeometryValue::Polygon { coordinates } => {
            coordinates.iter().flatten().for_each(point);
        }
        GeometryValue::MultiPolygon { coordinates } => {
            coordinates.iter().flatten().flatten().for_each(point);
        }
        GeometryValue::GeometryCollection { geometries } => {
            for part in geometries {
                add_heights(&part.value, heights);
            }
        }
    }
}

/// Whether every position has at least two numbers.
fn is_whole(value: &GeometryValue) -> bool {
    let point = |position: &Position| position.len() >= 2;
    let line = |line: &Vec<Position>| line.iter().all(point);
    let polygon = |rings: &Vec<Vec<Position>>| rings.iter().all(line);
    match value {
        GeometryValue::Point { coordinates } => point(coordinates),
        GeometryValue::MultiPoint { coordinates } | GeometryValue::LineString { coordinates } => {
            line(coordinates)
        }
        GeometryValue::MultiLineString { coordinates } | GeometryValue::Polygon { coordinates } => {
            polygon(coordinates)
        }
        GeometryValue::MultiPolygon { coordinates } => coordinates.iter().all(polygon),
        GeometryValue::GeometryCollection { geometries } => {
            geometries.iter().all(|part| is_whole(&part.value))
        }
    }
}

/// Attributes as text; nested values as JSON, null as nothing.
fn attributes(properties: Option<&JsonObject>) -> BTreeMap<String, String> {
    let texts = properties.into_iter().flatten().filter_map(|(key, value)| {
        let text = match value {
            JsonValue::Null => return None,
            JsonValue::String(text) => text.clone(),
            other => other.to_string(),
        };
        Some((key.clone(), text))
    });
    texts.collect()
}

/// The `crs` member, else WGS 84 where every coordinate could be degrees, else nothing.
fn system(members: Option<&JsonObject>, collection: &FeatureCollection) -> System {
    if let Some(crs) = members
        .and_then(|members| members.get("crs"))
        .filter(|crs| !crs.is_null())
    {
        let name = crs.pointer("/properties/name").and_then(JsonValue::as_str);
        return match name {
            Some(name) => named(name),
            None => System::Unknown(crs.to_string()),
        };
    }
    let shapes = collection
        .features
        .iter()
        .filter_map(|feature| feature.geometry.clone());
    let degrees = shapes
        .filter_map(|geometry| shape(geometry).ok())
        .all(|shape| {
            use geo::CoordsIter;
            shape
                .geometry
                .coords_iter()
                .all(|c| c.x.abs() <= 180.0 && c.y.abs() <= 90.0)
        });
    if degrees {
        System::Code(WGS84.to_owned())
    } else {
        System::Unsaid
    }
}

/// `urn:ogc:def:crs:EPSG::2264`, `EPSG:2264`, `http://www.opengis.net/def/crs/EPSG/0/2264`; `CRS84` is WGS 84 as GeoJSON has it.
fn named(name: &str) -> System {
    let parts: Vec<&str> = name
        .split([':', '/'])
        .filter(|part| !part.is_empty())
        .collect();
    let last = parts.last().copied().unwrap_or_default();
    if last.eq_ignore_ascii_case("CRS84") {
        return System::Code(WGS84.to_owned());
    }
    let epsg = parts.iter().any(|part| part.eq_ignore_ascii_case("EPSG"));
    if epsg && last.parse::<u32>().is_ok() {
        System::Code(format!("EPSG:{last}"))
    } else {
        System::Unknown(name.to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Vec<RawLayer> {
        let parsed: geojson::GeoJson = text.parse().unwrap();
        by_layer(collection(parsed), "plan", None)
    }

    #[test]
    fn the_crs_member_and_the_range_say_the_system() {
        let line = |crs: &str, x: f64| {
            format!(
                r#"{{"type":"FeatureCollection"{crs},"features":[{{"type":"Feature","properties":{{"layer":"a","n":1,"o":null}},
                "geometry":{{"type":"LineString","coordinates":[[{x},35.0],[{x},35.1]]}}}}]}}"#
            )
        };
        let crs =
            |name: &str| format!(r#","crs":{{"type":"name","properties":{{"name":"{name}"}}}}"#);
        for (member, x, system) in [
            (String::new(), -80.0, System::Code("EPSG:4326".to_owned())),
            (String::new(), 1_400_000.0, System::Unsaid),
            (
                crs("urn:ogc:def:crs:EPSG::2264"),
                1.0,
                System::Code("EPSG:2264".to_owned()),
            ),
            (
                crs("urn:ogc:def:crs:OGC:1.3:CRS84"),
                1.0,
                System::Code("EPSG:4326".to_owned()),
            ),
            (crs("mine"), 1.0, System::Unknown("mine".to_owned())),
        ] {
            let layers = read(&line(&member, x));
            assert_eq!(layers[0].system, system, "{member}");
            assert_eq!(
                (layers[0].name.as_str(), layers[0].features.len()),
                ("a", 1)
            );
            assert_eq!(
                layers[0].features[0]
                    .attributes
                    .get("n")
                    .map(String::as_str),
                Some("1")
            );
            assert!(!layers[0].features[0].attributes.contains_key("o"));
        }
    }

    #[test]
    fn a_position_with_too_few_numbers_is_no_place() {
        for (kind, coordinates) in [
            ("MultiPoint", "[[1,2],[3]]"),
            ("LineString", "[[-80.8],[1,2]]"),
            ("MultiLineString", "[[[1,2],[3]]]"),
            ("Polygon", "[[[1,2],[3,4],[5],[1,2]]]"),
            ("MultiPolygon", "[[[[1,2],[3,4],[5],[1,2]]]]"),
        ] {
            let shape = format!(r#"{{"type":"{kind}","coordinates":{coordinates}}}"#);
            let many = format!(r#"{{"type":"GeometryCollection","geometries":[{shape}]}}"#);
            for shape in [shape, many] {
                let text = format!(
                    r#"{{"type":"FeatureCollection","features":[{{"type":"Feature","properties":null,"geometry":{shape}}}]}}"#
                );
                let layers = read(&text);
                let [(_, why)] = &layers[0].left_out[..] else {
                    panic!("{text}: {:?}", layers[0]);
                };
                assert!(why.contains("fewer than two numbers"), "{text}: {why}");
            }
        }
    }

    #[test]
    fn features_without_a_usable_shape_are_left_out_and_counted() {
        let layers = read(
            r#"{"type":"FeatureCollection","features":[
            {"type":"Feature","properties":null,"geometry":null},
            {"type":"Feature","properties":{},"geometry":{"type":"LineString","coordinates":[]}},
            {"type":"Feature","id":7,"properties":{},"geometry":{"type":"Point","coordinates":[1,2,3]}}]}"#,
        );
        assert_eq!((layers[0].features.len(), layers[0].left_out.len()), (1, 2));
        assert_eq!(
            (layers[0].name.as_str(), layers[0].features[0].id.as_deref()),
            ("plan", Some("7"))
        );
    }
}
