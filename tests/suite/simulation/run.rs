//! Runs simulated jobs through the crate, each from a folder of its own, on all cores.

use aslaid::pipeline::{Options, Outcome, run};
use rayon::prelude::*;

use super::book::Book;
use super::coverage::Coverage;
use super::scenario::Scenario;
use super::survey::survey;
use super::truth::Truth;
use super::write::write;

/// What the crate makes of a book.
pub fn compute(book: &Book) -> Result<Outcome, String> {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let job = folder.path().join("job");
    write(book, &job);
    run(&job, &Options::default()).map_err(|error| error.to_string())
}

/// So many jobs, times `SIMULATED_JOBS` where that is set.
pub fn jobs(count: usize) -> usize {
    let factor = std::env::var("SIMULATED_JOBS")
        .ok()
        .map_or(1, |text| text.parse().expect("SIMULATED_JOBS: a number"));
    count * factor
}

/// Seed of one job: far from its neighbours'.
fn seed_of(seed: u64, job: usize) -> u64 {
    seed.wrapping_mul(0x9e37_79b9_7f4a_7c15)
        .wrapping_add((job as u64).wrapping_mul(0xbf58_476d_1ce4_e5b9))
}

/// Runs jobs of the scenarios in turn and asks a question of each, in order.
pub fn run_each<T: Send>(
    scenarios: &[Scenario],
    seed: u64,
    jobs: usize,
    ask: impl Fn(&Result<Outcome, String>, &Truth) -> T + Sync,
) -> Vec<T> {
    let one = |job: usize| {
        let (book, truth) = survey(&scenarios[job % scenarios.len()], seed_of(seed, job));
        ask(&compute(&book), &truth)
    };
    (0..jobs).into_par_iter().map(one).collect()
}

/// Runs jobs of the scenarios in turn and tabulates how often the stated regions hold the truth.
pub fn run_many(scenarios: &[Scenario], seed: u64, jobs: usize) -> Coverage {
    run_each(scenarios, seed, jobs, Coverage::of_job)
        .into_iter()
        .fold(Coverage::default(), Coverage::merge)
}
