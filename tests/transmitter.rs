//! The transmitter, the run and the profile against an independent field and against known truth.
#![allow(
    clippy::unwrap_used,
    reason = "helpers of tests, which stop at the first fault"
)]

#[path = "transmitter/bends.rs"]
mod bends;
#[path = "transmitter/build.rs"]
mod build;
#[path = "transmitter/camera.rs"]
mod camera;
#[path = "transmitter/coverage.rs"]
mod coverage;
#[path = "transmitter/field.rs"]
mod field;
#[path = "transmitter/joins.rs"]
mod joins;
#[path = "transmitter/record.rs"]
mod record;
#[path = "transmitter/turned.rs"]
mod turned;
