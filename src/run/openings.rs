//! Path lengths: counters of one or several pushes put on one line.
//!
//! From its opening, the transmitter of a push lies at ±(counter − counter at start − lens to transmitter), downstream positive.
//! Pushes from one opening share its zero, whatever their counters were set to. Another opening is tied to the first by a mark
//! that is the opening or that both reached; failing that, by where its marks lie (then no cable length runs across).

use super::order::Entry;
use std::collections::BTreeMap;
use std::sync::Arc;

use super::{Inputs, Members, Path};
use crate::job::model::{MarkRow, Stream};

/// Where one push's counter starts on the run's line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Zero {
    /// Index into `job.pushes`; `None` for rows that name no push.
    pub push: Option<usize>,
    /// The counter's reading with the lens at the opening.
    pub start: f64,
    /// The way that the counter grows.
    pub pushed: Stream,
    /// Path of the opening.
    pub opening: Path,
}

impl Zero {
    /// Path of the lens at a counter reading.
    #[must_use]
    pub fn lens(&self, counter: f64) -> Path {
        let length = counter - self.start;
        let down = self.pushed == Stream::Down;
        Path {
            at: self.opening.at + if down { length } else { -length },
            line: self.opening.line,
        }
    }
}

/// Fills in [`Entry::path`]; returns where the counters start.
pub(super) fn set_paths(
    inputs: Inputs<'_>,
    members: Members<'_>,
    entries: &mut [Entry<'_>],
) -> Vec<Zero> {
    let openings = Openings::of(inputs, members);
    let mut origins = vec![None; openings.names.len()];
    if let Some(first) = origins.first_mut() {
        *first = Some((0.0, 0));
    }
    let mut lines = 1;
    let reached = reached(inputs, &openings, entries);
    while origins.iter().any(Option::is_none) {
        if tie_by_marks(&openings, &reached, &mut origins) {
            continue;
        }
        // The first one left, in the order of the pushes: tied by where its marks lie.
        if let Some(left) = origins.iter().position(Option::is_none) {
            let origin = by_place(&openings, inputs, entries, &origins, left);
            if let Some(slot) = origins.get_mut(left) {
                *slot = Some((origin, lines));
            }
            lines += 1;
        }
    }
    for entry in entries {
        entry.path = entry.row().and_then(|row| {
            let (opening, at) = openings.path(inputs, row)?;
            let (origin, line) = (*origins.get(opening)?)?;
            Some(Path {
                at: origin + at,
                line,
            })
        });
    }
    openings.zeros(inputs, &origins)
}

struct Openings {
    run: usize,
    /// Distinct openings of the run's pushes, in their order; one nameless if the run has no pushes.
    names: Vec<Option<Arc<str>>>,
    /// Each push's opening.
    of_push: BTreeMap<usize, usize>,
}

impl Openings {
    fn of(inputs: Inputs<'_>, members: Members<'_>) -> Self {
        let (mut names, mut of_push) = (Vec::new(), BTreeMap::new());
        let mut known: BTreeMap<Option<&str>, usize> = BTreeMap::new();
        for &index in members.pushes {
            let Some(push) = inputs.job.pushes.get(index) else {
                continue;
            };
            let opening = *known.entry(push.start.as_deref()).or_insert_with(|| {
                names.push(push.start.clone());
                names.len() - 1
            });
            of_push.insert(index, opening);
        }
        if names.is_empty() {
            names.push(None);
        }
        Self {
            run: members.run,
            names,
            of_push,
        }
    }

    fn zeros(&self, inputs: Inputs<'_>, origins: &[Option<(f64, u32)>]) -> Vec<Zero> {
        let path = |opening: usize| {
            let (at, line) = (*origins.get(opening)?)?;
            Some(Path { at, line })
        };
        let unnamed = || {
            Some(Zero {
                push: None,
                start: 0.0,
                pushed: inputs.job.runs.get(self.run)?.pushed,
                opening: path(0)?,
            })
        };
        let named = self.of_push.iter().filter_map(|(&index, &opening)| {
            let push = inputs.job.pushes.get(index)?;
            Some(Zero {
                push: Some(index),
                start: push.counter_at_start,
                pushed: push.pushed,
                opening: path(opening)?,
            })
        });
        unnamed().into_iter().chain(named).collect()
    }

    /// The opening that a row was pushed from, and the transmitter's path length from it.
    fn path(&self, inputs: Inputs<'_>, row: &MarkRow) -> Option<(usize, f64)> {
        let counter = row.counter?;
        let push = row
            .push
            .and_then(|index| Some((inputs.job.pushes.get(index)?, *self.of_push.get(&index)?)));
        let (pushed, start, opening) = match push {
            Some((push, opening)) => (push.pushed, push.counter_at_start, opening),
            None => (inputs.job.runs.get(self.run)?.pushed, 0.0, 0),
        };
        let length = counter - start - inputs.job.equipment.lens_to_transmitter.unwrap_or(0.0);
        Some((
            opening,
            if pushed == Stream::Down {
                length
            } else {
                -length
            },
        ))
    }
}

/// A mark's name in the field, and the openings that it was reached from with the path length from each.
type Reached<'a> = (&'a str, Vec<(usize, f64)>);

