//! Mathematics without a word of surveying inside: least squares, covariance, statistics, similarity.

pub mod stats;
