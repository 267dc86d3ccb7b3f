//! One file a rule: what, why, limit and source, example.
//!
//! A rule reads the stages' results and returns findings; it decides nothing that changes a result. Figures in messages
//! are in the result unit.

pub mod pipe;
pub mod survey;

use std::borrow::Cow;

mod above_ground;
mod adverse_grade;
mod blunder;
mod cause;
mod check_depth;
mod check_shot;
mod counter_order;
mod depth_disagrees;
mod depth_doubtful;
mod depth_missing;
mod depth_single;
mod doubles_back;
mod duplicate;
mod ends_disagree;
mod exposure;
mod gnss_fix;
mod grid_fit_residual;
mod heights_apart;
mod implausible;
mod level_misclosure;
mod low_grade;
mod main_end;
mod misfit;
mod no_datum;
mod not_peak;
mod off_line;
mod one_counter;
mod one_end;
mod openings;
mod other_way;
mod outside_crs;
mod path_scale;
mod path_too_long;
mod path_too_short;
mod references;
mod sag;
mod scale_suspect;
mod shallow;
mod signal_path;
mod tilted;
mod unchecked;
mod undetermined;
mod unknown_reference;
mod unreadable;
mod verdict;
mod weak;

/// A name in a sentence: a bare number needs a word before it.
pub(crate) fn called(name: &str) -> Cow<'_, str> {
    if name.chars().any(char::is_alphabetic) {
        Cow::Borrowed(name)
    } else {
        Cow::Owned(format!("point {name}"))
    }
}
