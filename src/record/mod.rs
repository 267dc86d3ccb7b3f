//! Stage 9: the record. Comes in: every stage's result. Goes out: [`model::AsBuilt`], which everything
//! after it only reads.

pub mod build;
mod crossing;
pub mod hash;
pub mod model;

pub use build::{Parts, PointQuality, build};
pub use hash::{file_hash, hash, sealed, unaltered, verify_hash, write_json};
pub use model::AsBuilt;
