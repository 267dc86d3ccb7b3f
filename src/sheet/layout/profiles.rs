//! Profiles on paper, one panel a run.

use super::flow::{LARGE, LEADING, SMALL};
use crate::record::AsBuilt;
use crate::record::model::Run;
use crate::sheet::draw::profile::{self, Look, Profile};
use crate::sheet::draw::{Anchor, Drawing, Item, pt};
use crate::sheet::font::Fonts;

/// Height of a panel with its title and scales, where several stand on a sheet (our choice: heights of a lateral, 1 to 4 m,
/// at 1:50 or 1:100), and the most that one alone takes.
const HEIGHT: f64 = 118.0;
const ALONE: f64 = 140.0;
/// The title, and white under the lines of words beneath it.
const TITLE: f64 = 3.8;
const UNDER: f64 = 2.6;
/// Lines that the words beneath a title are given.
const LINES: usize = 4;

/// A panel for each run.
pub fn panels(record: &AsBuilt, (width, room): (f64, f64), fonts: &Fonts) -> Vec<Drawing> {
    let height = if room >= 2.0 * HEIGHT {
        HEIGHT
    } else {
        room.min(ALONE)
    };
    record
        .runs
        .iter()
        .map(|run| panel(record, run, (width, height), fonts))
        .collect()
}

fn panel(record: &AsBuilt, run: &Run, (width, height): (f64, f64), fonts: &Fonts) -> Drawing {
    let none = || "No depth and no height is known along it.".to_owned();
    let drawn = |lines: usize| {
        let look = Look {
            size: (width, height - head(lines)),
            paper: true,
        };
        let drawn = profile::draw(record, run, &look, fonts);
        let words = drawn.as_ref().map_or_else(none, words);
        (drawn, fonts.wrap(&words, width, SMALL, false))
    };
    // What is said depends on what finds room, and takes room itself: most often a line.
    let (mut count, (mut graph, mut lines)) = (1, drawn(1));
    while lines.len() > count && count < LINES {
        count += 1;
        (graph, lines) = drawn(count);
    }
    let tall = head(count);
    let mut panel = Drawing::new(width, if graph.is_some() { height } else { tall });
    title(&mut panel, run, width, fonts);
    for (i, line) in lines.into_iter().take(count).enumerate() {
        let at = pt(0.0, TITLE + LEADING * (i as f64 + 1.0));
        panel.push(Item::text(at, SMALL, Anchor::Start, line));
    }
    if let Some(drawn) = graph {
        panel.place(pt(0.0, tall), drawn.drawing);
    }
    panel
}

fn head(lines: usize) -> f64 {
    TITLE + LEADING * lines as f64 + UNDER
}

fn title(panel: &mut Drawing, run: &Run, width: f64, fonts: &Fonts) {
    let side = if run.station_from == "downstream" {
        "left"
    } else {
        "right"
    };
    let text = |key: &str, other: &str| {
        run.texts
            .get(key)
            .cloned()
            .unwrap_or_else(|| other.to_owned())
    };
    let title = format!("Profile of run {}", run.run);
    let title = fonts.fit(&title, width * 0.5, LARGE, true);
    let x = fonts.width(&title, LARGE, true) + 4.0;
    panel.push(Item::text(pt(0.0, 3.6), LARGE, Anchor::Start, title).bold());
    let ends = format!(
        "Flow to the {side}, from {} to {}.",
        text("from", "the upstream end"),
        text("to", "the downstream end")
    );
    let ends = fonts.fit(&ends, width - x, SMALL, false);
    panel.push(Item::text(pt(x, 3.6), SMALL, Anchor::Start, ends));
}

/// What is said under the title.
fn words(drawn: &Profile) -> String {
    let names = match drawn.left_out {
        0 => String::new(),
        1 => " One name or column of figures found no room: it is in the tables.".to_owned(),
        n => format!(" {n} names or columns of figures found no room: they are in the tables."),
    };
    let grades = match drawn.grades_left_out {
        0 => String::new(),
        1 => " One grade found no room: it is in profile.csv.".to_owned(),
        n => format!(" {n} grades found no room: they are in profile.csv."),
    };
    format!("{}{names}{grades}", drawn.words)
}
