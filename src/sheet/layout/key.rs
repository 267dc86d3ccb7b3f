//! The key to a plan on several sheets: which sheet shows what.

use super::flow::{LARGE, SMALL};
use crate::record::AsBuilt;
use crate::record::model::Run;
use crate::sheet::draw::plan::Extent;
use crate::sheet::draw::scale::largest;
use crate::sheet::draw::{Anchor, Drawing, Item, Node, Pen, Pt, Rect, pt};
use crate::sheet::font::Fonts;

/// Height of a number's white ground.
const NUMBER: f64 = 3.9;

/// A sheet's part of the ground: its column eastward, its row northward.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    pub column: i32,
    pub row: i32,
    pub sheet: usize,
    west: f64,
    south: f64,
    size: (f64, f64),
}

impl Cell {
    /// Middle, CRS unit.
    pub fn centre(&self) -> (f64, f64) {
        (
            self.west + self.size.0 / 2.0,
            self.south + self.size.1 / 2.0,
        )
    }

    fn rect(&self) -> Rect {
        Rect::new(self.west, self.south, self.size.0, self.size.1)
    }
}

/// Cells of a size (CRS unit) that some part of a run, a mark or a camera observation lies in, in the order of the runs.
pub fn cells(record: &AsBuilt, extent: Extent, size: (f64, f64)) -> Vec<Cell> {
    let count = |length: f64, step: f64| (length / step).ceil().clamp(1.0, 400.0) as i32;
    let (columns, rows) = (
        count(extent.east - extent.west, size.0),
        count(extent.north - extent.south, size.1),
    );
    let (e, n) = extent.centre();
    let west = e - f64::from(columns) * size.0 / 2.0;
    let south = n - f64::from(rows) * size.1 / 2.0;
    let mut cells: Vec<Cell> = Vec::new();
    let mut touch = |a: Pt, b: Pt| {
        let span = |lo: f64, hi: f64, from: f64, step: f64, n: i32| {
            let at = |v: f64| (((v - from) / step).floor() as i32).clamp(0, n - 1);
            at(lo.min(hi))..=at(lo.max(hi))
        };
        for column in span(a.x, b.x, west, size.0, columns) {
            for row in span(a.y, b.y, south, size.1, rows) {
                let cell = Cell {
                    column,
                    row,
                    sheet: cells.len() + 2,
                    west: west + f64::from(column) * size.0,
                    south: south + f64::from(row) * size.1,
                    size,
                };
                let there = cells.iter().any(|c| c.column == column && c.row == row);
                if !there && cell.rect().clip(a, b).is_some() {
                    cells.push(cell);
                }
            }
        }
    };
    for run in &record.runs {
        for (a, b) in run.vertices.iter().zip(run.vertices.iter().skip(1)) {
            touch(pt(a.easting, a.northing), pt(b.easting, b.northing));
        }
    }
    for (e, n) in crate::sheet::draw::plan::places(record) {
        touch(pt(e, n), pt(e, n));
    }
    cells
}

/// Draws the key into a room; it is as high as it needs.
pub fn draw(
    record: &AsBuilt,
    extent: Extent,
    cells: &[Cell],
    room: (f64, f64),
    fonts: &Fonts,
) -> Drawing {
    let top = 6.0;
    let around = cells
        .iter()
        .map(Cell::rect)
        .reduce(Rect::union)
        .unwrap_or_default();
    let metres = record.frame.crs_unit_metres;
    let scale = largest(
        record.frame.unit,
        around.width() * metres,
        around.height() * metres,
        (room.0 - 6.0, room.1 - top - 6.0),
    );
    let k = metres * scale.per_metre();
    // No taller than it need be: words find room beneath.
    let tall = (around.height() * k + 12.0).min(room.1 - top);
    let frame = Rect::new(0.0, top, room.0, tall);
    let mut drawing = Drawing::new(room.0, top + tall);
    let middle = frame.centre();
    let centre = if cells.is_empty() {
        pt(extent.centre().0, extent.centre().1)
    } else {
        around.centre()
    };
    let at = |p: Pt| {
        pt(
            middle.x + (p.x - centre.x) * k,
            middle.y - (p.y - centre.y) * k,
        )
    };
    let plans = match cells.len() {
        0 | 1 => "The plan is on sheet 2".to_owned(),
        n => format!("The plan is on sheets 2 to {}", n + 1),
    };
    let text = format!("Key, {}, north up. {plans}.", scale.text());
    drawing.push(Item::text(
        pt(0.0, 3.6),
        SMALL,
        Anchor::Start,
        fonts.fit(&text, room.0, SMALL, false),
    ));
    let mut inside = Vec::new();
    for cell in cells {
        let corners = cell.rect().corners().map(at).to_vec();
        inside.push(Node::Item(Item::polygon(Pen::Hair, corners), None));
    }
    let paths: Vec<Vec<Pt>> = record.runs.iter().map(|run| path(run, &at)).collect();
    let runs = paths.iter().cloned();
    inside.extend(runs.map(|path| Node::Item(Item::path(Pen::Run, path), None)));
    inside.extend(numbers(cells, &at, &paths, frame, fonts));
    drawing.nodes.push(Node::Clip(frame, inside));
    drawing.push(Item::rect(Pen::Rule, frame));
    drawing
}

