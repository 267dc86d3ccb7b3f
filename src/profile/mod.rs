//! Stage 7: inverts along the run, falls, grades, low points.
//!
//! Comes in: a [`Traced`] run and the grounds. Goes out: a [`Profile`] a run.
//!
//! **Covariance** of two inverts: that of their grounds, plus each depth's own variance, plus the product of what one sigma of
//! the receiver's depth scale, one unknown a job, does to each. In a fall that last part cancels as far as the depths are
//! alike. A mark's error along the pipe changes its station; on a grade g that is g times as much in elevation, and joins the
//! residuals of a grade line.
//!
//! Minimum grades by name: [`Source::Ipc704`]. Gates: a uniform grade must be rejected (chi-square, 95 %) before a rise of more
//! than 1.96 sigma counts, so that a run is not accused because one pair of its many is unlucky ([`Source::OurChoice`]).
//!
//! [`Source::Ipc704`]: crate::sources::Source::Ipc704
//! [`Source::OurChoice`]: crate::sources::Source::OurChoice

mod drops;
pub mod inverts;
mod lengths;
pub mod minimum;
mod rises;
pub mod sights;

pub use inverts::Invert;
use inverts::Levels;
pub use rises::Rise;
pub use sights::SightLevel;

use rayon::prelude::*;

use crate::run::{Inputs, Line, Traced};
use crate::transmitter::Depth;

/// A figure and its one-sigma.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figure {
    /// Value.
    pub value: f64,
    /// One-sigma.
    pub sigma: f64,
}

/// The profile of a run; vertices as in [`Traced::vertices`], in the direction of flow. Metres and ratios.
#[derive(Clone, Debug, Default)]
pub struct Profile {
    /// Invert of each vertex, where it is known or lies between known ones.
    pub inverts: Vec<Option<Invert>>,
    /// Depth of the axis at each vertex, where it was accepted or follows from the ground and the inverts beside it.
    pub depths: Vec<Option<Depth>>,
    /// Length along the pipe in 3D from the upstream end to each vertex, as far as every invert on the way is known.
    pub along: Vec<Option<f64>>,
    /// Grade from each vertex to the next, falling with the flow positive.
    pub grades: Vec<Option<Figure>>,
    /// Legs between neighbouring measured inverts.
    pub legs: Vec<Leg>,
    /// Grade line of the whole run.
    pub line: Option<Line>,
    /// Fall from the upstream to the downstream end.
    pub fall: Option<Figure>,
    /// Horizontal length.
    pub length: Option<Figure>,
    /// Length in 3D, where every invert on the way is known.
    pub in_space: Option<Figure>,
    /// Stretches that rise with the flow, significantly; the surest first.
    pub rises: Vec<Rise>,
    /// What is known of each of [`Traced::sights`], in their order.
    pub sights: Vec<SightLevel>,
    /// How far a branch's last invert lies above that of the run which it joins there.
    pub drop: Option<Figure>,
}

/// A leg between neighbouring measured inverts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leg {
    /// Vertex upstream.
    pub from: usize,
    /// Vertex downstream.
    pub to: usize,
    /// Fall, metres.
    pub fall: Figure,
    /// Fall over horizontal distance.
    pub grade: Figure,
}

impl Profile {
    /// Whether a uniform grade fits; `None` where it can't be tested.
    #[must_use]
    pub fn uniform(&self) -> Option<bool> {
        self.line.as_ref().and_then(Line::uniform)
    }
}

/// Profiles of all runs, in the order of `traced`.
#[must_use]
pub fn profiles(inputs: Inputs<'_>, traced: &[Traced]) -> Vec<Profile> {
    let levels = traced.par_iter().map(|traced| Levels::of(inputs, traced));
    let levels: Vec<Levels> = levels.collect();
    let runs = traced.par_iter().zip(&levels);
    runs.map(|(run, own)| {
        let drop = drops::drop(inputs, (traced, &levels), (run, own));
        profile(inputs, run, own, drop)
    })
    .collect()
}

/// The grade line of one run alone: what [`profiles`] has as [`Profile::line`], for a run as it might be.
#[must_use]
pub fn grade_line(inputs: Inputs<'_>, traced: &Traced) -> Option<Line> {
    let way = lengths::Way::of(inputs, traced);
    Levels::of(inputs, traced).line(inputs, traced, &way)
}

fn profile(inputs: Inputs<'_>, traced: &Traced, levels: &Levels, drop: Option<Figure>) -> Profile {
    let way = lengths::Way::of(inputs, traced);
    let line = levels.line(inputs, traced, &way);
    let falls = levels.falls(inputs);
    let legs = levels.legs(inputs, traced, &way, &falls);
    let uniform = line.as_ref().and_then(Line::uniform);
    let rises = if uniform == Some(false) {
        rises::rises(inputs, levels)
    } else {
        Vec::new()
    };
    let inverts = levels.along_vertices(inputs, traced);
    let depths = levels.depths(inputs, traced);
    let (length, fall) = (
        lengths::plan(inputs, traced, &way),
        levels.whole_fall(inputs, traced),
    );
    let along = levels.along(inputs, traced, &falls);
    Profile {
        in_space: along
            .last()
            .copied()
            .flatten()
            .zip(length)
            .map(|(value, plan)| Figure {
                value,
                sigma: levels.length_sigma(plan, fall, &falls),
            }),
        along,
        grades: grades(traced, &legs),
        fall,
        length,
        sights: sights::levels(inputs, traced, (levels, &depths)),
        inverts,
        depths,
        legs,
        line,
        rises,
        drop,
    }
}

/// Each vertex has the grade of the leg that it begins or lies within.
fn grades(traced: &Traced, legs: &[Leg]) -> Vec<Option<Figure>> {
    let mut grades = vec![None; traced.vertices.len()];
    for leg in legs {
        for grade in grades.iter_mut().take(leg.to).skip(leg.from) {
            *grade = Some(leg.grade);
        }
    }
    grades
}
