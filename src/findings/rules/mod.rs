//! One file a rule: what, why, limit and source, example.
//!
//! A rule reads the stages' results and returns findings; it decides nothing that changes a result. Figures in messages
//! are in the result unit.

pub mod survey;

mod blunder;
mod check_shot;
mod duplicate;
mod gnss_fix;
mod grid_fit_residual;
mod level_misclosure;
mod misfit;
mod no_datum;
mod outside_crs;
mod scale_suspect;
mod unchecked;
mod undetermined;
mod unknown_reference;
mod weak;
