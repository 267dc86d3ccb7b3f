//! Labels with their letters: what they say, where they go, the white under them.

use super::geometry::{Pt, Rect, pt};
use super::labels::{self, Obstacles, Placed, Wanted};
use super::{Anchor, Feature, Item, Node, Pen, Role};
use crate::sheet::font::{Fonts, em};

/// Height of label capitals: 1.8 mm, the smallest of ISO 3098 ([`crate::sources::Source::Iso3098`]).
pub const LABEL: f64 = em(1.8);
/// Height of a line of label text.
const LINE: f64 = 2.75;
/// How far a label may go from its point on the page, where one zooms in, millimetres.
const FAR_ON_PAGE: f64 = 12.0;

/// A label wanted, with its lines of text; the first is bold and stands alone where there is no room for all.
pub struct Label {
    wanted: Wanted,
    feature: Option<Feature>,
    lines: Vec<String>,
    elsewhere: bool,
    needed: bool,
}

/// Labels, lettered.
pub struct Lettering {
    /// White under them.
    pub grounds: Vec<Node>,
    /// Leaders and letters.
    pub letters: Vec<Node>,
    /// Labels that found no room.
    pub left_out: usize,
}

impl Label {
    /// A label at a point whose symbol has a radius.
    #[must_use]
    pub fn new(
        at: Pt,
        clear: f64,
        feature: Option<Feature>,
        lines: Vec<String>,
        fonts: &Fonts,
    ) -> Self {
        let short = (lines.len() > 1).then(|| text_box(fonts, lines.get(..1).unwrap_or_default()));
        let wanted = Wanted {
            at,
            size: text_box(fonts, &lines),
            short,
            clear,
        };
        Self {
            wanted,
            feature,
            lines,
            elsewhere: false,
            needed: false,
        }
    }

    /// The same label, whose words stand in the drawing a second time: without room it is not missed.
    #[must_use]
    pub fn elsewhere(mut self) -> Self {
        self.elsewhere = true;
        self
    }

    /// The same label, which has its place before all others and is drawn whatever else is there.
    #[must_use]
    pub fn needed(mut self) -> Self {
        self.needed = true;
        self
    }

    /// Leader and letters.
    fn letters(&self, placed: &Placed, role: fn(Rect) -> Role) -> Node {
        let at = self.wanted.at;
        let rect = placed.rect.moved(at * -1.0);
        let leader = placed.leader.iter();
        let mut items: Vec<Item> = leader
            .map(|(a, b)| Item::path(Pen::Leader, vec![*a - at, *b - at]))
            .collect();
        // Lines stand towards the point that they name.
        let (x, anchor) = if rect.x1 <= 0.0 {
            (rect.x1 - 0.4, Anchor::End)
        } else if rect.x0 >= 0.0 {
            (rect.x0 + 0.4, Anchor::Start)
        } else {
            (rect.centre().x, Anchor::Middle)
        };
        let count = if placed.short { 1 } else { self.lines.len() };
        for (i, line) in self.lines.iter().take(count).enumerate() {
            let base = pt(x, rect.y0 + LINE * (i as f64 + 1.0) - 0.6);
            let text = Item::text(base, LABEL, anchor, line.clone());
            items.push(if i == 0 { text.bold() } else { text });
        }
        Node::Anchored {
            at,
            role: role(rect),
            feature: self.feature,
            items,
        }
    }

    /// Right beside its point, whatever else is there.
    fn beside(&self) -> Placed {
        let (width, height) = self.wanted.short.unwrap_or(self.wanted.size);
        let at = self.wanted.at;
        let rect = Rect::new(at.x + self.wanted.clear + 0.5, at.y - height, width, height);
        Placed {
            rect,
            leader: None,
            short: true,
        }
    }
}

