//! Site plans: crossings against shapely, bounds against known truth, plans in the wrong place, plans tied by common points.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::too_many_lines,
    reason = "a test may panic, print and be told at length"
)]

#[path = "plan/coverage.rs"]
mod coverage;
#[path = "plan/exported.rs"]
mod exported;
#[path = "plan/formats.rs"]
mod formats;
#[path = "plan/places.rs"]
mod places;
#[path = "plan/shapely.rs"]
mod shapely;
#[path = "plan/support.rs"]
mod support;
#[path = "plan/tied.rs"]
mod tied;
