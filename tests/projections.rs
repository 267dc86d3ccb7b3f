//! Projections and datums against published figures, the registry's own test data, and a second library.
#![expect(
    clippy::unwrap_used,
    reason = "a test fails by panicking, in its helpers too"
)]

#[path = "projections/environment.rs"]
mod environment;
#[path = "projections/factors.rs"]
mod factors;
#[path = "projections/gie.rs"]
mod gie;
#[path = "projections/published.rs"]
mod published;
#[path = "projections/second_library.rs"]
mod second_library;
#[path = "projections/support.rs"]
mod support;
#[path = "projections/threads.rs"]
mod threads;
