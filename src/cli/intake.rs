//! `aslaid intake`: a utility takes in many contractors' results.

use std::path::PathBuf;

use clap::Args;

use super::Status;
use super::output::Output;
use crate::error::{Error, MOST_SAID, read_text};
use crate::intake::fields::Fields;
use crate::intake::ledger::{Folder, Ledger};
use crate::intake::mains::Mains;
use crate::intake::report::{self, Row};
use crate::intake::{report::Status as Outcome, take_in};

/// Options of `intake`.
#[derive(Debug, Args)]
pub struct IntakeArgs {
    /// Result folders, record.json files, or .csv, .geojson, .gpkg files that --fields describes
    #[arg(value_name = "RESULT", required = true)]
    results: Vec<PathBuf>,
    /// The map of the mains, GeoPackage or GeoJSON, one line a main
    #[arg(long, value_name = "FILE")]
    mains: PathBuf,
    /// Field file (TOML): columns of plain deliveries and of the mains, what is required
    #[arg(long, value_name = "FILE")]
    fields: Option<PathBuf>,
    /// Where accepted records go: a folder, one file a record
    #[arg(long, value_name = "DIR")]
    into: PathBuf,
    /// Write the report, one row a delivery, to this CSV file too
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
}

pub fn run(args: &IntakeArgs, output: &mut Output) -> Result<Status, Error> {
    let fields = fields(args)?;
    let mains = Mains::read(&args.mains, &fields)?;
    let mut ledger: Box<dyn Ledger> = Box::new(Folder::open(&args.into)?);
    let rows = take_in(&args.results, &fields, &mains, ledger.as_mut())?;
    for row in rows.iter().filter(|row| row.status == Outcome::Refused) {
        output.line(&format!("refused {}", row.source));
        for reason in &row.reasons {
            output.line(&format!("  {:13} {}", reason.code, reason.message));
        }
    }
    let count = |status: Outcome| rows.iter().filter(|row| row.status == status).count();
    let (accepted, unchanged, refused) = (
        count(Outcome::Accepted),
        count(Outcome::Unchanged),
        count(Outcome::Refused),
    );
    output.line(&format!(
        "{accepted} accepted, {unchanged} unchanged, {refused} refused"
    ));
    if let Some(path) = &args.report {
        write_report(path, &rows, &fields)?;
    }
    Ok(if refused == 0 {
        Status::Done
    } else {
        Status::Findings
    })
}

fn fields(args: &IntakeArgs) -> Result<Fields, Error> {
    let Some(path) = &args.fields else {
        return Fields::parse("", "no field file");
    };
    let text = read_text(path, MOST_SAID).map_err(|why| Error::Read {
        path: path.clone(),
        why,
    })?;
    Fields::parse(&text, &path.display().to_string())
}

fn write_report(path: &PathBuf, rows: &[Row], fields: &Fields) -> Result<(), Error> {
    let failed = |why: std::io::Error| Error::Write {
        path: path.clone(),
        why: why.to_string(),
    };
    let mut bytes = Vec::new();
    report::write(rows, fields.unit, &mut bytes).map_err(failed)?;
    std::fs::write(path, bytes).map_err(failed)
}
