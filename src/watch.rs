//! Where one stage ends and the next begins, for whoever wants to measure.
//!
//! The stages have no clock; the command has one, and asks with it here (`ASLAID_TIMES`, see DEVELOPERS.md). Where nobody asks,
//! an end of a stage costs the reading of one number.

use std::sync::OnceLock;

static WATCH: OnceLock<fn(&'static str)> = OnceLock::new();

/// Has `watch` called at the end of every stage from now on, on the thread that did it, with the stage's name; with an empty
/// one where something begins that is not to be counted with what the thread did before. The first to ask is the one who is
/// told.
pub fn tell(watch: fn(&'static str)) {
    let _ = WATCH.set(watch);
}

/// A stage begins.
pub fn begin() {
    end("");
}

/// A stage has ended.
pub fn end(stage: &'static str) {
    if let Some(watch) = WATCH.get() {
        watch(stage);
    }
}

/// A stage has ended with this result.
#[must_use]
pub fn after<T>(stage: &'static str, result: T) -> T {
    end(stage);
    result
}
