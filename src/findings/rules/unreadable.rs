//! `unreadable`: a mark that is measured from itself.
//!
//! *Why*: such a measurement says nothing of where the mark lies; another point was meant. Cells that can't be read are told as
//! they are read, but which point a mark's name stands for is known only when all rows are. *Limit*: none. *Example*: `tie_1_ref`
//! = `A2` in the row of A2.

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::observe::Problem;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let one = |problem: &Problem| {
        let Problem::FromItself { subject, column } = problem else {
            return None;
        };
        let message = format!(
            "{}: column {column} names {}, which is the mark itself: name the point that it was measured from.",
            subject.source,
            super::called(&subject.name)
        );
        let finding = Finding::new(Code::Unreadable, message).column(column.as_str());
        Some(survey.subject(finding, subject))
    };
    survey.observed.problems.iter().filter_map(one).collect()
}
