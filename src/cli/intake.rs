//! `aslaid intake`: a utility takes in many contractors' results.

use std::fs::{File, OpenOptions};
use std::io::{self, Write as _};
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

const HELP: &str = "\
Of several revisions of a job the highest that is good goes on file. A database keeps what it takes the place of in the tables
whose names end in _history; a folder keeps nothing of it.

Exit status:
  0  done: every delivery is on file, was there already, or is superseded
  1  done: some delivery was refused; the others are on file
  2  usage, a path where nothing is, or mains, field file or place of the records that can't be used; or some good delivery could
     not be put on file (`failed`): mend what kept it out and run it again";

/// Options of `intake`.
#[derive(Debug, Args)]
#[command(after_help = HELP)]
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
    /// Where accepted records go: postgres://user@host/database, a GeoPackage (.gpkg), or a folder, one file a record, where a
    /// higher revision overwrites the one before it
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
    let report = args.report.as_deref().map(Report::open).transpose()?;
    let rows = take_in(&args.results, &fields, &mains, ledger.as_mut())?;
    for note in &mains.notes {
        output.line(&format!("{}: {note}", args.mains.display()));
    }
    for row in rows.iter().filter(|row| !row.reasons.is_empty()) {
        output.line(&format!("{} {}", row.status.word(), row.source));
        for reason in &row.reasons {
            output.line(&format!("  {:13} {}", reason.code, reason.message));
        }
    }
    let count = |status: Outcome| rows.iter().filter(|row| row.status == status).count();
    output.line(&summary(&count));
    if let Some(report) = report {
        report.write(&rows, unit)?;
    }
    Ok(if count(Outcome::Failed) > 0 {
        Status::Stopped
    } else if count(Outcome::Refused) > 0 {
        Status::Findings
    } else {
        Status::Done
    })
}

/// How many deliveries became what; superseded and failed ones are rare, and not spoken of where there is none.
fn summary(count: &dyn Fn(Outcome) -> usize) -> String {
    let all = [
        Outcome::Accepted,
        Outcome::Unchanged,
        Outcome::Superseded,
        Outcome::Refused,
        Outcome::Failed,
    ];
    let said = all
        .into_iter()
        .map(|status| (status, count(status)))
        .filter(|(status, count)| {
            *count > 0 || !matches!(status, Outcome::Superseded | Outcome::Failed)
        })
        .map(|(status, count)| format!("{count} {}", status.word()));
    said.collect::<Vec<_>>().join(", ")
}

fn ledger(args: &IntakeArgs, mains: &Mains) -> Result<Box<dyn Ledger>, Error> {
    let path = Path::new(&args.into);
    let package = path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("gpkg"));
    if !package && !args.into.contains("://") {
        if args.schema.is_some() || !args.tables.is_empty() {
            return Err(Error::Usage(format!(
                "--schema and --table name tables of a database, and {} is a folder; take them out",
                args.into
            )));
        }
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

/// The file of the report: opened before anything is taken in, so that one that can't be written is told in time.
struct Report<'a> {
    path: &'a Path,
    file: File,
}

impl<'a> Report<'a> {
    fn open(path: &'a Path) -> Result<Self, Error> {
        // An earlier report stands until this one is known.
        let options = OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(false)
            .open(path);
        options
            .map(|file| Self { path, file })
            .map_err(|why| unwritten(path, &why))
    }

    fn write(mut self, rows: &[Row], unit: LengthUnit) -> Result<(), Error> {
        let mut bytes = Vec::new();
        report::write(rows, unit, &mut bytes)
            .and_then(|()| {
                // A device has no length.
                if self.file.metadata()?.is_file() {
                    self.file.set_len(0)?;
                }
                self.file.write_all(&bytes)
            })
            .map_err(|why| unwritten(self.path, &why))
    }
}

fn unwritten(path: &Path, why: &io::Error) -> Error {
    let why = match why.kind() {
        io::ErrorKind::NotFound => "there is no such folder".to_owned(),
        _ => plain(why),
    };
    Error::Write {
        path: path.to_owned(),
        why,
    }
}
