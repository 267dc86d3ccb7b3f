//! `unknown-reference`: a name that nothing defines.
//!
//! *Why*: the row can't be used; most often a letter is wrong. A name used in `measures.csv` defines itself, so it is
//! only ties, baselines, set-ups, backsights, junctions and openings that can fail.
//! *Limit*: none. *Example*: `tie_2_ref` = `P33` where control.csv has `P3`.

use super::survey::Survey;
use crate::findings::{Code, Finding};
use crate::observe::Problem;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let one = |problem: &Problem| match problem {
        Problem::UnknownReference {
            subject,
            name,
            column,
            near,
        } => {
            let way_out = match near {
                Some(near) => format!("Did you mean \"{near}\"?"),
                None => "Add it to control.csv, or mend the name.".to_owned(),
            };
            let message = format!(
                "\"{name}\" in column {column} is not a point, mark or run of this job. {way_out}"
            );
            let finding = Finding::new(Code::UnknownReference, message).column(column.as_str());
            Some(survey.subject(finding, subject))
        }
        Problem::Datum { subject, why } => {
            let finding = Finding::new(Code::UnknownReference, format!("{}: {why}.", subject.name))
                .column("datum");
            Some(survey.subject(finding, subject))
        }
        _ => None,
    };
    survey.observed.problems.iter().filter_map(one).collect()
}
