//! Rows of figures beneath the graph, on paper.

use super::{COLUMN, LEFT, Panel, Point, ROWS};
use crate::sheet::content::figures;
use crate::sheet::draw::geometry::pt;
use crate::sheet::draw::lettering::LABEL;
use crate::sheet::draw::{Anchor, Drawing, Item, Pen};
use crate::sheet::font::{Fonts, Names};
use crate::units::LengthUnit;

/// Room of a mark's name, millimetres.
const NAME: f64 = 9.0;
/// White above and beneath an upright figure in its row.
const WHITE: f64 = 1.0;

/// Heights of the rows: none is lower than its longest figure.
pub(super) fn rows(
    points: &[Point],
    heights: bool,
    unit: LengthUnit,
    fonts: &Fonts,
) -> [f64; ROWS.len()] {
    let mut rows = ROWS;
    for cells in points.iter().map(|p| cells(p, heights, unit)) {
        // The first is for the marks' names, which are cut to it.
        for (row, cell) in rows.iter_mut().skip(1).zip(cells) {
            *row = row.max(fonts.width(&cell, LABEL, false) + WHITE);
        }
    }
    rows
}

/// Station, ground level, depth of the top, invert.
fn cells(p: &Point, heights: bool, unit: LengthUnit) -> [String; ROWS.len() - 1] {
    // Beneath a level ground the invert's place in the drawing is its depth, downwards.
    let invert = p.invert.map(|z| if heights { z } else { -z });
    [
        figures::station(Some(p.station), unit),
        figures::length(p.level),
        figures::length(p.cover),
        figures::length(invert),
    ]
}

/// What the rows of figures leave out.
#[derive(Default)]
pub(super) struct Left {
    /// Columns that found no room.
    pub(super) columns: usize,
    /// Whether marks stand there by number.
    pub(super) numbered: bool,
}

impl Panel<'_> {
    /// A mark's name in the table; where no cut tells it from others, the number of its row in the table of marks (`true`).
    fn named(&self, names: &Names, p: &Point) -> (String, bool) {
        let mark = p.mark.and_then(|i| Some((i, self.record.marks.get(i)?)));
        let Some((i, mark)) = mark else {
            return (figures::UNKNOWN.to_owned(), false);
        };
        let name = names.of(&mark.mark);
        if self.fonts.width(&name, LABEL, false) <= NAME {
            (name, false)
        } else {
            (format!("no. {}", i + 1), true)
        }
    }

    /// Rows of figures beneath the graph, upright, one column a vertex where there is room.
    pub(super) fn figures(&self, drawing: &mut Drawing) -> Left {
        let bottom = self.graph.y1 + self.rows.iter().sum::<f64>();
        let invert = if self.heights {
            "Invert level"
        } else {
            "Invert depth"
        };
        let names = ["Mark", "Station", "Ground level", "Depth of top", invert];
        let mut y = self.graph.y1;
        for (name, height) in names.into_iter().zip(self.rows) {
            let text = self.fonts.fit(name, LEFT - 1.0, LABEL, false);
            drawing.push(Item::text(
                pt(0.5, y + height / 2.0 + 0.9),
                LABEL,
                Anchor::Start,
                text,
            ));
            y += height;
            drawing.push(Item::path(
                Pen::Hair,
                vec![pt(0.0, y), pt(self.graph.x1, y)],
            ));
        }
        let names = self.names(NAME);
        let (mut last, mut left) = (f64::NEG_INFINITY, Left::default());
        for p in &self.points {
            let x = self.x(p.station);
            if x - last < COLUMN {
                left.columns += 1;
                continue;
            }
            last = x;
            drawing.push(Item::path(
                Pen::Drop,
                vec![pt(x, self.graph.y1), pt(x, self.graph.y1 + 1.0)],
            ));
            let (name, numbered) = self.named(&names, p);
            left.numbered |= numbered;
            let cells = cells(p, self.heights, self.record.frame.unit);
            let mut y = self.graph.y1;
            for (height, cell) in self.rows.iter().zip([name].into_iter().chain(cells)) {
                y += height;
                let at = pt(x + 0.8, y - 0.8);
                drawing.push(Item::text(at, LABEL, Anchor::Start, cell).turned(-90.0));
            }
        }
        drawing.push(Item::path(
            Pen::Rule,
            vec![pt(0.0, bottom), pt(self.graph.x1, bottom)],
        ));
        left
    }
}