/// Places and letters labels, on paper no farther than `far` millimetres from their points. What finds no room there is left out;
/// the page keeps it for when there is room.
#[must_use]
pub fn letter(
    labels: &[Label],
    obstacles: &Obstacles,
    area: Rect,
    far: f64,
    paper: bool,
) -> Lettering {
    let far = if paper { far } else { FAR_ON_PAGE };
    let placed = places(labels, obstacles, area, far);
    let mut lettering = Lettering {
        grounds: Vec::new(),
        letters: Vec::new(),
        left_out: 0,
    };
    for (label, placed) in labels.iter().zip(&placed) {
        match placed {
            Some(placed) => {
                if paper {
                    let ground = Item::rect(Pen::Halo, placed.rect);
                    lettering.grounds.push(Node::Item(ground, None));
                }
                lettering.letters.push(label.letters(placed, Role::Label));
            }
            None if !paper => {
                let spare = label.letters(&label.beside(), Role::Spare);
                lettering.letters.push(spare);
            }
            None => lettering.left_out += usize::from(!label.elsewhere),
        }
    }
    lettering
}

/// Where labels go: those that are needed first, so that the others keep off them.
fn places(labels: &[Label], obstacles: &Obstacles, area: Rect, far: f64) -> Vec<Option<Placed>> {
    let wanted = |needed: bool| {
        let some = labels.iter().filter(move |label| label.needed == needed);
        some.map(|label| label.wanted).collect::<Vec<_>>()
    };
    let first = labels::place(&wanted(true), obstacles, area, far);
    let needed = labels.iter().filter(|label| label.needed);
    let first: Vec<Placed> = needed
        .zip(first)
        .map(|(label, placed)| placed.unwrap_or_else(|| label.beside()))
        .collect();
    if first.is_empty() {
        return labels::place(&wanted(false), obstacles, area, far);
    }
    let mut obstacles = obstacles.clone();
    for placed in &first {
        obstacles.symbols.extend(circles(placed.rect));
        obstacles.walls.extend(placed.leader);
    }
    let mut others = labels::place(&wanted(false), &obstacles, area, far).into_iter();
    let mut first = first.into_iter();
    let next = |label: &Label| {
        if label.needed {
            first.next()
        } else {
            others.next().flatten()
        }
    };
    labels.iter().map(next).collect()
}

/// A figure at an axis or a grid line: on the page it gives way to other letters.
#[must_use]
pub fn figure(at: Pt, around: Rect, text: Item) -> Node {
    Node::Anchored {
        at,
        role: Role::Label(around),
        feature: None,
        items: vec![text.with(Pen::Muted)],
    }
}

/// Box of a label's lines: the first is bold.
#[must_use]
pub fn text_box(fonts: &Fonts, lines: &[String]) -> (f64, f64) {
    let width = lines
        .iter()
        .enumerate()
        .map(|(i, line)| fonts.width(line, LABEL, i == 0))
        .fold(0.0, f64::max);
    (width + 0.8, LINE * lines.len() as f64 + 0.3)
}

/// Circles along a box of one line of text, level or upright: labels keep off symbols.
pub fn circles(rect: Rect) -> impl Iterator<Item = (Pt, f64)> {
    let (width, height) = (rect.width(), rect.height());
    let radius = width.min(height) / 2.0;
    let count = (width.max(height) / 2.0).ceil().max(1.0);
    (0..=count as usize).map(move |i| {
        let t = i as f64 / count;
        let at = if width >= height {
            pt(rect.x0 + width * t, rect.centre().y)
        } else {
            pt(rect.centre().x, rect.y0 + height * t)
        };
        (at, radius)
    })
}

/// Points without those nearer than `least` to the one kept before: label search need not see every one of thousands.
#[must_use]
pub fn thinned(points: Vec<Pt>, least: f64) -> Vec<Pt> {
    let mut kept: Vec<Pt> = Vec::new();
    for p in points {
        if kept.last().is_none_or(|last| (p - *last).length() >= least) {
            kept.push(p);
        }
    }
    kept
}
