//! Path lengths: counters of one or several pushes put on one line.
//!
//! From its opening, the transmitter of a push lies at ±(counter − counter at start − lens to transmitter), downstream positive.
//! Pushes from one opening share its zero, whatever their counters were set to. Another opening is tied to the first by a mark
//! that is the opening or that both reached; failing that, by where its marks lie (then no cable length runs across). Pushes that name no
//! opening began at one, unless a mark that both reached or the places of their marks say otherwise.

use super::order::Entry;
use std::collections::BTreeMap;
use std::sync::Arc;

use super::{Inputs, Members, Path};
use crate::job::model::{MarkRow, Stream};
use crate::math::stats::median;

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
            let groups = Groups::of(&openings, inputs, entries, &origins, left);
            let origin = groups.by_place(inputs);
            let one = openings.unnamed(&origins, left);
            let one = one.filter(|(one, _)| groups.fits(inputs, *one, origin));
            if let Some(slot) = origins.get_mut(left) {
                *slot = Some(one.unwrap_or((origin, lines)));
            }
            lines += u32::from(one.is_none());
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
    /// Openings of the run's pushes, in their order: distinct names, and one for each push without; one nameless if the run has no pushes.
    names: Vec<Option<Arc<str>>>,
    /// Each push's opening.
    of_push: BTreeMap<usize, usize>,
}

impl Openings {
    fn of(inputs: Inputs<'_>, members: Members<'_>) -> Self {
        let (mut names, mut of_push) = (Vec::new(), BTreeMap::new());
        let mut known: BTreeMap<&str, usize> = BTreeMap::new();
        for &index in members.pushes {
            let Some(push) = inputs.job.pushes.get(index) else {
                continue;
            };
            let named = push
                .start
                .as_deref()
                .and_then(|name| known.get(name))
                .copied();
            let opening = named.unwrap_or_else(|| {
                names.push(push.start.clone());
                names.len() - 1
            });
            known.extend(push.start.as_deref().map(|name| (name, opening)));
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

    /// Where the first other push without a named opening has its own, if `left` has no name either.
    fn unnamed(&self, origins: &[Option<(f64, u32)>], left: usize) -> Option<(f64, u32)> {
        let bare = |opening: usize| self.names.get(opening).is_some_and(Option::is_none);
        let mut tied = origins.iter().enumerate();
        tied.find_map(|(opening, origin)| origin.filter(|_| bare(opening) && bare(left)))
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
        // A mark that is an opening lies where that does.
        let own = || {
            let own = openings
                .names
                .iter()
                .position(|start| start.as_deref() == Some(*name))?;
            *origins.get(own)?
        };
        let known = known.or_else(own);
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

/// Marks with their paths, of openings that are tied and of one that is not: path, easting, northing.
struct Groups {
    placed: Vec<(f64, f64, f64)>,
    loose: Vec<(f64, f64, f64)>,
}

/// Marks of each group that are compared: enough to tell two ends of a run apart.
const COMPARED: usize = 40;
/// One opening is believed as long as paths fit places no worse than by so much, metres: our choice.
const NO_WORSE: f64 = 1.0;

impl Groups {
    fn of(
        openings: &Openings,
        inputs: Inputs<'_>,
        entries: &[Entry<'_>],
        origins: &[Option<(f64, u32)>],
        left: usize,
    ) -> Self {
        let (mut placed, mut loose) = (Vec::new(), Vec::new());
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
        Self { placed, loose }
    }

    /// The origin of the loose ones by the middle of their marks, seen along the run's own direction.
    fn by_place(&self, inputs: Inputs<'_>) -> f64 {
        let (Some(here), Some(there)) = (middle(&self.placed), middle(&self.loose)) else {
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
        let (a, b) = (trend(&self.placed, here), trend(&self.loose, there));
        let [e, n] = [a[0] + b[0], a[1] + b[1]];
        let length = f64::hypot(e, n);
        let apart = if length > 0.0 {
            ((there.1 - here.1) * e + (there.2 - here.2) * n) / length
        } else {
            0.0
        };
        here.0 + apart / inputs.ground_to_grid() - there.0
    }

    /// Whether one origin fits the places about as well as another: the way between two marks of different groups is what lies between
    /// their places, or a little more.
    fn fits(&self, inputs: Inputs<'_>, one: f64, other: f64) -> bool {
        let off = |origin: f64| {
            let pairs = self.placed.iter().take(COMPARED).flat_map(|a| {
                let loose = self.loose.iter().take(COMPARED);
                loose.map(move |b| {
                    let apart = f64::hypot(a.1 - b.1, a.2 - b.2) / inputs.ground_to_grid();
                    ((a.0 - origin - b.0).abs() - apart).abs()
                })
            });
            median(&mut pairs.collect::<Vec<f64>>())
        };
        // A mark or none on each side tells nothing.
        let few = self.placed.len() + self.loose.len() < 3;
        few || off(one)
            .zip(off(other))
            .is_none_or(|(one, other)| one <= other + NO_WORSE)
    }
}

fn middle(points: &[(f64, f64, f64)]) -> Option<(f64, f64, f64)> {
    let count = points.len() as f64;
    let sum = points.iter().fold((0.0, 0.0, 0.0), |sum, p| {
        (sum.0 + p.0, sum.1 + p.1, sum.2 + p.2)
    });
    (!points.is_empty()).then(|| (sum.0 / count, sum.1 / count, sum.2 / count))
}
