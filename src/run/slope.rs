//! The pipe's slope as the transmitter's expected tilt.

use super::line::{self, Level};

/// A slope to expect at a mark: fall over horizontal distance, downstream positive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Slope {
    pub grade: f64,
    /// One-sigma of this mark alone.
    pub own: f64,
    /// One-sigma that all marks of the run share.
    pub shared: f64,
}

/// Before any invert is looked at: drains fall, mostly little, seldom much (our choice, after the minimum of plumbing
/// codes, about 2 %, and steep house drains of 25 % at three sigma). It counts only where inverts say little. Where the ground is steep
/// a drain may follow it: that is as much more to reckon with.
pub const USUAL: (f64, f64) = (0.02, 0.08);

/// The usual slope and its one-sigma under a ground that falls by `ground` of its length.
fn usual(ground: f64) -> (f64, f64) {
    (USUAL.0, f64::hypot(USUAL.1, ground))
}

/// A local line widens until its slope is known this well: about 2°, less than the unseen tilt about it (our choice).
const LOCAL: f64 = 0.035;

/// Slopes at the marks of a run. `levels` are the known inverts, each with the index of its mark; `stations` those of all
/// marks.
///
/// `ground` is the fall of the ground over its length, 0 where that is not known. One grade line for the run. Where that is rejected, each mark's slope comes from the line through its neighbours, as many as
/// it takes.
pub(super) fn slopes(levels: &[(usize, Level)], stations: &[f64], ground: f64) -> Vec<Slope> {
    let usual = usual(ground);
    let plain: Vec<Level> = levels.iter().map(|(_, level)| *level).collect();
    let Some(line) = line::fit(&plain, None) else {
        return vec![
            Slope {
                grade: usual.0,
                own: 0.0,
                shared: usual.1
            };
            stations.len()
        ];
    };
    if line.uniform() != Some(false) {
        let (grade, shared) = with_usual((line.grade, line.sigma), usual);
        return vec![
            Slope {
                grade,
                own: 0.0,
                shared
            };
            stations.len()
        ];
    }
    stations
        .iter()
        .map(|&station| local(&plain, station, usual))
        .collect()
}

/// The mean of a slope found and the usual one, by their weights.
fn with_usual((grade, sigma): (f64, f64), usual: (f64, f64)) -> (f64, f64) {
    let (a, b) = (sigma * sigma, usual.1 * usual.1);
    (
        (grade * b + usual.0 * a) / (a + b),
        (a * b / (a + b)).sqrt(),
    )
}

fn local(levels: &[Level], station: f64, usual: (f64, f64)) -> Slope {
    let at = levels.partition_point(|level| level.station < station);
    let (mut from, mut to) = (at.saturating_sub(1), (at + 1).min(levels.len()));
    loop {
        let line = levels.get(from..to).and_then(|near| line::fit(near, None));
        let whole = from == 0 && to == levels.len();
        if let Some(line) = line.filter(|line| whole || line.sigma <= LOCAL) {
            let (grade, own) = with_usual((line.grade, line.sigma), usual);
            return Slope {
                grade,
                own,
                shared: 0.0,
            };
        }
        if whole {
            return Slope {
                grade: usual.0,
                own: usual.1,
                shared: 0.0,
            };
        }
        (from, to) = (from.saturating_sub(1), (to + 1).min(levels.len()));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(station: f64, z: f64) -> (usize, Level) {
        (
            0,
            Level {
                station,
                z,
                own: 1e-4,
                common: 0.0,
            },
        )
    }

    #[test]
    fn without_inverts_the_usual_fall_in_doubt() {
        let slopes = slopes(&[], &[0.0, 3.0], 0.0);
        assert_eq!(slopes.len(), 2);
        assert!(
            slopes
                .iter()
                .all(|slope| (slope.grade - 0.02).abs() < 1e-12 && slope.shared > 0.05)
        );
    }

    #[test]
    fn a_line_where_it_fits_and_neighbours_where_not() {
        let even: Vec<_> = (0..6)
            .map(|i| level(f64::from(i) * 3.0, 10.0 - f64::from(i) * 0.3))
            .collect();
        let found = slopes(&even, &[0.0, 15.0], 0.0);
        assert!(
            found
                .iter()
                .all(|slope| (slope.grade - 0.1).abs() < 1e-3 && slope.own == 0.0)
        );
        let broken = [
            (0.0, 10.0),
            (3.0, 9.97),
            (6.0, 9.94),
            (9.0, 9.91),
            (12.0, 9.01),
            (15.0, 8.11),
            (18.0, 7.21),
        ];
        let broken: Vec<_> = broken.iter().map(|&(s, z)| level(s, z)).collect();
        let found = slopes(&broken, &[1.0, 16.0], 0.0);
        assert!(
            (found[0].grade - 0.01).abs() < 0.01 && (found[1].grade - 0.3).abs() < 0.01,
            "{found:?}"
        );
        assert!(
            found
                .iter()
                .all(|slope| slope.shared == 0.0 && slope.own > 0.0)
        );
    }
}
