//! Simulated jobs with known truth: do the stated 95 % regions hold it 95 % of the time?
//!
//! `SIMULATED_JOBS=10` makes ten times as many jobs as the tests make by default.

#[path = "simulation/mod.rs"]
mod simulation;

#[path = "simulation/shows/bends.rs"]
mod bends;
#[path = "simulation/shows/coverage.rs"]
mod coverage;
#[path = "simulation/shows/grades.rs"]
mod grades;
#[path = "simulation/shows/simulator.rs"]
mod simulator;
#[path = "simulation/shows/statistics.rs"]
mod statistics;
#[path = "simulation/shows/symmetry.rs"]
mod symmetry;
