//! `counter-order`: the counter goes back, repeats at another place, or is less than at the push's opening.
//!
//! *Why*: a misread counter misplaces everything that the camera saw. *Limit*: the rows of one push, in their order: back by more
//! than 3.29 of `counter`, or not on at all where the places differ by more than 3.29 of their one-sigma
//! ([`crate::sources::Source::Baarda1968`]); none of them under `counter_at_start` by more than two readings differ by chance. A push
//! whose rows go back throughout was marked while the camera was pulled out (common practice, no source): there, what goes on is
//! told. *Example*: 24.8, then 13.0; 30.0 where the push starts at 200.

use super::one_counter;
use super::pipe::Pipe;
use crate::findings::{Code, Finding};
use crate::job::model::Source;

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let job = pipe.inputs.job;
    let issues = pipe
        .traced
        .iter()
        .flat_map(|traced| traced.issues.iter().map(move |issue| (traced, issue)));
    let goes_back = issues
        .filter_map(|(traced, issue)| {
            let (before, row) = (job.marks.get(issue.before)?, job.marks.get(issue.row)?);
            let (first, second) = (before.counter?, row.counter?);
            let [one, other] = issue.marks.map(|mark| pipe.inputs.mark_name(mark));
            let what = match issue.same_counter_apart {
                Some(apart) => format!(
                    "{one} and {other} have the same counter ({}), but lie {} apart",
                    pipe.length(second),
                    pipe.length(apart)
                ),
                None => format!(
                    "The counter goes {} from {} at {one} to {} at {other}",
                    if second < first { "back" } else { "on, where the rows of its push go back," },
                    pipe.length(first),
                    pipe.length(second),
                ),
            };
            let one = one_counter::find(pipe, traced);
            let one = one.filter(|one| [issue.before, issue.row].contains(&one.row));
            let hint = one.map_or_else(String::new, |one| one.hint);
            let message = format!(
                "{what}. Check both figures; if the camera was pushed again, or the counter set back, name the pushes in \
                 pushes.csv. The run is drawn in the order of the counter.{hint}"
            );
            let finding = Finding::new(Code::CounterOrder, message)
                .at(&row.source)
                .run(pipe.run_name(traced.run))
                .mark(other)
                .column("counter");
            Some(pipe.figures(finding, second, Some(first)))
        });
    goes_back.chain(before_openings(pipe)).collect()
}

/// A row with a counter.
struct Counted<'a> {
    push: Option<usize>,
    counter: f64,
    /// Index into `job.marks`, and its name there.
    mark: Option<(usize, &'a str)>,
    source: &'a Source,
}

/// Rows whose lens would lie behind the opening that their push was made from.
fn before_openings(pipe: &Pipe<'_>) -> Vec<Finding> {
    let job = pipe.inputs.job;
    let marks = job.marks.iter().enumerate().filter_map(|(index, row)| {
        Some(Counted {
            push: row.push,
            counter: row.counter?,
            mark: Some((index, &row.mark)),
            source: &row.source,
        })
    });
    let camera = job.camera.iter().map(|row| Counted {
        push: row.push,
        counter: row.counter,
        mark: None,
        source: &row.source,
    });
    let before = |row: Counted<'_>| {
        let push = job.pushes.get(row.push?)?;
        // Read again at the opening, it comes out on either side of what was noted there.
        let chance = job.limits.alarm * std::f64::consts::SQRT_2 * job.accuracy.counter;
        if row.counter > push.counter_at_start - chance {
            return None;
        }
        let message = format!(
            "The counter is {} here, and push {} ({}) starts at {} (counter_at_start): the lens would lie behind the opening. \
             Check both figures, or name the push that this row belongs to.",
            pipe.length(row.counter),
            push.id,
            push.source,
            pipe.length(push.counter_at_start),
        );
        let finding = Finding::new(Code::CounterOrder, message)
            .at(row.source)
            .run(pipe.run_name(push.run))
            .column("counter");
        let finding = match row.mark {
            // One that several pushes reached has a name for each.
            Some((index, name)) => {
                let mut marks = pipe.inputs.observations.marks.iter();
                let own = marks.find(|mark| mark.centre.is_some_and(|(row, _)| row == index));
                finding.mark(own.map_or(name, |mark| &mark.name))
            }
            None => finding,
        };
        Some(pipe.figures(finding, row.counter, Some(push.counter_at_start)))
    };
    marks.chain(camera).filter_map(before).collect()
}
