//! Stage 2: every row becomes observation equations with a standard deviation.
//!
//! Comes in: the [`Job`]. Goes out: [`Observations`]: the points by name, the equations, what is kept out to be
//! compared, and the findings (`unknown-reference`, `duplicate`, `outside-crs`, `no-datum`, …).
//! A new way of measuring adds a variant of [`Kind`] and nothing else: no method has its own solver.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::crs::Crs;
use crate::job::model::{Job, Note, Role, Source, Use};
use crate::job::sections::Place;
use crate::units::{LengthUnit, counted};

mod cables;
pub mod declination;
mod frame;
mod given;
pub mod kinds;
mod levels;
mod names;
mod positions;
pub mod problem;
pub mod recast;
mod rows;
pub mod window;

pub use frame::FrameFacts;
pub use problem::{Explanation, Problem, Subject};

/// Index of a point in [`Observations::points`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PointId(pub u32);

/// What a point is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PointRole {
    /// Row index into `job.control`.
    Control(usize),
    /// Row index into `job.marks` of the row that this place belongs to (centre, end, peak or exposed).
    Mark(usize),
    /// Named only in measurements.
    Auxiliary,
}

/// A point of the network.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Name; end points and peaks have their mark's name with a suffix (`A3 ahead`, `A3 behind`, `A3 peak`,
    /// `A3 exposed`).
    pub name: Arc<str>,
    /// What it is.
    pub role: PointRole,
    /// Exact easting, northing in metres: control without a sigma. Not an unknown.
    pub fixed: Option<(f64, f64)>,
    /// Exact x, y on the site grid, metres: no unknown of its own, it moves with the similarity.
    pub site: Option<(f64, f64)>,
}

/// On which side of the line `from`→`to` a point lies: said by the field book for two tapes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SideHint {
    /// The point.
    pub at: PointId,
    /// First tape's reference.
    pub from: PointId,
    /// Second tape's reference.
    pub to: PointId,
    /// Right of the line, looking from `from` to `to`.
    pub right: bool,
}

/// Two neighbours on a run: they can't lie farther apart than the cable between them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CableHint {
    /// One.
    pub a: PointId,
    /// The other.
    pub b: PointId,
    /// Cable between them, metres on the grid.
    pub length: f64,
    /// Its one-sigma.
    pub sigma: f64,
    /// `length` runs along the pipe: a straight pipe is as long. If not, it is only how far apart they may lie.
    pub along: bool,
}

/// A shift shared by all positions of one datum or correction service.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ShiftId(pub u16);

/// The observation kinds. Values are metres on the grid and radians (grid azimuths), already reduced from ground and
/// north as measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// hypot(ΔE, ΔN).
    Distance {
        /// From.
        from: PointId,
        /// To.
        to: PointId,
    },
    /// Along `from`→`to` from `from`.
    Station {
        /// Start of the line.
        from: PointId,
        /// End of the line.
        to: PointId,
        /// The point.
        at: PointId,
    },
    /// Square off `from`→`to`, right positive.
    Offset {
        /// Start of the line.
        from: PointId,
        /// End of the line.
        to: PointId,
        /// The point.
        at: PointId,
    },
    /// azimuth(at→to) − azimuth(at→from).
    Angle {
        /// Instrument.
        at: PointId,
        /// Backsight.
        from: PointId,
        /// Target.
        to: PointId,
    },
    /// Grid azimuth from→to.
    Azimuth {
        /// From.
        from: PointId,
        /// To.
        to: PointId,
    },
    /// Easting, plus the shared shift if there is one.
    East {
        /// The point.
        at: PointId,
        /// Shared shift.
        shift: Option<ShiftId>,
    },
    /// Northing, plus the shared shift if there is one.
    North {
        /// The point.
        at: PointId,
        /// Shared shift.
        shift: Option<ShiftId>,
    },
    /// x on the site grid.
    SiteX {
        /// The point.
        at: PointId,
    },
    /// y on the site grid.
    SiteY {
        /// The point.
        at: PointId,
    },
}

/// One observation equation.
#[derive(Clone, Debug, PartialEq)]
pub struct Observation {
    /// Equation.
    pub kind: Kind,
    /// Reduced value: grid metres, or radians.
    pub value: f64,
    /// One-sigma of the reduced value.
    pub sigma: f64,
    /// Value as measured: ground metres or radians, for the record.
    pub measured: f64,
    /// Row.
    pub source: Source,
    /// Column that holds it (`tie_2`, `station`, …).
    pub column: &'static str,
}

