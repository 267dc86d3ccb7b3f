//! `pushes.csv`.

use std::collections::HashMap;
use std::sync::Arc;

use super::runs::stream;
use super::{Names, Runs, once};
use crate::findings::Code;
use crate::job::model::{Push, Stream};
use crate::job::row::{Tally, quoted, rows};
use crate::job::schema::{Typing, pushes};
use crate::job::table::Sheet;

/// The pushes of the job; their names are unique within a run.
pub fn read(
    sheet: &Sheet,
    typing: Typing,
    tally: &mut Tally,
    runs: &Runs,
    names: &mut Names,
) -> Vec<Push> {
    let mut list = Vec::new();
    let mut seen = HashMap::new();
    rows(sheet, typing, tally, |row, tally| {
        let id = row.name(pushes::PUSH);
        let run_name = row.name(pushes::RUN);
        let run = run_name.and_then(|name| runs.index.get(name).copied());
        match (run_name, run) {
            (Some(name), None) => {
                row.refuse(
                    Code::UnknownReference,
                    &[pushes::RUN],
                    &format!(
                        "run {} is defined nowhere; define it in job.toml or runs.csv",
                        quoted(name)
                    ),
                );
            }
            (None, _) if !row.failed() => row.lacks(pushes::RUN, "a push belongs to a run"),
            _ => {}
        }
        if id.is_none() && !row.failed() {
            row.lacks(pushes::PUSH, "a push has a name");
        }
        let pushed = stream(row, pushes::PUSHED);
        let counter_at_start = row.number(pushes::COUNTER_AT_START).unwrap_or(0.0);
        let start = row.name(pushes::START).map(|name| names.share(name));
        let note = row.text(pushes::NOTE);
        row.keep_rest(&[], tally);
        let (Some(id), Some(run)) = (id, run) else {
            return;
        };
        once(
            &mut seen,
            (run, id.to_owned()),
            row,
            pushes::PUSH,
            &format!("push {} of this run", quoted(id)),
        );
        if row.failed() {
            return;
        }
        let default = runs.list.get(run).map_or(Stream::Down, |run| run.pushed);
        list.push(Push {
            id: Arc::from(id),
            run,
            pushed: pushed.unwrap_or(default),
            counter_at_start,
            start,
            note,
            source: row.source(),
        });
    });
    list
}
