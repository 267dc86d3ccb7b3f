//! Tables on paper: columns as wide as they need, rows over as many lines as they need, the heading again on every lane.

use std::rc::Rc;

use super::flow::{LEADING, Piece, SMALL, paragraph};
use crate::sheet::content::{Align, Column, Table};
use crate::sheet::draw::{Anchor, Item, Pen, Rect, pt};
use crate::sheet::font::{Fonts, one_line};

/// White left and right of a cell's text.
const PAD: f64 = 1.0;
/// A text as wide as its column must not be cut for a rounding's sake.
const SLACK: f64 = 0.01;
/// A column of words is never asked to be narrower than this for a long word's sake: the word is cut.
const WORD: f64 = 20.0;
/// Lines of a row that stay together; a longer row goes on in the next lane.
const TOGETHER: usize = 12;

/// A table, or a part of one that is too wide: which columns, how wide.
struct Set<'a> {
    columns: Vec<(&'a Column, usize, f64)>,
}

/// Pieces of a table in a lane of a width.
pub fn pieces(table: &Table, width: f64, fonts: &Fonts) -> Vec<Piece> {
    let sets = sets(table, width, fonts);
    let count = sets.len();
    let mut pieces = Vec::new();
    for (i, set) in sets.iter().enumerate() {
        let title = if count > 1 {
            format!("{}, part {} of {count}", table.title, i + 1)
        } else {
            table.title.clone()
        };
        pieces.push(Piece::heading(&title, width, fonts));
        if let Some(note) = table.note.as_ref().filter(|_| i == 0) {
            pieces.extend(
                paragraph(note, width, false, fonts)
                    .into_iter()
                    .map(|p| Piece { leads: true, ..p }),
            );
            pieces.push(Piece {
                leads: true,
                ..Piece::space(0.8)
            });
        }
        let head = heading(set, fonts);
        let again = Rc::new(continued(&head, &title, fonts));
        pieces.push(head);
        for row in &table.rows {
            pieces.extend(rows(set, &row.cells, fonts).into_iter().map(|p| Piece {
                head: Some(again.clone()),
                ..p
            }));
        }
        pieces.push(Piece::space(2.0));
    }
    pieces
}

/// Least and natural width of each column.
fn widths(table: &Table, fonts: &Fonts) -> Vec<(f64, f64)> {
    let longest = |text: &str, bold: bool| {
        text.split_whitespace()
            .map(|word| fonts.width(word, SMALL, bold))
            .fold(0.0, f64::max)
    };
    let column = |(i, column): (usize, &Column)| {
        let cells = || table.rows.iter().filter_map(move |row| row.cells.get(i));
        let natural = cells()
            .map(|cell| fonts.width(&one_line(cell), SMALL, false))
            .fold(0.0, f64::max);
        let head = longest(&column.head, true);
        let words = cells().map(|cell| longest(cell, false)).fold(0.0, f64::max);
        let least = if column.align == Align::Figures {
            natural
        } else {
            words.min(WORD)
        };
        let whole = fonts.width(&column.head, SMALL, true).min(WORD);
        (
            least.max(head) + 2.0 * PAD,
            natural.max(head).max(whole) + 2.0 * PAD,
        )
    };
    table.columns.iter().enumerate().map(column).collect()
}

/// Columns shared out into as few parts as the width allows, each with the first column before it.
fn sets<'a>(table: &'a Table, width: f64, fonts: &Fonts) -> Vec<Set<'a>> {
    let widths = widths(table, fonts);
    let least = |i: usize| widths.get(i).map_or(0.0, |w| w.0);
    let mut parts: Vec<Vec<usize>> = vec![Vec::new()];
    let mut used = 0.0;
    for i in 0..table.columns.len() {
        if used + least(i) > width && parts.last().is_some_and(|part| part.len() > 1) {
            parts.push(vec![0]);
            used = least(0);
        }
        used += least(i);
        if let Some(part) = parts.last_mut() {
            part.push(i);
        }
    }
    parts
        .iter()
        .map(|part| stretched(table, part, &widths, width))
        .collect()
}

