//! `adverse-grade` by what is on the pipe: the main connection at its upper end.
//!
//! *Why*: water flows to the main; `pushed` said the wrong way round draws everything the wrong way round, and without depths nothing else
//! tells. *Limit*: none: a `main connection` at the highest mark of a run in the direction of flow, and none at the lowest.
//! *Example*: a run pushed from the house to the main with `pushed = "upstream"`.

use super::pipe::Pipe;
use crate::findings::{Code, Finding};
use crate::run::Located;

/// The word of the fitting.
const MAIN: &str = "main connection";

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let (job, observations) = (pipe.inputs.job, pipe.inputs.observations);
    let is_main = |located: &Located| {
        let points = observations.marks.get(located.mark);
        let rows = points
            .into_iter()
            .flat_map(|points| [points.centre, points.exposed]);
        let mut rows = rows.flatten().filter_map(|(row, _)| job.marks.get(row));
        rows.any(|row| {
            row.fitting
                .as_deref()
                .is_some_and(|fitting| fitting.eq_ignore_ascii_case(MAIN))
        })
    };
    let graded = pipe.graded().filter_map(|(traced, _)| {
        let (upper, lower) = (traced.marks.first()?, traced.marks.last()?);
        (traced.marks.len() > 1 && is_main(upper) && !is_main(lower)).then(|| {
            let message = format!(
                "{}, at the upper end of run {}, is the {MAIN}, and water flows to the main. Was it pushed the way that `pushed` says? If so, is the \
                 fitting at the right mark?",
                super::called(pipe.inputs.mark_name(upper.mark)),
                pipe.run_name(traced.run),
            );
            let finding = pipe.of_run(Code::AdverseGrade, traced, message);
            let finding = finding.mark(pipe.inputs.mark_name(upper.mark)).column("fitting");
            pipe.at_row(finding, upper)
        })
    });
    graded.collect()
}
