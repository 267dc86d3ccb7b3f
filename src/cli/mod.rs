//! The command: the only place that prints, and the only clock.
//!
//! What a program reads goes to standard output; what stops a job, and progress, to standard error. Exit status: 0 done,
//! 1 some finding is an error, 2 usage or a job that can't be read or written.

use std::process::ExitCode;

use clap::{CommandFactory, Parser};

mod args;
mod batch;
mod build;
mod check;
mod intake;
mod jobs;
mod listing;
mod load;
mod new;
mod output;
mod plan;
mod report;
mod schema;
mod times;
mod verify;

use args::{Cli, Command};
use output::Output;

pub use schema::{NAMES as SCHEMAS, of as schema_of};

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Status {
    /// No finding of level error.
    Done,
    /// Some finding is an error.
    Findings,
    /// Usage, or a job that can't be read or written.
    Stopped,
}

/// Runs the command with the program's own arguments.
#[must_use]
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    let mut output = Output::new();
    let result = match cli.command {
        None => build::run(&cli.build, &mut output),
        Some(Command::Build(args)) => build::run(&args, &mut output),
        Some(Command::Check(args)) => check::run(&args, &mut output),
        Some(Command::Intake(args)) => intake::run(&args, &mut output),
        Some(Command::Load(args)) => load::run(&args, &mut output),
        Some(Command::New(args)) => new::run(&args, &mut output),
        Some(Command::Verify(args)) => verify::run(&args, &mut output),
        Some(Command::Schema { name }) => schema::run(&name, &mut output),
        Some(Command::Completions { shell }) => {
            let mut script = Vec::new();
            clap_complete::generate(shell, &mut Cli::command(), "aslaid", &mut script);
            output.bytes(&script);
            Ok(Status::Done)
        }
        Some(Command::Man { command }) => schema::man(command.as_deref(), &mut output),
    };
    let status = result.unwrap_or_else(|error| {
        output.problem(&error);
        Status::Stopped
    });
    ExitCode::from(output.finish(status) as u8)
}

/// The command's definition, for documents made from it.
#[must_use]
pub fn definition() -> clap::Command {
    Cli::command()
}
