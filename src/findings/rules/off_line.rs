//! `off-line`: the mark lies off the line between its end points, or a branch's lowest mark off the run that it joins.
//!
//! *Why*: over a straight transmitter the three spots lie in line; one of them is misplaced, or the field is bent. A branch that does not
//! reach the run that it joins has no junction to draw. *Limit*: 3.29 of the distance's one-sigma
//! ([`crate::sources::Source::Baarda1968`]); beyond the run's last mark [`FAR_BEYOND`]. *Example*: ends located as points, the mark
//! 1.5 ft to one side; a branch that ends 15 ft beside the run.

use super::pipe::Pipe;
use crate::findings::{Code, Finding};
use crate::run::{FAR_BEYOND, Meets, Traced};

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let branches = pipe.traced.iter().filter_map(|traced| branch(pipe, traced));
    ends(pipe).into_iter().chain(branches).collect()
}

fn branch(pipe: &Pipe<'_>, traced: &Traced) -> Option<Finding> {
    let (join, mark) = (traced.join?, traced.marks.last()?);
    let (branch, joined) = (pipe.run_name(traced.run), pipe.run_name(join.run));
    let name = pipe.inputs.mark_name(mark.mark);
    let (by, bound, how) = match join.meets {
        Meets::Off { by, bound } => {
            let how = format!(
                "off that run's line, more than the {} that is allowed: no junction is drawn. Check that mark and the marks of {joined} beside it, \
                 and `joins` of {branch}; locate {joined} where it bends.",
                pipe.length(bound),
            );
            (by, bound, how)
        }
        Meets::Beyond { by } if by > FAR_BEYOND => {
            let how = format!(
                "beyond the last mark of {joined} on that side: no junction is drawn. Check that mark, and `joins` of {branch}; locate {joined} on \
                 the far side of the junction."
            );
            (by, FAR_BEYOND, how)
        }
        _ => return None,
    };
    let message = format!(
        "Run {branch} joins {joined}, but {}, its lowest mark, lies {} {how}",
        super::called(name),
        pipe.length(by),
    );
    let finding = Finding::new(Code::OffLine, message).run(branch).mark(name);
    let finding = pipe.at_row(finding, mark);
    Some(pipe.figures(finding, by, Some(bound)))
}

fn ends(pipe: &Pipe<'_>) -> Vec<Finding> {
    pipe.seen()
        .filter_map(|seen| {
            let (off, sigma) = seen.sensed.ends.as_ref()?.off_line?;
            let bound = pipe.inputs.job.limits.alarm * sigma;
            (off.abs() > bound).then(|| {
                let side = if off > 0.0 { "right" } else { "left" };
                let message = format!(
                    "{} lies {} to the {side} of the line between its end points, more than the {} that is allowed. One of the \
                     three is misplaced, or metal bends the field: find them again.",
                    seen.called(),
                    pipe.length(off.abs()),
                    pipe.length(bound),
                );
                let finding = pipe.of_mark(Code::OffLine, &seen, message);
                pipe.figures(finding, off, Some(bound))
            })
        })
        .collect()
}
