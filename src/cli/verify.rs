//! `aslaid verify`: whether a sheet and a record belong together.

use std::fs;
use std::path::Path;

use super::Status;
use super::args::VerifyArgs;
use super::output::Output;
use crate::error::Error;
use crate::record::AsBuilt;
use crate::sheet;

pub fn run(args: &VerifyArgs, output: &mut Output) -> Result<Status, Error> {
    let bytes = read(&args.sheet)?;
    let record: AsBuilt =
        serde_json::from_slice(&read(&args.record)?).map_err(|error| Error::Read {
            path: args.record.clone(),
            why: format!("is no record.json: {error}"),
        })?;
    let verdict = sheet::verify(&bytes, &record).map_err(|error| Error::Read {
        path: args.record.clone(),
        why: error.to_string(),
    })?;
    output.line(&verdict.to_string());
    Ok(if verdict.holds() {
        Status::Done
    } else {
        Status::Findings
    })
}

fn read(path: &Path) -> Result<Vec<u8>, Error> {
    fs::read(path).map_err(|error| Error::Read {
        path: path.to_owned(),
        why: error.to_string(),
    })
}
