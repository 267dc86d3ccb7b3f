//! Flows pieces of text and tables into lanes and pages.

use std::rc::Rc;

use super::GAP;
use crate::sheet::draw::{Anchor, Drawing, Item, Pt, pt};
use crate::sheet::font::{Fonts, em, one_line};

/// Text of tables and paragraphs: capitals of 1.8 mm.
pub const SMALL: f64 = em(1.8);
/// Headings: capitals of 2.5 mm.
pub const LARGE: f64 = em(2.5);
/// From one line of small text to the next.
pub const LEADING: f64 = 3.1;

/// Something that stays together.
#[derive(Clone, Debug, Default)]
pub struct Piece {
    /// Its height.
    pub height: f64,
    /// From its upper left corner.
    pub items: Vec<Item>,
    /// Never the last of a lane: a heading.
    pub leads: bool,
    /// Repeated at the head of a lane that begins with this piece.
    pub head: Option<Rc<Piece>>,
    /// Which part of the title block it is of.
    pub part: usize,
}

impl Piece {
    /// A heading.
    pub fn heading(text: &str, width: f64, fonts: &Fonts) -> Self {
        let text = fonts.fit(text, width, LARGE, true);
        let items = vec![Item::text(pt(0.0, 5.2), LARGE, Anchor::Start, text).bold()];
        Self {
            height: 7.0,
            items,
            leads: true,
            ..Self::default()
        }
    }

    /// White.
    pub fn space(height: f64) -> Self {
        Self {
            height,
            ..Self::default()
        }
    }

    /// The same piece as part of the title block.
    pub fn of(mut self, part: usize) -> Self {
        self.part = part;
        self
    }
}

/// A paragraph, one piece a line.
pub fn paragraph(text: &str, width: f64, bold: bool, fonts: &Fonts) -> Vec<Piece> {
    let line = |text: String| {
        let item = Item::text(pt(0.0, LEADING - 0.8), SMALL, Anchor::Start, text);
        Piece {
            height: LEADING,
            items: vec![if bold { item.bold() } else { item }],
            ..Piece::default()
        }
    };
    fonts
        .wrap(text, width, SMALL, bold)
        .into_iter()
        .map(line)
        .collect()
}

/// A name with what is said of it, hanging.
pub fn fact(name: &str, value: &str, width: f64, fonts: &Fonts) -> Vec<Piece> {
    let indent = 3.0;
    let name = format!("{name}: ");
    let lead = fonts.width(&name, SMALL, true);
    if lead > width * 0.6 {
        let mut pieces = paragraph(&name, width, true, fonts);
        pieces.extend(
            paragraph(value, width - indent, false, fonts)
                .into_iter()
                .map(|p| shifted(p, indent)),
        );
        return pieces;
    }
    let base = LEADING - 0.8;
    let first = fonts
        .wrap(value, width - lead, SMALL, false)
        .into_iter()
        .next()
        .unwrap_or_default();
    let rest: String = one_line(value)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    let rest = rest
        .get(first.len()..)
        .unwrap_or("")
        .trim_start()
        .to_owned();
    let items = vec![
        Item::text(pt(0.0, base), SMALL, Anchor::Start, name).bold(),
        Item::text(pt(lead, base), SMALL, Anchor::Start, first),
    ];
    let mut pieces = vec![Piece {
        height: LEADING,
        items,
        ..Piece::default()
    }];
    if !rest.is_empty() {
        pieces.extend(
            paragraph(&rest, width - indent, false, fonts)
                .into_iter()
                .map(|p| shifted(p, indent)),
        );
    }
    pieces
}

fn shifted(mut piece: Piece, x: f64) -> Piece {
    piece.items = piece
        .items
        .into_iter()
        .map(|item| item.moved(pt(x, 0.0)))
        .collect();
    piece
}

/// A piece at a place.
pub fn put(drawing: &mut Drawing, at: Pt, piece: &Piece) {
    piece
        .items
        .iter()
        .for_each(|item| drawing.push(item.clone().moved(at)));
}

/// As many whole parts as fit into one column, and the parts that don't.
pub fn column(pieces: Vec<Piece>, height: f64) -> (Drawing, Vec<usize>) {
    let mut drawing = Drawing::new(0.0, height);
    let mut over: Vec<usize> = Vec::new();
    let mut y = 0.0;
    for part in pieces.chunk_by(|a, b| a.part == b.part) {
        let Some(number) = part.first().map(|piece| piece.part) else {
            continue;
        };
        let tall: f64 = part.iter().map(|piece| piece.height).sum();
        if y + tall > height {
            over.push(number);
            continue;
        }
        for piece in part {
            put(&mut drawing, pt(0.0, y), piece);
            y += piece.height;
        }
    }
    (drawing, over)
}

/// Panels beneath one another, as many as a page holds.
pub fn stack(panels: Vec<Drawing>, (width, height): (f64, f64)) -> Vec<Drawing> {
    let mut pages: Vec<Drawing> = Vec::new();
    let mut y = f64::INFINITY;
    for panel in panels {
        let tall = panel.height;
        if y + tall > height {
            pages.push(Drawing::new(width, height));
            y = 0.0;
        }
        if let Some(page) = pages.last_mut() {
            page.place(pt(0.0, y), panel);
        }
        y += tall + GAP;
    }
    pages
}

/// Pieces in lanes, lanes on pages.
pub fn pages(
    pieces: Vec<Piece>,
    (width, height): (f64, f64),
    lanes: usize,
    lane: f64,
) -> Vec<Drawing> {
    let mut pages: Vec<Drawing> = Vec::new();
    let (mut used, mut y) = (lanes, 0.0);
    for (i, piece) in pieces.iter().enumerate() {
        // A heading goes where what it leads fits as well.
        let led: f64 = pieces
            .iter()
            .skip(i)
            .take_while(|p| p.leads)
            .map(|p| p.height)
            .sum();
        let next = pieces
            .iter()
            .skip(i)
            .find(|p| !p.leads)
            .map_or(0.0, |p| p.height);
        let need = if piece.leads {
            led + next
        } else {
            piece.height
        };
        if piece.items.is_empty() && (pages.is_empty() || y == 0.0 || y + piece.height > height) {
            continue;
        }
        let fresh = pages.is_empty() || (y > 0.0 && y + need > height);
        if fresh {
            used += 1;
            y = 0.0;
            if used >= lanes {
                pages.push(Drawing::new(width, height));
                used = 0;
            }
        }
        let Some(page) = pages.last_mut() else {
            continue;
        };
        let x = used as f64 * (lane + GAP);
        if let Some(head) = piece.head.as_ref().filter(|_| fresh) {
            put(page, pt(x, y), head);
            y += head.height;
        }
        put(page, pt(x, y), piece);
        y += piece.height;
    }
    pages
}