/// The points of one mark, by role: row index into `job.marks`, point.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MarkPoints {
    /// Mark name.
    pub name: Arc<str>,
    /// Index into `job.runs`.
    pub run: usize,
    /// The spot over the transmitter.
    pub centre: Option<(usize, PointId)>,
    /// End point ahead, where it was located as a point.
    pub ahead: Option<(usize, PointId)>,
    /// End point behind, where it was located as a point.
    pub behind: Option<(usize, PointId)>,
    /// The strongest signal, where it was marked besides.
    pub peak: Option<(usize, PointId)>,
    /// The pipe itself.
    pub exposed: Option<(usize, PointId)>,
}

impl MarkPoints {
    /// The row of a role, and its point.
    #[must_use]
    pub fn of(&self, role: Role) -> Option<(usize, PointId)> {
        match role {
            Role::Centre => self.centre,
            Role::EndAhead => self.ahead,
            Role::EndBehind => self.behind,
            Role::Peak => self.peak,
            Role::Exposed => self.exposed,
        }
    }

    fn of_mut(&mut self, role: Role) -> &mut Option<(usize, PointId)> {
        match role {
            Role::Centre => &mut self.centre,
            Role::EndAhead => &mut self.ahead,
            Role::EndBehind => &mut self.behind,
            Role::Peak => &mut self.peak,
            Role::Exposed => &mut self.exposed,
        }
    }
}

/// What stage 2 hands on.
#[derive(Clone, Debug, Default)]
pub struct Observations {
    /// Points.
    pub points: Vec<Point>,
    /// Marks in the order of first mention.
    pub marks: Vec<MarkPoints>,
    /// Equations of the plane adjustment.
    pub plane: Vec<Observation>,
    /// Equations of rows with `use = check`: compared, not used.
    pub checks: Vec<Observation>,
    /// Rows of `job.marks` with `use = check`, and the mark that each is about: index into [`Observations::marks`].
    pub compared: BTreeMap<usize, usize>,
    /// Sides said for pairs of tapes.
    pub sides: Vec<SideHint>,
    /// Neighbours on the runs.
    pub cables: Vec<CableHint>,
    /// One-sigma of each shared shift, metres, by [`ShiftId`].
    pub shifts: Vec<f64>,
    /// What each shared shift belongs to: the datum or the correction service.
    pub shift_names: Vec<Arc<str>>,
    /// Grid distance over ground distance at the site.
    pub ground_to_grid: f64,
    /// What plain lengths were read in.
    pub unit: Option<LengthUnit>,
}

/// The result of the stage.
#[derive(Clone, Debug, Default)]
pub struct Observed {
    /// Points and equations.
    pub observations: Observations,
    /// What could not be used, or is doubtful; rules make findings of it.
    pub problems: Vec<Problem>,
    /// Remarks for the record.
    pub notes: Vec<Note>,
    /// Scale, convergence, declination, datum operations.
    pub frame: FrameFacts,
}

/// Turns a job into observation equations.
#[must_use]
pub fn observe(job: &Job, crs: &Crs) -> Observed {
    observe_in(job, crs, None, None)
}

/// Elevation of a point, metres, where it has one.
pub type HeightOf<'a> = &'a dyn Fn(PointId) -> Option<f64>;

/// As [`observe`]; the frame is that of the `whole` job, if this is a section of one. What was taped along the slope is made level
/// with `heights`, which are told by the points of an [`Observed`] without any: points are the same with and without.
#[must_use]
pub fn observe_in(
    job: &Job,
    crs: &Crs,
    whole: Option<&FrameFacts>,
    heights: Option<HeightOf<'_>>,
) -> Observed {
    let mut problems = Vec::new();
    let mut notes = Vec::new();
    let mut names = names::Names::new(job, &mut problems);
    let levelled = levels::unknown(job, &mut names, &mut problems);
    let given = given::gather(job, crs, &mut problems);
    let mut frame = if let Some(whole) = whole {
        whole.clone()
    } else {
        notes.extend(names.alike(&levelled));
        frame::facts(job, crs, given.places(job), &mut notes)
    };
    frame.operations.clone_from(&given.operations);
    let declined = if frame.declination.is_none() {
        frame.find_declination(job, crs)
    } else {
        Ok(())
    };
    let mut rows = rows::Rows {
        job,
        names,
        frame,
        out: Observations {
            shifts: given.shifts.clone(),
            shift_names: given.shift_names.clone(),
            ..Default::default()
        },
        problems,
        notes,
        heights: heights.unwrap_or(&|_| None),
        unreduced: 0,
        too_short: None,
        compass: rows::Compass::new(declined.err()),
    };
    let site_is_grid = given::site_is_grid(job, crs);
    for (control, given) in job.control.iter().zip(&given.control) {
        rows.control(control, *given, site_is_grid);
    }
    for (i, (mark, given)) in job.marks.iter().zip(&given.marks).enumerate() {
        rows.mark(i, mark, *given);
    }
    for measure in &job.measures {
        rows.measure(measure);
    }
    if let Some(given) = job.grid.declination {
        let model = || rows.frame.modelled_declination(job, crs);
        let contradicted = rows.compass.contradicted(given, model);
        rows.problems.extend(contradicted);
    }
    finish(job, rows)
}

