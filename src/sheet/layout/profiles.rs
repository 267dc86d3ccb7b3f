//! Profiles on paper, one panel a run.

use super::flow::{LARGE, LEADING, Piece, SMALL, paragraph};
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

/// A panel for each run along which a depth or a height is known, and the other runs.
pub fn panels<'a>(
    record: &'a AsBuilt,
    (width, room): (f64, f64),
    fonts: &Fonts,
) -> (Vec<Drawing>, Vec<&'a Run>) {
    let height = if room >= 2.0 * HEIGHT {
        HEIGHT
    } else {
        room.min(ALONE)
    };
    let (mut panels, mut without) = (Vec::new(), Vec::new());
    for run in &record.runs {
        match panel(record, run, (width, height), fonts) {
            Some(panel) => panels.push(panel),
            None => without.push(run),
        }
    }
    (panels, without)
}

/// Which runs have no profile, and why.
pub fn without(runs: &[&Run], width: f64, fonts: &Fonts) -> Vec<Piece> {
    let names: Vec<&str> = runs.iter().map(|run| run.run.as_str()).collect();
    let said = match names[..] {
        [] => return Vec::new(),
        [run] => {
            format!("No depth and no height is known along run {run}, so it has no profile.")
        }
        _ => format!(
            "No depth and no height is known along runs {}, so they have no profile.",
            names.join(", ")
        ),
    };
    let mut pieces = vec![Piece::heading("Profiles", width, fonts)];
    pieces.extend(paragraph(&said, width, false, fonts));
    pieces.push(Piece::space(2.0));
    pieces
}

fn panel(
    record: &AsBuilt,
    run: &Run,
    (width, height): (f64, f64),
    fonts: &Fonts,
) -> Option<Drawing> {
    let drawn = |lines: usize| {
        let look = Look {
            size: (width, height - head(lines)),
            paper: true,
        };
        let drawn = profile::draw(record, run, &look, fonts)?;
        let lines = fonts.wrap(&words(&drawn), width, SMALL, false);
        Some((drawn, lines))
    };
    // What is said depends on what finds room, and takes room itself: most often a line.
    let (mut count, (mut graph, mut lines)) = (1, drawn(1)?);
    while lines.len() > count && count < LINES {
        count += 1;
        (graph, lines) = drawn(count)?;
    }
    let mut panel = Drawing::new(width, height);
    title(&mut panel, run, width, fonts);
    for (i, line) in lines.into_iter().take(count).enumerate() {
        let at = pt(0.0, TITLE + LEADING * (i as f64 + 1.0));
        panel.push(Item::text(at, SMALL, Anchor::Start, line));
    }
    panel.place(pt(0.0, head(count)), graph.drawing);
    Some(panel)
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
