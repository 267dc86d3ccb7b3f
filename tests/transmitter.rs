//! The transmitter, the run and the profile against an independent field and against known truth.

#[path = "transmitter/build.rs"]
mod build;
#[path = "transmitter/coverage.rs"]
mod coverage;
#[path = "transmitter/field.rs"]
mod field;
#[path = "transmitter/turned.rs"]
mod turned;
