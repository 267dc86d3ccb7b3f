//! Profiles on paper, one panel a run.

use super::flow::{LARGE, LEADING, SMALL};
use crate::record::AsBuilt;
use crate::record::model::Run;
use crate::sheet::draw::profile::{self, Look};
use crate::sheet::draw::{Anchor, Drawing, Item, pt};
use crate::sheet::font::Fonts;

/// Height of a panel with its title and scales, where several stand on a sheet (our choice: heights of a lateral, 1 to 4 m,
/// at 1:50 or 1:100), and the most that one alone takes.
const HEIGHT: f64 = 118.0;
const ALONE: f64 = 140.0;
const HEAD: f64 = 9.5;

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
    let look = Look {
        size: (width, height - HEAD),
        paper: true,
    };
    let drawn = profile::draw(record, run, &look, fonts);
    let mut panel = Drawing::new(width, if drawn.is_some() { height } else { HEAD });
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
    panel.push(
        Item::text(
            pt(0.0, 3.6),
            LARGE,
            Anchor::Start,
            fonts.fit(&title, width * 0.5, LARGE, true),
        )
        .bold(),
    );
    let ends = format!(
        "Flow to the {side}, from {} to {}.",
        text("from", "the upstream end"),
        text("to", "the downstream end")
    );
    let x = fonts.width(&fonts.fit(&title, width * 0.5, LARGE, true), LARGE, true) + 4.0;
    panel.push(Item::text(
        pt(x, 3.6),
        SMALL,
        Anchor::Start,
        fonts.fit(&ends, width - x, SMALL, false),
    ));
    let line = match &drawn {
        None => "No depth and no height is known along it.".to_owned(),
        Some(drawn) => {
            let left_out = match drawn.left_out {
                0 => String::new(),
                1 => {
                    " One name or column of figures found no room: it is in the tables.".to_owned()
                }
                n => format!(
                    " {n} names or columns of figures found no room: they are in the tables."
                ),
            };
            format!(
                "{} Grey: 95 % band of the invert; figures under the line are grades with their 95 % bound.{left_out}",
                drawn.scales
            )
        }
    };
    panel.push(Item::text(
        pt(0.0, 3.8 + LEADING),
        SMALL,
        Anchor::Start,
        fonts.fit(&line, width, SMALL, false),
    ));
    if let Some(drawn) = drawn {
        panel.place(pt(0.0, HEAD), drawn.drawing);
    }
    panel
}
