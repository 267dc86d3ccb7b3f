//! What can be asked for.

use std::fmt::Write as _;
use std::num::NonZeroUsize;
use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

use crate::job::crs_name;
use crate::pipeline::Options;
use crate::sheet::{Dig, Paper, SheetOptions};
use crate::units::LengthUnit;

const EXAMPLES: &str = "\
Examples:
  aslaid new my-job                       a job folder to fill in
  aslaid check my-job                     what is wrong or doubtful, and what to measure next
  aslaid build my-job --out results       every deliverable, in results/<job id>/
  aslaid my-job                           the same, in a folder `results` beside the job
  aslaid build season-2026 --out results --jobs 8
                                          every job below a folder, on eight threads
  aslaid build my-job --out results --formats geojson,csv --unit m
  aslaid load results --into postgres://gis@localhost/sewers
                                          records into a utility's own database
  aslaid verify sheet.pdf record.json     whether paper and record belong together
  find . -name job.toml -printf '%h\\n' | aslaid check --json -
                                          jobs named on standard input, findings as JSON

Exit status:
  0  done; no finding is an error
  1  done; some finding is an error: that job has no deliverables but its findings (see --draft)
  2  usage, or a job that can't be read or written";

/// Turns the field book of a located sewer lateral into an as-built record.
#[derive(Debug, Parser)]
#[command(
    name = "aslaid",
    version,
    after_help = EXAMPLES,
    args_conflicts_with_subcommands = true,
    subcommand_precedence_over_arg = true,
    arg_required_else_help = true
)]
pub struct Cli {
    /// What to do; `build` where nothing is said.
    #[command(subcommand)]
    pub command: Option<Command>,
    /// Options of `build`.
    #[command(flatten)]
    pub build: BuildArgs,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write a job folder to fill in, with a worked example row in every file
    New(NewArgs),
    /// Read, compute and print the findings; write nothing
    Check(CheckArgs),
    /// Compute, and write each job's deliverables into DIR/JOB-ID/
    Build(BuildArgs),
    /// Say whether a sheet.pdf and a record.json belong together
    Verify(VerifyArgs),
    /// Take in results for a utility: check each, find the main that it meets, put the good ones on file
    Intake(super::intake::IntakeArgs),
    /// Load records into a utility's own database: PostgreSQL with PostGIS, or a GeoPackage
    Load(LoadArgs),
    /// Print a JSON Schema
    Schema {
        /// Which one
        #[arg(value_parser = super::schema::NAMES)]
        name: String,
    },
    /// Print a completion script for a shell
    Completions {
        /// Which shell
        shell: clap_complete::Shell,
    },
    /// Print the manual page, in roff: `aslaid man | man -l -`
    Man {
        /// Of this command; of aslaid as a whole if left out
        command: Option<String>,
    },
}

/// Options of `new`.
#[derive(Debug, Args)]
pub struct NewArgs {
    /// Folder to make; with --workbook the file, `.xlsx` added where it is missing
    #[arg(value_name = "DIR")]
    pub path: PathBuf,
    /// Write one workbook in place of a folder
    #[arg(long)]
    pub workbook: bool,
    /// Paper of the blank field form [default: Letter]
    #[arg(long, value_name = "SIZE", value_parser = paper)]
    pub sheet: Option<Paper>,
}

const VERIFY: &str = "\
Exit status:
  0  the sheet is drawn from this record
  1  it is not: of another record, changed, or drawn by another version; or the record was changed
  2  usage, or one of the two is no sheet or no record";

/// Options of `verify`.
#[derive(Debug, Args)]
#[command(after_help = VERIFY)]
pub struct VerifyArgs {
    /// The sheet
    #[arg(value_name = "SHEET.pdf")]
    pub sheet: PathBuf,
    /// The record
    #[arg(value_name = "RECORD.json")]
    pub record: PathBuf,
}

/// Options of `check`.
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Job folders, workbooks, or folders of jobs; `-` reads their names from standard input, one a line
    #[arg(value_name = "JOB", required = true)]
    pub paths: Vec<PathBuf>,
    /// What all commands that compute have in common.
    #[command(flatten)]
    pub common: Common,
}

