//! `[[run]]`, `runs.csv`, and runs that only other tables name.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::sync::Arc;

use super::{is_no, once};
use crate::findings::{Code, Finding, Level};
use crate::job::model::{MinGrade, Run, Source, Stream, left_out};
use crate::job::row::{Row, Tally, aside, quoted, rows};
use crate::job::schema::{Cell, Form, Typing, run};
use crate::job::table::{Sheet, near};
use crate::units::{LengthUnit, length_text};

/// Runs in the order of first mention, with their index by name.
#[derive(Default)]
pub struct Runs {
    /// Runs.
    pub list: Vec<Run>,
    /// Index by name.
    pub index: HashMap<Arc<str>, usize>,
    default: Option<Run>,
    seen: HashMap<Arc<str>, Source>,
    joins_at: HashMap<usize, Source>,
    /// How many of the list have a row of their own; the rest are only mentioned.
    given: usize,
    /// Names of runs whose own row can't be used.
    lost: HashSet<Arc<str>>,
    /// A row that can't be used has no name that can be read, or all rows are such: it may be any run's.
    lost_nameless: bool,
    /// `[run_default]` can't be used.
    lost_default: bool,
    /// Runs that marks name.
    marked: HashSet<usize>,
    /// Some mark names no run: it may be any run's.
    marked_nameless: bool,
}

/// Adds the runs of a sheet: `[run_default]` first, then `[[run]]` and `runs.csv`.
pub fn read(sheet: &Sheet, typing: Typing, tally: &mut Tally, runs: &mut Runs) {
    let is_default = sheet.spec.name == "run_default";
    runs.lost_nameless |= sheet.layout.unusable;
    rows(sheet, typing, tally, |row, tally| {
        let mut base = runs
            .default
            .clone()
            .unwrap_or_else(|| blank(Arc::from(""), row.source()));
        let joins = base.joins.take();
        let mut run = read_run(row, base);
        // The run that all join by default joins none.
        run.joins = run.joins.or(joins.filter(|joins| *joins != run.id));
        run.lost |= runs.lost_default;
        row.keep_rest(&[], tally);
        if is_default {
            if row.failed() {
                runs.lost_default = true;
            } else {
                runs.default = Some(run);
            }
            return;
        }
        if run.id.is_empty() && !row.failed() {
            row.lacks(run::ID, "a run has a name");
        }
        once(
            &mut runs.seen,
            Arc::clone(&run.id),
            row,
            run::ID,
            &format!("run {}", quoted(&run.id)),
        );
        if row.failed() {
            runs.lost_nameless |= run.id.is_empty();
            runs.lost.insert(run.id);
        } else {
            runs.index.insert(Arc::clone(&run.id), runs.list.len());
            runs.joins_at
                .insert(runs.list.len(), row.source_of(run::JOINS));
            runs.list.push(run);
            runs.given = runs.list.len();
        }
    });
}

/// Adds the runs that only a table names: they are as `[run_default]` says.
pub fn mentioned(sheet: &Sheet, column: usize, runs: &mut Runs) {
    let (table, layout) = (&sheet.table, &sheet.layout);
    let (Some(heading), Some(place)) =
        (layout.heading, layout.places.get(column).copied().flatten())
    else {
        return;
    };
    let usage = sheet
        .spec
        .position("use")
        .and_then(|column| layout.places.get(column).copied().flatten());
    let key = layout.places.get(sheet.spec.key).copied().flatten();
    let mut last = None;
    for row in heading + 1..table.height() {
        let name = table.cell(row, place);
        // Rows of a run mostly follow each other.
        if last == Some(name) {
            continue;
        }
        let idle = usage.is_some_and(|usage| is_no(table.cell(row, usage)))
            || key.is_some_and(|key| table.cell(row, key).is_empty())
            || aside(sheet, row, heading).is_some();
        let fits = crate::job::schema::name(Cell {
            text: name,
            kind: table.kind(row, place),
        })
        .is_ok();
        if idle {
            continue;
        }
        last = Some(name);
        runs.marked_nameless |= name.is_empty() || !fits;
        if let Some(known) = runs.index.get(name) {
            runs.marked.insert(*known);
        }
        if name.is_empty() || !fits || runs.index.contains_key(name) {
            continue;
        }
        let id: Arc<str> = Arc::from(name);
        let base = runs
            .default
            .clone()
            .unwrap_or_else(|| blank(Arc::clone(&id), table.source(row)));
        let lost = runs.lost.contains(name) || runs.lost_nameless || runs.lost_default;
        runs.index.insert(Arc::clone(&id), runs.list.len());
        runs.marked.insert(runs.list.len());
        let joins = base.joins.clone().filter(|joins| *joins != id);
        runs.list.push(Run {
            id,
            source: table.source(row),
            lost,
            joins,
            ..base
        });
    }
}

