//! The axes: heights at the left, stations beneath.

use super::Panel;
use crate::sheet::content::figures;
use crate::sheet::draw::geometry::{Rect, pt};
use crate::sheet::draw::lettering::{LABEL, figure};
use crate::sheet::draw::scale::round_step;
use crate::sheet::draw::{Anchor, Drawing, Item, Pen};

impl Panel<'_> {
    /// Heights at round steps, with fine lines across.
    pub(super) fn axis(&self, drawing: &mut Drawing) {
        let k = self.record.frame.unit.metres() * self.vertical.per_metre();
        let step = round_step(self.graph.height() / 2.5 / k);
        let first = (self.origin.1 / step).ceil();
        let decimals = if step < 0.1 {
            2
        } else {
            usize::from(step < 1.0)
        };
        for i in 0..40 {
            let height = (first + f64::from(i)) * step;
            let y = self.y(height);
            // Nothing is counted above a level ground.
            if y < self.graph.y0 || (!self.heights && height > step / 2.0) {
                break;
            }
            drawing.push(Item::path(
                Pen::Hair,
                vec![pt(self.graph.x0, y), pt(self.graph.x1, y)],
            ));
            let counted = if self.heights { height } else { -height };
            let text = figures::fixed(counted, decimals);
            let wide = self.fonts.width(&text, LABEL, false);
            let text = Item::text(pt(-1.2, 0.8), LABEL, Anchor::End, text);
            let around = Rect::new(-1.2 - wide, -1.5, wide, 3.0);
            drawing
                .nodes
                .push(figure(pt(self.graph.x0, y), around, text));
        }
        let unit = self.record.frame.unit;
        let what = match (self.heights, &self.record.frame.vertical) {
            (true, Some(datum)) => format!("Height, {unit}, {datum}"),
            (true, None) => format!("Height, {unit}"),
            (false, _) => format!("Depth below ground, {unit}"),
        };
        let what = self
            .fonts
            .fit(&what, self.graph.width() * 0.7, LABEL, false);
        let around = Rect::new(0.0, -2.4, self.fonts.width(&what, LABEL, false), 3.0);
        let text = Item::text(pt(0.0, 0.0), LABEL, Anchor::Start, what);
        drawing.nodes.push(figure(pt(0.0, 3.2), around, text));
    }

    /// Stations at round steps, for the page.
    pub(super) fn stations(&self, drawing: &mut Drawing) {
        let k = self.record.frame.unit.metres() * self.horizontal.per_metre();
        let step = round_step(48.0 / k);
        let first = (self.origin.0 / step).ceil();
        for i in 0..60 {
            let station = (first + f64::from(i)) * step;
            let x = self.x(station);
            if x > self.graph.x1 {
                break;
            }
            drawing.push(Item::path(
                Pen::Rule,
                vec![pt(x, self.graph.y1), pt(x, self.graph.y1 + 1.2)],
            ));
            let text = figures::station(Some(station), self.record.frame.unit);
            let wide = self.fonts.width(&text, LABEL, false) + 1.0;
            // The last one stands left of its tick where it would be cut.
            let (anchor, left) = if x + wide / 2.0 > self.look.size.0 {
                (Anchor::End, -wide)
            } else {
                (Anchor::Middle, -wide / 2.0)
            };
            let text = Item::text(pt(0.0, 3.8), LABEL, anchor, text);
            let around = Rect::new(left, 1.4, wide, 3.0);
            drawing
                .nodes
                .push(figure(pt(x, self.graph.y1), around, text));
        }
    }
}
