//! How long each stage took, for whoever asks with the environment variable `ASLAID_TIMES`: the command is the only clock.
//!
//! Times are summed over the jobs and threads. A thread that takes up another job's work in the middle of a stage counts it
//! there: with `--jobs 1` every time is a stage's own.

use std::cell::Cell;
use std::collections::BTreeMap;
use std::io::{self, Write};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use crate::watch;

thread_local! {
    /// When the stage now at work on this thread began.
    static SINCE: Cell<Option<Instant>> = const { Cell::new(None) };
}

/// By stage: in which order it was first met, and how long it took.
static TIMES: Mutex<BTreeMap<&'static str, (usize, Duration)>> = Mutex::new(BTreeMap::new());

/// Measures from now on, if it was asked for.
pub fn begin() {
    if std::env::var_os("ASLAID_TIMES").is_some_and(|asked| !asked.is_empty()) {
        watch::tell(end);
    }
}

fn end(stage: &'static str) {
    let now = Instant::now();
    let since = SINCE.replace(Some(now));
    if let Some(since) = since.filter(|_| !stage.is_empty()) {
        let mut times = TIMES.lock().unwrap_or_else(PoisonError::into_inner);
        let met = times.len();
        times.entry(stage).or_insert((met, Duration::ZERO)).1 += now - since;
    }
}

/// Prints the stages in the order in which they were met, seconds and shares, to standard error.
pub fn print() {
    let times = TIMES.lock().unwrap_or_else(PoisonError::into_inner);
    let all: Duration = times.values().map(|(_, took)| *took).sum();
    let mut stages: Vec<_> = times.iter().collect();
    stages.sort_by_key(|(_, (met, _))| *met);
    for (stage, (_, took)) in stages {
        let (seconds, share) = (took.as_secs_f64(), took.as_secs_f64() / all.as_secs_f64());
        // Nothing is left to tell it to, if standard error is closed.
        let _ = writeln!(
            io::stderr(),
            "{stage:24} {seconds:10.4} s {:6.2} %",
            share * 100.0
        );
    }
}
