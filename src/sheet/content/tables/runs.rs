//! Runs: length, fall, grade, cover.

use super::{Row, Table, figures, words};
use crate::record::AsBuilt;
use crate::record::model::Run;
use crate::sheet::content::figures as f;

pub fn table(record: &AsBuilt) -> Option<Table> {
    let columns = vec![
        words("Run"),
        words("From (upstream)"),
        words("To (downstream)"),
        words("Pipe"),
        figures("Length"),
        figures("In plan"),
        figures("± length"),
        figures("Fall"),
        figures("± fall"),
        figures("Grade"),
        figures("± grade"),
        words("Uniform grade"),
        figures("Least top, most likely"),
        figures("Deepest axis, most likely"),
        figures("Marks"),
        words("Weakest evidence"),
        words("Remarks"),
    ];
    let rows = record
        .runs
        .iter()
        .map(|run| Row::new(cells(record, run)))
        .collect();
    let depths = |run: &Run| run.min_cover.or(run.max_depth).is_some();
    let depths = if record.runs.iter().any(depths) {
        " “Least top” and “deepest axis” are the most likely depths of the top of the pipe and of the transmitter at marks: no bound is \
         taken off or added."
    } else {
        ""
    };
    let note = format!(
        "Lengths in {}; grades fall with the flow. Bounds hold 95 %.{depths}",
        record.frame.unit
    );
    Some(Table::new("runs", "Runs", columns, rows)?.noted(note))
}

/// `PVC, inside 0.10 m, wall 0.01 m, sanitary`.
fn pipe(record: &AsBuilt, run: &Run) -> String {
    let unit = record.frame.unit;
    let mut parts: Vec<String> = run.texts.get("material").cloned().into_iter().collect();
    parts.extend(
        run.diameter
            .map(|d| format!("inside {} {unit}", f::fixed(d, 3))),
    );
    parts.push(run.wall.map_or_else(
        || "wall not given".to_owned(),
        |w| format!("wall {} {unit}", f::fixed(w, 3)),
    ));
    parts.extend(run.texts.get("system").cloned());
    parts.join(", ")
}

/// The way that the camera was pushed, `downstream` or `upstream`, or `both ways`: by the run's pushes, where it names any.
fn ways<'a>(record: &'a AsBuilt, run: &'a Run) -> &'a str {
    let mut pushes = record.pushes.iter().filter(|push| push.run == run.run);
    let Some(first) = pushes.next() else {
        return &run.pushed;
    };
    if pushes.any(|push| push.pushed != first.pushed) {
        "both ways"
    } else {
        &first.pushed
    }
}

fn cells(record: &AsBuilt, run: &Run) -> Vec<String> {
    let text = |key: &str| f::text(run.texts.get(key).map(String::as_str));
    let mut remarks = vec![
        format!("pushed {}", ways(record, run)),
        format!("station 0 at the {} end", run.station_from),
    ];
    let marks = || record.marks.iter().filter(|m| m.run == run.run);
    let bare = marks().filter(|m| m.cover.is_none()).count();
    if bare > 0 {
        let all = marks().count();
        remarks.push(format!(
            "no depth of the top known at {bare} of {all} marks"
        ));
    }
    remarks.extend(run.joins.as_ref().map(|other| format!("joins run {other}")));
    for (name, key) in [
        ("asset", "asset"),
        ("main", "main_asset"),
        ("status", "status"),
        ("parcel", "parcel"),
        ("address", "address"),
        ("permit", "permit"),
    ] {
        remarks.extend(run.texts.get(key).map(|v| format!("{name} {v}")));
    }
    let uniform = match run.grade_uniform {
        Some(true) => "fits",
        Some(false) => "does not fit",
        None => f::UNKNOWN,
    };
    vec![
        run.run.clone(),
        text("from"),
        text("to"),
        pipe(record, run),
        f::length(run.length),
        f::length(run.length_plan),
        f::length(run.length_95),
        f::length(run.fall),
        f::length(run.fall_95),
        f::percent(run.grade),
        f::percent(run.grade_95),
        uniform.to_owned(),
        f::length(run.min_cover),
        f::length(run.max_depth),
        run.marks.to_string(),
        run.evidence.word().to_owned(),
        remarks.join("; "),
    ]
}
