//! The JSON Schema of `job.toml`, from the same data that reads it.

use serde_json::{Map, Value, json};

use super::settings::{run, sections};
use super::{Column, Form, TableSpec};

/// JSON Schema (2020-12) of `job.toml` as a value.
#[must_use]
pub fn schema() -> Value {
    let mut properties = Map::new();
    for section in sections() {
        properties.insert(section.name.to_owned(), object(section));
    }
    properties.insert(
        "run".to_owned(),
        json!({ "type": "array", "items": object(&run::TABLE) }),
    );
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "job.toml",
        "description": "Who, where, units, pipe, equipment and accuracy of a job",
        "type": "object",
        "properties": properties,
        "required": ["job", "grid"],
    })
}

fn object(spec: &TableSpec) -> Value {
    let properties: Map<String, Value> = spec
        .columns
        .iter()
        .map(|column| (column.name.to_owned(), property(column)))
        .collect();
    let required: Vec<&str> = spec
        .columns
        .iter()
        .filter(|column| column.required && spec.name != "run_default")
        .map(|column| column.name)
        .collect();
    json!({ "type": "object", "description": spec.meaning, "properties": properties, "required": required })
}

fn property(column: &Column) -> Value {
    let mut value = match column.form {
        Form::Word(words) => json!({ "enum": words }),
        Form::YesNo => json!({ "type": ["boolean", "string"] }),
        Form::Names => {
            json!({ "type": ["array", "string"], "items": { "type": "string" } })
        }
        Form::Count => json!({ "type": "integer", "minimum": 0 }),
        Form::Id => json!({ "type": "string", "pattern": "^[A-Za-z0-9_-][A-Za-z0-9._-]{0,99}$" }),
        // TOML has dates of its own; as JSON they are strings.
        Form::Text
        | Form::Crs
        | Form::Name
        | Form::Date
        | Form::Baseline
        | Form::Clock
        | Form::Time => json!({ "type": "string" }),
        _ => json!({ "type": ["string", "number"], "description": column.form.accepted() }),
    };
    if let Some(map) = value.as_object_mut() {
        map.insert("title".to_owned(), Value::from(column.meaning));
        if !column.example.is_empty()
            && !matches!(column.form, Form::Count | Form::YesNo | Form::Names)
        {
            map.insert("examples".to_owned(), json!([column.example]));
        }
    }
    value
}