/// What was reached, in the order of the entries; several pushes may have reached one mark.
fn reached<'a>(inputs: Inputs<'a>, openings: &Openings, entries: &[Entry<'a>]) -> Vec<Reached<'a>> {
    let mut all: Vec<Reached<'a>> = Vec::with_capacity(entries.len());
    let mut known = BTreeMap::new();
    for entry in entries {
        let rows = [entry.centre.map(|(_, row)| row), entry.exposed];
        for row in rows.into_iter().flatten() {
            let at = *known.entry(&*row.mark).or_insert_with(|| {
                all.push((&row.mark, Vec::new()));
                all.len() - 1
            });
            if let (Some(path), Some((_, from))) = (openings.path(inputs, row), all.get_mut(at)) {
                from.push(path);
            }
        }
    }
    all
}

/// Ties openings that a reached mark is, or that reached the same mark; true if one was tied.
fn tie_by_marks(
    openings: &Openings,
    reached: &[Reached<'_>],
    origins: &mut [Option<(f64, u32)>],
) -> bool {
    let mut tied = false;
    for (name, reached) in reached {
        let known = reached.iter().find_map(|&(opening, at)| {
            let (origin, line) = (*origins.get(opening)?)?;
            Some((origin + at, line))
        });
        let Some((at_mark, line)) = known else {
            continue;
        };
        for (opening, origin) in origins
            .iter_mut()
            .enumerate()
            .filter(|(_, origin)| origin.is_none())
        {
            let is_mark = openings
                .names
                .get(opening)
                .is_some_and(|start| start.as_deref() == Some(*name));
            let shared = reached
                .iter()
                .find(|(other, _)| *other == opening)
                .map(|(_, at)| *at);
            if let Some(at) = shared.or(is_mark.then_some(0.0)) {
                *origin = Some((at_mark - at, line));
                tied = true;
            }
        }
    }
    tied
}

/// The origin of an opening by the middle of its marks, seen along the run's own direction.
fn by_place(
    openings: &Openings,
    inputs: Inputs<'_>,
    entries: &[Entry<'_>],
    origins: &[Option<(f64, u32)>],
    left: usize,
) -> f64 {
    let mut placed = Vec::new();
    let mut loose = Vec::new();
    for entry in entries {
        let Some((opening, at)) = entry.row().and_then(|row| openings.path(inputs, row)) else {
            continue;
        };
        let (_, place) = entry.place();
        match origins.get(opening).copied().flatten() {
            Some((origin, _)) => placed.push((origin + at, place.e, place.n)),
            None if opening == left => loose.push((at, place.e, place.n)),
            None => {}
        }
    }
    let (Some(here), Some(there)) = (middle(&placed), middle(&loose)) else {
        return 0.0;
    };
    // Downstream direction: how place goes with path, over both groups.
    let trend = |points: &[(f64, f64, f64)], mid: (f64, f64, f64)| {
        points.iter().fold([0.0, 0.0], |sum, p| {
            [
                sum[0] + (p.0 - mid.0) * (p.1 - mid.1),
                sum[1] + (p.0 - mid.0) * (p.2 - mid.2),
            ]
        })
    };
    let (a, b) = (trend(&placed, here), trend(&loose, there));
    let [e, n] = [a[0] + b[0], a[1] + b[1]];
    let length = f64::hypot(e, n);
    let apart = if length > 0.0 {
        ((there.1 - here.1) * e + (there.2 - here.2) * n) / length
    } else {
        0.0
    };
    here.0 + apart / inputs.ground_to_grid() - there.0
}

fn middle(points: &[(f64, f64, f64)]) -> Option<(f64, f64, f64)> {
    let count = points.len() as f64;
    let sum = points.iter().fold((0.0, 0.0, 0.0), |sum, p| {
        (sum.0 + p.0, sum.1 + p.1, sum.2 + p.2)
    });
    (!points.is_empty()).then(|| (sum.0 / count, sum.1 / count, sum.2 / count))
}
