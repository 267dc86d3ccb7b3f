//! Simulated jobs with known truth: do the stated 95 % regions hold it 95 % of the time?
//!
//! `SIMULATED_JOBS=10` makes ten times as many jobs as the tests make by default.

mod bends;
pub mod coverage;
mod grades;
mod signs;
mod simulator;
mod statistics;
mod symmetry;
