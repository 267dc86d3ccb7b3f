//! Remarks of the record that no finding code fits.

use std::collections::HashSet;

use super::View;
use crate::record::model::{Further, Mark, Note};
use crate::run::{FAR_BEYOND, Located, Meets, NoPlace, Sight, Spot, Traced, Zero};
use crate::units::listed;

/// The reader's remarks, the stages', and what this stage takes for granted.
pub(super) fn notes(view: &View<'_>, stages: Vec<Note>) -> Vec<Note> {
    let job = view.inputs.job;
    let read = job.notes.iter().map(|note| {
        let source = note.source.as_ref().map(ToString::to_string);
        Note::new(source, note.text.clone())
    });
    let mut notes: Vec<Note> = read.chain(noted(view)).chain(stages).collect();
    notes.extend(taken_for_granted(view));
    notes.extend(openings(view));
    notes.extend(view.traced.iter().filter_map(|traced| branch(view, traced)));
    notes.extend(view.traced.iter().flat_map(|traced| sights(view, traced)));
    notes
}

/// Notes that the job itself gives where the record has no place of their own for them: of pushes and further measurements.
fn noted(view: &View<'_>) -> impl Iterator<Item = Note> {
    let job = view.inputs.job;
    let pushes = job.pushes.iter().map(|row| (&row.source, &row.note));
    let measures = job.measures.iter().map(|row| (&row.source, &row.note));
    pushes.chain(measures).filter_map(|(source, note)| {
        Some(Note {
            source: Some(source.to_string()),
            text: note.clone()?,
            entered: true,
        })
    })
}

/// Notes of a mark's further rows (end points, an exposure of what was located, what is only compared), but for the one that is the mark's.
pub(super) fn of_further_rows(marks: &[Mark]) -> Vec<Note> {
    let rows = marks
        .iter()
        .flat_map(|mark| mark.further.iter().map(move |row| (mark, row)));
    let noted = rows.filter(|(mark, row)| row.note != mark.note);
    let note = |(_, row): (&Mark, &Further)| {
        Some(Note {
            source: Some(row.source.clone()),
            text: row.note.clone()?,
            entered: true,
        })
    };
    noted.filter_map(note).collect()
}

/// Pushes of a run that name no opening and, by their marks, began at different ones.
fn openings(view: &View<'_>) -> Vec<Note> {
    let job = view.inputs.job;
    let apart = view.traced.iter().filter_map(|traced| {
        let bare = |zero: &&Zero| {
            let push = zero.push.and_then(|push| job.pushes.get(push));
            push.is_some_and(|push| push.start.is_none())
        };
        let bare: Vec<&Zero> = traced.zeros.iter().filter(bare).collect();
        let first = bare.first()?.opening;
        let other = bare.iter().find(|zero| (zero.opening.at - first.at).abs() > SAME)?;
        let id = |zero: &Zero| Some(job.pushes.get(zero.push?)?.id.to_string());
        let (one, other) = (id(bare.first()?)?, id(other)?);
        let text = format!(
            "Pushes {one} and {other} of run {} name no opening (`start`), and by their marks they began at different ones. Name both, as marks or \
             points of control.csv, to have the cable between them checked.",
            view.run_id(traced.run)
        );
        Some(Note {
            source: None,
            text,
            entered: false,
        })
    });
    apart.collect()
}

/// Openings nearer to each other along the pipe are one, metres.
const SAME: f64 = 0.01;

/// What the job does not say and the figures take for granted.
fn taken_for_granted(view: &View<'_>) -> Vec<Note> {
    let (job, mut notes) = (view.inputs.job, Vec::new());
    let without = |missing: &dyn Fn(&crate::job::model::Run) -> bool| {
        let names: Vec<&str> = job
            .runs
            .iter()
            .filter(|run| !run.lost && missing(run))
            .map(|run| run.id.as_ref())
            .collect();
        match names.as_slice() {
            [] => None,
            [only] => Some(format!("run {only}")),
            all => Some(format!("runs {}", listed(all, 6))),
        }
    };
    if let Some(runs) = without(&|run| {
        run.axis_above_invert
            .or(job.equipment.axis_above_invert)
            .is_none()
    }) {
        let axis = view.scale.say(crate::run::AXIS_ABOVE_INVERT);
        notes.push(Note::new(None, format!("axis_above_invert is not given ({runs}): {axis} is taken, which shifts every invert by as much.")));
    }
    let level = |traced: &&Traced| traced.marks.iter().all(|mark| mark.ground.is_none());
    let moved = |traced: &&Traced| traced.marks.iter().any(|mark| mark.shift.is_some());
    let guessed = view.traced.iter().filter(level).filter(moved);
    let guessed: HashSet<&str> = guessed.map(|traced| view.run_id(traced.run)).collect();
    if let Some(runs) = without(&|run| guessed.contains(&*run.id)) {
        let (slope, sigma) = crate::run::USUAL_SLOPE;
        notes.push(Note::new(None, format!(
            "No height of the ground is known ({runs}): the pipe is taken to slope by {:.0} %, with a one-sigma of {:.0} %, and the marks' places rest \
             on that. On steeper ground give `ground`.",
            100.0 * slope,
            100.0 * sigma
        )));
    }
    // What the camera saw was at the lens; the marks are where the transmitter was.
    if let (None, [_, ..]) = (job.equipment.lens_to_transmitter, job.camera.as_slice()) {
        let text = "lens_to_transmitter is not given: 0 is taken, which shifts every camera observation by as much as it is.";
        notes.push(Note::new(None, text.to_owned()));
    }
    if let Some(runs) = without(&|run| run.wall.is_none() && run.diameter.is_some()) {
        notes.push(Note::new(None, format!("The pipe's wall is not given ({runs}): cover is to the top of the bore, not of the pipe.")));
    }
    notes
}

