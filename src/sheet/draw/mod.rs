//! The drawing model that the sheet and the page share: shapes in millimetres with pens that say what a line means.
//!
//! x runs to the right and y down from a drawing's upper left corner. A [`Node::Anchored`] group keeps its size when the
//! page zooms; on paper it is only moved to its place.

pub mod geometry;
pub mod labels;
pub mod lettering;
pub mod pen;
pub mod plan;
pub mod profile;
mod reach;
pub mod scale;
pub mod symbols;
mod underlay;

pub use geometry::{Pt, Rect, pt};
pub use pen::Pen;

/// What a part of the drawing stands for, by its place in the record.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Feature {
    /// `marks[i]`.
    Mark(usize),
    /// `camera[i]`.
    Camera(usize),
    /// `references[i]`.
    Reference(usize),
    /// `crossings[i]`.
    Crossing(usize),
}

/// Which end of a line of text stands at its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Left.
    Start,
    /// Centre.
    Middle,
    /// Right.
    End,
}

/// A shape with its pen.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// What the line means.
    pub pen: Pen,
    /// The shape.
    pub shape: Shape,
}

/// A shape, millimetres.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// Straight lines through points.
    Path {
        /// Points.
        points: Vec<Pt>,
        /// Back to the first.
        closed: bool,
    },
    /// An ellipse.
    Ellipse {
        /// Centre.
        centre: Pt,
        /// Semi-axis along the turned x.
        a: f64,
        /// Semi-axis along the turned y.
        b: f64,
        /// Turn of `a` from x towards y, that is clockwise on the page, degrees.
        turn: f64,
    },
    /// A line of text on its base line.
    Text {
        /// Its anchor.
        at: Pt,
        /// Em, millimetres.
        size: f64,
        /// Which end is at `at`.
        anchor: Anchor,
        /// Clockwise, degrees.
        turn: f64,
        /// The bold face.
        bold: bool,
        /// What it says.
        text: String,
    },
}

/// Why a group stays its size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Role {
    /// A symbol at its place.
    Symbol,
    /// A label beside it; its box relative to the anchor.
    Label(Rect),
    /// A label that has room only once the page is zoomed; never on paper.
    Spare(Rect),
}

/// A part of a drawing.
#[derive(Clone, Debug, PartialEq)]
pub enum Node {
    /// A shape in the drawing's own coordinates, and what it stands for.
    Item(Item, Option<Feature>),
    /// Shapes relative to an anchor.
    Anchored {
        /// Where.
        at: Pt,
        /// Symbol or label.
        role: Role,
        /// What it stands for.
        feature: Option<Feature>,
        /// Relative to `at`.
        items: Vec<Item>,
    },
    /// Parts seen only inside a rectangle.
    Clip(Rect, Vec<Node>),
}

/// A drawing: a page, or a figure on it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Drawing {
    /// Millimetres.
    pub width: f64,
    /// Millimetres.
    pub height: f64,
    /// In drawing order.
    pub nodes: Vec<Node>,
}

impl Item {
    /// A line through points.
    #[must_use]
    pub fn path(pen: Pen, points: Vec<Pt>) -> Self {
        Self {
            pen,
            shape: Shape::Path {
                points,
                closed: false,
            },
        }
    }

    /// A closed polygon.
    #[must_use]
    pub fn polygon(pen: Pen, points: Vec<Pt>) -> Self {
        Self {
            pen,
            shape: Shape::Path {
                points,
                closed: true,
            },
        }
    }

    /// A rectangle.
    #[must_use]
    pub fn rect(pen: Pen, rect: Rect) -> Self {
        Self::polygon(pen, rect.corners().to_vec())
    }

    /// A circle.
    #[must_use]
    pub fn circle(pen: Pen, centre: Pt, radius: f64) -> Self {
        Self {
            pen,
            shape: Shape::Ellipse {
                centre,
                a: radius,
                b: radius,
                turn: 0.0,
            },
        }
    }

    /// Text in ink, level.
    #[must_use]
    pub fn text(at: Pt, size: f64, anchor: Anchor, text: impl Into<String>) -> Self {
        let shape = Shape::Text {
            at,
            size,
            anchor,
            turn: 0.0,
            bold: false,
            text: text.into(),
        };
        Self {
            pen: Pen::Ink,
            shape,
        }
    }

    /// The same text in the bold face.
    #[must_use]
    pub fn bold(mut self) -> Self {
        if let Shape::Text { bold, .. } = &mut self.shape {
            *bold = true;
        }
        self
    }

    /// The same text turned clockwise by so many degrees.
    #[must_use]
    pub fn turned(mut self, degrees: f64) -> Self {
        if let Shape::Text { turn, .. } = &mut self.shape {
            *turn = degrees;
        }
        self
    }

    /// The same shape with another pen.
    #[must_use]
    pub fn with(mut self, pen: Pen) -> Self {
        self.pen = pen;
        self
    }
}

impl Drawing {
    /// An empty drawing.
    #[must_use]
    pub fn new(width: f64, height: f64) -> Self {
        Self {
            width,
            height,
            nodes: Vec::new(),
        }
    }

    /// Adds a shape.
    pub fn push(&mut self, item: Item) {
        self.nodes.push(Node::Item(item, None));
    }

    /// Adds a drawing with its upper left corner at a place.
    pub fn place(&mut self, at: Pt, other: Drawing) {
        self.nodes
            .extend(other.nodes.into_iter().map(|node| node.moved(at)));
    }
}

impl Node {
    /// The node moved by a vector.
    #[must_use]
    pub fn moved(self, by: Pt) -> Self {
        match self {
            Self::Item(item, feature) => Self::Item(item.moved(by), feature),
            Self::Anchored {
                at,
                role,
                feature,
                items,
            } => Self::Anchored {
                at: at + by,
                role,
                feature,
                items,
            },
            Self::Clip(rect, nodes) => Self::Clip(
                rect.moved(by),
                nodes.into_iter().map(|node| node.moved(by)).collect(),
            ),
        }
    }
}

impl Item {
    /// The item moved by a vector.
    #[must_use]
    pub fn moved(mut self, by: Pt) -> Self {
        match &mut self.shape {
            Shape::Path { points, .. } => points.iter_mut().for_each(|p| *p = *p + by),
            Shape::Ellipse { centre, .. } => *centre = *centre + by,
            Shape::Text { at, .. } => *at = *at + by,
        }
        self
    }
}