/// Options of `build`.
#[derive(Debug, Args)]
pub struct BuildArgs {
    /// Job folders, workbooks, or folders of jobs; `-` reads their names from standard input, one a line
    #[arg(value_name = "JOB", required = true)]
    pub paths: Vec<PathBuf>,
    /// Folder for the results; a folder `results` beside each job if left out
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Deliverables, separated by commas [default: all]
    #[arg(long, value_name = "A,B,…", value_delimiter = ',', long_help = formats_help())]
    pub formats: Vec<String>,
    /// Site plans.
    #[command(flatten)]
    pub plans: super::plan::PlanArgs,
    /// Names, types, units and values of the columns as FILE says (TOML; `aslaid schema fields` describes it)
    #[arg(long, value_name = "FILE")]
    pub fields: Option<PathBuf>,
    /// Build a draft without the rows that can't be used, marked as one in every file
    #[arg(long)]
    pub draft: bool,
    /// Paper of the sheet: A4, A3, Letter, Tabloid or ANSI-D [default: A4, or Letter for results in feet]
    #[arg(long, value_name = "SIZE", value_parser = paper)]
    pub sheet: Option<Paper>,
    /// Camera observations that get a dig page besides those marked `dig`: names as on the sheet (c12.4, A/c12.4), or all
    #[arg(long, value_name = "A,B,…", value_delimiter = ',')]
    pub dig: Vec<String>,
    /// What all commands that compute have in common.
    #[command(flatten)]
    pub common: Common,
}

const LOAD: &str = "\
Everything goes in by one transaction, or nothing.
A record is told by its supplier and job. Another record in its place needs a higher revision, or --replace; the earlier one is kept in the tables whose names end in _history. Records go in in the order in which they are named.

In a folder of results, those of jobs with errors, which have no record, are passed over with a word.

Exit status:
  0  done: every record is in
  2  usage, a record that can't be read, or a database that doesn't take them: nothing is in";

/// Options of `load`.
#[derive(Debug, Args)]
#[command(after_help = LOAD)]
pub struct LoadArgs {
    /// Result folders, folders of them, or record.json files
    #[arg(value_name = "RESULT", required = true)]
    pub paths: Vec<PathBuf>,
    /// postgres://user@host/database (password from PGPASSWORD, if the URL has none), or the path of a GeoPackage
    #[arg(long, value_name = "URL")]
    pub into: String,
    /// Schema of the tables in PostgreSQL [default: aslaid]
    #[arg(long, value_name = "NAME")]
    pub schema: Option<String>,
    /// Another name of a table: run, mark, camera, reference or record
    #[arg(long = "table", value_name = "WHAT=NAME")]
    pub tables: Vec<String>,
    /// Names, types, units and values of the columns as FILE says
    #[arg(long, value_name = "FILE")]
    pub fields: Option<PathBuf>,
    /// Put a record in another's place whatever its revision
    #[arg(long)]
    pub replace: bool,
    /// Print nothing where all went well
    #[arg(long, short)]
    pub quiet: bool,
}

impl BuildArgs {
    /// What the sheet is asked for.
    pub fn sheet_options(&self) -> SheetOptions {
        let dig = match &self.dig[..] {
            [] => Dig::Marked,
            names if names.iter().any(|name| name.eq_ignore_ascii_case("all")) => Dig::All,
            names => Dig::Named(names.to_vec()),
        };
        SheetOptions {
            size: self.sheet,
            dig,
        }
    }
}

/// Options of every command that computes.
#[derive(Debug, Args)]
pub struct Common {
    /// Worker threads [default: as many as the machine has]; the results are the same whatever it is
    #[arg(long, value_name = "N", value_parser = threads)]
    pub jobs: Option<NonZeroUsize>,
    /// Unit of the results: m, ft or us-ft [default: the job's]
    #[arg(long, value_name = "UNIT", value_parser = unit)]
    pub unit: Option<LengthUnit>,
    /// Another projected coordinate system for the results, such as EPSG:25832
    #[arg(long, value_name = "CRS")]
    pub crs: Option<String>,
    /// Print only what is an error
    #[arg(long, short)]
    pub quiet: bool,
    /// Print the findings as one JSON array, and nothing else
    #[arg(long)]
    pub json: bool,
}

impl Common {
    /// What the stages are asked for.
    pub fn options(&self) -> Options {
        Options {
            unit: self.unit,
            crs: self.crs.as_deref().map(crs_name),
            ..Options::default()
        }
    }
}

fn threads(word: &str) -> Result<NonZeroUsize, String> {
    word.parse()
        .map_err(|_| "a number of threads is a whole number from 1 on".to_owned())
}

fn paper(word: &str) -> Result<Paper, String> {
    Paper::from_word(word).ok_or_else(|| {
        let words: Vec<&str> = Paper::ALL.iter().map(|paper| paper.word()).collect();
        format!("a paper is {}", words.join(", "))
    })
}

fn unit(word: &str) -> Result<LengthUnit, String> {
    LengthUnit::from_word(word)
        .ok_or_else(|| "a unit is m, ft (0.3048 m) or us-ft (1200/3937 m)".to_owned())
}

fn formats_help() -> String {
    let mut help = "Deliverables, separated by commas; all of them if left out:\n".to_owned();
    for format in crate::export::FORMATS {
        // Writing into a string can't fail.
        let _ = write!(
            help,
            "\n  {:9} {:17} {}",
            format.name(),
            format.file(),
            format.about()
        );
    }
    help.push_str(
        "\n  csv       every table\n\nfindings.csv and findings.json are always written.",
    );
    help
}
