//! `path-too-short`: more cable than path between two marks.
//!
//! *Why*: the pipe may bend between them where nothing located it. *Limit*: 3.29 of the difference's one-sigma
//! ([`crate::sources::Source::Baarda1968`]); not where a bend was inferred. *Example*: 12 ft apart on 17 ft of cable.

use super::path_too_long::{about, by_run};
use super::pipe::Pipe;
use crate::findings::{Code, Finding};
use crate::run::{Gap, Traced, VertexKind};

/// A bend was inferred between two neighbouring marks.
fn bent(traced: &Traced, index: usize) -> bool {
    let at = |mark: usize| {
        traced
            .vertices
            .iter()
            .position(|vertex| vertex.kind == VertexKind::Mark(mark))
    };
    let (Some(a), Some(b)) = (at(index), at(index + 1)) else {
        return false;
    };
    let between = traced.vertices.get(a.min(b)..a.max(b)).unwrap_or_default();
    between
        .iter()
        .any(|vertex| matches!(vertex.kind, VertexKind::Bend(_)))
}

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let alarm = pipe.inputs.job.limits.alarm;
    let too_short = |traced, index, gap: &Gap| {
        let (excess, sigma) = gap.excess();
        // Heights so unsure that they may make up the whole distance say nothing of it.
        let known = gap.straight_bias < 0.5 * gap.straight;
        let what =
            "The pipe may bend between them: locate a mark there, or find the end points of both.";
        (excess < -alarm * sigma && known && !bent(traced, index))
            .then(|| about(pipe, Code::PathTooShort, traced, index, gap, what))
            .flatten()
    };
    by_run(pipe, Code::PathTooShort, |ratio| ratio > 1.0, too_short)
}
