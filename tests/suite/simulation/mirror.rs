//! The same job told otherwise: pushed from the other end, or from an opening in the middle both ways.

use super::book::{Book, Cell, Row};
use crate::row;

const SWAPPED: [(&str, &str); 2] = [("end_ahead", "end_behind"), ("end_behind", "end_ahead")];

/// The same measurements, had the camera been pushed from the other end: counters run back, what was ahead is behind,
/// tilts change sign; baselines are told from their other end as well.
pub fn from_the_other_end(book: &Book) -> Book {
    let mut other = book.clone();
    let top = counters(book).fold(0.0, f64::max) + 1.0;
    for row in &mut other.marks {
        // Transmitter at P from this opening is at top − P from the other; the lens is on its far side.
        row.change("counter", |counter| top - (counter - book.lens) + book.lens);
        turn_about(row);
        other_baseline(row, book);
    }
    other.marks.reverse();
    for row in &mut other.camera {
        row.change("counter", |counter| top - counter);
    }
    for run in &mut other.runs {
        run.upstream = !run.upstream;
    }
    other
}

/// The same measurements, had the camera been pushed both ways from an opening at a mark, its counter reset each time.
/// The book must be of one run, pushed downstream.
pub fn both_ways_from(book: &Book, opening: &str) -> Book {
    let path = |row: &Row| row.number("counter").map(|counter| counter - book.lens);
    let path_of = |mark: &str| {
        book.marks
            .iter()
            .find(|row| row.text("mark") == mark)
            .and_then(path)
    };
    let start = path_of(opening).expect("the opening is a mark with a counter");
    let mut other = book.clone();
    for row in &mut other.marks {
        let down = path_of(row.text("mark")).expect("a mark with a counter") >= start;
        row.set("push", if down { "down" } else { "up" });
        row.change("counter", |counter| {
            (counter - book.lens - start).abs() + book.lens
        });
        if !down {
            turn_about(row);
        }
    }
    for row in &mut other.camera {
        let down = row
            .number("counter")
            .is_some_and(|counter| counter >= start);
        row.set("push", if down { "down" } else { "up" });
        row.change("counter", |counter| (counter - start).abs());
    }
    other.pushes = [("down", "downstream"), ("up", "upstream")]
        .map(|(push, pushed)| {
            row![
                "push" => push,
                "run" => book.runs[0].id.as_str(),
                "pushed" => pushed,
                "counter_at_start" => Cell::Length(0.0),
                "start" => opening,
            ]
        })
        .to_vec();
    other
}

fn counters(book: &Book) -> impl Iterator<Item = f64> {
    book.marks
        .iter()
        .chain(&book.camera)
        .filter_map(|row| row.number("counter"))
}

/// What was ahead is behind.
fn turn_about(row: &mut Row) {
    row.rename(&SWAPPED);
    row.change("tilt", |tilt| -tilt);
    let role = row.text("role").to_owned();
    if let Some((_, other)) = SWAPPED.iter().find(|(role_name, _)| *role_name == role) {
        row.set("role", *other);
    }
}

/// `P>Q`, station, offset as `Q>P`.
fn other_baseline(row: &mut Row, book: &Book) {
    let Some((from, to)) = row
        .text("baseline")
        .split_once('>')
        .map(|(p, q)| (p.to_owned(), q.to_owned()))
    else {
        return;
    };
    let place = |name: &str| {
        let point = book.control.iter().find(|row| row.text("point") == name);
        point
            .and_then(|row| Some([row.number("easting")?, row.number("northing")?]))
            .expect("a reference on the grid")
    };
    let ([e, n], [f, o]) = (place(&from), place(&to));
    let length = (f - e).hypot(o - n) / book.scale;
    row.set("baseline", format!("{to}>{from}"));
    row.change("station", |station| length - station);
    row.change("offset", |offset| -offset);
}
