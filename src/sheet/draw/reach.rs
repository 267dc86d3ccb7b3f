//! How far a shape reaches, so that a view of a part of a drawing needn't carry the rest.

use super::geometry::Rect;
use super::{Item, Node, Shape};

/// More than half the width of any pen, millimetres.
const PEN: f64 = 2.0;
/// More than the width of any letter, ems.
const LETTER: f64 = 1.5;

impl Item {
    /// A rectangle that holds it, not the smallest one; `None` where there is nothing to see.
    fn reach(&self) -> Option<Rect> {
        match &self.shape {
            Shape::Path { points, .. } => {
                Rect::around(points.iter().copied()).map(|rect| rect.grown(PEN))
            }
            Shape::Ellipse { centre, a, b, .. } => Some(Rect::spot(*centre).grown(a.max(*b) + PEN)),
            Shape::Text { at, size, text, .. } => {
                let letters = text.chars().count() as f64 + 1.0;
                Some(Rect::spot(*at).grown(size * LETTER * letters))
            }
        }
    }
}

impl Node {
    /// Whether a part of it may lie in a rectangle.
    pub(super) fn reaches(&self, frame: Rect) -> bool {
        match self {
            Self::Item(item, _) => item.reach().is_some_and(|rect| rect.overlaps(frame)),
            Self::Anchored { at, items, .. } => items
                .iter()
                .filter_map(Item::reach)
                .any(|rect| rect.moved(*at).overlaps(frame)),
            Self::Clip(rect, _) => rect.overlaps(frame),
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::sheet::draw::{Anchor, Item, Node, Pen, Rect, Role, pt};

    #[test]
    fn only_what_can_be_seen_reaches_in() {
        let frame = Rect::new(0.0, 0.0, 100.0, 50.0);
        let line = |a, b| Node::Item(Item::path(Pen::Run, vec![a, b]), None);
        // Across the frame with both ends outside; beside it; beside it by less than half a pen.
        assert!(line(pt(-10.0, 20.0), pt(200.0, 30.0)).reaches(frame));
        assert!(!line(pt(-10.0, -20.0), pt(200.0, -20.0)).reaches(frame));
        assert!(line(pt(-10.0, -0.4), pt(200.0, -0.4)).reaches(frame));
        let word = |x| {
            Node::Item(
                Item::text(pt(x, 10.0), 3.0, Anchor::End, "Quarry Lane"),
                None,
            )
        };
        assert!(word(110.0).reaches(frame));
        assert!(!word(300.0).reaches(frame));
        let group = |x| Node::Anchored {
            at: pt(x, 10.0),
            role: Role::Symbol,
            feature: None,
            items: vec![Item::path(Pen::Run, vec![pt(-5.0, 0.0), pt(-20.0, 0.0)])],
        };
        assert!(group(110.0).reaches(frame));
        assert!(!group(130.0).reaches(frame));
    }
}
