//! `signal-path`: metal pipe, or metal or conductors noted nearby.
//!
//! *Why*: the bounds assume an undistorted field; metal bends it. *Limit*: words of the run's material, and of marks' notes
//! ([`crate::sources::Source::OurChoice`]: the words that crews write). *Example*: `material = "cast iron"`, or a note "fence
//! beside".

use super::pipe::Pipe;
use crate::findings::{Code, Finding};

/// Materials that carry or bend the field.
const METALS: &[&str] = &["iron", "steel", "copper", "lead", "metal", "reinforced"];
/// Words of a note that name metal or a conductor.
const NEARBY: &[&str] = &[
    "metal",
    "iron",
    "steel",
    "rebar",
    "fence",
    "rail",
    "cable",
    "wire",
    "power line",
    "conductor",
    "vehicle",
    "car ",
    "van ",
    "truck",
    "grating",
    "sheet pile",
];

/// The first of the words that stands at the start of a word in the text.
fn named<'a>(text: &str, words: &[&'a str]) -> Option<&'a str> {
    let letters = |c: char| if c.is_alphanumeric() { c } else { ' ' };
    let text: String = text.to_lowercase().chars().map(letters).collect();
    let text = format!(" {text} ");
    words
        .iter()
        .find(|word| text.contains(&format!(" {word}")))
        .map(|word| word.trim())
}

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let runs = pipe.traced.iter().filter_map(|traced| {
        let run = pipe.inputs.job.runs.get(traced.run)?;
        let material = run.texts.get("material")?;
        named(material, METALS)?;
        let message = format!(
            "Run {} is of {material}: metal pipe bends and carries the field, and the bounds assume an undistorted one. Expose the \
             pipe at a mark or two to test them.",
            run.id
        );
        Some(pipe.of_run(Code::SignalPath, traced, message))
    });
    let marks = pipe.seen().filter_map(|seen| {
        let word = named(seen.row.note.as_deref()?, NEARBY)?;
        let message = format!(
            "The note at {} names {word}: metal or conductors nearby bend the field, and the bounds assume an undistorted one. \
             Check the mark from a little to each side.",
            seen.called()
        );
        Some(pipe.of_mark(Code::SignalPath, &seen, message).column("note"))
    });
    runs.chain(marks).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_found_at_their_start_only() {
        assert_eq!(named("Cast iron", METALS), Some("iron"));
        assert_eq!(named("pleading", METALS), None);
        assert_eq!(named("a van parked over it", NEARBY), Some("van"));
        assert_eq!(named("gully (grating over it)", NEARBY), Some("grating"));
        assert_eq!(named("chain-link/fence", NEARBY), Some("fence"));
        assert_eq!(named("vantage point", NEARBY), None);
        assert_eq!(named("clay", METALS), None);
    }
}
