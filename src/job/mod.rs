//! Stage 1: a job folder or workbook becomes a valid [`model::Job`].
//!
//! Comes in: a path. Goes out: a [`model::Job`] and the findings of reading, all of them at once.

pub mod model;
pub mod nmea;
