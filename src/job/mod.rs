//! Stage 1: a job folder or workbook becomes a valid [`model::Job`].
//!
//! Comes in: a path. Goes out: a [`model::Job`] and the findings of reading, all of them at once.
//!
//! | step | module | in | out |
//! | --- | --- | --- | --- |
//! | 1 | `discover` | what the user named | [`JobPath`] |
//! | 2 | `table` | files and sheets | raw tables with the line of every row |
//! | 3 | `settings` | `job.toml` or the `job` sheet | the settings |
//! | 4 | `rows` | raw tables | rows in metres and radians, one file a table |
//!
//! `schema` holds every table and column as data; reading, [`template`], [`schema()`] and the advice on misspelt names
//! are driven from it. What an input may cost is in `caps`.

mod book;
mod caps;
pub mod corrections;
mod discover;
mod files;
pub mod model;
pub mod nmea;
pub mod points;
mod read;
mod row;
mod rows;
mod schema;
pub mod sections;
mod settings;
mod table;
pub mod template;

pub use discover::{JobPath, discover};
pub use read::{Reading, read};
pub use schema::{is_column, schema, table_of};
pub use settings::crs_name;
pub use table::{Table, Tables};
pub(crate) use table::{near, normal, read_headed};
