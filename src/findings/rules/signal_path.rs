//! `signal-path`: metal pipe, or metal or conductors noted nearby.
//!
//! *Why*: the bounds assume an undistorted field; metal bends it. *Limit*: words of the run's material, and of marks' notes
//! ([`crate::sources::Source::OurChoice`]: the words and abbreviations that crews write), not where the text plainly denies them. *Example*: `material = "cast iron"`, or a note "fence
//! beside".

use super::pipe::Pipe;
use crate::findings::{Code, Finding};

/// Words that name metal, in small letters; of several in one, the last may be a beginning or a word.
struct Names {
    /// Beginnings of words.
    beginnings: &'static [&'static str],
    /// Whole words: abbreviations, and what other words begin with.
    words: &'static [&'static str],
}

/// Materials that carry or bend the field, with the trade's abbreviations: cast and ductile iron, corrugated metal and steel,
/// galvanised iron, reinforced concrete.
const METALS: Names = Names {
    beginnings: &[
        "iron",
        "steel",
        "stainless",
        "copper",
        "brass",
        "metal",
        "ductile",
        "galv",
        "reinforced",
        "tracer",
    ],
    words: &[
        "lead", "ci", "cip", "di", "dip", "cmp", "csp", "gi", "gip", "rcp", "wire", "wires",
    ],
};
/// Words of a note that name metal or a conductor.
const NEARBY: Names = Names {
    beginnings: &[
        "metal",
        "iron",
        "steel",
        "rebar",
        "fence",
        "rail",
        "cable",
        "tracer",
        "power line",
        "conductor",
        "vehicle",
        "truck",
        "grating",
        "sheet pile",
    ],
    words: &["wire", "wires", "car", "cars", "van", "vans"],
};
/// What says that there is none of what follows, or, the last, of what stands before.
const NONE: &[&str] = &["no", "not", "non", "without", "free"];
/// What may stand between such a word and what it denies: "no sign of any metal", "not near a fence".
const BETWEEN: &[&str] = &[
    "a", "an", "any", "the", "of", "or", "and", "nor", "other", "sign", "signs", "visible",
    "known", "near", "nearby", "from",
];

/// The words of a text in small letters, a blank one where a clause ends. Letters with dots make one word: `C.I.` is `ci`.
fn words(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut single = false;
    for part in text
        .to_lowercase()
        .split_inclusive(|c: char| !c.is_alphanumeric())
    {
        let word = part.trim_end_matches(|c: char| !c.is_alphanumeric());
        let letter = word.chars().count() == 1 && word.chars().all(char::is_alphabetic);
        match words.last_mut() {
            Some(last) if letter && single => last.push_str(word),
            _ if !word.is_empty() => words.push(word.to_owned()),
            _ => {}
        }
        let dot = part.ends_with('.');
        if !word.is_empty() {
            single = letter && dot;
        }
        if part.ends_with([',', ';', ':', '!', '?', '(', ')']) || dot && !letter {
            words.push(String::new());
            single = false;
        }
    }
    words
}

impl Names {
    /// The first of the names that stands in the text and is not denied there.
    fn named(&self, text: &str) -> Option<&'static str> {
        let words = words(text);
        let stands = |name: &str, whole: bool| {
            (0..words.len()).any(|at| begins(&words, at, name, whole) && !self.denied(&words, at))
        };
        let beginnings = self.beginnings.iter().map(|name| (*name, false));
        let mut all = beginnings.chain(self.words.iter().map(|name| (*name, true)));
        all.find(|(name, whole)| stands(name, *whole))
            .map(|(name, _)| name)
    }

    /// A plain denial of the word at `at`: before it, with nothing between but what denies it too, or right behind it.
    fn denied(&self, words: &[String], at: usize) -> bool {
        let mut before = words.get(..at).unwrap_or_default().iter().rev();
        let passed = |word: &&String| BETWEEN.contains(&word.as_str()) || self.is_one(word);
        let denier = before.find(|word| !passed(word));
        denier.is_some_and(|word| NONE.contains(&word.as_str()))
            || words.get(at + 1).is_some_and(|word| word == "free")
    }

    /// Whether a single word is one of the names.
    fn is_one(&self, word: &str) -> bool {
        self.words.contains(&word)
            || self
                .beginnings
                .iter()
                .any(|beginning| word.starts_with(beginning))
    }
}

