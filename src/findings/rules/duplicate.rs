//! `duplicate`: a name defined twice.
//!
//! *Why*: control points, marks and points of measurements share one namespace; a tie to a name that means two places
//! can't be used. *Limit*: none. *Example*: mark `P1` where control.csv has a point `P1`.

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::observe::Problem;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let one = |problem: &Problem| match problem {
        Problem::Duplicate { subject, first } => {
            let message = format!(
                "\"{}\" is defined here and in {first}: the second is not used. Give one of them another name.",
                subject.name
            );
            Some(survey.subject(Finding::new(Code::Duplicate, message), subject))
        }
        _ => None,
    };
    survey.observed.problems.iter().filter_map(one).collect()
}
