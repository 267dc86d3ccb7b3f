//! Branches: how far the last invert lies above that of the run which is joined.

use super::Figure;
use super::inverts::{Levels, unit};
use crate::math::block;
use crate::run::{Inputs, Meets, Traced, VertexKind};

/// How far a branch's last invert lies above the run's at its junction, by the levels of all runs and its own. `None` where it joins none,
/// or one of the two is not known.
pub(super) fn drop(
    inputs: Inputs<'_>,
    (traced, levels): (&[Traced], &[Levels]),
    (branch, mine): (&Traced, &Levels),
) -> Option<Figure> {
    let join = branch.join?;
    let Meets::At { station, .. } = join.meets else {
        return None;
    };
    let (onto, theirs) = (traced.get(join.run)?, levels.get(join.run)?);
    let last = mine.known.len().checked_sub(1)?;
    let lowest = branch
        .vertices
        .iter()
        .rposition(|vertex| matches!(vertex.kind, VertexKind::Mark(_)))?;
    if mine.at.get(last)?.0 != lowest {
        return None;
    }
    let (between, grade) = theirs.beside((mine, last), inputs, station)?;
    // Where along the run it joins is as sure as the mark that shows it.
    let joint = onto
        .vertices
        .iter()
        .position(|vertex| vertex.kind == VertexKind::Junction(branch.run))?;
    let at = onto.vertices.get(joint)?;
    let near = |index: usize| onto.vertices.get(index).unwrap_or(at);
    let (before, after) = (near(joint.saturating_sub(1)), near(joint + 1));
    let way = unit([after.e - before.e, after.n - before.n]);
    let along = grade * grade * block::along(at.covariance, way);
    Some(Figure {
        value: between.value,
        sigma: f64::hypot(between.sigma, along.sqrt()),
    })
}
