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

/// The rows of `pushes.csv`.
#[derive(Default)]
pub struct Pushes {
    /// Pushes.
    pub list: Vec<Push>,
    /// What is known of those that can't be used.
    pub lost: Vec<Lost>,
}

/// A push whose row can't be used; what is not known of it may be anything.
#[derive(Default)]
pub struct Lost {
    /// Index of its run.
    pub run: Option<usize>,
    /// Its name.
    pub id: Option<Arc<str>>,
}

/// What marks and camera rows refer to.
pub struct Refers {
    /// Runs by name.
    pub runs: HashMap<Arc<str>, usize>,
    /// Pushes by run and name.
    pub pushes: HashMap<(usize, Arc<str>), usize>,
    /// Runs by the name of a push, where only one run has a push of that name.
    pub pushed: HashMap<Arc<str>, Option<usize>>,
    /// By run, its pushes' indices and names.
    of_run: HashMap<usize, Vec<(usize, Arc<str>)>>,
    lost: Vec<Lost>,
}

impl Refers {
    /// The indices behind the names.
    pub fn new(runs: &Runs, pushes: &[Push], lost: Vec<Lost>) -> Self {
        let mut refers = Self {
            runs: runs.index.clone(),
            pushes: HashMap::new(),
            pushed: HashMap::new(),
            of_run: HashMap::new(),
            lost,
        };
        for (at, push) in pushes.iter().enumerate() {
            refers.pushes.insert((push.run, Arc::clone(&push.id)), at);
            let of_run = refers.of_run.entry(push.run).or_default();
            of_run.push((at, Arc::clone(&push.id)));
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

    /// The run and push of a row, read from the columns `run` and `push`; a finding if the names are not defined, or if the push is
    /// `needed`, blank, and the run has several. Where the run has one, that is it.
    pub fn place(
        &self,
        row: &mut Row<'_>,
        (run, push): (usize, usize),
        needed: bool,
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
        let found = match push_name {
            Some(name) => self.pushes.get(&(at, Arc::from(name))).copied(),
            None => self.only_push(at),
        };
        match push_name {
            _ if found.is_some() => {}
            Some(name) if self.is_lost(at, Some(name)) => row.forgo(),
            Some(name) => row.refuse(
                Code::UnknownReference,
                &[push],
                &format!("push {} of this run is not in pushes.csv", quoted(name)),
            ),
            None if !needed || row.failed() => {}
            None => self.without_push(row, push, at),
        }
        Some((at, found))
    }

    /// The push of a run that has one and no other.
    fn only_push(&self, run: usize) -> Option<usize> {
        match self.of_run.get(&run).map(Vec::as_slice) {
            Some([(only, _)]) if !self.is_lost(run, None) => Some(*only),
            _ => None,
        }
    }

    /// Whether a push's row may be one that can't be used; without a name, whether any of the run's may.
    fn is_lost(&self, run: usize, name: Option<&str>) -> bool {
        self.lost.iter().any(|lost| {
            let named = lost.id.as_deref().zip(name);
            lost.run.is_none_or(|of| of == run) && named.is_none_or(|(id, name)| id == name)
        })
    }

    /// A row that needs a push and names none, on a run that has not just one.
    fn without_push(&self, row: &mut Row<'_>, column: usize, run: usize) {
        let known = self.of_run.get(&run).into_iter().flatten();
        let lost = self.lost.iter().filter(|lost| lost.run == Some(run));
        let known = known
            .map(|(_, id)| id)
            .chain(lost.filter_map(|lost| lost.id.as_ref()));
        let names: Vec<String> = known.map(|id| quoted(id)).collect();
        if names.len() > 1 {
            let why = format!(
                "the run has several pushes ({}), so each row names its own",
                names.join(", ")
            );
            row.lacks(column, &why);
        } else if self.is_lost(run, None) {
            row.forgo();
        }
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
