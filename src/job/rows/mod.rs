//! The tables, row by row: one file each.

mod camera;
mod control;
mod levels;
mod marks;
mod measures;
mod placing;
mod pushes;
mod runs;

use std::collections::{BTreeSet, HashMap, HashSet};
use std::sync::Arc;

pub use camera::read as camera;
pub use control::read as control;
pub use levels::read as levels;
pub use marks::read as marks;
pub use measures::read as measures;
pub use pushes::read as pushes;
pub use runs::{AXIS, POLE, Runs, mentioned, read as runs};

use super::model::{North, Push, Source, Use};
use super::row::{Row, quoted};
use crate::findings::Code;

/// Each name once, shared by all that use it.
#[derive(Default)]
pub struct Names {
    all: HashSet<Arc<str>>,
    /// Those of points whose rows can't be used.
    pub lost: BTreeSet<Arc<str>>,
}

impl Names {
    /// The shared copy of a name.
    pub fn share(&mut self, name: &str) -> Arc<str> {
        if let Some(shared) = self.all.get(name) {
            return Arc::clone(shared);
        }
        let shared: Arc<str> = Arc::from(name);
        self.all.insert(Arc::clone(&shared));
        shared
    }
}

/// No more pushes are named in a message.
const NAMED: usize = 6;

/// The rows of `pushes.csv`.
#[derive(Default)]
pub struct Pushes {
    /// Pushes.
    pub list: Vec<Push>,
    /// Those that can't be used.
    pub lost: Lost,
}

/// Pushes whose rows can't be used; what is not known of one may be anything.
#[derive(Default)]
pub struct Lost {
    known: HashSet<(Option<usize>, Option<Arc<str>>)>,
    /// Names by run, no more than a message has.
    by_run: HashMap<Option<usize>, Vec<Arc<str>>>,
}

impl Lost {
    /// Adds one by what is known of it: the index of its run, and its name.
    pub fn add(&mut self, run: Option<usize>, id: Option<&str>) {
        let id: Option<Arc<str>> = id.map(Arc::from);
        let names = self.by_run.entry(run).or_default();
        names.extend(id.clone().filter(|_| names.len() < NAMED));
        self.known.insert((run, id));
    }

    /// Whether a push may be one of them; without a name, whether any of the run's may.
    fn may_be(&self, run: usize, name: Option<&str>) -> bool {
        [Some(run), None].into_iter().any(|run| match name {
            None => self.by_run.contains_key(&run),
            Some(name) => {
                self.known.contains(&(run, None))
                    || self.known.contains(&(run, Some(Arc::from(name))))
            }
        })
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
    /// By run, its pushes' indices and names.
    of_run: HashMap<usize, Vec<(usize, Arc<str>)>>,
    lost: Lost,
}

impl Refers {
    /// The indices behind the names.
    pub fn new(runs: &Runs, pushes: &[Push], lost: Lost) -> Self {
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
            (None, None) if self.runs.is_empty() => {
                // That a run has no id, or none can be used, has been said.
                row.forgo();
                None
            }
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
            Some(name) if self.lost.may_be(at, Some(name)) => row.forgo(),
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
            Some([(only, _)]) if !self.lost.may_be(run, None) => Some(*only),
            _ => None,
        }
    }

    /// A row that needs a push and names none, on a run that has not just one.
    fn without_push(&self, row: &mut Row<'_>, column: usize, run: usize) {
        let known = self.of_run.get(&run).into_iter().flatten();
        let lost = self.lost.by_run.get(&Some(run)).into_iter().flatten();
        let all = known.map(|(_, id)| id).chain(lost);
        let mut names: Vec<String> = all.take(NAMED).map(|id| quoted(id)).collect();
        if names.len() == NAMED {
            names.truncate(NAMED - 1);
            names.push("\u{2026}".to_owned());
        }
        if names.len() > 1 {
            let why = format!(
                "the run has several pushes ({}), so each row names its own",
                names.join(", ")
            );
            row.lacks(column, &why);
        } else if self.lost.may_be(run, None) {
            row.forgo();
        }
    }
}

/// Whether a cell of the column `use` leaves its row out, as a row reads it.
fn is_no(cell: &str) -> bool {
    ["no", "n"]
        .iter()
        .any(|no| cell.trim().eq_ignore_ascii_case(no))
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
