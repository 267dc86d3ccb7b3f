//! JSON Schemas of what leaves: generated from the types and from the declared columns.

use serde_json::{Map, Value as Json, json};

use super::table::{self, Column, Table};
use super::value::Quantity;
use crate::record::AsBuilt;

const DIALECT: &str = "https://json-schema.org/draft/2020-12/schema";

/// Schema of `record.json`.
#[must_use]
pub fn record() -> Json {
    schemars::schema_for!(AsBuilt).to_value()
}

/// Schema of `asbuilt.geojson`: RFC 7946 with our properties.
#[must_use]
pub fn geojson() -> Json {
    let features: Vec<Json> = table::declared()
        .iter()
        .filter(|table| table.spatial)
        .map(feature)
        .collect();
    json!({
        "$schema": DIALECT,
        "title": "As-built features",
        "description": "A feature collection of RFC 7946. A property that isn't known is absent. Columns that a job publishes are further text properties of its marks.",
        "type": "object",
        "required": ["type", "features"],
        "properties": {
            "type": {"const": "FeatureCollection"},
            "draft": {"type": "string", "description": "only in a draft: how many rows were left out"},
            "accuracy": {"type": "string", "description": "the statement of accuracy, only where the operation that brought the places to WGS 84 has an accuracy of its own, which no ellipse holds"},
            "bbox": {"type": "array", "items": {"type": "number"}, "minItems": 4, "maxItems": 6},
            "features": {"type": "array", "items": {"oneOf": features}},
        },
        "not": {"required": ["crs"]},
        "$defs": {
            "position": {
                "description": "longitude, latitude in WGS 84 degrees; metres above the ellipsoid where known",
                "type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 3,
            },
            "line": {"type": "array", "items": {"$ref": "#/$defs/position"}, "minItems": 2},
        },
    })
}

fn feature(table: &Table) -> Json {
    let required: Vec<&str> = table
        .columns
        .iter()
        .filter(|c| c.required)
        .map(|c| c.name.as_str())
        .collect();
    let mut properties: Map<String, Json> = table.columns.iter().map(property).collect();
    properties.insert(
        "feature".to_owned(),
        json!({"const": table.name, "description": "what the feature is"}),
    );
    json!({
        "title": table.name,
        "description": table.meaning,
        "type": "object",
        "required": ["type", "id", "geometry", "properties"],
        "properties": {
            "type": {"const": "Feature"},
            "id": {"type": "string"},
            "geometry": geometry(table.name),
            "properties": {"type": "object", "required": required, "properties": properties},
        },
    })
}

fn geometry(table: &str) -> Json {
    let shape = |kind: &str, coordinates: Json| {
        json!({
            "type": "object",
            "required": ["type", "coordinates"],
            "properties": {"type": {"const": kind}, "coordinates": coordinates},
        })
    };
    let shapes = if table == "run" {
        vec![
            shape("LineString", json!({"$ref": "#/$defs/line"})),
            shape(
                "MultiLineString",
                json!({"type": "array", "items": {"$ref": "#/$defs/line"}, "minItems": 2}),
            ),
        ]
    } else {
        vec![shape("Point", json!({"$ref": "#/$defs/position"}))]
    };
    json!({"oneOf": shapes.into_iter().chain([json!({"type": "null"})]).collect::<Vec<_>>()})
}

fn property(column: &Column) -> (String, Json) {
    let kind = match column.quantity {
        Quantity::Text => "string",
        Quantity::Integer => "integer",
        _ => "number",
    };
    let description = match column.quantity.words() {
        Some(unit) => format!("{}, {unit}", column.meaning),
        None => column.meaning.clone(),
    };
    (
        column.name.clone(),
        json!({"type": kind, "description": description}),
    )
}
