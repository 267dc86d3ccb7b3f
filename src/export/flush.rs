//! Files on their way to the disk.
//!
//! Flushing is waiting, milliseconds for each file, and a disk that is asked for many flushes at once does them together. So
//! threads of its own wait: for all files of a job at once, and for many jobs while the next ones are computed. What comes
//! after the flushes of a job, putting its folder in place, is done by whichever thread saw the last of them end.

use std::collections::VecDeque;
use std::fs::File;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, sync_channel};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::Builder;

use super::place::failed;
use crate::error::Error;

/// Threads that wait. Our choice, as measured on ext4 over a virtual disk: a file of 20 kB took 5.8 ms by itself, 0.6 ms among
/// eight at once, 0.3 ms among 32, and no less among 64 or 128.
const WAITERS: usize = 32;

/// Jobs on their way to the disk at once: enough for every thread that waits, few enough for the 1,024 files that a process may
/// usually have open.
const JOBS: usize = 24;

/// What is to be done, and who does it.
struct Waiters {
    tasks: VecDeque<Box<dyn FnOnce() + Send>>,
    threads: usize,
    idle: usize,
}

static WAITING: (Mutex<Waiters>, Condvar) = (
    Mutex::new(Waiters {
        tasks: VecDeque::new(),
        threads: 0,
        idle: 0,
    }),
    Condvar::new(),
);

/// Does it on a thread that waits; a further one begins where all are busy, until there are [`WAITERS`]: one job has a few files.
fn elsewhere(task: impl FnOnce() + Send + 'static) {
    let (waiters, more) = &WAITING;
    let mut now = held(waiters);
    now.tasks.push_back(Box::new(task));
    if now.idle >= now.tasks.len() || now.threads == WAITERS {
        more.notify_one();
        return;
    }
    let begun = Builder::new()
        .name("flush".to_owned())
        .spawn(wait_for_tasks);
    now.threads += usize::from(begun.is_ok());
    // Where the system gives no thread at all, who has something to flush waits himself.
    if now.threads == 0 {
        let own = now.tasks.pop_back();
        drop(now);
        own.into_iter().for_each(|task| task());
    }
}

fn wait_for_tasks() {
    let (waiters, more) = &WAITING;
    loop {
        let mut now = held(waiters);
        now.idle += 1;
        now = more
            .wait_while(now, |now| now.tasks.is_empty())
            .unwrap_or_else(PoisonError::into_inner);
        now.idle -= 1;
        let task = now.tasks.pop_front();
        drop(now);
        // What a task that panics leaves is told by whoever waits for it.
        let _ = catch_unwind(AssertUnwindSafe(|| {
            task.into_iter().for_each(|task| task());
        }));
    }
}

/// How many jobs are on their way.
static ON_THE_WAY: (Mutex<usize>, Condvar) = (Mutex::new(0), Condvar::new());

/// A job's turn: it has one from its files' being written until its folder is in place.
struct Turn;

impl Turn {
    /// Waits for one. The threads that wait for the disk never do, so that turns always come.
    fn take() -> Self {
        let (count, given_back) = &ON_THE_WAY;
        let taken = given_back.wait_while(held(count), |count| *count >= JOBS);
        *taken.unwrap_or_else(PoisonError::into_inner) += 1;
        Self
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        let (count, given_back) = &ON_THE_WAY;
        *held(count) -= 1;
        given_back.notify_one();
    }
}

fn held<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

type Next = Box<dyn FnOnce(Result<(), Error>) + Send>;

/// The flushes of one job.
pub struct Flushes(Arc<Mutex<State>>);

struct State {
    /// Flushes that have not ended, and one more until it is said what comes next.
    left: usize,
    /// Of several failures that of the first path, so that it is always the same.
    failed: Option<(PathBuf, Error)>,
    next: Option<Next>,
}

/// What is still being put in place.
#[must_use = "whether it succeeded is known only when it was waited for"]
pub struct Pending<T>(Receiver<Result<T, Error>>);

