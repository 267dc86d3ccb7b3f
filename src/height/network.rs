//! Heights as a least-squares problem of one unknown a point.

use super::Names;
use crate::job::model::Source;
use crate::math::adjust::{Model, Row, Values};

/// An end of a height difference, or the point of a height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum End {
    /// Exact height, metres.
    Fixed(f64),
    /// Node.
    Node(u32),
}

/// A measured height or height difference.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct HeightRow {
    pub(super) from: Option<End>,
    pub(super) to: End,
    /// Metres.
    pub(super) value: f64,
    pub(super) sigma: f64,
    pub(super) source: Source,
    /// What it is, for the record.
    pub(super) what: &'static str,
    /// Names of the points.
    pub(super) names: Names,
}

pub(super) struct HeightNetwork<'a> {
    pub(super) nodes: usize,
    pub(super) rows: &'a [HeightRow],
}

impl Model for HeightNetwork<'_> {
    fn nodes(&self) -> usize {
        self.nodes
    }

    fn width(&self) -> usize {
        1
    }

    fn shared(&self) -> usize {
        0
    }

    fn rows(&self) -> usize {
        self.rows.len()
    }

    fn row(&self, i: usize, values: &Values<'_>, row: &mut Row) {
        let HeightRow {
            from,
            to,
            value,
            sigma,
            ..
        } = &self.rows[i];
        row.sigma = *sigma;
        row.misclosure = *value;
        for (end, sign) in [(Some(*to), 1.0), (*from, -1.0)] {
            match end {
                Some(End::Fixed(z)) => row.misclosure -= sign * z,
                Some(End::Node(node)) => {
                    row.misclosure -= sign * values.get(node);
                    row.terms.push((node, sign));
                }
                None => {}
            }
        }
    }
}
