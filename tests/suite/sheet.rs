//! The sheet, judged from outside: what other programs read in it, and what its ink shows.
#![allow(
    clippy::manual_is_multiple_of,
    clippy::case_sensitive_file_extension_comparisons,
    clippy::unnecessary_sort_by,
    clippy::stable_sort_primitive,
    reason = "arithmetic on pixels and byte offsets reads as it is meant"
)]
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::indexing_slicing,
    reason = "a test that can't go on has failed, and figures are printed for whoever looks"
)]

use crate::documents::sample;

mod crossings;
mod form;
mod ink;
mod near;
mod outside;
mod profile;
mod said;
mod speed;
mod text;
mod ties;
mod verify;
