//! The parts of the title block: what a reader needs before the drawing, most important first. What finds no room beside
//! the plan stands before the tables.

use super::flow::{LEADING, Piece, SMALL, fact, paragraph};
use crate::record::AsBuilt;
use crate::record::model::{Evidence, Meeting, VertexKind};
use crate::sheet::content::{depths, head};
use crate::sheet::draw::{Anchor, Item, Pen, Shape, pt, symbols};
use crate::sheet::font::Fonts;

/// What the parts are made of.
#[derive(Clone, Copy)]
pub struct Source<'a> {
    pub record: &'a AsBuilt,
    /// Some of its letters can't be printed.
    pub lacking: bool,
    pub fonts: &'a Fonts,
}

type Part = fn(&Source<'_>, f64) -> Vec<Piece>;

/// Every part, in the order of the column.
const PARTS: &[Part] = &[digging, legend, accuracy, particulars, coordinates, method];

/// All parts, for a column of a width.
pub fn pieces(source: &Source<'_>, width: f64) -> Vec<Piece> {
    let all: Vec<usize> = (0..PARTS.len()).collect();
    pieces_named(source, width, &all)
}

/// The parts of these numbers.
pub fn pieces_named(source: &Source<'_>, width: f64, numbers: &[usize]) -> Vec<Piece> {
    let part = |number: &usize| {
        let pieces = PARTS
            .get(*number)
            .map(|make| make(source, width))
            .unwrap_or_default();
        pieces
            .into_iter()
            .map(|piece| piece.of(*number))
            .collect::<Vec<_>>()
    };
    numbers.iter().flat_map(part).collect()
}

fn digging(&Source { record, fonts, .. }: &Source<'_>, width: f64) -> Vec<Piece> {
    let mut pieces = vec![Piece::heading("Before anyone digs", width, fonts)];
    for sentence in depths::sentences(record) {
        pieces.extend(paragraph(&sentence, width, true, fonts));
    }
    let findings = format!("Checks of this job: {}.", head::findings(record));
    pieces.extend(paragraph(&findings, width, false, fonts));
    pieces
}

fn accuracy(&Source { record, fonts, .. }: &Source<'_>, width: f64) -> Vec<Piece> {
    let mut pieces = vec![Piece::heading("Accuracy", width, fonts)];
    pieces.extend(paragraph(&head::accuracy(record), width, false, fonts));
    pieces
}

fn method(&Source { record, fonts, .. }: &Source<'_>, width: f64) -> Vec<Piece> {
    let mut pieces = vec![Piece::heading("Method", width, fonts)];
    pieces.extend(paragraph(&head::method(record), width, false, fonts));
    let drawn = "Drawn after ISO 128 (lines), ISO 3098 (lettering), ISO 5455 (scales), ISO 5457 (sheet) and ISO 7200 (title block).";
    pieces.extend(paragraph(drawn, width, false, fonts));
    pieces
}

fn facts(title: &str, facts: &[head::Fact], width: f64, fonts: &Fonts) -> Vec<Piece> {
    let mut pieces = vec![Piece::heading(title, width, fonts)];
    pieces.extend(
        facts
            .iter()
            .flat_map(|(name, value)| fact(name, value, width, fonts)),
    );
    pieces
}

fn particulars(source: &Source<'_>, width: f64) -> Vec<Piece> {
    let fonts = source.fonts;
    let mut pieces = facts("Job", &head::particulars(source.record), width, fonts);
    if source.lacking {
        let text = "Letters that the typeface of this drawing lacks are printed as “?”: record.json and report.html have them.";
        pieces.extend(paragraph(text, width, true, fonts));
    }
    pieces
}

fn coordinates(&Source { record, fonts, .. }: &Source<'_>, width: f64) -> Vec<Piece> {
    facts(
        "Coordinates, heights, units",
        &head::frame(record),
        width,
        fonts,
    )
}

/// Symbols and lines with their meaning, two a row.
fn legend(&Source { record, fonts, .. }: &Source<'_>, width: f64) -> Vec<Piece> {
    let centre = pt(0.0, 0.0);
    let ellipse = Item {
        pen: Pen::Bound,
        shape: Shape::Ellipse {
            centre,
            a: 2.2,
            b: 1.2,
            turn: -30.0,
        },
    };
    let line = |pen| vec![Item::path(pen, vec![pt(-3.4, 0.0), pt(3.4, 0.0)])];
    let mut entries: Vec<(Vec<Item>, &str)> = vec![
        (symbols::mark(Evidence::Located, false), "located mark"),
        (line(Pen::Run), "pipe in plan"),
        (symbols::mark(Evidence::Exposed, false), "exposed mark"),
        (line(Pen::Inferred), "pipe, inferred"),
        (symbols::mark(Evidence::Located, true), "mark at a fitting"),
        (vec![symbols::arrow(centre, pt(1.0, 0.0), 1.5)], "flow"),
        (symbols::vertex(VertexKind::Bend), "bend, inferred"),
        (line(Pen::Ground), "ground"),
        (symbols::vertex(VertexKind::Junction), "junction"),
        (line(Pen::Crown), "top of pipe"),
        (symbols::camera(), "seen by camera"),
        (line(Pen::Invert), "invert"),
        (vec![ellipse], "95 % ellipse"),
        (
            vec![Item::rect(
                Pen::Band,
                crate::sheet::draw::Rect::new(-3.0, -1.2, 6.0, 2.4),
            )],
            "95 % of invert",
        ),
    ];
    if !record.underlay.is_empty() {
        entries.push((line(Pen::Plan), "site plan"));
    }
    if !record.crossings.is_empty() {
        entries.push((
            symbols::crossing(Meeting::Crosses),
            "line of a site plan across",
        ));
        entries.push((
            symbols::crossing(Meeting::Near),
            "line of a site plan near by",
        ));
    }
    let mut pieces = vec![Piece::heading("Legend", width, fonts)];
    let half = (width / 2.0).min(46.0);
    for pair in entries.chunks(2) {
        let mut items = Vec::new();
        for (i, (symbol, text)) in pair.iter().enumerate() {
            let x = i as f64 * half;
            items.extend(
                symbol
                    .iter()
                    .cloned()
                    .map(|item| item.moved(pt(x + 3.6, 2.0))),
            );
            items.push(Item::text(
                pt(x + 8.6, LEADING - 0.2),
                SMALL,
                Anchor::Start,
                *text,
            ));
        }
        pieces.push(Piece {
            height: 3.9,
            items,
            ..Piece::default()
        });
    }
    let triangle = "Triangle: reference point, with a dot where its place is given. In the plan, \u{201c}top\u{201d} is the depth of the top of the pipe.";
    pieces.push(Piece::space(0.8));
    pieces.extend(paragraph(triangle, width, false, fonts));
    pieces
}
