//! `aslaid check`: reads, computes, prints; writes nothing.

use super::args::CheckArgs;
use super::output::Output;
use super::report::{self, Report};
use super::{Status, batch, jobs};
use crate::error::Error;

pub fn run(args: &CheckArgs, output: &mut Output) -> Result<Status, Error> {
    let jobs = jobs::named(&args.paths)?;
    let finish =
        |path: &std::path::Path, outcome: crate::pipeline::Outcome| Report::of(path, &outcome);
    let reports = batch::run(&jobs, &args.common, &args.common.options(), &finish)?;
    report::print_all(&reports, args.common.quiet, args.common.json, output)
}
