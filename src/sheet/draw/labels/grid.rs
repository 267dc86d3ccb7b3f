//! Rectangles by grid cells, so that a search looks at neighbours only.

use crate::sheet::draw::geometry::{Pt, Rect, pt};

/// Side of a cell, millimetres: about a label's width.
const CELL: f64 = 10.0;
/// Cells along a side at most; beyond the last one everything falls into it.
const MOST: usize = 400;

/// Numbers of rectangles by the cells that they touch.
pub struct Grid {
    origin: Pt,
    columns: usize,
    rows: usize,
    cells: Vec<Vec<usize>>,
}

impl Grid {
    /// An empty grid over an area.
    pub fn new(area: Rect) -> Self {
        let count = |length: f64| ((length / CELL).ceil().max(1.0) as usize).min(MOST);
        let (columns, rows) = (count(area.width()), count(area.height()));
        Self {
            origin: pt(area.x0, area.y0),
            columns,
            rows,
            cells: vec![Vec::new(); columns * rows],
        }
    }

    fn span(&self, rect: Rect) -> impl Iterator<Item = usize> + use<> {
        let clamp = |v: f64, n: usize| (v / CELL).floor().clamp(0.0, (n - 1) as f64) as usize;
        let column = |x: f64| clamp(x - self.origin.x, self.columns);
        let row = |y: f64| clamp(y - self.origin.y, self.rows);
        let (c0, c1, r0, r1) = (column(rect.x0), column(rect.x1), row(rect.y0), row(rect.y1));
        let columns = self.columns;
        (r0..=r1).flat_map(move |r| (c0..=c1).map(move |c| r * columns + c))
    }

    /// The cells that a segment passes through.
    fn path(&self, a: Pt, b: Pt) -> impl Iterator<Item = usize> + use<> {
        let rows = |y: f64| (y - self.origin.y) / CELL;
        let last = (self.rows - 1) as f64;
        let (first, until) = (
            rows(a.y.min(b.y)).floor().clamp(0.0, last) as usize,
            rows(a.y.max(b.y)).floor().clamp(0.0, last) as usize,
        );
        let (origin, columns, count) = (self.origin, self.columns, self.rows);
        (first..=until).flat_map(move |row| {
            // Rows at the border reach as far as anything goes; a hair of slack for points on a cell's edge.
            let edge = |at: usize, far: f64, ends: bool| {
                if ends {
                    far
                } else {
                    origin.y + at as f64 * CELL
                }
            };
            let (top, bottom) = (
                edge(row, f64::NEG_INFINITY, row == 0) - 0.01,
                edge(row + 1, f64::INFINITY, row + 1 == count) + 0.01,
            );
            let d = b - a;
            let at = |y: f64| {
                if d.y.abs() < 1e-9 || !y.is_finite() {
                    None
                } else {
                    Some(a.x + d.x * ((y - a.y) / d.y).clamp(0.0, 1.0))
                }
            };
            let (p, q) = match (at(top), at(bottom)) {
                (Some(p), Some(q)) => (p, q),
                (Some(p), None) => (p, if d.y > 0.0 { b.x } else { a.x }),
                (None, Some(q)) => (if d.y > 0.0 { a.x } else { b.x }, q),
                (None, None) => (a.x, b.x),
            };
            let column = |x: f64| {
                ((x - origin.x) / CELL)
                    .floor()
                    .clamp(0.0, (columns - 1) as f64) as usize
            };
            let (c0, c1) = (column(p.min(q) - 0.01), column(p.max(q) + 0.01));
            (c0..=c1).map(move |c| row * columns + c)
        })
    }

    /// Adds a number along a segment.
    pub fn add_line(&mut self, (a, b): (Pt, Pt), id: usize) {
        for cell in self.path(a, b) {
            if let Some(list) = self.cells.get_mut(cell) {
                list.push(id);
            }
        }
    }

    /// Takes a number away that was added along this segment.
    pub fn remove_line(&mut self, (a, b): (Pt, Pt), id: usize) {
        for cell in self.path(a, b) {
            if let Some(list) = self.cells.get_mut(cell) {
                list.retain(|other| *other != id);
            }
        }
    }

    /// Numbers that may touch this segment; some of them more than once.
    pub fn near_line(&self, (a, b): (Pt, Pt)) -> impl Iterator<Item = usize> + '_ {
        self.path(a, b)
            .filter_map(|cell| self.cells.get(cell))
            .flatten()
            .copied()
    }

    /// Adds a number under a rectangle.
    pub fn add(&mut self, rect: Rect, id: usize) {
        for cell in self.span(rect) {
            if let Some(list) = self.cells.get_mut(cell) {
                list.push(id);
            }
        }
    }

    /// Takes a number away that was added under this rectangle.
    pub fn remove(&mut self, rect: Rect, id: usize) {
        for cell in self.span(rect) {
            if let Some(list) = self.cells.get_mut(cell) {
                list.retain(|other| *other != id);
            }
        }
    }

    /// Numbers whose rectangles may touch this one; some of them more than once.
    pub fn near(&self, rect: Rect) -> impl Iterator<Item = usize> + '_ {
        self.span(rect)
            .filter_map(|cell| self.cells.get(cell))
            .flatten()
            .copied()
    }
}
