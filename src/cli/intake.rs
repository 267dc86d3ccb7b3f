//! `aslaid intake`: a utility takes in many contractors' results.

use std::path::{Path, PathBuf};

use clap::Args;

use super::output::Output;
use super::{Status, load};
use crate::error::{Error, MOST_SAID, plain, read_text};
use crate::export::load::Options;
use crate::intake::fields::Fields;
use crate::intake::ledger::{Database, Folder, Ledger};
use crate::intake::mains::Mains;
use crate::intake::report::{self, Row};
use crate::intake::{report::Status as Outcome, take_in};
use crate::units::LengthUnit;

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
    /// Where accepted records go: postgres://user@host/database, a GeoPackage (.gpkg), or a folder, one file a record
    #[arg(long, value_name = "URL")]
    into: String,
    /// Schema of the tables in PostgreSQL [default: aslaid]
    #[arg(long, value_name = "NAME")]
    schema: Option<String>,
    /// Another name of a table of a database: run, mark, camera, reference or record
    #[arg(long = "table", value_name = "WHAT=NAME")]
    tables: Vec<String>,
    /// Write the report, one row a delivery, to this CSV file too
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
}

pub fn run(args: &IntakeArgs, output: &mut Output) -> Result<Status, Error> {
    let fields = fields(args)?;
    let mains = Mains::read(&args.mains, &fields)?;
    let unit = fields.require(&mains.fields)?.unit;
    let mut ledger = ledger(args, &mains)?;
    let rows = take_in(&args.results, &fields, &mains, ledger.as_mut())?;
    for row in rows.iter().filter(|row| !row.reasons.is_empty()) {
        output.line(&format!("{} {}", row.status.word(), row.source));
        for reason in &row.reasons {
            output.line(&format!("  {:13} {}", reason.code, reason.message));
        }
    }
    let count = |status: Outcome| rows.iter().filter(|row| row.status == status).count();
    output.line(&summary(&count));
    if let Some(path) = &args.report {
        write_report(path, &rows, unit)?;
    }
    Ok(if count(Outcome::Refused) == 0 {
        Status::Done
    } else {
        Status::Findings
    })
}

/// How many deliveries became what; superseded ones are rare, and not spoken of where there is none.
fn summary(count: &dyn Fn(Outcome) -> usize) -> String {
    let all = [
        Outcome::Accepted,
        Outcome::Unchanged,
        Outcome::Superseded,
        Outcome::Refused,
    ];
    let said = all
        .into_iter()
        .map(|status| (status, count(status)))
        .filter(|(status, count)| *status != Outcome::Superseded || *count > 0)
        .map(|(status, count)| format!("{count} {}", status.word()));
    said.collect::<Vec<_>>().join(", ")
}

fn ledger(args: &IntakeArgs, mains: &Mains) -> Result<Box<dyn Ledger>, Error> {
    let path = Path::new(&args.into);
    let package = path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("gpkg"));
    if !package && !args.into.contains("://") {
        return Ok(Box::new(Folder::open(path)?));
    }
    let options = Options {
        schema: args.schema.clone(),
        tables: load::tables(&args.tables)?,
        replace: false,
    };
    let target = load::target(&args.into, args.schema.as_deref())?;
    Ok(Box::new(Database::new(target, options, mains.crs.code())))
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

fn write_report(path: &PathBuf, rows: &[Row], unit: LengthUnit) -> Result<(), Error> {
    let failed = |why: std::io::Error| Error::Write {
        path: path.clone(),
        why: plain(&why),
    };
    let mut bytes = Vec::new();
    report::write(rows, unit, &mut bytes).map_err(failed)?;
    std::fs::write(path, bytes).map_err(failed)
}
