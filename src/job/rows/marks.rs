//! `marks.csv`.

use std::collections::hash_map::Entry;
use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use super::{Names, Refers, is_no, placing, usage};
use crate::findings::Code;
use crate::job::model::{Attitude, FoundBy, MarkRow, ReadBy, Role, Signals, Use};
use crate::job::row::{Row, Tally, aside, quoted, rows};
use crate::job::schema::{Typing, marks};
use crate::job::table::{Sheet, normal};

/// The rows of located points, from all of the job's tables of them.
pub fn read(
    sheets: &[&Sheet],
    typing: Typing,
    tally: &mut Tally,
    refers: &Refers,
    names: &mut Names,
) -> Vec<MarkRow> {
    let mut list: Vec<MarkRow> = Vec::new();
    let mut known = Known::default();
    let (mut centres, mut last_centre): (_, Option<Arc<str>>) = (None, None);
    let mut each = |row: &mut Row<'_>, _: &mut Tally| {
        let mark: Option<Arc<str>> = row.name(marks::MARK).map(Arc::from);
        if mark.is_none() && !row.failed() {
            row.lacks(marks::MARK, "a mark has a name");
        }
        let role = read_role(row);
        // The rows beside a centre row are of its push, and a pipe that was seen, or a place that is only compared, is of none.
        let compared = row.usage() == Some("check");
        let needed = (role == Role::Centre && !compared) || row.has(marks::COUNTER);
        let place = refers.place(row, (marks::RUN, marks::PUSH), needed);
        let beside = matches!(role, Role::EndAhead | Role::EndBehind | Role::Peak);
        if let Some(mark) = mark.as_deref().filter(|_| beside && !row.failed()) {
            let centres = centres.get_or_insert_with(|| self::centres(sheets));
            if !centres.contains(mark) {
                without_centre(row, mark, last_centre.as_deref());
            }
        }
        let mark = mark.unwrap_or_else(|| Arc::from(""));
        let found = read_mark(row, (mark, role), place.unwrap_or((0, None)), names);
        if place.is_some() && !row.failed() {
            known.check(row, &list, &found);
        }
        if row.maimed() {
            names.lost.insert(Arc::clone(&found.mark));
        }
        if place.is_some() && !row.failed() {
            known.add(&found.mark, list.len());
            if role == Role::Centre {
                last_centre = Some(Arc::clone(&found.mark));
            }
            list.push(found);
        } else {
            names.lost.insert(found.mark);
        }
    };
    for sheet in sheets {
        rows(sheet, typing, tally, &mut each);
    }
    list
}

/// Marks with a row of their centre: any row that takes part and does not say that it is another. A role that can't be read may be
/// that.
fn centres<'a>(sheets: &[&'a Sheet]) -> HashSet<&'a str> {
    let mut centres = HashSet::new();
    for sheet in sheets {
        let (table, layout) = (&sheet.table, &sheet.layout);
        let place = |column: usize| layout.places.get(column).copied().flatten();
        let usage = sheet.spec.position("use").and_then(place);
        let (Some(heading), Some(mark)) = (layout.heading, place(marks::MARK)) else {
            continue;
        };
        let others = ["end_ahead", "end_behind", "peak", "exposed"];
        for row in heading + 1..table.height() {
            let other = place(marks::ROLE)
                .is_some_and(|role| others.contains(&normal(table.cell(row, role)).name.as_str()));
            let idle = usage.is_some_and(|usage| is_no(table.cell(row, usage)))
                || aside(sheet, row, heading).is_some();
            if !other && !idle {
                centres.insert(table.cell(row, mark));
            }
        }
    }
    centres
}

/// A row that belongs to the centre row of its mark, of which there is none.
fn without_centre(row: &mut Row<'_>, mark: &str, last: Option<&str>) {
    let last = last.map_or_else(String::new, |last| {
        format!("; the last centre row above is of {}", quoted(last))
    });
    let message = format!(
        "mark {} has no centre row that this one could belong to{last}. Mend the name, or add the mark's centre row",
        quoted(mark)
    );
    row.refuse(
        Code::UnknownReference,
        &[marks::MARK, marks::ROLE],
        &message,
    );
}

/// Which rows bear which mark's name: one hash a row, since a job may hold a million.
#[derive(Default)]
struct Known {
    first: HashMap<Arc<str>, usize>,
    more: HashMap<Arc<str>, Vec<usize>>,
}

