//! Rows of figures beneath the graph, on paper.

use super::{COLUMN, LEFT, Panel, ROWS};
use crate::sheet::content::figures;
use crate::sheet::draw::geometry::pt;
use crate::sheet::draw::lettering::LABEL;
use crate::sheet::draw::{Anchor, Drawing, Item, Pen};

/// Room of a mark's name, millimetres.
const NAME: f64 = 9.0;

impl Panel<'_> {
    /// Rows of figures beneath the graph, upright, one column a vertex where there is room.
    pub(super) fn figures(&self, drawing: &mut Drawing) -> usize {
        let bottom = self.graph.y1 + ROWS.iter().sum::<f64>();
        let invert = if self.heights {
            "Invert level"
        } else {
            "Invert depth"
        };
        let names = ["Mark", "Station", "Ground level", "Depth of top", invert];
        let mut y = self.graph.y1;
        for (name, height) in names.into_iter().zip(ROWS) {
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
        let (mut last, mut left_out) = (f64::NEG_INFINITY, 0);
        for p in &self.points {
            let x = self.x(p.station);
            if x - last < COLUMN {
                left_out += 1;
                continue;
            }
            last = x;
            drawing.push(Item::path(
                Pen::Drop,
                vec![pt(x, self.graph.y1), pt(x, self.graph.y1 + 1.0)],
            ));
            let unit = self.record.frame.unit;
            // Beneath a level ground the invert's place in the drawing is its depth, downwards.
            let invert = p.invert.map(|z| if self.heights { z } else { -z });
            let mark = p.mark.and_then(|i| self.record.marks.get(i));
            let name = mark.map_or_else(|| figures::UNKNOWN.to_owned(), |m| names.of(&m.mark));
            let cells = [
                name,
                figures::station(Some(p.station), unit),
                figures::length(p.level),
                figures::length(p.cover),
                figures::length(invert),
            ];
            let mut y = self.graph.y1;
            for (height, cell) in ROWS.iter().zip(cells) {
                y += height;
                // What is wider than its row, a name that no cut tells from others, is set smaller.
                let long = self.fonts.width(&cell, LABEL, false);
                let size = LABEL * ((height - 0.8) / long).min(1.0);
                drawing.push(
                    Item::text(pt(x + 0.8, y - 0.8), size, Anchor::Start, cell).turned(-90.0),
                );
            }
        }
        drawing.push(Item::path(
            Pen::Rule,
            vec![pt(0.0, bottom), pt(self.graph.x1, bottom)],
        ));
        left_out
    }
}
