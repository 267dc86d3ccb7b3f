//! What site plans show across the run: a line down the profile, a symbol where its height is known.

use super::{Panel, symbol};
use crate::record::model::{AsBuilt, Crossing, Meeting, Run};
use crate::sheet::draw::geometry::pt;
use crate::sheet::draw::{Feature, Item, Node, Pen, symbols};

/// Crossings of a run with their place in the record, and the height of the other's side that faces the pipe where
/// the clearance between them is known.
pub(super) fn across<'a>(
    record: &'a AsBuilt,
    run: &'a Run,
    heights: bool,
) -> impl Iterator<Item = (usize, &'a Crossing, Option<f64>)> {
    let all = record.crossings.iter().enumerate();
    let here = all.filter(|(_, c)| c.run == run.run && c.meeting == Meeting::Crosses);
    here.map(move |(i, c)| (i, c, facing(run, heights, c)))
}

fn facing(run: &Run, heights: bool, c: &Crossing) -> Option<f64> {
    let clearance = c.vertical_clearance?;
    let wall = run.wall.unwrap_or(0.0);
    let tall = run.diameter? + 2.0 * wall;
    let bottom = if heights {
        c.invert? - wall
    } else {
        -c.cover? - tall
    };
    Some(if c.passes.as_deref() == Some("over") {
        bottom - clearance
    } else {
        bottom + tall + clearance
    })
}

impl Panel<'_> {
    /// Crossings of this run.
    pub(super) fn crossings(&self) -> impl Iterator<Item = (usize, &Crossing, Option<f64>)> {
        across(self.record, self.run, self.heights)
    }

    pub(super) fn crossing_marks(&self, out: &mut Vec<Node>) {
        for (i, c, other) in self.crossings() {
            let x = self.x(c.station);
            let feature = Some(Feature::Crossing(i));
            let line = |y0, y1| Item::path(Pen::Drop, vec![pt(x, y0), pt(x, y1)]);
            out.push(Node::Item(line(self.graph.y0, self.graph.y1), feature));
            let Some(z) = other else { continue };
            if let Some(bound) = c.vertical_clearance_95 {
                let (a, b) = (self.y(z + bound), self.y(z - bound));
                let whisker = Item::path(Pen::Line, vec![pt(x, a), pt(x, b)]);
                out.push(Node::Item(whisker, feature));
            }
            let at = pt(x, self.y(z));
            out.push(symbol(at, feature, symbols::crossing(c.meeting)));
        }
    }
}
