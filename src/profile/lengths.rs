//! Lengths of a run: horizontal with its bound, and along the pipe.

use super::Figure;
use super::inverts::{Invert, unit};
use crate::math::block::{self, Block};
use crate::run::{Inputs, Traced, VertexKind};

/// Up to this many vertices, the covariance of every pair counts; beyond, that of near neighbours and of the two ends.
const PAIRS: usize = 64;
const NEAR: usize = 4;

/// Horizontal length and its one-sigma. Each vertex moves it by the difference of the directions before and after it: on a
/// straight run only the ends do.
pub(super) fn plan(inputs: Inputs<'_>, traced: &Traced) -> Option<Figure> {
    let vertices = &traced.vertices;
    if vertices.len() < 2 {
        return None;
    }
    let ways: Vec<[f64; 2]> = vertices
        .windows(2)
        .map(|pair| unit([pair[1].e - pair[0].e, pair[1].n - pair[0].n]))
        .collect();
    let pull = |index: usize| {
        let before = index
            .checked_sub(1)
            .and_then(|index| ways.get(index))
            .copied()
            .unwrap_or_default();
        let after = ways.get(index).copied().unwrap_or_default();
        [before[0] - after[0], before[1] - after[1]]
    };
    let last = vertices.len() - 1;
    let mut variance = 0.0;
    for i in 0..=last {
        let a = pull(i);
        variance += block::along(
            vertices
                .get(i)
                .map_or(block::ZERO, |vertex| vertex.covariance),
            a,
        );
        let reach = if vertices.len() <= PAIRS {
            last
        } else {
            (i + NEAR).min(last)
        };
        for j in i + 1..=reach {
            variance += 2.0 * block::between(joint(inputs, traced, i, j), a, pull(j));
        }
        if i == 0 && reach < last {
            variance += 2.0 * block::between(joint(inputs, traced, i, last), a, pull(last));
        }
    }
    Some(Figure {
        value: traced.length(),
        sigma: variance.max(0.0).sqrt(),
    })
}

/// Covariance of two vertices; what nothing located stands on its own.
fn joint(inputs: Inputs<'_>, traced: &Traced, i: usize, j: usize) -> Block {
    match (
        traced.vertices.get(i).map(|v| v.kind),
        traced.vertices.get(j).map(|v| v.kind),
    ) {
        (Some(VertexKind::Mark(a)), Some(VertexKind::Mark(b))) => {
            traced.covariance(inputs.places, a, b)
        }
        _ => block::ZERO,
    }
}

/// Length along the pipe to each vertex, as far as the inverts are known.
pub(super) fn along(traced: &Traced, inverts: &[Option<Invert>]) -> Vec<Option<f64>> {
    let mut at = Some(0.0);
    let mut last: Option<(f64, f64)> = None;
    let mut along = Vec::with_capacity(traced.vertices.len());
    for (vertex, invert) in traced.vertices.iter().zip(inverts) {
        at = match (at, invert, last) {
            (Some(at), Some(invert), Some((station, z))) => {
                Some(at + f64::hypot(vertex.station - station, invert.z - z))
            }
            (Some(at), Some(_), None) => Some(at),
            _ => None,
        };
        last = invert.map(|invert| (vertex.station, invert.z));
        along.push(at);
    }
    along
}
