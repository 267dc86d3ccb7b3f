//! Names that heights alone use: turning points of a levelling book and of height differences, or slips.
//!
//! A measurement of the plane defines what it names, and the point is undetermined if nothing else does. Heights to a misspelt mark fit
//! as they are, and serve nothing: the mark stays without its ground. So a name has to lead on: levelled to and from, or joined to two
//! others.

use std::collections::{BTreeSet, HashMap, HashSet};
use std::sync::Arc;

use super::names::Names;
use super::problem::{Problem, Subject};
use crate::job::model::{Job, MeasureKind, Source};

/// How heights name a point that nothing else does.
struct Named<'a> {
    name: &'a Arc<str>,
    /// Where first.
    source: &'a Source,
    column: &'static str,
    backsight: bool,
    foresight: bool,
    /// By a height difference.
    measured: bool,
    neighbours: BTreeSet<&'a str>,
}

impl Named<'_> {
    /// Whether levels go on from it.
    fn leads_on(&self) -> bool {
        let turned = self.backsight || self.foresight || self.measured;
        (self.backsight && self.foresight) || (turned && self.neighbours.len() > 1)
    }

    /// Whether it may be an end that was left for another day: a book may begin and close on such.
    fn may_be_left(&self) -> bool {
        (self.backsight || self.foresight) && !self.measured
    }
}

/// The names that heights alone use, in the order of their first use.
struct Found<'a, 'k> {
    known: &'k dyn Fn(&Arc<str>) -> bool,
    index: HashMap<&'a str, usize>,
    list: Vec<Named<'a>>,
}

impl<'a> Found<'a, '_> {
    fn named(
        &mut self,
        name: &'a Arc<str>,
        source: &'a Source,
        column: &'static str,
    ) -> Option<&mut Named<'a>> {
        if (self.known)(name) {
            return None;
        }
        let index = *self.index.entry(name).or_insert_with(|| {
            self.list.push(Named {
                name,
                source,
                column,
                backsight: false,
                foresight: false,
                measured: false,
                neighbours: BTreeSet::new(),
            });
            self.list.len() - 1
        });
        self.list.get_mut(index)
    }

    /// A height between two points.
    fn joined(&mut self, a: &'a Arc<str>, b: &'a Arc<str>) {
        for (name, other) in [(a, b), (b, a)] {
            let index = self.index.get(&**name).copied();
            if let Some(named) = index.and_then(|index| self.list.get_mut(index)) {
                named.neighbours.insert(other);
            }
        }
    }
}

/// Names a problem for each name that leads nowhere; the others, which are points of their own.
pub(super) fn unknown(job: &Job, names: &mut Names, problems: &mut Vec<Problem>) -> Vec<Arc<str>> {
    let differences = || {
        let measures = job.measures.iter();
        measures.filter(|of| of.kind == MeasureKind::HeightDifference)
    };
    if job.levels.is_empty() && differences().next().is_none() {
        return Vec::new();
    }
    // Rows kept out have no point, and their marks are known all the same.
    let marks: HashSet<&str> = job.marks.iter().map(|row| &*row.mark).collect();
    let known = |name: &Arc<str>| names.get(name).is_some() || marks.contains(&**name);
    let mut found = Found {
        known: &known,
        index: HashMap::new(),
        list: Vec::new(),
    };
    let mut setup: Option<&Arc<str>> = None;
    for row in &job.levels {
        if let Some(named) = found.named(&row.point, &row.source, "point") {
            named.backsight |= row.backsight.is_some();
            named.foresight |= row.foresight.is_some();
        }
        if let (Some(from), true) = (setup, row.intermediate.or(row.foresight).is_some()) {
            found.joined(from, &row.point);
        }
        setup = match (row.backsight, row.foresight) {
            (Some(_), _) => Some(&row.point),
            (None, Some(_)) => None,
            (None, None) => setup,
        };
    }
    for measure in differences() {
        for (name, column) in [(&measure.from, "from"), (&measure.to, "to")] {
            if let Some(named) = found.named(name, &measure.source, column) {
                named.measured = true;
            }
        }
        found.joined(&measure.from, &measure.to);
    }
    let (on, ends): (Vec<Named<'_>>, Vec<Named<'_>>) =
        found.list.into_iter().partition(Named::leads_on);
    for end in ends {
        let subject = Subject {
            run: None,
            name: Arc::clone(end.name),
            source: end.source.clone(),
        };
        let mut problem = names.unknown(end.name, &subject, end.column);
        if let Problem::UnknownReference { left, .. } = &mut problem {
            *left = end.may_be_left();
        }
        problems.push(problem);
    }
    on.iter().map(|named| Arc::clone(named.name)).collect()
}
