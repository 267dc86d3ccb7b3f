//! Projections and datums against published figures, the registry's own test data, and a second library.
#![expect(
    clippy::unwrap_used,
    reason = "a test fails by panicking, in its helpers too"
)]

mod environment;
mod factors;
mod gie;
mod published;
mod second_library;
mod support;
mod threads;
