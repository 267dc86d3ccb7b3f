//! `marks.csv`.

use std::collections::HashMap;
use std::sync::Arc;

use super::{Names, Refers, once, placing, usage};
use crate::findings::Code;
use crate::job::model::{Attitude, FoundBy, MarkRow, ReadBy, Role, Signals, Use};
use crate::job::row::{Row, Tally, quoted, rows};
use crate::job::schema::{Typing, marks};
use crate::job::table::Sheet;

/// The rows of located points.
pub fn read(
    sheet: &Sheet,
    typing: Typing,
    tally: &mut Tally,
    refers: &Refers,
    names: &mut Names,
) -> Vec<MarkRow> {
    let mut list: Vec<MarkRow> = Vec::new();
    let mut seen = HashMap::new();
    let mut of_run: HashMap<Arc<str>, usize> = HashMap::new();
    rows(sheet, typing, tally, |row, _| {
        let mark = row.name(marks::MARK).map(|name| names.share(name));
        if mark.is_none() && !row.failed() {
            row.lacks(marks::MARK, "a mark has a name");
        }
        let place = refers.place(row, marks::RUN, marks::PUSH);
        let (run, push) = place.unwrap_or((0, None));
        let found = read_mark(
            row,
            mark.clone().unwrap_or_else(|| Arc::from("")),
            run,
            push,
            names,
        );
        let (Some(mark), Some(_)) = (mark, place) else {
            return;
        };
        if row.failed() {
            return;
        }
        if of_run.get(&mark).is_some_and(|first| *first != run) {
            row.refuse(
                Code::Duplicate,
                &[marks::MARK],
                &format!(
                    "mark {} belongs to another run already; names are unique in the job",
                    quoted(&mark)
                ),
            );
        } else if found.usage == Use::Yes {
            let key = (Arc::clone(&mark), found.role, push);
            once(
                &mut seen,
                key,
                row,
                marks::MARK,
                &format!("mark {} with this role", quoted(&mark)),
            );
        }
        if !row.failed() {
            of_run.insert(mark, run);
            list.push(found);
        }
    });
    list
}

fn read_mark(
    row: &mut Row<'_>,
    mark: Arc<str>,
    run: usize,
    push: Option<usize>,
    names: &mut Names,
) -> MarkRow {
    let role = read_role(row);
    if row.has(marks::INVERT_DEPTH) && role != Role::Exposed {
        row.refuse(
            Code::Unreadable,
            &[marks::INVERT_DEPTH, marks::ROLE],
            "invert_depth is measured on an exposed pipe: give the row role = exposed",
        );
    }
    let tilt = row.number(marks::TILT);
    if tilt.is_some_and(|tilt| tilt.abs() > std::f64::consts::FRAC_PI_2) {
        row.refuse(
            Code::Unreadable,
            &[marks::TILT],
            "a tilt is at most 90 degrees either way",
        );
    }
    let (level, by) = (row.text(marks::QUALITY_LEVEL), row.text(marks::QUALITY_BY));
    if level.is_some() != by.is_some() {
        let message = "quality_level and quality_by go together: a level is carried only as a named professional assigned it";
        row.refuse(
            Code::Unreadable,
            &[marks::QUALITY_LEVEL, marks::QUALITY_BY],
            message,
        );
    }
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
        attitude: match row.word(marks::ATTITUDE) {
            Some("tilted") => Attitude::Tilted,
            Some("vertical") => Attitude::Vertical,
            _ => Attitude::Level,
        },
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
        quality: level.map(|level| (level, by)),
        photo: row.text(marks::PHOTO),
        note: row.text(marks::NOTE),
        attributes: row.attributes(),
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

fn read_signals(row: &mut Row<'_>) -> Signals {
    Signals {
        at: row.number(marks::SIGNAL),
        ahead: row.number(marks::SIGNAL_AHEAD),
        behind: row.number(marks::SIGNAL_BEHIND),
        left: row.number(marks::SIGNAL_LEFT),
        right: row.number(marks::SIGNAL_RIGHT),
        step: row.number(marks::SIGNAL_STEP),
        checked: row.flag(marks::PEAK_CHECKED).unwrap_or(false),
    }
}
