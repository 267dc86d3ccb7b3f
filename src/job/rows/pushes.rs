//! `pushes.csv`.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use super::runs::stream;
use super::{Names, Pushes, Runs, once};
use crate::findings::Code;
use crate::job::model::{Push, Stream};
use crate::job::row::{Tally, quoted, rows};
use crate::job::schema::{Typing, pushes};
use crate::job::table::Sheet;

/// The pushes of the job; their names are unique within a run. Rows that can't be used are remembered, so that what names them is
/// not said to name nothing.
pub fn read(
    sheet: &Sheet,
    typing: Typing,
    tally: &mut Tally,
    runs: &Runs,
    names: &mut Names,
) -> Pushes {
    let mut all = Pushes::default();
    if sheet.layout.unusable {
        all.lost.add(None, None);
    }
    let mut seen = HashMap::new();
    let mut defined = HashSet::new();
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
        if let (Some(id), Some(run)) = (id, run) {
            once(
                &mut seen,
                (run, id.to_owned()),
                row,
                pushes::PUSH,
                &format!("push {} of this run", quoted(id)),
            );
        }
        let (Some(id), Some(run), false) = (id, run, row.failed()) else {
            // A name that stands twice is defined by its first row.
            let named = run.zip(id.map(str::to_owned));
            if !named.is_some_and(|named| defined.contains(&named)) {
                all.lost.add(run, id);
            }
            return;
        };
        defined.insert((run, id.to_owned()));
        let default = runs.list.get(run).map_or(Stream::Down, |run| run.pushed);
        all.list.push(Push {
            id: Arc::from(id),
            run,
            pushed: pushed.unwrap_or(default),
            counter_at_start,
            start,
            note,
            source: row.source(),
        });
    });
    all
}
