//! Horizontal length of a run, with its bound.

use super::Figure;
use super::inverts::unit;
use crate::math::block;
use crate::run::{Inputs, Rests, Traced, Vertex, VertexKind};

/// Up to this many vertices, the covariance of every pair counts; beyond, that of near neighbours and of the two ends.
const PAIRS: usize = 64;
const NEAR: usize = 4;

/// Horizontal length and its one-sigma.
pub(super) fn plan(inputs: Inputs<'_>, traced: &Traced) -> Option<Figure> {
    let last = traced.vertices.len().checked_sub(1)?;
    (last > 0).then(|| Figure {
        value: traced.length(),
        sigma: variance(inputs, traced, 0, last).sqrt(),
    })
}

/// Variance of the horizontal length from one vertex to another. Each vertex moves it by the difference of the directions before
/// and after it: on a straight run only the ends do. A junction lies on the line and moves nothing.
pub(super) fn variance(inputs: Inputs<'_>, traced: &Traced, from: usize, to: usize) -> f64 {
    let way = traced.vertices.get(from..=to).unwrap_or_default();
    let vertices: Vec<&Vertex> = way
        .iter()
        .filter(|vertex| !matches!(vertex.kind, VertexKind::Junction(_)))
        .collect();
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
    let pulls: Vec<[f64; 2]> = (0..vertices.len()).map(pull).collect();
    let rests: Vec<Option<Rests>> = vertices
        .iter()
        .map(|vertex| traced.rests(vertex.kind))
        .collect();
    let last = vertices.len().saturating_sub(1);
    let mut variance = 0.0;
    for (i, (vertex, &a)) in vertices.iter().zip(&pulls).enumerate() {
        variance += block::along(vertex.covariance, a);
        let reach = if vertices.len() <= PAIRS {
            last
        } else {
            (i + NEAR).min(last)
        };
        let near = (i + 1..=reach).chain((i == 0 && reach < last).then_some(last));
        for j in near {
            if let (Some(Some(one)), Some(Some(other)), Some(&b)) =
                (rests.get(i), rests.get(j), pulls.get(j))
            {
                let joint = one.covariance(other, &|i, j| traced.covariance(inputs.places, i, j));
                variance += 2.0 * block::between(joint, a, b);
            }
        }
    }
    variance.max(0.0)
}
