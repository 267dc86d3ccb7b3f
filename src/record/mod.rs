//! Stage 9: the record. Comes in: every stage's result. Goes out: [`model::AsBuilt`], which everything
//! after it only reads.

pub mod model;

pub use model::AsBuilt;