impl Runs {
    /// Where some runs are defined: those that only marks name, and those that no mark names. A letter that is wrong brings both,
    /// and the run loses all that its row says of it.
    pub fn check_marks(&self, tally: &mut Tally) {
        let said = self.check_left_out(tally);
        if self.given == 0 {
            return;
        }
        let (given, mentioned) = self.list.split_at(self.given);
        let bare: Vec<&Run> = given
            .iter()
            .enumerate()
            .filter(|(at, _)| !self.marked.contains(at) && !self.marked_nameless)
            .map(|(_, run)| run)
            .collect();
        let mut say = |run: &Run, level: Level, column: &str, message: &str| {
            let finding =
                Finding::new(Code::UnknownReference, format!("{}: {message}", run.source));
            let finding = finding.level(level).at(&run.source);
            tally.findings.push(finding.run(&*run.id).column(column));
        };
        let mentioned: Vec<&Run> = mentioned
            .iter()
            .filter(|run| !said.contains(&run.id))
            .collect();
        for run in mentioned.iter().filter(|run| !run.lost) {
            let like = (given.len() * mentioned.len() <= COMPARED)
                .then(|| given.iter().find(|of| alike(&of.id, &run.id)))
                .flatten()
                .or(match bare[..] {
                    [only] => Some(only),
                    _ => None,
                });
            // What [run_default] says is enough for a run that has no row of its own.
            if like.is_none() && self.default.is_some() {
                continue;
            }
            let meant = like.map_or_else(String::new, |of| {
                format!(" Did you mean {}?", quoted(&of.id))
            });
            let message = format!(
                "run {} is defined nowhere, so that its diameter, wall and min_grade are not known.{meant} Mend the name, or \
                 add the run to job.toml or runs.csv",
                quoted(&run.id)
            );
            say(run, Level::Warning, "run", &message);
        }
        for run in bare.into_iter().filter(|_| !self.marked.is_empty()) {
            let message = format!(
                "run {} has no marks: no row of marks.csv names it, so nothing of it is drawn",
                quoted(&run.id)
            );
            say(run, Level::Note, "id", &message);
        }
    }

    /// Pipes that can't be: the transmitter's axis above the bore, a wall of half the bore. `axis` is the equipment's. Once for each figure.
    pub fn check_pipes(&self, axis: Option<f64>, unit: LengthUnit, tally: &mut Tally) {
        let mut said = HashSet::new();
        for run in &self.list {
            let Some(diameter) = run.diameter else {
                continue;
            };
            let axis = run
                .axis_above_invert
                .or(axis)
                .map(|axis| ("axis_above_invert", axis, diameter));
            let wall = run.wall.map(|wall| ("wall", wall, diameter / 2.0));
            for (name, value, most) in axis.into_iter().chain(wall) {
                if value < most || !said.insert((name, value.to_bits(), diameter.to_bits())) {
                    continue;
                }
                let why = if name == "wall" {
                    "a wall is no half of the bore"
                } else {
                    "the transmitter lies inside the pipe"
                };
                let message = format!(
                    "{}: run {}: {name} is {} and the diameter {}: {why}. Check both, and their units: invert and cover are off by as much",
                    run.source,
                    quoted(&run.id),
                    length_text(value, unit),
                    length_text(diameter, unit),
                );
                let finding = Finding::new(Code::Implausible, message).at(&run.source);
                tally.findings.push(finding.run(&*run.id).column(name));
            }
        }
    }

    /// Runs whose own row is left out, and whose marks are not: their names.
    fn check_left_out(&self, tally: &mut Tally) -> HashSet<Arc<str>> {
        let mentioned = self.list.get(self.given..).unwrap_or_default();
        let rows = std::mem::take(&mut tally.left_out);
        let names = left_out(&rows, &["id"]);
        let mut said = HashSet::new();
        for run in mentioned.iter().filter(|run| !run.lost) {
            let Some(row) = names.get(&*run.id) else {
                continue;
            };
            let message = format!(
                "{}: run {} is left out ({}, use = no), and rows of marks.csv name it: what its row says of it is not known. Leave its marks out \
                 too, or let its row stand",
                run.source,
                quoted(&run.id),
                row,
            );
            let finding = Finding::new(Code::UnknownReference, message).level(Level::Warning);
            let finding = finding.at(&run.source).run(&*run.id).column("run");
            tally.findings.push(finding);
            said.insert(Arc::clone(&run.id));
        }
        tally.left_out = rows;
        said
    }

