//! The title block's facts, the statement of accuracy and of method.

use super::figures;
use crate::findings::Level;
use crate::record::model::{AsBuilt, Draft, Evidence, Mark};
use crate::units::counted;

/// What the document is, in its title: it claims no more than was done.
pub const WHAT_IT_IS: &str = "Record of located pipe";

/// A name and what is said of it.
pub type Fact = (String, String);

/// The document's title.
#[must_use]
pub fn title(record: &AsBuilt) -> String {
    record
        .job
        .title
        .clone()
        .unwrap_or_else(|| format!("Sewer lateral, job {}", record.job.id))
}

/// Identity in one line: supplier, job, revision.
#[must_use]
pub fn identity(record: &AsBuilt) -> String {
    let supplier = record
        .job
        .supplier
        .as_deref()
        .map(|s| format!("{s} / "))
        .unwrap_or_default();
    let revision = record
        .job
        .revision
        .map(|r| format!(", revision {r}"))
        .unwrap_or_default();
    format!("{supplier}{}{revision}", record.job.id)
}

/// `DRAFT, 3 rows left out`, in a draft.
#[must_use]
pub fn draft(record: &AsBuilt) -> Option<String> {
    record.draft.as_ref().map(Draft::words)
}

/// Who, where, when; only what was entered. Fields of a title block after ISO 7200
/// ([`crate::sources::Source::Iso7200`]).
#[must_use]
pub fn particulars(record: &AsBuilt) -> Vec<Fact> {
    let job = &record.job;
    let mut facts: Vec<Fact> = vec![("Job".to_owned(), job.id.clone())];
    let mut add =
        |name: &str, value: Option<String>| facts.extend(value.map(|v| (name.to_owned(), v)));
    let text = |key: &str| job.texts.get(key).cloned();
    add("Title", job.title.clone());
    add("Made by", job.supplier.clone());
    add("Revision", job.revision.map(|r| r.to_string()));
    add("Supersedes", text("supersedes"));
    add("Located on", job.located_on.clone());
    add("Located by", text("located_by"));
    add("Checked by, as entered, not signed", text("checked_by"));
    add("Licence, as entered", text("licence"));
    for (name, key) in [
        ("Client", "client"),
        ("Site", "site"),
        ("Address", "address"),
        ("Parcel", "parcel"),
        ("Permit", "permit"),
        ("Note", "note"),
    ] {
        add(name, text(key));
    }
    facts
}

/// Coordinate system, heights, units, north.
#[must_use]
pub fn frame(record: &AsBuilt) -> Vec<Fact> {
    let frame = &record.frame;
    let mut facts: Vec<Fact> = Vec::new();
    let mut add = |name: &str, value: String| facts.push((name.to_owned(), value));
    let system = if frame.local {
        "local site grid, not tied to any coordinate system".to_owned()
    } else {
        format!("{} {}", frame.crs, frame.crs_name)
            .trim()
            .to_owned()
    };
    add(
        "Coordinates",
        format!("{system}; in {}", figures::units(&frame.crs_unit)),
    );
    add(
        "Height datum",
        frame
            .vertical
            .clone()
            .unwrap_or_else(|| "not given".to_owned()),
    );
    if let Some(geoid) = &frame.geoid {
        add("Geoid model", geoid.clone());
    }
    add(
        "Lengths",
        format!("{} ({})", figures::unit_word(frame.unit), frame.unit),
    );
    if let Some(factor) = frame.combined_factor {
        add("Grid / ground distance", figures::fixed(factor, 7));
    }
    if let Some(convergence) = frame.convergence {
        add(
            "Grid north at the site",
            figures::of_true_north(convergence),
        );
    }
    let from = frame.declination_from.as_deref();
    if let Some(declination) = figures::declination_of(frame) {
        let from = from.map(|f| format!(" ({f})")).unwrap_or_default();
        add("Magnetic declination", declination + &from);
    }
    for operation in &frame.operations {
        let accuracy = operation
            .accuracy_m
            .map(|a| format!(", {} m", figures::plain(a)))
            .unwrap_or_default();
        let ballpark = if operation.ballpark {
            ", ballpark only"
        } else {
            ""
        };
        add(
            "Datum operation",
            format!(
                "{} to {}: {}{accuracy}{ballpark}",
                operation.from, operation.to, operation.name
            ),
        );
    }
    if let Some(grid) = &frame.site_grid {
        let text = format!(
            "{} points, scale {}, turned {}°",
            grid.points,
            figures::fixed(grid.scale, 6),
            figures::fixed(grid.rotation, 4)
        );
        add("Site grid", text);
    }
    facts
}

/// How the figures came about, in a few sentences.
#[must_use]
pub fn method(record: &AsBuilt) -> String {
    let a = &record.adjustment;
    let test = match (a.variance_factor, a.variance_lower, a.variance_upper) {
        (Some(f), Some(lo), Some(hi)) => format!(
            " Variance factor {} (95 % of sound jobs lie between {} and {}).",
            figures::fixed(f, 2),
            figures::fixed(lo, 2),
            figures::fixed(hi, 2)
        ),
        _ => String::new(),
    };
    let heights = match a.redundancy_of_heights {
        0 => String::new(),
        spare => format!("; of heights, {spare} to spare"),
    };
    // A mark that was located and exposed too is an exposed one, with what the surface said of it.
    let located = |m: &Mark| m.evidence == Evidence::Located || m.predicted.is_some();
    let (how, then) = if record.marks.iter().any(located) {
        (
            "A transmitter on the camera's rod was located from the surface.",
            " The marks were then moved to the transmitter for its tilt, and depths taken from accepted pairs of readings.",
        )
    } else if record.marks.is_empty() {
        ("No mark was placed.", "")
    } else {
        (
            "The pipe was exposed and measured at its marks; nothing was located from the surface.",
            " Depths were measured to the exposed pipe.",
        )
    };
    format!(
        "{how} Every tape, offset, angle, bearing and receiver position went into one least-squares adjustment: {} of \
         places, {} to spare{heights}.{test}{then} Bounds hold 95 %: ellipses in plan, ± for heights and depths.",
        counted(a.equations, "measurement"),
        a.redundancy.saturating_sub(a.redundancy_of_heights),
    )
}

/// The statement of accuracy with its basis as first word.
#[must_use]
pub fn accuracy(record: &AsBuilt) -> String {
    let a = &record.accuracy;
    let statement = a.statement.trim();
    format!("Accuracy is {}. {statement}", a.basis.word())
}

/// `2 warnings, 1 note`, or that there is none.
#[must_use]
pub fn findings(record: &AsBuilt) -> String {
    let count = |level: Level| record.findings.iter().filter(|f| f.level == level).count();
    let parts: Vec<String> = [Level::Error, Level::Warning, Level::Note]
        .into_iter()
        .filter_map(|level| match count(level) {
            0 => None,
            1 => Some(format!("1 {level}")),
            n => Some(format!("{n} {level}s")),
        })
        .collect();
    if parts.is_empty() {
        "no findings".to_owned()
    } else {
        parts.join(", ")
    }
}

/// The record's hash, or that it has none.
#[must_use]
pub fn hash(record: &AsBuilt) -> &str {
    record.hash.as_deref().unwrap_or("no hash")
}
