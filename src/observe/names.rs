//! One namespace of points: control, marks, and points that measurements alone name.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::sync::Arc;

use super::problem::{Problem, Subject};
use super::{MarkPoints, Point, PointId, PointRole};
use crate::job::model::{Job, LostPoints, MarkRow, MeasureKind, Note, Placing, Role, Source, Use};

/// How many unknown names get a suggestion: looking for one costs a pass over all names.
const SUGGESTIONS: usize = 100;
/// How many pairs of names a remark tells.
const TOLD: usize = 4;

/// The points of a job, by name.
#[derive(Default)]
pub(super) struct Names {
    pub(super) points: Vec<Point>,
    pub(super) marks: Vec<MarkPoints>,
    by_name: HashMap<Arc<str>, PointId>,
    /// Where each name was defined first.
    defined: HashMap<Arc<str>, Source>,
    by_mark: HashMap<Arc<str>, usize>,
    /// The point of each row of `marks.csv` that takes part.
    by_row: Vec<Option<PointId>>,
    again: Again,
    lost: LostPoints,
    suggested: usize,
}

/// Marks that several pushes reached. Each push has a mark of its own there, because it lies under the paint with an error of its own
/// and in its own direction: the one whose row gives the place has the plain name and the paint, the others say their push.
#[derive(Default)]
struct Again {
    /// Name of the further mark, by name and push.
    names: HashMap<(Arc<str>, usize), Arc<str>>,
    /// Rows that stand on another's paint: the row, its mark, the mark that was painted.
    on_paint: Vec<(usize, Arc<str>, Arc<str>)>,
}

impl Again {
    fn of(job: &Job) -> Self {
        let mut this = Self::default();
        if job.pushes.len() < 2 {
            return this;
        }
        let mut rows = BTreeMap::<_, Vec<(usize, usize)>>::new();
        for (i, row) in job.marks.iter().enumerate() {
            if let (Use::Yes, Role::Centre, Some(push)) = (row.usage, row.role, row.push) {
                let rows = rows.entry((row.run, &row.mark)).or_default();
                // A second row of one push is a duplicate.
                if rows.iter().all(|(_, other)| *other != push) {
                    rows.push((i, push));
                }
            }
        }
        let placed = |i: usize| job.marks.get(i).is_some_and(|row| has_place(&row.placing));
        for ((_, mark), rows) in rows.into_iter().filter(|(_, rows)| rows.len() > 1) {
            let first = rows.iter().position(|(i, _)| placed(*i)).unwrap_or(0);
            for (_, &(i, push)) in rows.iter().enumerate().filter(|(at, _)| *at != first) {
                let Some(pushed) = job.pushes.get(push) else {
                    continue;
                };
                let name: Arc<str> = format!("{mark} ({})", pushed.id).into();
                if !placed(i) {
                    this.on_paint.push((i, Arc::clone(&name), Arc::clone(mark)));
                }
                this.names.insert((Arc::clone(mark), push), name);
            }
        }
        this
    }

    /// The name of a row's mark.
    fn name<'a>(&'a self, row: &'a MarkRow) -> &'a Arc<str> {
        let key = row.push.filter(|_| !self.names.is_empty());
        let further = key.and_then(|push| self.names.get(&(Arc::clone(&row.mark), push)));
        further.unwrap_or(&row.mark)
    }
}

/// Whether a row says anything about its place.
pub(super) fn has_place(placing: &Placing) -> bool {
    placing.baseline.is_some()
        || !placing.ties.is_empty()
        || placing.polar.is_some()
        || placing.gnss.is_some()
        || placing.grid.is_some()
        || placing.window.is_some()
}

/// Letters that must be changed, added or dropped to make one name of the other; `limit` + 1 where more.
fn distance(a: &str, b: &str, limit: usize) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    if a.len().abs_diff(b.len()) > limit {
        return limit + 1;
    }
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.iter().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let above = row[j + 1];
            row[j + 1] = (diagonal + usize::from(x != y))
                .min(above + 1)
                .min(row[j] + 1);
            diagonal = above;
        }
    }
    row[b.len()]
}

