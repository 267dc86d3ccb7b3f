//! The transmitter, the run and the profile against an independent field and against known truth.
#![allow(
    clippy::unwrap_used,
    reason = "helpers of tests, which stop at the first fault"
)]

mod arcs;
mod bends;
mod build;
mod camera;
mod coverage;
mod field;
mod grades;
mod joins;
mod record;
mod turned;
