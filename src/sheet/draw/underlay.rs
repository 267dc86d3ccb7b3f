//! What site plans show, muted, under everything else; points as small crosses.

use super::{Item, Node, Pen, Pt, Rect, pt};
use crate::record::AsBuilt;

/// Half a point's cross, millimetres.
const CROSS: f64 = 0.8;

/// The parts that are seen in a frame; `at` brings easting and northing (CRS unit) there.
pub fn draw(record: &AsBuilt, frame: Rect, at: &dyn Fn(f64, f64) -> Pt) -> Vec<Node> {
    let mut nodes = Vec::new();
    for shape in &record.underlay {
        let points: Vec<Pt> = shape.points.iter().map(|[e, n]| at(*e, *n)).collect();
        let lines = match points[..] {
            [place] => vec![
                vec![place - pt(CROSS, 0.0), place + pt(CROSS, 0.0)],
                vec![place - pt(0.0, CROSS), place + pt(0.0, CROSS)],
            ],
            _ => vec![points],
        };
        for line in lines {
            // A straight line along an axis has no inside: it is given some.
            let around = Rect::around(line.iter().copied());
            if around.is_some_and(|around| around.grown(0.1).overlaps(frame)) {
                nodes.push(Node::Item(Item::path(Pen::Plan, line), None));
            }
        }
    }
    nodes
}
