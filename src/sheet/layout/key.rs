//! The key to a plan on several sheets: which sheet shows what.

use super::flow::{LARGE, SMALL};
use super::plans::Extent;
use crate::record::AsBuilt;
use crate::sheet::draw::scale::largest;
use crate::sheet::draw::{Anchor, Drawing, Item, Node, Pen, Pt, Rect, pt};
use crate::sheet::font::Fonts;

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
    for run in &record.runs {
        let path: Vec<Pt> = run
            .vertices
            .iter()
            .map(|v| at(pt(v.easting, v.northing)))
            .collect();
        inside.push(Node::Item(Item::path(Pen::Run, path), None));
    }
    for cell in cells {
        let corner = at(pt(cell.rect().x0, cell.rect().y1));
        let number = Item::text(
            corner + pt(1.2, 4.6),
            LARGE,
            Anchor::Start,
            cell.sheet.to_string(),
        )
        .bold();
        inside.push(Node::Item(number, None));
    }
    drawing.nodes.push(Node::Clip(frame, inside));
    drawing.push(Item::rect(Pen::Rule, frame));
    drawing
}
