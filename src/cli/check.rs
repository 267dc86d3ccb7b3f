//! `aslaid check`: reads, computes, prints; writes nothing.

use std::path::Path;

use super::args::CheckArgs;
use super::output::Output;
use super::report::{self, Report};
use super::{Status, batch, jobs, times};
use crate::error::Error;
use crate::pipeline::{Options, Outcome, Seal};

pub fn run(args: &CheckArgs, output: &mut Output) -> Result<Status, Error> {
    let jobs = jobs::named(&args.paths)?;
    let errors_only = args.common.quiet && !args.common.json;
    let finish = |path: &Path, outcome: Outcome| -> batch::Ending {
        let report = Report::of(path, &outcome, errors_only);
        Box::new(move || report)
    };
    let options = Options {
        seal: Seal::Later,
        ..args.common.options()
    };
    times::begin();
    let reports = batch::run(&jobs, &args.common, &options, &finish)?;
    times::print();
    report::print_all(&reports, args.common.quiet, args.common.json, output)
}
