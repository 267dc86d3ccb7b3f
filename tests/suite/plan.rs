//! Site plans: crossings against shapely, bounds against known truth, plans in the wrong place, plans tied by common points.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::too_many_lines,
    reason = "a test may panic, print and be told at length"
)]

mod coverage;
#[cfg(feature = "gdal")]
mod drawings;
mod exported;
mod formats;
mod heights;
#[cfg(feature = "gdal")]
mod merged;
mod places;
mod separation;
mod shapely;
pub mod support;
mod tied;
mod underlay;
