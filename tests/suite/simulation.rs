//! Simulated jobs with known truth.
//!
//! A [`scenario::Scenario`] and a seed become a field book and a [`truth::Truth`] ([`survey::survey`]); the book is
//! written as a job folder ([`write::write`]), the crate computes it, and its record is held against the truth
//! ([`coverage`]). Nothing here calls the crate's own formulas: the field is solved by root finding ([`dipole`]), the
//! projections are closed formulas ([`projection`]), the errors are written down again ([`crew`]).

pub mod book;
pub mod coverage;
pub mod crew;
pub mod dipole;
pub mod frame;
pub mod inside;
pub mod layout;
pub mod levels;
pub mod locate;
pub mod log;
pub mod mirror;
pub mod pipe;
pub mod position;
pub mod projection;
pub mod rng;
pub mod run;
pub mod scenario;
pub mod site;
pub mod survey;
pub mod tally;
pub mod truth;
pub mod write;
