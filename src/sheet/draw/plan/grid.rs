//! The grid: ticks where its lines cross, figures at the border.

use super::{Sketch, item};
use crate::sheet::content::figures;
use crate::sheet::draw::geometry::{Rect, pt};
use crate::sheet::draw::lettering::{LABEL, figure};
use crate::sheet::draw::scale::round_step;
use crate::sheet::draw::{Anchor, Item, Node, Pen};

impl Sketch<'_> {
    pub(super) fn grid(&self, taken: &[Rect], inside: &mut Vec<Node>, edge: &mut Vec<Node>) {
        let k = self.per_grid();
        // A tick each 25 to 62 mm: two of them are always in sight.
        let step = round_step(62.0 / k);
        let (east, north) = (self.view.size.0 / 2.0 / k, self.view.size.1 / 2.0 / k);
        let lines = |centre: f64, half: f64| {
            let first = ((centre - half) / step).ceil();
            let count = (((centre + half) / step).floor() - first).clamp(-1.0, 200.0) as i64;
            (0..=count)
                .map(move |i| (first + i as f64) * step)
                .collect::<Vec<_>>()
        };
        let (eastings, northings) = (
            lines(self.view.centre.0, east),
            lines(self.view.centre.1, north),
        );
        for &e in &eastings {
            for &n in &northings {
                let p = self.at(e, n);
                // The figures at the border need their room.
                if !self.frame.grown(-5.0).contains(p) {
                    continue;
                }
                inside.push(item(Item::path(
                    Pen::Grid,
                    vec![p - pt(1.5, 0.0), p + pt(1.5, 0.0)],
                )));
                inside.push(item(Item::path(
                    Pen::Grid,
                    vec![p - pt(0.0, 1.5), p + pt(0.0, 1.5)],
                )));
            }
        }
        self.grid_figures(
            (&eastings, &northings),
            usize::from(step < 1.0),
            taken,
            edge,
        );
    }

    /// Eastings along the top, northings along the left, where nothing else stands.
    fn grid_figures(
        &self,
        (eastings, northings): (&[f64], &[f64]),
        decimals: usize,
        taken: &[Rect],
        edge: &mut Vec<Node>,
    ) {
        let free = |rect: Rect| !taken.iter().any(|other| other.overlaps(rect));
        for &e in eastings {
            let x = self.at(e, 0.0).x;
            if self.frame.grown(-18.0).x0 < x && x < self.frame.grown(-18.0).x1 {
                edge.push(item(Item::path(Pen::Rule, vec![pt(x, 0.0), pt(x, 1.5)])));
                let text = format!("E {}", figures::fixed(e, decimals));
                let wide = self.fonts.width(&text, LABEL, false);
                if free(Rect::new(x + 1.0, 0.0, wide, 3.0)) {
                    let label = Item::text(pt(1.0, 2.4), LABEL, Anchor::Start, text);
                    let around = Rect::new(1.0, 0.0, wide + 1.0, 3.0);
                    edge.push(figure(pt(x, 0.0), around, label));
                }
            }
        }
        for &n in northings {
            let y = self.at(0.0, n).y;
            if self.frame.grown(-18.0).y0 < y && y < self.frame.grown(-18.0).y1 {
                edge.push(item(Item::path(Pen::Rule, vec![pt(0.0, y), pt(1.5, y)])));
                let text = format!("N {}", figures::fixed(n, decimals));
                let wide = self.fonts.width(&text, LABEL, false);
                if free(Rect::new(0.0, y - 1.0 - wide, 3.0, wide)) {
                    let label = Item::text(pt(2.4, -1.0), LABEL, Anchor::Start, text).turned(-90.0);
                    let around = Rect::new(0.0, -2.0 - wide, 3.0, wide + 1.0);
                    edge.push(figure(pt(0.0, y), around, label));
                }
            }
        }
    }
}