impl Names {
    pub(super) fn new(job: &Job, problems: &mut Vec<Problem>) -> Self {
        let mut this = Self {
            lost: job.lost.clone(),
            by_row: vec![None; job.marks.len()],
            again: Again::of(job),
            ..Self::default()
        };
        let in_use = job.control.iter().filter(|row| row.usage == Use::Yes);
        let in_use: HashSet<&Arc<str>> = in_use.map(|row| &row.point).collect();
        for (i, control) in job.control.iter().enumerate() {
            // What is only compared defines a point that no other row does.
            let compared = control.usage == Use::Check;
            if compared
                && (in_use.contains(&control.point) || this.defined.contains_key(&control.point))
            {
                continue;
            }
            let subject = Subject {
                run: None,
                name: Arc::clone(&control.point),
                source: control.source.clone(),
            };
            if let Some(first) = this.defined.get(&control.point) {
                problems.push(Problem::Duplicate {
                    subject,
                    first: first.clone(),
                });
            } else {
                this.add(&control.point, PointRole::Control(i));
                this.defined
                    .insert(Arc::clone(&control.point), control.source.clone());
            }
        }
        for (i, row) in job
            .marks
            .iter()
            .enumerate()
            .filter(|(_, row)| row.usage == Use::Yes)
        {
            this.mark_row(i, row, problems);
        }
        this.share_paint();
        this.expose_where_located(job);
        for measure in job
            .measures
            .iter()
            .filter(|m| !matches!(m.kind, MeasureKind::HeightDifference))
        {
            let at = if let MeasureKind::Angle { at } = &measure.kind {
                Some(at)
            } else {
                None
            };
            for name in [Some(&measure.from), Some(&measure.to), at]
                .into_iter()
                .flatten()
            {
                if !this.by_name.contains_key(name) && measure.usage == Use::Yes {
                    this.add(name, PointRole::Auxiliary);
                    this.defined
                        .insert(Arc::clone(name), measure.source.clone());
                }
            }
        }
        this
    }

    fn add(&mut self, name: &Arc<str>, role: PointRole) -> PointId {
        let id = PointId(self.points.len() as u32);
        self.points.push(Point {
            name: Arc::clone(name),
            role,
            fixed: None,
            site: None,
        });
        self.by_name.entry(Arc::clone(name)).or_insert(id);
        id
    }

    fn mark_row(&mut self, i: usize, row: &MarkRow, problems: &mut Vec<Problem>) {
        let mark = Arc::clone(self.again.name(row));
        let subject = Subject {
            run: Some(row.run),
            name: Arc::clone(&mark),
            source: row.source.clone(),
        };
        let index = if let Some(&index) = self.by_mark.get(&mark) {
            index
        } else {
            if let Some(first) = self.defined.get(&mark) {
                problems.push(Problem::Duplicate {
                    subject,
                    first: first.clone(),
                });
                return;
            }
            self.defined.insert(Arc::clone(&mark), row.source.clone());
            self.by_mark.insert(Arc::clone(&mark), self.marks.len());
            self.marks.push(MarkPoints {
                name: Arc::clone(&mark),
                run: row.run,
                ..MarkPoints::default()
            });
            self.marks.len() - 1
        };
        let taken = self.marks[index].of(row.role).is_some();
        if taken || self.marks[index].run != row.run {
            if let Some(first) = self.defined.get(&mark) {
                problems.push(Problem::Duplicate {
                    subject,
                    first: first.clone(),
                });
            }
            return;
        }
        let elsewhere = row.role == Role::Exposed || (row.role == Role::Centre && mark != row.mark);
        if elsewhere && !has_place(&row.placing) {
            return;
        }
        let name: Arc<str> = match row.role.suffix() {
            "" => mark,
            suffix => format!("{mark}{suffix}").into(),
        };
        let id = self.add(&name, PointRole::Mark(i));
        self.set(index, row.role, (i, id));
    }

    fn set(&mut self, mark: usize, role: Role, (row, id): (usize, PointId)) {
        *self.marks[mark].of_mut(role) = Some((row, id));
        self.by_row[row] = Some(id);
    }

    /// Marks that a further push reached, without a place of their own, have the paint of the row that gives it.
    fn share_paint(&mut self) {
        for (row, mark, paint) in std::mem::take(&mut self.again.on_paint) {
            let paint = self
                .by_mark
                .get(&paint)
                .and_then(|&mark| self.marks[mark].centre);
            if let (Some((_, id)), Some(&mark)) = (paint, self.by_mark.get(&mark))
                && self.marks[mark].centre.is_none()
            {
                self.set(mark, Role::Centre, (row, id));
            }
        }
    }

    /// An exposure without a place of its own lies at its mark's centre; a mark without a centre is called by the
    /// place that it has.
    fn expose_where_located(&mut self, job: &Job) {
        for (i, row) in job.marks.iter().enumerate() {
            if row.usage != Use::Yes || row.role != Role::Exposed || has_place(&row.placing) {
                continue;
            }
            let mark = Arc::clone(self.again.name(row));
            let Some(&index) = self.by_mark.get(&mark) else {
                continue;
            };
            if self.marks[index].exposed.is_none() && self.marks[index].run == row.run {
                let id = match self.marks[index].centre {
                    Some((_, id)) => id,
                    None => self.add(&format!("{mark} exposed").into(), PointRole::Mark(i)),
                };
                self.set(index, Role::Exposed, (i, id));
            }
        }
        for mark in &self.marks {
            let place = mark
                .centre
                .or(mark.exposed)
                .or(mark.peak)
                .or(mark.ahead)
                .or(mark.behind);
            if let Some((_, id)) = place {
                self.by_name.entry(Arc::clone(&mark.name)).or_insert(id);
            }
        }
    }

