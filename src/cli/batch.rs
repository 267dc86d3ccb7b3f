//! Many jobs at once, in an order that does not depend on the number of threads.

use std::collections::BTreeMap;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

use indicatif::{ProgressBar, ProgressStyle};
use rayon::prelude::*;

use super::args::Common;
use super::output::watched;
use super::report::Report;
use crate::error::Error;
use crate::pipeline::{self, Options, Outcome};

/// Jobs computed before their results are put in place: enough to keep the threads busy, few enough to hold.
///
/// Our choice. Ids are compared in between, in the order of the arguments, so that two jobs of one id are told apart
/// whatever thread comes first.
const AT_ONCE: usize = 64;

/// A job's report, once its results are in place: waits for that.
pub type Ending = Box<dyn FnOnce() -> Report + Send>;

/// Computes every job and hands each outcome to `finish`, on the threads asked for; the reports come in the jobs' order.
pub fn run(
    jobs: &[PathBuf],
    common: &Common,
    options: &Options,
    finish: &(dyn Fn(&Path, Outcome) -> Ending + Sync),
) -> Result<Vec<Report>, Error> {
    let threads = common.jobs.map_or(0, NonZeroUsize::get);
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .map_err(|e| Error::Usage(format!("--jobs: the threads can't be started: {e}")))?;
    let bar = bar(jobs.len(), common);
    let mut taken: BTreeMap<String, &Path> = BTreeMap::new();
    let mut endings = Vec::with_capacity(jobs.len());
    for some in jobs.chunks(AT_ONCE) {
        let outcomes: Vec<_> = pool.install(|| {
            some.par_iter()
                .map(|job| pipeline::run(job, options))
                .collect()
        });
        let outcomes: Vec<_> = some
            .iter()
            .zip(outcomes)
            .map(|(job, outcome)| (job, outcome.and_then(|o| claim(&mut taken, job, o))))
            .collect();
        let done: Vec<Ending> = pool.install(|| {
            let finish_one = |(job, outcome): (&PathBuf, Result<Outcome, Error>)| {
                let ending = match outcome {
                    Ok(outcome) => finish(job, outcome),
                    Err(error) => {
                        let report = Report::stopped(job, error);
                        Box::new(move || report)
                    }
                };
                bar.inc(1);
                ending
            };
            outcomes.into_par_iter().map(finish_one).collect()
        });
        endings.extend(done);
    }
    let reports = endings.into_iter().map(|ending| ending()).collect();
    bar.finish_and_clear();
    Ok(reports)
}

/// An id belongs to the first job that has it; a file system may not tell upper from lower case. A job whose id can't be read has no
/// results that could stand in another's place.
fn claim<'a>(
    taken: &mut BTreeMap<String, &'a Path>,
    job: &'a Path,
    outcome: Outcome,
) -> Result<Outcome, Error> {
    if outcome.job.is_empty() {
        return Ok(outcome);
    }
    match taken.insert(outcome.job.to_lowercase(), job) {
        None => Ok(outcome),
        Some(first) => {
            taken.insert(outcome.job.to_lowercase(), first);
            let why = format!(
                "has the id \"{}\", as {} does; their results would stand in one folder: give each job its own id in [job] id",
                outcome.job,
                first.display()
            );
            Err(Error::Read {
                path: job.to_owned(),
                why,
            })
        }
    }
}

fn bar(jobs: usize, common: &Common) -> ProgressBar {
    if jobs < 2 || common.quiet || common.json || !watched() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(jobs as u64);
    match ProgressStyle::with_template("{bar:40} {pos}/{len} jobs, {eta} left") {
        Ok(style) => bar.with_style(style),
        Err(_) => bar,
    }
}