/// What is over is shared out evenly, but no column gets more than it wants: short ones are served whole.
fn stretched<'a>(table: &'a Table, part: &[usize], widths: &[(f64, f64)], width: f64) -> Set<'a> {
    let of = |i: &usize| widths.get(*i).copied().unwrap_or_default();
    let mut over = width - part.iter().map(|i| of(i).0).sum::<f64>();
    let wants = |i: &usize| (of(i).1 - of(i).0).max(0.0);
    let mut order: Vec<usize> = (0..part.len()).collect();
    let want_at = |at: &usize| part.get(*at).map_or(0.0, wants);
    order.sort_by(|a, b| want_at(a).total_cmp(&want_at(b)));
    let mut given = vec![0.0; part.len()];
    for (served, at) in order.iter().enumerate() {
        let share = (over / (part.len() - served) as f64).max(0.0);
        let gets = want_at(at).min(share);
        over -= gets;
        if let Some(slot) = given.get_mut(*at) {
            *slot = gets;
        }
    }
    let columns = part
        .iter()
        .zip(given)
        .filter_map(|(i, extra)| Some((table.columns.get(*i)?, *i, of(i).0 + extra)));
    Set {
        columns: columns.collect(),
    }
}

impl Set<'_> {
    fn width(&self) -> f64 {
        self.columns.iter().map(|c| c.2).sum()
    }

    /// Lines of text from `top` down, each column in its place.
    fn lines(&self, cells: &[Vec<String>], bold: bool) -> Vec<Item> {
        let mut items = Vec::new();
        let mut x = 0.0;
        for ((column, _, width), lines) in self.columns.iter().zip(cells) {
            let (at, anchor) = match column.align {
                Align::Words => (x + PAD, Anchor::Start),
                Align::Figures => (x + width - PAD, Anchor::End),
            };
            for (i, line) in lines
                .iter()
                .enumerate()
                .filter(|(_, line)| !line.is_empty())
            {
                let base = LEADING * (i as f64 + 1.0) - 0.7;
                let item = Item::text(pt(at, base), SMALL, anchor, line.clone());
                items.push(if bold { item.bold() } else { item });
            }
            x += width;
        }
        items
    }
}

fn heading(set: &Set<'_>, fonts: &Fonts) -> Piece {
    let cells: Vec<Vec<String>> = set
        .columns
        .iter()
        .map(|(column, _, width)| fonts.wrap(&column.head, width - 2.0 * PAD + SLACK, SMALL, true))
        .collect();
    let tall = cells.iter().map(Vec::len).max().unwrap_or(1);
    // Heads stand on the line, whatever their number of lines.
    let lowered: Vec<Vec<String>> = cells
        .into_iter()
        .map(|lines| {
            std::iter::repeat_n(String::new(), tall - lines.len())
                .chain(lines)
                .collect()
        })
        .collect();
    let height = LEADING * tall as f64 + 0.8;
    let mut items = vec![Item::rect(
        Pen::Tint,
        Rect::new(0.0, 0.0, set.width(), height),
    )];
    items.extend(set.lines(&lowered, true));
    items.push(Item::path(
        Pen::Rule,
        vec![pt(0.0, height), pt(set.width(), height)],
    ));
    Piece {
        height: height + 0.3,
        items,
        leads: true,
        ..Piece::default()
    }
}

/// The heading for a lane in which the table goes on.
fn continued(head: &Piece, title: &str, fonts: &Fonts) -> Piece {
    let mut piece = Piece::heading(&format!("{title}, continued"), f64::MAX, fonts);
    let down = piece.height;
    piece.items.extend(
        head.items
            .iter()
            .cloned()
            .map(|item| item.moved(pt(0.0, down))),
    );
    Piece {
        height: down + head.height,
        ..piece
    }
}

fn rows(set: &Set<'_>, cells: &[String], fonts: &Fonts) -> Vec<Piece> {
    let wrapped: Vec<Vec<String>> = set
        .columns
        .iter()
        .map(|(column, i, width)| {
            let text = cells.get(*i).map_or("", String::as_str);
            match column.align {
                Align::Words => fonts.wrap(text, width - 2.0 * PAD + SLACK, SMALL, false),
                Align::Figures => vec![fonts.fit(text, width - 2.0 * PAD + SLACK, SMALL, false)],
            }
        })
        .collect();
    let tall = wrapped.iter().map(Vec::len).max().unwrap_or(1);
    let mut pieces = Vec::new();
    for start in (0..tall).step_by(TOGETHER) {
        let count = TOGETHER.min(tall - start);
        let part: Vec<Vec<String>> = wrapped
            .iter()
            .map(|lines| lines.iter().skip(start).take(count).cloned().collect())
            .collect();
        let mut items = set.lines(&part, false);
        let height = LEADING * count as f64 + 0.5;
        if start + count == tall {
            items.push(Item::path(
                Pen::Hair,
                vec![pt(0.0, height), pt(set.width(), height)],
            ));
        }
        pieces.push(Piece {
            height,
            items,
            ..Piece::default()
        });
    }
    pieces
}
