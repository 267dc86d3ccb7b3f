//! `[[run]]`, `runs.csv`, and runs that only other tables name.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use super::once;
use crate::findings::{Code, Finding};
use crate::job::model::{MinGrade, Run, Source, Stream};
use crate::job::row::{Row, Tally, quoted, rows};
use crate::job::schema::{Cell, Form, Typing, run};
use crate::job::table::Sheet;

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
}

/// Adds the runs of a sheet: `[run_default]` first, then `[[run]]` and `runs.csv`.
pub fn read(sheet: &Sheet, typing: Typing, tally: &mut Tally, runs: &mut Runs) {
    let is_default = sheet.spec.name == "run_default";
    rows(sheet, typing, tally, |row, tally| {
        let base = runs
            .default
            .clone()
            .unwrap_or_else(|| blank(Arc::from(""), row.source()));
        let run = read_run(row, base);
        row.keep_rest(&[], tally);
        if is_default {
            if !row.failed() {
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
        if !row.failed() {
            runs.index.insert(Arc::clone(&run.id), runs.list.len());
            runs.joins_at
                .insert(runs.list.len(), row.source_of(run::JOINS));
            runs.list.push(run);
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
    let mut last = "";
    for row in heading + 1..table.height() {
        let name = table.cell(row, place);
        // Rows of a run mostly follow each other.
        if name == last {
            continue;
        }
        last = name;
        let idle = usage.is_some_and(|usage| table.cell(row, usage).eq_ignore_ascii_case("no"))
            || key.is_some_and(|key| table.cell(row, key).is_empty())
            || table.cell(row, 0).starts_with('#');
        let fits = crate::job::schema::name(Cell {
            text: name,
            kind: table.kind(row, place),
        })
        .is_ok();
        if name.is_empty() || idle || !fits || runs.index.contains_key(name) {
            continue;
        }
        let id: Arc<str> = Arc::from(name);
        let base = runs
            .default
            .clone()
            .unwrap_or_else(|| blank(Arc::clone(&id), table.source(row)));
        runs.index.insert(Arc::clone(&id), runs.list.len());
        runs.list.push(Run {
            id,
            source: table.source(row),
            ..base
        });
    }
}

impl Runs {
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
                format!(
                    "{source}: run {} joins {}, which is no run of the job",
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

/// Largest plain figures that are believed to be in the job's unit, metres: a lateral is seldom over 12 in (0.3 m), so that
/// feet or metres are a slip far above it. Our choice.
const DIAMETER: f64 = 0.75;
const WALL: f64 = 0.1;
pub const AXIS: f64 = DIAMETER / 2.0;

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
