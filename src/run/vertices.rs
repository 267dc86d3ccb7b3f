//! The path through the marks: stations, vertices, gaps.

use super::bends::Bend;
use super::rests::Rests;
use super::{Gap, Inputs, Located, Traced, Vertex, VertexKind};
use crate::math::block;

/// Distances along a line of points from its first.
pub(super) fn cumulative(points: impl Iterator<Item = (f64, f64)>) -> Vec<f64> {
    let (mut at, mut last) = (0.0, None);
    points
        .map(|(e, n)| {
            if let Some((le, ln)) = last {
                at += f64::hypot(e - le, n - ln);
            }
            last = Some((e, n));
            at
        })
        .collect()
}

/// The line of a run: marks with the bends between them, in the direction of flow.
fn line<'a>(
    marks: &'a [Located],
    bends: &'a [Bend],
) -> impl Iterator<Item = (VertexKind, (f64, f64))> + 'a {
    let mut bends = bends.iter().enumerate().peekable();
    marks.iter().enumerate().flat_map(move |(index, mark)| {
        let bend = bends
            .next_if(|(_, bend)| bend.after == index)
            .map(|(number, bend)| (VertexKind::Bend(number), (bend.e, bend.n)));
        std::iter::once((VertexKind::Mark(index), (mark.e, mark.n))).chain(bend)
    })
}

/// Stations of the marks along the run, round its bends.
pub(super) fn stations(marks: &[Located], bends: &[Bend]) -> Vec<f64> {
    let along = cumulative(line(marks, bends).map(|(_, at)| at));
    let stations = line(marks, bends).zip(along);
    stations
        .filter(|((kind, _), _)| matches!(kind, VertexKind::Mark(_)))
        .map(|(_, station)| station)
        .collect()
}

pub(super) fn vertices(inputs: Inputs<'_>, traced: &Traced) -> Vec<Vertex> {
    let stations = cumulative(line(&traced.marks, &traced.bends).map(|(_, at)| at));
    let vertex = |((kind, (e, n)), station)| Vertex {
        kind,
        e,
        n,
        covariance: traced.rests(kind).map_or(block::ZERO, |rests| {
            rests.variance(&|a, b| traced.covariance(inputs.places, a, b))
        }),
        station,
    };
    line(&traced.marks, &traced.bends)
        .zip(stations)
        .map(vertex)
        .collect()
}

impl Traced {
    /// What a mark or a bend rests on; a junction's place has a part that is another run's.
    #[must_use]
    pub fn rests(&self, kind: VertexKind) -> Option<Rests> {
        match kind {
            VertexKind::Mark(mark) => Some(Rests::on(mark)),
            VertexKind::Bend(bend) => Some(self.bends.get(bend)?.rests.clone()),
            VertexKind::Junction(_) => None,
        }
    }
}

/// How much higher the axis lies at one mark than at another, and the variance of that: what their readings share cancels.
fn rise(inputs: Inputs<'_>, a: &Located, b: &Located) -> Option<(f64, f64)> {
    let (here, there) = (a.ground?, b.ground?);
    let (one, other) = (a.depth?, b.depth?);
    let grounds = here.variance(inputs.grounds) + there.variance(inputs.grounds)
        - 2.0 * here.covariance(&there, inputs.grounds);
    let depths = one.sigma.powi(2) + other.sigma.powi(2) + (one.common - other.common).powi(2);
    Some((a.axis()? - b.axis()?, grounds.max(0.0) + depths))
}

/// Cable against straight distance, neighbour by neighbour.
pub(super) fn gaps(inputs: Inputs<'_>, traced: &Traced) -> Vec<Option<Gap>> {
    let gap = |index: usize| {
        let (a, b) = (traced.marks.get(index)?, traced.marks.get(index + 1)?);
        let (from, to) = (
            a.path?,
            b.path
                .filter(|to| a.path.is_some_and(|from| from.line == to.line))?,
        );
        let cable = (to.at - from.at).abs();
        let (e, n) = (b.e - a.e, b.n - a.n);
        let plan = f64::hypot(e, n);
        let c = block::difference(
            a.covariance(),
            b.covariance(),
            traced.covariance(inputs.places, index, index + 1),
        );
        let unit = if plan > 0.0 {
            [e / plan, n / plan]
        } else {
            [0.0, 1.0]
        };
        let across = block::along(c, [unit[1], -unit[0]]);
        let (rise, rise_variance) = rise(inputs, a, b).unwrap_or_default();
        let k = inputs.ground_to_grid();
        let straight = f64::hypot(plan / k, rise);
        let [level, steep] = if straight > 0.0 {
            [plan / k / straight, rise / straight]
        } else {
            [1.0, 0.0]
        };
        let along = block::along(c, unit) / (k * k);
        Some(Gap {
            cable,
            rise,
            cable_sigma: inputs.job.accuracy.cable(cable),
            straight,
            straight_sigma: (level * level * along + steep * steep * rise_variance).sqrt(),
            // E √(x² + y²) ≈ x + σ_y²/2x; for marks closer than their scatter, no more than that.
            straight_bias: (across + level * level * rise_variance)
                / (2.0 * plan.max(across.sqrt()).max(rise_variance.sqrt()).max(1e-9)),
        })
    };
    (0..traced.marks.len().saturating_sub(1)).map(gap).collect()
}
