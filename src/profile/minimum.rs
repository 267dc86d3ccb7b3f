//! Minimum grades: only what the job gives, or a table that it names.

use crate::job::model::{MinGrade, Run};
use crate::units::INCH;

/// Sanitary drains by inside diameter, as [`crate::sources::Source::Ipc704`] has them: smaller than this many inches, this many
/// inches of fall in a foot. Its rows are 2½ and smaller, 3 to 6, 8 and larger; a diameter between two rows takes the
/// smaller pipe's figure.
const IPC_704_1: [(f64, f64); 2] = [(3.0, 1.0 / 4.0), (8.0, 1.0 / 8.0)];
const IPC_704_1_LARGEST: f64 = 1.0 / 16.0;

/// Minimum grade of the table for an inside diameter in metres, as a ratio.
#[must_use]
pub fn ipc_704_1(diameter: f64) -> f64 {
    // A tenth of a millimetre, so that a diameter given in rounded metric figures is the size that it means.
    let inches = diameter / INCH + 0.004;
    let fall = IPC_704_1
        .iter()
        .find(|(below, _)| inches < *below)
        .map_or(IPC_704_1_LARGEST, |(_, fall)| *fall);
    fall / 12.0
}

/// The least grade that a run is held against, as a ratio; `None` if none was given, or the table can't be entered for want of
/// a diameter.
#[must_use]
pub fn least_grade(run: &Run) -> Option<f64> {
    match (run.min_grade.as_ref()?, run.diameter) {
        (MinGrade::Ratio(ratio), _) => Some(*ratio),
        (MinGrade::Ipc704, Some(diameter)) => Some(ipc_704_1(diameter)),
        (MinGrade::Ipc704, None) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn table_by_diameter() {
        let percent = |inches: f64| ipc_704_1(inches * INCH) * 100.0;
        for (inches, expected) in [
            (1.5, 2.083_333),
            (2.5, 2.083_333),
            (2.9, 2.083_333),
            (3.0, 1.041_667),
            (4.0, 1.041_667),
            (7.0, 1.041_667),
            (8.0, 0.520_833),
            (15.0, 0.520_833),
        ] {
            assert!((percent(inches) - expected).abs() < 1e-6, "{inches}");
        }
        assert!((ipc_704_1(0.0762) - 0.125 / 12.0).abs() < 1e-12);
    }
}
