//! Every test that drives the crate from outside, in one program: linking a program for each took more room than a build machine has.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    reason = "a test that can't go on has failed, and figures are printed for whoever looks"
)]

mod advice;
mod architecture;
mod bent;
mod bounds;
mod cli;
mod codes;
mod common;
mod contradicted;
mod corpus;
mod declination;
mod documents;
mod export;
mod faults;
mod gross;
mod intake;
mod jobs;
mod kept_out;
mod large;
mod levelling;
mod lossless;
mod misread;
mod networks;
mod observing;
mod operations;
mod plan;
mod points;
mod projections;
mod pushes;
mod readback;
mod reading;
mod recast;
mod regression;
mod rules;
mod sampled;
mod seams;
mod sheet;
mod shows;
mod sides;
mod similarity;
mod simulation;
mod speed;
mod transmitter;
