//! The tables, row by row: one file each.

mod camera;
mod control;
mod levels;
mod marks;
mod measures;
mod placing;
mod pushes;
mod runs;

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

pub use camera::read as camera;
pub use control::read as control;
pub use levels::read as levels;
pub use marks::read as marks;
pub use measures::read as measures;
pub use pushes::read as pushes;
pub use runs::{AXIS, Runs, mentioned, read as runs};

use super::model::{North, Push, Source, Use};
use super::row::{Row, quoted};
use crate::findings::Code;

/// Each name once, shared by all that use it.
#[derive(Default)]
pub struct Names(HashSet<Arc<str>>);

impl Names {
    /// The shared copy of a name.
    pub fn share(&mut self, name: &str) -> Arc<str> {
        if let Some(shared) = self.0.get(name) {
            return Arc::clone(shared);
        }
        let shared: Arc<str> = Arc::from(name);
        self.0.insert(Arc::clone(&shared));
        shared
    }
}

/// What marks and camera rows refer to.
pub struct Refers {
    /// Runs by name.
    pub runs: HashMap<Arc<str>, usize>,
    /// Pushes by run and name.
    pub pushes: HashMap<(usize, Arc<str>), usize>,
    /// Runs by the name of a push, where only one run has a push of that name.
    pub pushed: HashMap<Arc<str>, Option<usize>>,
}

impl Refers {
    /// The indices behind the names.
    pub fn new(runs: &Runs, pushes: &[Push]) -> Self {
        let mut refers = Self {
            runs: runs.index.clone(),
            pushes: HashMap::new(),
            pushed: HashMap::new(),
        };
        for (at, push) in pushes.iter().enumerate() {
            refers.pushes.insert((push.run, Arc::clone(&push.id)), at);
            let only = refers
                .pushed
                .entry(Arc::clone(&push.id))
                .or_insert(Some(push.run));
            if *only != Some(push.run) {
                *only = None;
            }
        }
        refers
    }

    fn run(&self, row: &mut Row<'_>, column: usize, name: &str) -> Option<usize> {
        let found = self.runs.get(name).copied();
        if found.is_none() {
            let message = format!(
                "run {} is not known: add it to job.toml or runs.csv, or mend the name",
                quoted(name)
            );
            row.refuse(Code::UnknownReference, &[column], &message);
        }
        found
    }

    /// The run and push of a row; a finding if the names are not defined.
    pub fn place(
        &self,
        row: &mut Row<'_>,
        run: usize,
        push: usize,
    ) -> Option<(usize, Option<usize>)> {
        let named = row.name(run);
        let push_name = row.name(push);
        let by_push = push_name.and_then(|name| self.pushed.get(name).copied().flatten());
        let at = match (named, by_push) {
            (Some(name), _) => self.run(row, run, name),
            (None, Some(at)) => Some(at),
            (None, None) if self.runs.len() == 1 => Some(0),
            (None, None) => {
                row.lacks(
                    run,
                    "the job has more than one run, so each row names its own",
                );
                None
            }
        }?;
        let Some(name) = push_name else {
            return Some((at, None));
        };
        let found = self.pushes.get(&(at, Arc::from(name))).copied();
        if found.is_none() {
            row.refuse(
                Code::UnknownReference,
                &[push],
                &format!("push {} of this run is not in pushes.csv", quoted(name)),
            );
        }
        Some((at, found))
    }
}

/// The north that a bearing is from.
fn north(row: &mut Row<'_>, column: usize) -> North {
    match row.word(column) {
        Some("true") => North::True,
        Some("grid") => North::Grid,
        _ => North::Magnetic,
    }
}

/// `use`: rows with `no` never get here.
fn usage(row: &Row<'_>) -> Use {
    match row.usage() {
        Some("check") => Use::Check,
        _ => Use::Yes,
    }
}

/// Remembers where a name was defined; a second definition is a finding, and the row is lost.
fn once<K: std::hash::Hash + Eq>(
    seen: &mut HashMap<K, Source>,
    key: K,
    row: &mut Row<'_>,
    column: usize,
    what: &str,
) {
    if row.failed() {
        return;
    }
    if let Some(first) = seen.get(&key) {
        let message = format!(
            "{what} is defined in {first} already; give one of them another name, or use = check or no"
        );
        row.refuse(Code::Duplicate, &[column], &message);
    } else {
        seen.insert(key, row.source());
    }
}
