//! What the checks say. Errors stop a job; findings never do: they are values that the record carries.
//!
//! A decision that changes a result is taken in its stage and recorded there; a rule only reads the stages'
//! results. One file a rule in [`rules`], one line in its registry.

pub mod code;
pub mod finding;
pub mod groups;
pub mod rules;

pub use code::{Code, Level};
pub use finding::Finding;
