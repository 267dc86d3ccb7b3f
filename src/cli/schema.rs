//! `aslaid schema` and `aslaid man`: documents made from the program itself.

use serde_json::Value;

use super::Status;
use super::output::Output;
use crate::error::Error;
use crate::export;
use crate::plan::layers::Layers;
use crate::{intake, job};

/// Names that `aslaid schema` knows.
pub const NAMES: [&str; 6] = ["job", "record", "geojson", "fields", "layers", "intake"];

/// A JSON Schema by name.
#[must_use]
pub fn of(name: &str) -> Option<Value> {
    match name {
        "job" => Some(job::schema()),
        "record" => Some(export::schema::record()),
        "geojson" => Some(export::schema::geojson()),
        "fields" => Some(export::fields::schema()),
        "layers" => Some(Layers::schema()),
        "intake" => Some(intake::fields::Fields::schema()),
        _ => None,
    }
}

pub fn run(name: &str, output: &mut Output) -> Result<Status, Error> {
    let schema = of(name).ok_or_else(|| Error::Usage(format!("no schema is called \"{name}\"")))?;
    output.bytes(format!("{schema:#}\n").as_bytes());
    Ok(Status::Done)
}

pub fn man(name: Option<&str>, output: &mut Output) -> Result<Status, Error> {
    let mut page = Vec::new();
    let mut command = super::definition();
    // Gives the commands below it their whole names.
    command.build();
    if let Some(name) = name {
        command = command
            .find_subcommand(name)
            .cloned()
            .ok_or_else(|| Error::Usage(format!("no command is called \"{name}\"")))?;
    }
    clap_mangen::Man::new(command)
        .render(&mut page)
        .map_err(|e| Error::Usage(e.to_string()))?;
    output.bytes(&page);
    Ok(Status::Done)
}
