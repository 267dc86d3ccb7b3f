//! Symbols, around their own point. Shapes alone tell them apart, so that a copy in black and white loses nothing.

use super::{Item, Pen, Pt, pt};
use crate::record::model::{Evidence, Meeting, VertexKind};

/// Radius that labels keep clear of.
pub const CLEAR: f64 = 1.3;

/// A mark: filled where the pipe was seen, open where it was located; a ring around it for a fitting.
#[must_use]
pub fn mark(evidence: Evidence, fitting: bool) -> Vec<Item> {
    let mut items = Vec::new();
    if fitting {
        items.push(Item::circle(Pen::Open, pt(0.0, 0.0), 1.25));
    }
    let pen = if evidence == Evidence::Exposed {
        Pen::Solid
    } else {
        Pen::Open
    };
    items.push(Item::circle(pen, pt(0.0, 0.0), 0.75));
    if pen == Pen::Open {
        items.push(Item::circle(Pen::Solid, pt(0.0, 0.0), 0.1));
    }
    items
}

/// A vertex that no mark stands on: a bend nothing located, or a junction.
#[must_use]
pub fn vertex(kind: VertexKind) -> Vec<Item> {
    match kind {
        VertexKind::Junction => vec![Item::polygon(Pen::Solid, square(0.55))],
        VertexKind::Bend | VertexKind::Mark => {
            vec![Item::polygon(
                Pen::Open,
                vec![pt(0.0, -0.9), pt(0.9, 0.0), pt(0.0, 0.9), pt(-0.9, 0.0)],
            )]
        }
    }
}

/// What the camera saw: a cross in a square.
#[must_use]
pub fn camera() -> Vec<Item> {
    let r = 0.85;
    vec![
        Item::polygon(Pen::Open, square(r)),
        Item::path(Pen::Line, vec![pt(-r, -r), pt(r, r)]),
        Item::path(Pen::Line, vec![pt(-r, r), pt(r, -r)]),
    ]
}

/// Where a site plan shows something across the pipe, filled, or beside it, open: two triangles tip to tip.
#[must_use]
pub fn crossing(meeting: Meeting) -> Vec<Item> {
    let pen = if meeting == Meeting::Near {
        Pen::Open
    } else {
        Pen::Solid
    };
    let (x, y) = (1.1, 0.7);
    vec![
        Item::polygon(pen, vec![pt(-x, -y), pt(0.0, 0.0), pt(-x, y)]),
        Item::polygon(pen, vec![pt(x, -y), pt(0.0, 0.0), pt(x, y)]),
    ]
}

/// A reference point: a triangle, with a dot where its place is given and hollow where it was solved.
#[must_use]
pub fn reference(solved: bool) -> Vec<Item> {
    let mut items = vec![Item::polygon(
        Pen::Open,
        vec![pt(0.0, -1.25), pt(1.1, 0.75), pt(-1.1, 0.75)],
    )];
    if !solved {
        items.push(Item::circle(Pen::Solid, pt(0.0, 0.0), 0.22));
    }
    items
}

/// An arrow head at `at` along a direction (unit vector).
#[must_use]
pub fn arrow(at: Pt, along: Pt, size: f64) -> Item {
    let across = pt(-along.y, along.x);
    Item::polygon(
        Pen::Flow,
        vec![
            at + along * size,
            at - along * (size * 0.6) + across * (size * 0.45),
            at - along * (size * 0.6) - across * (size * 0.45),
        ],
    )
}

fn square(r: f64) -> Vec<Pt> {
    vec![pt(-r, -r), pt(r, -r), pt(r, r), pt(-r, r)]
}
