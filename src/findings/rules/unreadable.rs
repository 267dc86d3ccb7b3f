//! `unreadable`: a mark that is measured from itself, or from a line that has no length.
//!
//! *Why*: such a measurement says nothing of where the mark lies; another point was meant. Cells that can't be read are told as
//! they are read, but which point a mark's name stands for is known only when all rows are. *Limit*: none. *Example*: `tie_1_ref`
//! = `A2` in the row of A2.

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::observe::Problem;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let one = |problem: &Problem| {
        let (subject, column, message) = match problem {
            Problem::FromItself { subject, column } => {
                let message = format!(
                    "{}: column {column} names {}, which is the mark itself: name the point that it was measured from.",
                    subject.source,
                    super::called(&subject.name)
                );
                (subject, column.as_str(), message)
            }
            Problem::NoLine {
                subject,
                column,
                points: [one, other],
            } => {
                let message = format!(
                    "{}: column {column}: {} and {} have the same coordinates, so that no line leads from one to the other. Mend the coordinates, or \
                     name the points that were used.",
                    subject.source,
                    super::called(one),
                    super::called(other)
                );
                (subject, *column, message)
            }
            _ => return None,
        };
        let finding = Finding::new(Code::Unreadable, message).column(column);
        Some(survey.subject(finding, subject))
    };
    survey.observed.problems.iter().filter_map(one).collect()
}
