#![doc = include_str!("../README.md")]
//!
//! # The stages
//!
//! Data flows one way; [`pipeline`] is this table in code.
//!
//! | | stage | in | out |
//! | --- | --- | --- | --- |
//! | 1 | [`job`] | folder or workbook | [`job::model::Job`] |
//! | 2 | [`observe`] | job | observation equations |
//! | 3 | [`position`] | equations | adjusted points with covariance |
//! | 4 | [`transmitter`] | readings, end points, signals | depth, tilt, shift from paint to transmitter |
//! | 5 | [`height`] | levels, heights, GNSS | ground elevations with covariance |
//! | 6 | [`run`] | marks, counters | order, path, bends, camera observations |
//! | 7 | [`profile`] | inverts along the run | falls, grades, sags |
//! | 8 | [`findings`] | every stage's result | findings |
//! | 9 | [`record`] | every stage's result | [`record::AsBuilt`] |
//! | 10 | [`plan`] | record and site plans | where runs cross or come near what the plans show |
//! | 11 | [`sheet`] | the record | drawing and page |
//! | 12 | [`export`] | the record | files |
//! | 13 | [`intake`] | deliveries, mains, what is on file | accepted records, a report |

pub mod cli;

pub mod pipeline;

pub mod watch;

pub mod error;

pub mod sources;

pub mod limits;

pub mod units;

pub mod crs;

pub mod math;

pub mod maps;

pub mod job;

pub mod observe;

pub mod position;

pub mod transmitter;

pub mod height;

pub mod run;

pub mod profile;

pub mod findings;

pub mod advice;

pub mod record;

pub mod plan;

pub mod sheet;

pub mod export;

pub mod intake;
