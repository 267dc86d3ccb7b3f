//! Mathematics without a word of surveying inside: least squares, covariance, statistics, similarity.
//!
//! [`adjust::adjust`] is the one least-squares solver of the crate: the plane adjustment, the heights and the
//! published regression problems of the tests all go through it.

pub mod adjust;
pub mod block;
pub mod dense;
pub mod ellipse;
mod factor;
mod iterate;
pub mod less;
mod newton;
mod parts;
pub mod similarity;
pub mod solution;
mod sparse;
pub mod stats;