/// A branch that ends where the run that it joins has no place.
fn branch(view: &View<'_>, traced: &Traced) -> Option<Note> {
    let (join, run) = (traced.join?, view.inputs.job.runs.get(traced.run)?);
    let (branch, joined) = (&run.id, view.run_id(join.run));
    let scale = view.scale;
    let text = match join.meets {
        // `off-line` says the second.
        Meets::At { .. } | Meets::Off { .. } => return None,
        Meets::Beyond { by } if by > FAR_BEYOND => return None,
        Meets::Beyond { by } => format!(
            "Run {branch} joins {joined}, but its lowest mark lies {} beyond the last mark of {joined} on that side: no \
             junction is drawn. Locate {joined} on the far side of the junction.",
            scale.say(by)
        ),
        Meets::Unplaced => format!(
            "Run {branch} joins {joined}, but one of the two has too few marks with a place: no junction is drawn. It takes \
             one mark of {branch} and two of {joined}."
        ),
    };
    let source = (run.source.row > 0).then(|| run.source.to_string());
    Some(Note::new(source, text))
}

/// Camera observations without a place, or with one beyond the marks.
fn sights(view: &View<'_>, traced: &Traced) -> Vec<Note> {
    let of_end = |sight: &Sight, at: &Result<Spot, NoPlace>, counter: f64| {
        let row = view.inputs.job.camera.get(sight.row)?;
        let text = placing(view, traced, at, &view.scale.say(counter))?;
        let source = Some(row.source.to_string());
        Some(Note::new(source, text))
    };
    let notes = traced.sights.iter().flat_map(|sight| {
        let row = view.inputs.job.camera.get(sight.row);
        let ends = row.map(|row| {
            [
                (Some(&sight.at), Some(row.counter)),
                (sight.until.as_ref(), row.until),
            ]
        });
        let ends = ends.into_iter().flatten();
        ends.filter_map(|(at, counter)| of_end(sight, at?, counter?))
            .collect::<Vec<_>>()
    });
    notes.collect()
}

/// What is to be said of one place by counter; nothing of most.
fn placing(
    view: &View<'_>,
    traced: &Traced,
    at: &Result<Spot, NoPlace>,
    counter: &str,
) -> Option<String> {
    let scale = view.scale;
    let mark = |index: usize| {
        let located = traced.marks.get(index);
        located.map_or("", |located| view.inputs.mark_name(located.mark))
    };
    match at {
        Ok(spot) => {
            let (index, by) = spot.beyond?;
            if traced.marks.get(index).is_some_and(Located::upright) {
                return Some(format!(
                    "Counter {counter} lies {} of cable beyond mark {}, in the stack there: its place is the mark's, and how deep it lies is not known.",
                    scale.say(by),
                    mark(index)
                ));
            }
            Some(format!(
                "Counter {counter} lies {} of cable beyond mark {}: its place is extrapolated along the run's line there.",
                scale.say(by),
                mark(index)
            ))
        }
        Err(NoPlace::NoCounters) => Some(format!(
            "Counter {counter} has no place: it takes two marks of run {} with a `counter` of the same push, or of pushes that a \
             common mark or opening ties together.",
            view.run_id(traced.run)
        )),
        Err(NoPlace::TooFar {
            mark: index,
            by,
            most,
        }) => Some(format!(
            "Counter {counter} has no place: it lies {} of cable beyond mark {}, and no more than {} is extrapolated there. \
             Locate the transmitter near it.",
            scale.say(*by),
            mark(*index),
            scale.say(*most)
        )),
    }
}