impl<T> Pending<T> {
    /// Waits for the end.
    ///
    /// # Errors
    /// What went wrong meanwhile.
    pub fn wait(self, what: &Path) -> Result<T, Error> {
        self.0.recv().unwrap_or_else(|_| {
            Err(failed(
                what,
                &std::io::Error::other("the thread that wrote it has ended"),
            ))
        })
    }
}

impl Flushes {
    /// None yet.
    #[must_use]
    pub fn new() -> Self {
        Self(Arc::new(Mutex::new(State {
            left: 1,
            failed: None,
            next: None,
        })))
    }

    /// Begins to flush a file that is written.
    pub fn add(&self, file: File, path: PathBuf) {
        held(&self.0).left += 1;
        let state = Arc::clone(&self.0);
        elsewhere(move || {
            let failure = file.sync_all().err().map(|why| failed(&path, &why));
            drop(file);
            if let Some((next, flushed)) = settle(&state, failure.map(|error| (path, error))) {
                next(flushed);
            }
        });
    }

    /// Does `next` when all have ended, with the first failure if there was one; not on this thread.
    pub fn then<T: Send + 'static>(
        self,
        next: impl FnOnce(Result<(), Error>) -> Result<T, Error> + Send + 'static,
    ) -> Pending<T> {
        let turn = Turn::take();
        let (give, take) = sync_channel(1);
        held(&self.0).next = Some(Box::new(move |flushed| {
            let done = next(flushed);
            drop(turn);
            // Nobody waits where the command has ended already.
            let _ = give.send(done);
        }));
        if let Some((next, flushed)) = settle(&self.0, None) {
            elsewhere(move || next(flushed));
        }
        Pending(take)
    }
}

impl Default for Flushes {
    fn default() -> Self {
        Self::new()
    }
}

/// One less; what comes next, if it was the last.
fn settle(
    state: &Mutex<State>,
    failure: Option<(PathBuf, Error)>,
) -> Option<(Next, Result<(), Error>)> {
    let mut state = held(state);
    state.left -= 1;
    if let Some(failure) = failure
        && state
            .failed
            .as_ref()
            .is_none_or(|(path, _)| failure.0 < *path)
    {
        state.failed = Some(failure);
    }
    if state.left > 0 {
        return None;
    }
    let next = state.next.take()?;
    let flushed = state.failed.take().map_or(Ok(()), |(_, error)| Err(error));
    Some((next, flushed))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_comes_next_waits_for_every_flush() {
        let folder = tempfile::tempdir().unwrap();
        // More than there are turns and threads.
        let pending: Vec<_> = (0..5 * JOBS)
            .map(|job| {
                let flushes = Flushes::new();
                for part in 0..3 {
                    let path = folder.path().join(format!("{job}-{part}"));
                    std::fs::write(&path, "x").unwrap();
                    flushes.add(File::open(&path).unwrap(), path);
                }
                let left = Arc::clone(&flushes.0);
                flushes.then(move |flushed| flushed.map(|()| (job, held(&left).left)))
            })
            .collect();
        for (job, pending) in pending.into_iter().enumerate() {
            assert_eq!(pending.wait(folder.path()).unwrap(), (job, 0));
        }
    }

    /// A pipe can't be flushed: the system says so, and it must reach whoever waits.
    #[cfg(unix)]
    #[test]
    fn a_failure_is_told_once_and_always_the_same() {
        for _ in 0..50 {
            let flushes = Flushes::new();
            for name in ["c", "a", "b"] {
                let (end, _other) = std::io::pipe().unwrap();
                flushes.add(
                    File::from(std::os::fd::OwnedFd::from(end)),
                    PathBuf::from(name),
                );
            }
            let pending = flushes.then(|flushed| flushed);
            let error = pending.wait(Path::new("all")).unwrap_err();
            assert!(
                matches!(&error, Error::Write { path, .. } if path == Path::new("a")),
                "{error}"
            );
        }
    }
}
