//! Replays what the fuzzer was fed with: every input that once broke a reader, and a few of each kind that never did.

use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

#[path = "../../fuzz/entries.rs"]
mod entries;

/// No input of a few kilobytes may keep a reader busy for longer, even on a loaded machine without optimisation.
const LONGEST: Duration = Duration::from_secs(20);

#[test]
fn nothing_that_was_found_breaks_a_reader_again() {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus");
    let scratch = tempfile::tempdir().unwrap();
    let mut replayed = 0;
    for (name, entry) in entries::ENTRIES {
        let mut inputs: Vec<_> = fs::read_dir(corpus.join(name))
            .unwrap_or_else(|why| panic!("fuzz/corpus/{name}: {why}"))
            .map(|file| file.unwrap().path())
            .collect();
        inputs.sort();
        assert!(!inputs.is_empty(), "no input for {name}");
        for input in inputs {
            println!("{}", input.display());
            let begun = Instant::now();
            entry(scratch.path(), &fs::read(&input).unwrap());
            let taken = begun.elapsed();
            assert!(taken < LONGEST, "{}: {taken:?}", input.display());
            replayed += 1;
        }
    }
    println!("{replayed} inputs replayed");
}

/// The replay can fail: an entry notices a reader that breaks its word.
#[test]
#[should_panic(expected = "no panic of ours")]
fn a_broken_reader_is_noticed() {
    let entry: entries::Entry = |_, bytes| assert!(bytes.is_empty(), "no panic of ours");
    entry(Path::new("."), b"x");
}
