//! Mathematics without a word of surveying inside: least squares, covariance, statistics, similarity.

pub mod block;
pub mod chi_square;
pub mod stats;