    /// Names of runs that `joins` gives and nothing defines, and rings of runs that join each other.
    pub fn check_joins(&mut self, tally: &mut Tally) {
        let rings: Vec<bool> = (0..self.list.len())
            .map(|at| self.ends_in_ring(at))
            .collect();
        for (at, ring) in rings.into_iter().enumerate() {
            let Some((id, joins, source)) = self.list.get(at).and_then(|run| {
                Some((Arc::clone(&run.id), run.joins.clone()?, run.source.clone()))
            }) else {
                continue;
            };
            let source = self.joins_at.get(&at).cloned().unwrap_or(source);
            let message = if !self.index.contains_key(&joins) {
                let few = self.list.len().pow(2) <= COMPARED;
                let mut all = self.list.iter().filter(|run| few && run.id != id);
                let meant = all.find(|run| alike(&run.id, &joins));
                let meant = meant.map_or_else(String::new, |run| {
                    format!(". Did you mean {}?", quoted(&run.id))
                });
                format!(
                    "{source}: run {} joins {}, which is no run of the job{meant}",
                    quoted(&id),
                    quoted(&joins)
                )
            } else if ring {
                format!(
                    "{source}: run {} joins {}, and following the joins leads back to it",
                    quoted(&id),
                    quoted(&joins)
                )
            } else {
                continue;
            };
            tally.findings.push(
                Finding::new(Code::UnknownReference, message)
                    .at(&source)
                    .run(&*id)
                    .column("joins"),
            );
            if let Some(run) = self.list.get_mut(at) {
                run.joins = None;
            }
        }
    }

    fn ends_in_ring(&self, from: usize) -> bool {
        let mut at = from;
        for _ in 0..=self.list.len() {
            let next = self
                .list
                .get(at)
                .and_then(|run| run.joins.as_ref())
                .and_then(|joins| self.index.get(joins));
            match next {
                Some(next) if *next == from => return true,
                Some(next) => at = *next,
                None => return false,
            }
        }
        false
    }
}

/// So many pairs of names are compared; of more, none is guessed at.
const COMPARED: usize = 200_000;

/// Whether two names of runs differ by a slip: in letter case, or by a letter or two.
fn alike(known: &str, name: &str) -> bool {
    known.to_lowercase() == name.to_lowercase() || near(known, name)
}

/// Largest plain figures that are believed to be in the job's unit, metres: a lateral is seldom over 12 in (0.3 m), so that
/// feet or metres are a slip far above it. Our choice.
const DIAMETER: f64 = 0.75;
const WALL: f64 = 0.1;
pub const AXIS: f64 = DIAMETER / 2.0;
/// The same of an antenna's height above the ground: a pole is 2 m, or a little more.
pub const POLE: f64 = 5.0;

fn blank(id: Arc<str>, source: Source) -> Run {
    Run {
        id,
        diameter: None,
        wall: None,
        texts: BTreeMap::new(),
        pushed: Stream::Down,
        min_grade: None,
        station_from: Stream::Up,
        axis_above_invert: None,
        joins: None,
        lost: false,
        source,
    }
}

fn read_run(row: &mut Row<'_>, base: Run) -> Run {
    let id = row.name(run::ID).map_or(Arc::from(""), Arc::from);
    let mut texts = base.texts;
    let free = [
        (run::MATERIAL, "material"),
        (run::FROM, "from"),
        (run::TO, "to"),
        (run::ASSET, "asset"),
        (run::MAIN_ASSET, "main_asset"),
        (run::PARCEL, "parcel"),
        (run::ADDRESS, "address"),
    ];
    for (column, key) in free {
        if let Some(text) = row.text(column) {
            texts.insert(key.to_owned(), text);
        }
    }
    for (column, key) in [(run::SYSTEM, "system"), (run::STATUS, "status")] {
        if let Some(word) = row.word(column) {
            texts.insert(key.to_owned(), word.to_owned());
        }
    }
    Run {
        id,
        diameter: row.small(run::DIAMETER, DIAMETER).or(base.diameter),
        wall: row.small(run::WALL, WALL).or(base.wall),
        texts,
        pushed: stream(row, run::PUSHED).unwrap_or(base.pushed),
        min_grade: row.read_typed(run::MIN_GRADE, min_grade).or(base.min_grade),
        station_from: stream(row, run::STATION_FROM).unwrap_or(base.station_from),
        axis_above_invert: row
            .small(run::AXIS_ABOVE_INVERT, AXIS)
            .or(base.axis_above_invert),
        joins: row.name(run::JOINS).map(Arc::from).or(base.joins),
        lost: base.lost,
        source: row.source(),
    }
}

/// downstream or upstream.
pub fn stream(row: &mut Row<'_>, column: usize) -> Option<Stream> {
    row.word(column).map(|word| {
        if word == "upstream" {
            Stream::Up
        } else {
            Stream::Down
        }
    })
}

fn min_grade(cell: Cell<'_>, typing: &Typing) -> Result<MinGrade, String> {
    let name: String = cell
        .text
        .to_lowercase()
        .chars()
        .filter(|letter| letter.is_alphanumeric())
        .collect();
    if name == "ipc7041" || name == "ipctable7041" {
        return Ok(MinGrade::Ipc704);
    }
    Form::MinGrade.value(cell, typing).map(MinGrade::Ratio)
}