impl Known {
    /// A mark's name is unique in the job; rows that share it differ in role or push, or only check each other.
    fn check(&self, row: &mut Row<'_>, list: &[MarkRow], found: &MarkRow) {
        let Some(first) = self.first.get(&found.mark) else {
            return;
        };
        let more = self.more.get(&found.mark).into_iter().flatten();
        let others = [first]
            .into_iter()
            .chain(more)
            .filter_map(|at| list.get(*at));
        let name = quoted(&found.mark);
        for other in others {
            let message = if other.run != found.run {
                format!(
                    "mark {name} belongs to another run in {} already; names are unique in the job",
                    other.source
                )
            } else if other.role == found.role
                && other.push == found.push
                && other.usage == Use::Yes
                && found.usage == Use::Yes
            {
                format!(
                    "mark {name} with this role is defined in {} already; give one of them another name, or use = check or no",
                    other.source
                )
            } else {
                continue;
            };
            row.refuse(Code::Duplicate, &[marks::MARK], &message);
            return;
        }
    }

    fn add(&mut self, mark: &Arc<str>, at: usize) {
        match self.first.entry(Arc::clone(mark)) {
            Entry::Vacant(slot) => {
                slot.insert(at);
            }
            Entry::Occupied(_) => self.more.entry(Arc::clone(mark)).or_default().push(at),
        }
    }
}

fn read_mark(
    row: &mut Row<'_>,
    (mark, role): (Arc<str>, Role),
    (run, push): (usize, Option<usize>),
    names: &mut Names,
) -> MarkRow {
    let tilt = row.number(marks::TILT);
    let quality = (row.text(marks::QUALITY_LEVEL), row.text(marks::QUALITY_BY));
    check_mark(row, role, tilt, &quality);
    MarkRow {
        source: row.source(),
        run,
        mark,
        push,
        counter: row.number(marks::COUNTER),
        role,
        usage: usage(row),
        placing: placing::read(row, names),
        ground: row.number(marks::GROUND),
        readings: [
            marks::DEPTH_1,
            marks::DEPTH_2,
            marks::DEPTH_3,
            marks::DEPTH_4,
        ]
        .map(|column| row.number(column)),
        read_by: if row.word(marks::READ_BY) == Some("manual") {
            ReadBy::Manual
        } else {
            ReadBy::Automatic
        },
        lift: row.number(marks::LIFT).unwrap_or(0.0),
        attitude: read_attitude(row),
        found_by: if row.word(marks::FOUND_BY) == Some("peak") {
            FoundBy::Peak
        } else {
            FoundBy::Crossline
        },
        end_ahead: row.number(marks::END_AHEAD),
        end_behind: row.number(marks::END_BEHIND),
        signals: read_signals(row),
        tilt,
        invert_depth: row.number(marks::INVERT_DEPTH),
        fitting: row.text(marks::FITTING),
        quality: quality.0.map(|level| Box::new((level, quality.1))),
        photo: row.text(marks::PHOTO),
        note: row.text(marks::NOTE),
        attributes: row.attributes(),
    }
}

/// What can be read and makes no sense.
fn check_mark(
    row: &mut Row<'_>,
    role: Role,
    tilt: Option<f64>,
    quality: &(Option<String>, Option<String>),
) {
    if row.has(marks::INVERT_DEPTH) && role != Role::Exposed {
        let message = "invert_depth is measured on an exposed pipe: give the row role = exposed";
        row.refuse(
            Code::Unreadable,
            &[marks::INVERT_DEPTH, marks::ROLE],
            message,
        );
    }
    if tilt.is_some_and(|tilt| tilt.abs() > std::f64::consts::FRAC_PI_2) {
        row.refuse(
            Code::Unreadable,
            &[marks::TILT],
            "a tilt is at most 90 degrees either way",
        );
    }
    if quality.0.is_some() != quality.1.is_some() {
        let message = "quality_level and quality_by go together: a level is carried only as a named professional assigned it";
        row.refuse(
            Code::Unreadable,
            &[marks::QUALITY_LEVEL, marks::QUALITY_BY],
            message,
        );
    }
}

fn read_attitude(row: &mut Row<'_>) -> Attitude {
    match row.word(marks::ATTITUDE) {
        Some("tilted") => Attitude::Tilted,
        Some("vertical") => Attitude::Vertical,
        _ => Attitude::Level,
    }
}

fn read_role(row: &mut Row<'_>) -> Role {
    match row.word(marks::ROLE) {
        Some("end_ahead") => Role::EndAhead,
        Some("end_behind") => Role::EndBehind,
        Some("peak") => Role::Peak,
        Some("exposed") => Role::Exposed,
        _ => Role::Centre,
    }
}

fn read_signals(row: &mut Row<'_>) -> Option<Box<Signals>> {
    let signals = Signals {
        at: row.number(marks::SIGNAL),
        ahead: row.number(marks::SIGNAL_AHEAD),
        behind: row.number(marks::SIGNAL_BEHIND),
        left: row.number(marks::SIGNAL_LEFT),
        right: row.number(marks::SIGNAL_RIGHT),
        step: row.number(marks::SIGNAL_STEP),
        checked: row.flag(marks::PEAK_CHECKED).unwrap_or(false),
    };
    (signals != Signals::default()).then(|| Box::new(signals))
}
