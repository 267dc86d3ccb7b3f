//! `aslaid verify`: whether a sheet and a record belong together.

use std::fs;
use std::path::Path;

use super::Status;
use super::args::VerifyArgs;
use super::output::Output;
use crate::error::Error;
use crate::sheet;

pub fn run(args: &VerifyArgs, output: &mut Output) -> Result<Status, Error> {
    let verdict = sheet::verify(&read(&args.sheet)?, &read(&args.record)?)
        .map_err(|error| unread(&args.record, &error.to_string()))?;
    output.line(&verdict.to_string());
    Ok(match () {
        () if verdict.holds() => Status::Done,
        () if verdict.unread() => Status::Stopped,
        () => Status::Findings,
    })
}

fn read(path: &Path) -> Result<Vec<u8>, Error> {
    fs::read(path).map_err(|error| unread(path, &crate::error::unread(&error)))
}

fn unread(path: &Path, why: &str) -> Error {
    Error::Read {
        path: path.to_owned(),
        why: why.to_owned(),
    }
}
