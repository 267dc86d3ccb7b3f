//! The pipe and another utility, one over the other.

use crate::plan::layers::{Level, Part};

/// The pipe at a place, downward positive: depth below the ground, or elevation with its sign turned. Metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pipe {
    /// Outside top.
    pub top: f64,
    /// Outside bottom.
    pub bottom: f64,
    /// Variance of both, if known.
    pub variance: Option<f64>,
}

/// How the pipe passes the other; metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Passing {
    /// Under it, else over it.
    pub under: bool,
    /// Between the outsides that face each other, negative where they overlap; `None` where the other's size is needed and unknown.
    pub clearance: Option<f64>,
    /// One-sigma of it.
    pub sigma: Option<f64>,
}

/// Compares the two. `size` is the other's outside height.
#[must_use]
pub fn pass(pipe: Pipe, level: &Level, size: Option<f64>) -> Passing {
    let given = if level.is_elevation {
        -level.value
    } else {
        level.value
    };
    let (top, bottom) = match (level.part, size) {
        (Part::Top, size) => (Some(given), size.map(|size| given + size)),
        (Part::Bottom, size) => (size.map(|size| given - size), Some(given)),
        (Part::Axis, Some(size)) => (Some(given - 0.5 * size), Some(given + 0.5 * size)),
        (Part::Axis, None) => (None, None),
    };
    let middle = top
        .zip(bottom)
        .map_or(given, |(top, bottom)| 0.5 * (top + bottom));
    let under = 0.5 * (pipe.top + pipe.bottom) > middle;
    let clearance = if under {
        bottom.map(|bottom| pipe.top - bottom)
    } else {
        top.map(|top| top - pipe.bottom)
    };
    Passing {
        under,
        clearance,
        sigma: pipe
            .variance
            .map(|variance| variance.sqrt().hypot(level.sigma)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(value: f64, part: Part, is_elevation: bool) -> Level {
        Level {
            value,
            is_elevation,
            part,
            sigma: 0.03,
        }
    }

    #[test]
    fn over_and_under_by_depth_and_by_elevation() {
        let pipe = Pipe {
            top: 1.0,
            bottom: 1.1,
            variance: Some(0.04 * 0.04),
        };
        let deep = pass(pipe, &level(1.5, Part::Top, false), None);
        assert!(
            !deep.under
                && (deep.clearance.unwrap() - 0.4).abs() < 1e-12
                && (deep.sigma.unwrap() - 0.05).abs() < 1e-12
        );
        let high = pass(pipe, &level(0.5, Part::Axis, false), Some(0.2));
        assert!(high.under && (high.clearance.unwrap() - 0.4).abs() < 1e-12);
        // Elevation 100 less depth: the same pipe lies from 99.0 down to 98.9.
        let pipe = Pipe {
            top: -99.0,
            bottom: -98.9,
            ..pipe
        };
        let by_elevation = pass(pipe, &level(98.5, Part::Top, true), Some(0.2));
        assert!(!by_elevation.under && (by_elevation.clearance.unwrap() - 0.4).abs() < 1e-12);
        let overlap = pass(pipe, &level(99.0, Part::Bottom, true), Some(0.2));
        assert!(overlap.under && overlap.clearance.unwrap().abs() < 1e-12);
    }

    #[test]
    fn what_needs_an_unknown_size_is_not_told() {
        let pipe = Pipe {
            top: 1.0,
            bottom: 1.1,
            variance: None,
        };
        let under = pass(pipe, &level(0.5, Part::Top, false), None);
        assert!(under.under && under.clearance.is_none() && under.sigma.is_none());
        assert!(
            pass(pipe, &level(2.0, Part::Axis, false), None)
                .clearance
                .is_none()
        );
        assert!(
            pass(pipe, &level(2.0, Part::Top, false), None)
                .clearance
                .is_some()
        );
    }
}
