//! Whether a delivery is what it says, and says what is required.

use super::Case;
use crate::findings::Level;
use crate::record::model::{Vertex, VertexKind};
use crate::units::{counted, parse_date};

pub(super) fn draft(case: &Case<'_>) -> Option<String> {
    let draft = case.record.draft.as_ref()?;
    let left_out = match draft.left_out {
        0 => "its job has errors".to_owned(),
        rows => format!("{} of the job could not be used", counted(rows, "row")),
    };
    Some(format!(
        "It is a draft: {left_out}. Mend what is wrong and build it without --draft."
    ))
}

pub(super) fn altered(case: &Case<'_>) -> Option<String> {
    let stated = if case.record.hash.is_some() {
        "was changed after it was built, be it in its spaces or lines only: its hash does not fit"
    } else {
        "has no hash"
    };
    (!case.unaltered).then(|| format!("The record {stated}. Send the file as `build` wrote it."))
}

pub(super) fn sheet(case: &Case<'_>) -> Option<String> {
    case.sheet.map(str::to_owned)
}

/// Errors that a record should not have. A draft has them because it is one.
pub(super) fn findings(case: &Case<'_>) -> Option<String> {
    if case.record.draft.is_some() {
        return None;
    }
    let errors: Vec<_> = case
        .record
        .findings
        .iter()
        .filter(|finding| finding.level == Level::Error)
        .collect();
    let first = errors.first()?;
    let what = match errors.len() {
        1 => "One finding of it is an error".to_owned(),
        several => format!("{several} findings of it are errors; the first is"),
    };
    Some(format!("{what}: {}: {}", first.code, first.message))
}

pub(super) fn identity(case: &Case<'_>) -> Option<String> {
    let job = &case.record.job;
    let missing: Vec<&str> = [
        ("supplier", job.supplier.as_deref()),
        ("id", Some(job.id.as_str())),
    ]
    .into_iter()
    .filter(|(_, text)| text.is_none_or(|text| text.trim().is_empty()))
    .map(|(name, _)| name)
    .collect();
    (!missing.is_empty()).then(|| {
        format!(
            "Its {} is missing: supplier and job id are a record's identity.",
            missing.join(" and ")
        )
    })
}

pub(super) fn twice(case: &Case<'_>) -> Option<String> {
    let before = case.rival()?.delivery.as_deref()?;
    Some(format!(
        "{before} of this intake has the same supplier, job and revision. Send one of them, or give them different job ids or revisions."
    ))
}

pub(super) fn on_file(case: &Case<'_>) -> Option<String> {
    let known = case.rival().filter(|known| known.delivery.is_none())?;
    let revision = known.revision.map_or_else(
        || "without a revision".to_owned(),
        |revision| format!("as revision {revision}"),
    );
    Some(format!(
        "A different record of this supplier and job is on file {revision}, and this has no higher one. Give it one if it replaces that."
    ))
}

pub(super) fn date(case: &Case<'_>) -> Option<String> {
    let text = case.record.job.located_on.as_deref()?;
    let why = parse_date(text).err()?;
    Some(format!("The date of locating is \"{text}\": {why}."))
}

pub(super) fn incomplete(case: &Case<'_>) -> Option<String> {
    let record = case.record;
    let missing = record.runs.iter().filter_map(|run| {
        // Bends and junctions are no marks: nobody located anything there.
        let marks = run.vertices.iter().filter(|v| v.kind == VertexKind::Mark);
        let each = |has: fn(&Vertex) -> bool| marks.clone().all(has);
        let has = |name: &str| match name {
            "supplier" => record.job.supplier.is_some(),
            "job" => !record.job.id.is_empty(),
            "located_on" => record.job.located_on.is_some(),
            "revision" => record.job.revision.is_some(),
            "diameter" => run.diameter.is_some(),
            "wall" => run.wall.is_some(),
            "material" | "system" => run.texts.get(name).is_some_and(|text| !text.is_empty()),
            "ground" => each(|mark| mark.ground.is_some()),
            "transmitter_depth" => each(|mark| mark.transmitter_depth.is_some()),
            "depth_95" => each(|mark| mark.depth_95.is_some()),
            "cover" => each(|mark| mark.cover.is_some()),
            "invert" => each(|mark| mark.invert.is_some()),
            "invert_95" => each(|mark| mark.invert_95.is_some()),
            "horizontal_95" => each(|mark| mark.ellipse.is_some()),
            "mark" => each(|mark| mark.mark.is_some()),
            _ => true,
        };
        let missing: Vec<&str> = case
            .require
            .fields
            .iter()
            .copied()
            .filter(|name| !has(name))
            .collect();
        (!missing.is_empty()).then(|| format!("run {} lacks {}", run.run, missing.join(", ")))
    });
    let missing: Vec<String> = missing.collect();
    (!missing.is_empty()).then(|| {
        format!(
            "Required but missing: {}. Add it and send the record again.",
            missing.join("; ")
        )
    })
}

pub(super) fn no_run(case: &Case<'_>) -> Option<String> {
    let short = case.record.runs.iter().find(|run| run.vertices.len() < 2);
    match short {
        _ if case.record.runs.is_empty() => Some("It has no run: nothing was located.".to_owned()),
        Some(run) => Some(format!(
            "Run {} has fewer than two located points, which make no line. Locate at least its two ends.",
            run.run
        )),
        None => None,
    }
}