/// Whether the name begins at a word.
fn begins(words: &[String], at: usize, name: &str, whole: bool) -> bool {
    let mut words = words.get(at..).unwrap_or_default().iter();
    let (first, last) = name.rsplit_once(' ').unwrap_or(("", name));
    first
        .split_terminator(' ')
        .all(|part| words.next().is_some_and(|word| word == part))
        && words.next().is_some_and(|word| {
            if whole {
                word == last
            } else {
                word.starts_with(last)
            }
        })
}

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let runs = pipe.traced.iter().filter_map(|traced| {
        let run = pipe.inputs.job.runs.get(traced.run)?;
        let material = run.texts.get("material")?;
        METALS.named(material)?;
        let message = format!(
            "Run {} is of {material}: metal in a pipe or along it bends and carries the field, and the bounds assume an undistorted \
             one. Expose the pipe at a mark or two to test them.",
            run.id
        );
        Some(pipe.of_run(Code::SignalPath, traced, message))
    });
    let marks = pipe.seen().filter_map(|seen| {
        let word = NEARBY.named(seen.row.note.as_deref()?)?;
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
        assert_eq!(METALS.named("Cast iron"), Some("iron"));
        assert_eq!(METALS.named("pleading"), None);
        assert_eq!(NEARBY.named("a van parked over it"), Some("van"));
        assert_eq!(NEARBY.named("gully (grating over it)"), Some("grating"));
        assert_eq!(NEARBY.named("chain-link/fence"), Some("fence"));
        assert_eq!(NEARBY.named("under the power lines"), Some("power line"));
        assert_eq!(NEARBY.named("vantage point, cart, wireless"), None);
        assert_eq!(METALS.named("clay"), None);
    }

    #[test]
    fn metal_is_known_by_the_names_that_crews_write() {
        for material in [
            "CI",
            "C.I.",
            "C. I. pipe",
            "class A C.I.",
            "4\" CI/VCP",
            "DI",
            "DIP cl. 50",
            "CMP",
            "RCP",
            "Galvanised",
            "galvanized steel",
            "galv.",
            "lead",
            "PVC with tracer wire",
            "HDPE + trace wire",
            "cast-iron",
        ] {
            assert!(METALS.named(material).is_some(), "{material}");
        }
        for material in [
            "PVC",
            "VCP",
            "HDPE",
            "ABS",
            "clay, leader side",
            "PVC (dipped)",
            "acid-proof clay",
        ] {
            assert_eq!(METALS.named(material), None, "{material}");
        }
        assert_eq!(NEARBY.named("tracer tape over it"), Some("tracer"));
    }

    #[test]
    fn what_a_note_denies_is_not_there() {
        for note in [
            "no metal nearby",
            "No metal or wires near",
            "without metal",
            "not near a fence",
            "no sign of any steel",
            "non-metallic lid",
            "metal-free site",
            "free of metal",
        ] {
            assert_eq!(NEARBY.named(note), None, "{note}");
        }
        assert_eq!(METALS.named("PVC, no tracer wire"), None);
        for (note, word) in [
            ("no signal because of metal", "metal"),
            ("no fence, metal lid beside", "metal"),
            ("not sure; fence beside", "fence"),
            ("no fence. metal lid", "metal"),
            ("could not avoid the rail", "rail"),
        ] {
            assert_eq!(NEARBY.named(note), Some(word), "{note}");
        }
    }
}