    /// The point of a name.
    pub(super) fn get(&self, name: &str) -> Option<PointId> {
        self.by_name.get(name).copied()
    }

    /// The point of a row of `marks.csv`, by its number; of one that is only compared, the point that it is compared with.
    pub(super) fn of_row(&self, i: usize, row: &MarkRow) -> Option<PointId> {
        if row.usage == Use::Yes {
            return *self.by_row.get(i)?;
        }
        let mark = self.marks.get(*self.by_mark.get(self.again.name(row))?)?;
        mark.of(row.role).map(|(_, id)| id)
    }

    /// What a row's mark is called.
    pub(super) fn called(&self, row: &MarkRow) -> Arc<str> {
        Arc::clone(self.again.name(row))
    }

    /// Whether a row's mark was located or seen by another row that is used.
    pub(super) fn located(&self, row: &MarkRow) -> bool {
        let mark = self.by_mark.get(self.again.name(row));
        let points = mark.and_then(|mark| self.marks.get(*mark));
        points.is_some_and(|points| points.centre.or(points.exposed).is_some())
    }

    /// Rows of marks that are only compared, and their marks.
    pub(super) fn compared(&self, job: &Job) -> BTreeMap<usize, usize> {
        let rows = job.marks.iter().enumerate();
        let checks = rows.filter(|(_, row)| row.usage == Use::Check);
        checks
            .filter_map(|(i, row)| Some((i, *self.by_mark.get(self.again.name(row))?)))
            .collect()
    }

    /// The point of a name, or the problem that nothing defines it.
    pub(super) fn resolve(
        &mut self,
        name: &Arc<str>,
        subject: &Subject,
        column: &str,
        problems: &mut Vec<Problem>,
    ) -> Option<PointId> {
        let found = self.get(name);
        if found.is_none() {
            problems.push(self.unknown(name, subject, column));
        }
        found
    }

    /// The problem that nothing defines a name.
    pub(super) fn unknown(&mut self, name: &Arc<str>, subject: &Subject, column: &str) -> Problem {
        let subject = subject.clone();
        if self.lost.may_be(name) {
            return Problem::Lost { subject };
        }
        self.suggested += 1;
        let near = (self.suggested <= SUGGESTIONS).then(|| self.near(name));
        Problem::UnknownReference {
            subject,
            name: Arc::clone(name),
            column: column.to_owned(),
            near: near.flatten(),
            left: false,
        }
    }

    /// The defined name nearest to one that is not.
    fn near(&self, name: &str) -> Option<Arc<str>> {
        let wanted = name.to_lowercase();
        let limit = if wanted.chars().count() < 4 { 1 } else { 2 };
        self.points
            .iter()
            .map(|point| {
                (
                    distance(&point.name.to_lowercase(), &wanted, limit),
                    &point.name,
                )
            })
            .filter(|(d, _)| *d <= limit)
            .min()
            .map(|(_, name)| Arc::clone(name))
    }

    /// Names that differ in capitals or blanks only, `levelled` ones among them, as a remark: they are two points, and may have been
    /// meant as one.
    pub(super) fn alike(&self, levelled: &[Arc<str>]) -> Option<Note> {
        let fold = |name: &str| -> String {
            let letters = name.chars().filter(|letter| !letter.is_whitespace());
            letters.flat_map(char::to_lowercase).collect()
        };
        let mut seen: HashMap<String, &Arc<str>> = HashMap::with_capacity(self.points.len());
        let mut pairs = Vec::new();
        let points = self.points.iter().map(|point| {
            let defined = self.defined.contains_key(&point.name);
            (&point.name, defined)
        });
        for (name, defined) in points.chain(levelled.iter().map(|name| (name, true))) {
            let first = *seen.entry(fold(name)).or_insert(name);
            if first != name && defined {
                pairs.push(format!("{first} and {name}"));
            }
        }
        let (told, more) = (pairs.len().min(TOLD), pairs.len().saturating_sub(TOLD));
        let more = match more {
            0 => String::new(),
            more => format!(" (and {more} more)"),
        };
        (told > 0).then(|| Note {
            source: None,
            text: format!(
                "{}{more} differ in capital letters or blanks only, and are taken as different points: write them alike where one is meant.",
                pairs[..told].join(", ")
            ),
        })
    }

    /// Finds a problem with a name that is no point (a run, a push's opening).
    pub(super) fn defines(&self, name: &str) -> bool {
        self.by_name.contains_key(name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_between_names() {
        assert_eq!(distance("p1", "p1", 2), 0);
        assert_eq!(distance("corner", "conrer", 2), 2);
        assert_eq!(distance("p1", "q12", 2), 2);
        assert_eq!(distance("p1", "baseline", 2), 3);
    }
}