/// The frame of a job whose marks lie at `places`; `job` is any section of it, for its settings. `None` where a place can't be
/// brought into the grid.
#[must_use]
pub fn frame_of(job: &Job, crs: &Crs, places: &[Place]) -> Option<FrameFacts> {
    let (site, operations) = positions::mean(job, crs, places)?;
    let mut facts = frame::facts(job, crs, std::iter::once(site), &mut Vec::new());
    facts.operations = operations;
    // Bearings say for themselves where it can't be found.
    facts.find_declination(job, crs).ok();
    Some(facts)
}

fn finish(job: &Job, rows: rows::Rows<'_>) -> Observed {
    let rows::Rows {
        names,
        mut frame,
        mut out,
        mut problems,
        mut notes,
        unreduced,
        too_short,
        compass,
        ..
    } = rows;
    if let Some(problem) = compass.problem() {
        frame.without_declination();
        problems.push(problem);
    }
    unknown_names(job, &names, &mut problems);
    out.compared = names.compared(job);
    out.points = names.points;
    out.marks = names.marks;
    out.ground_to_grid = frame.ground_to_grid;
    out.unit = Some(job.grid.unit);
    out.cables = cables::hints(job, &out.marks, frame.ground_to_grid);
    let tied = out.points.iter().any(|point| point.fixed.is_some())
        || out
            .plane
            .iter()
            .any(|o| matches!(o.kind, Kind::East { .. } | Kind::North { .. }));
    let wanted = job.marks.iter().any(|mark| mark.usage == Use::Yes) || !job.control.is_empty();
    if !tied && wanted {
        problems.push(Problem::NoDatum);
    }
    if unreduced > 0 {
        notes.push(Note {
            source: None,
            text: format!(
                "{} taped along the slope: taken as level, because the heights of the ends are not known (20 m on 5 % is 25 mm \
                 too long, always the same way).",
                counted(unreduced, "length")
            ),
        });
    }
    if let Some(first) = too_short {
        notes.push(Note {
            text: format!(
                "What was taped along the slope is shorter here than the heights of its ends differ ({first}): it is taken as level. The \
                 tape or a height is wrong."
            ),
            source: Some(first),
        });
    }
    Observed {
        observations: out,
        problems,
        notes,
        frame,
    }
}

/// Runs that join what is not there, pushes that start where nothing is.
fn unknown_names(job: &Job, names: &names::Names, problems: &mut Vec<Problem>) {
    for run in &job.runs {
        if let Some(joins) = run
            .joins
            .as_ref()
            .filter(|joins| !job.runs.iter().any(|other| other.id == **joins))
        {
            let subject = Subject {
                run: None,
                name: Arc::clone(&run.id),
                source: run.source.clone(),
            };
            let (name, column) = (Arc::clone(joins), "joins".to_owned());
            problems.push(Problem::UnknownReference {
                subject,
                name,
                column,
                near: None,
                left: false,
            });
        }
    }
    for push in &job.pushes {
        if let Some(start) = push.start.as_ref().filter(|start| !names.defines(start)) {
            let subject = Subject {
                run: Some(push.run),
                name: Arc::clone(&push.id),
                source: push.source.clone(),
            };
            let (name, column) = (Arc::clone(start), "start".to_owned());
            problems.push(Problem::UnknownReference {
                subject,
                name,
                column,
                near: None,
                left: false,
            });
        }
    }
}
