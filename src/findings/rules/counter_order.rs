//! `counter-order`: the counter goes back, or repeats at another place.
//!
//! *Why*: a misread counter misplaces everything that the camera saw. *Limit*: the rows of one push, in their order. *Example*:
//! 24.8, then 13.0.

use super::pipe::Pipe;
use crate::findings::{Code, Finding};

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let job = pipe.inputs.job;
    let issues = pipe
        .traced
        .iter()
        .flat_map(|traced| traced.issues.iter().map(move |issue| (traced, issue)));
    issues
        .filter_map(|(traced, issue)| {
            let (before, row) = (job.marks.get(issue.before)?, job.marks.get(issue.row)?);
            let (first, second) = (before.counter?, row.counter?);
            let what = match issue.same_counter_apart {
                Some(apart) => format!(
                    "{} and {} have the same counter ({}), but lie {} apart",
                    before.mark,
                    row.mark,
                    pipe.length(second),
                    pipe.length(apart)
                ),
                None => format!(
                    "The counter goes back from {} at {} to {} at {}",
                    pipe.length(first),
                    before.mark,
                    pipe.length(second),
                    row.mark
                ),
            };
            let message = format!(
                "{what}. Check both figures; if the camera was pushed again, or the counter set back, name the pushes in \
                 pushes.csv. The run is drawn in the order of the counter."
            );
            let finding = Finding::new(Code::CounterOrder, message)
                .at(&row.source)
                .run(pipe.run_name(traced.run))
                .mark(&*row.mark)
                .column("counter");
            Some(pipe.figures(finding, second, Some(first)))
        })
        .collect()
}