fn path(run: &Run, at: &dyn Fn(Pt) -> Pt) -> Vec<Pt> {
    let vertices = run.vertices.iter();
    vertices.map(|v| at(pt(v.easting, v.northing))).collect()
}

/// The cells' numbers on white, over the runs: in a corner that no run passes and no other number has, else beside the cell, else
/// where least is covered.
fn numbers(
    cells: &[Cell],
    at: &dyn Fn(Pt) -> Pt,
    paths: &[Vec<Pt>],
    frame: Rect,
    fonts: &Fonts,
) -> Vec<Node> {
    let mut taken: Vec<Rect> = Vec::new();
    let (mut grounds, mut letters) = (Vec::new(), Vec::new());
    for cell in cells {
        let text = cell.sheet.to_string();
        let wide = fonts.width(&text, LARGE, true) + 1.0;
        let [a, c] = [
            pt(cell.rect().x0, cell.rect().y1),
            pt(cell.rect().x1, cell.rect().y0),
        ]
        .map(at);
        let covered = |r: &Rect| {
            let legs = paths.iter().flat_map(|p| p.iter().zip(p.iter().skip(1)));
            let passing = legs.filter(|(p, q)| r.clip(**p, **q).is_some()).count();
            let others = taken.iter().filter(|t| t.overlaps(*r)).count();
            let outside = r.x0 < frame.x0 || r.x1 > frame.x1 || r.y0 < frame.y0 || r.y1 > frame.y1;
            passing + 4 * others + usize::from(outside) * 1000
        };
        let (inner, outer) = (0.6, 0.4);
        let (left, right) = (a.x + inner, c.x - inner - wide);
        let (top, bottom) = (a.y + inner, c.y - inner - NUMBER);
        let places = [
            (left, top),
            (right, top),
            (left, bottom),
            (right, bottom),
            (c.x + outer, a.y),
            (a.x - outer - wide, a.y),
            (a.x, a.y - outer - NUMBER),
            (a.x, c.y + outer),
        ];
        let boxes = places.map(|(x, y)| Rect::new(x, y, wide, NUMBER));
        let Some(rect) = boxes.into_iter().min_by_key(covered) else {
            continue;
        };
        taken.push(rect);
        let base = pt(rect.centre().x, rect.y1 - 0.7);
        let number = Item::text(base, LARGE, Anchor::Middle, text).bold();
        grounds.push(Node::Item(Item::rect(Pen::Halo, rect), None));
        letters.push(Node::Item(number, None));
    }
    grounds.append(&mut letters);
    grounds
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_off_the_runs_and_off_one_another() {
        let fonts = Fonts::new().unwrap();
        let cell = |i: i32| Cell {
            column: i,
            row: i,
            sheet: 10 + i as usize,
            west: f64::from(i) * 10.0,
            south: f64::from(i) * 10.0,
            size: (10.0, 10.0),
        };
        let cells: Vec<Cell> = (0..6).map(cell).collect();
        let at = |p: Pt| pt(20.0 + p.x, 90.0 - p.y);
        // Along every cell's left side and top.
        let corner = |i: f64| [pt(i, i), pt(i + 1.0, i + 9.0), pt(i + 9.0, i + 9.0)];
        let run: Vec<Pt> = (0..6)
            .flat_map(|i| corner(f64::from(i) * 10.0))
            .map(at)
            .collect();
        let nodes = numbers(
            &cells,
            &at,
            std::slice::from_ref(&run),
            Rect::new(0.0, 0.0, 120.0, 120.0),
            &fonts,
        );
        let white = |node: &Node| match node {
            Node::Item(item, _) => match &item.shape {
                crate::sheet::draw::Shape::Path { points, .. } => Rect::around(points.clone()),
                _ => None,
            },
            _ => None,
        };
        let boxes: Vec<Rect> = nodes.iter().filter_map(white).collect();
        assert_eq!(boxes.len(), 6);
        for (i, r) in boxes.iter().enumerate() {
            let mut legs = run.iter().zip(run.iter().skip(1));
            assert!(legs.all(|(a, b)| r.clip(*a, *b).is_none()), "{r:?}");
            assert!(boxes.iter().skip(i + 1).all(|o| !o.overlaps(*r)), "{r:?}");
        }
    }
}
