//! What the sheet and the page say: figures, tables, title block. Nothing here knows where it will stand.

pub mod between;
pub mod depths;
pub mod figures;
pub mod head;
pub mod near;
pub mod tables;

pub use tables::{Align, Column, Row, Table};
