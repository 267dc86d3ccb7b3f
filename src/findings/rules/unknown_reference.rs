//! `unknown-reference`: a name that nothing defines.
//!
//! *Why*: the row can't be used; most often a letter is wrong. A name used in `measures.csv` defines itself, so it is
//! only ties, baselines, set-ups, backsights, junctions and openings that can fail, and heights to what leads nowhere. A warning where a
//! book of levels begins or closes on such a name: it may be left for another day.
//! *Limit*: none. *Example*: `tie_2_ref` = `P33` where control.csv has `P3`.

use std::cell::OnceCell;

use super::survey::Survey;
use crate::findings::{Code, Finding, Level};
use crate::job::model::left_out;
use crate::observe::Problem;

pub(super) fn find(survey: &Survey<'_>) -> Vec<Finding> {
    let idle = OnceCell::new();
    let one = |problem: &Problem| match problem {
        Problem::UnknownReference {
            subject,
            name,
            column,
            near,
            left,
        } => {
            let idle = idle.get_or_init(|| left_out(&survey.job.left_out, &["point", "mark"]));
            let way_out = match (idle.get(&**name), near) {
                (Some(row), _) => {
                    format!(
                        "Its row ({row}) is left out with `use = no`: let it stand, or leave this one out too."
                    )
                }
                (None, Some(near)) => format!("Did you mean \"{near}\"?"),
                (None, None) => "Add it to control.csv, or mend the name.".to_owned(),
            };
            let (level, what) = if *left {
                let what = "is levelled and serves nothing: the levels go no further, and it is not a point or mark of this job";
                (Level::Warning, what)
            } else {
                (Level::Error, "is not a point, mark or run of this job")
            };
            let message = format!("\"{name}\" in column {column} {what}. {way_out}");
            let finding = Finding::new(Code::UnknownReference, message).level(level);
            Some(survey.subject(finding.column(column.as_str()), subject))
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
