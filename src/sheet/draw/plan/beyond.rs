//! References outside the plan that ties of what is in it use.

use std::collections::BTreeSet;

use super::{MARGIN, Sketch};
use crate::sheet::content::figures;
use crate::sheet::draw::geometry::{Pt, Rect, pt};
use crate::sheet::draw::labels::Obstacles;
use crate::sheet::draw::lettering::{LABEL, text_box};
use crate::sheet::draw::{Anchor, Feature, Item, Node, Pen, Role, symbols};

/// Arrows at the border.
pub struct Beyond {
    /// Arrows with their words.
    pub nodes: Vec<Node>,
    /// Where they stand.
    pub taken: Vec<Rect>,
    /// References whose words found no room.
    pub left_out: usize,
}

/// How far words may slide along the border, in steps.
const SLIDES: i32 = 8;
const STEP: f64 = 3.2;

impl Sketch<'_> {
    /// An arrow at the border with name and distance for each.
    pub(super) fn beyond(&self, obstacles: &Obstacles) -> Beyond {
        let used = self.used();
        let border = self.frame.grown(-2.2);
        let mut found = Beyond {
            nodes: Vec::new(),
            taken: Vec::new(),
            left_out: 0,
        };
        for (i, r) in self.record.references.iter().enumerate() {
            let p = self.at(r.easting, r.northing);
            if self.frame.contains(p) || !used.contains(r.point.as_str()) {
                continue;
            }
            let Some((_, edge)) = border.clip(self.frame.centre(), p) else {
                continue;
            };
            let away = p - edge;
            let off = figures::fixed(away.length() / self.per_length(), 1);
            let name = self.names.of(&r.point);
            let text = format!("{name} {off} {} off", self.record.frame.unit);
            let size = text_box(self.fonts, std::slice::from_ref(&text));
            let Some(rect) = self.beside(edge, size, &found.taken, obstacles) else {
                found.left_out += 1;
                continue;
            };
            found.taken.push(rect);
            found.taken.push(Rect::spot(edge).grown(1.6));
            let along = away * (1.0 / away.length().max(1e-9));
            let base = pt(rect.x0 + 0.4, rect.y1 - 0.75) - edge;
            found.nodes.push(Node::Anchored {
                at: edge,
                role: Role::Symbol,
                feature: Some(Feature::Reference(i)),
                items: vec![
                    symbols::arrow(pt(0.0, 0.0), along, 1.4),
                    Item::rect(Pen::Halo, rect.moved(edge * -1.0)),
                    Item::text(base, LABEL, Anchor::Start, text),
                ],
            });
        }
        found
    }

    /// A free box just inside the border near a point of it, or a little along the border.
    fn beside(
        &self,
        edge: Pt,
        size: (f64, f64),
        taken: &[Rect],
        obstacles: &Obstacles,
    ) -> Option<Rect> {
        let inside = self.frame.grown(-MARGIN);
        let within = |v: f64, lo: f64, hi: f64| v.clamp(lo, hi.max(lo));
        let free = |rect: Rect| {
            let on = |(at, radius): &(Pt, f64)| (rect.nearest(*at) - *at).length() < *radius;
            let over = |(a, b): &(Pt, Pt)| rect.grown(0.6).clip(*a, *b).is_some();
            !taken.iter().any(|other| other.overlaps(rect))
                && !obstacles.symbols.iter().any(on)
                && !obstacles.walls.iter().any(over)
        };
        let slid = |x: f64, y: f64| {
            let x = within(edge.x - size.0 / 2.0 + x, inside.x0, inside.x1 - size.0);
            let y = within(edge.y - size.1 / 2.0 + y, inside.y0, inside.y1 - size.1);
            Rect::new(x, y, size.0, size.1)
        };
        let steps = (0..=SLIDES).flat_map(|i| [f64::from(i), -f64::from(i)]);
        steps
            .flat_map(|i| [slid(0.0, i * STEP), slid(i * size.0 / 2.0, 0.0)])
            .find(|rect| free(*rect))
    }

    /// References that the ties of what is in the frame use.
    fn used(&self) -> BTreeSet<&str> {
        let seen = |e: f64, n: f64| self.frame.contains(self.at(e, n));
        let marks = self
            .record
            .marks
            .iter()
            .filter(|m| seen(m.easting, m.northing))
            .map(|m| m.id.as_str());
        let camera = self
            .record
            .camera
            .iter()
            .filter(|c| matches!((c.easting, c.northing), (Some(e), Some(n)) if seen(e, n)));
        let shown: BTreeSet<&str> = marks.chain(camera.map(|c| c.id.as_str())).collect();
        let ties = self
            .record
            .ties
            .iter()
            .filter(|tie| shown.contains(tie.id.as_str()));
        ties.flat_map(|tie| &tie.distances)
            .map(|d| d.reference.as_str())
            .collect()
    }
}
