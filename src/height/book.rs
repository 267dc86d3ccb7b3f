//! Reduction of a levelling book by height of instrument.
//!
//! A set-up is a backsight and the sights that follow it up to the next backsight. Its height of instrument is backsight
//! point plus reading; every other sight gives the height of its point below that. Set-ups have equal sigmas, so that a misclosure is
//! spread equally over them. What the backsight is wrong by, all sights of its set-up have in common: each reading is a measurement of its
//! own, and the height of instrument an unknown.

use std::collections::HashMap;
use std::sync::Arc;

use crate::job::model::{LevelRow, Source};
use crate::limits::{Accuracy, Limits};

/// A staff reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Sight {
    /// Number of the set-up.
    pub setup: usize,
    /// The set-up's backsight.
    pub back: bool,
    /// Point sighted.
    pub point: Arc<str>,
    /// Height of the instrument above it, metres.
    pub reading: f64,
    /// Its row.
    pub source: Source,
}

/// A stretch of levelling that closes: on a known height, or on a point that it came from.
#[derive(Clone, Debug, PartialEq)]
pub struct Closure {
    /// Where it began.
    pub from: Arc<str>,
    /// Where it closed.
    pub to: Arc<str>,
    /// Levelled less known difference, metres.
    pub misclosure: f64,
    /// One-sigma of the known difference: both benchmarks'.
    pub known_sigma: f64,
    /// Set-ups between.
    pub setups: u32,
    /// Length of its sights, metres, where the book has them.
    pub length: Option<f64>,
    /// Row that closed it.
    pub source: Source,
}

/// The reduced book.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Book {
    /// All of set-ups that have any after the backsight.
    pub sights: Vec<Sight>,
    /// Each time that it closed.
    pub closures: Vec<Closure>,
    /// Sights without a backsight before them.
    pub hanging: Vec<Source>,
}

/// A height that fixes the book; metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Known {
    /// Elevation.
    pub z: f64,
    /// Its one-sigma; 0 for one taken as exact.
    pub sigma: f64,
}

/// Where the line of levels stands.
#[derive(Clone, Copy)]
struct Along {
    /// Height above the line's beginning.
    height: f64,
    setups: u32,
    length: f64,
    /// Number of the line: after a break nothing carries over.
    line: u32,
    /// Number of the branch: a line may go on from any point that it has visited.
    branch: usize,
}

/// The walk through the book.
struct Walk<'a> {
    book: Book,
    visited: HashMap<Arc<str>, Along>,
    /// Where each branch went off from another; set-ups and length go on counting from there.
    forks: Vec<Option<Along>>,
    /// Last point of known height on this line.
    anchor: Option<(Arc<str>, Along, Known)>,
    known: &'a dyn Fn(&str) -> Option<Known>,
}

impl Walk<'_> {
    /// Set-ups and length of the way between two places of one line: back to where their branches part, and on from there.
    fn between(&self, a: Along, b: Along) -> (u32, Option<f64>) {
        let back = |from: Along| {
            std::iter::successors(Some(from), |at| {
                self.forks.get(at.branch).copied().flatten()
            })
        };
        let parting = back(a).find_map(|x| {
            let y = back(b).find(|y| y.branch == x.branch)?;
            Some((x, y))
        });
        let (x, y) = parting.unwrap_or((a, b));
        let setups = (a.setups - x.setups) + (b.setups - y.setups) + x.setups.abs_diff(y.setups);
        let length = (a.length - x.length) + (b.length - y.length) + (x.length - y.length).abs();
        (setups, (length > 0.0).then_some(length))
    }

    /// Arrives at a point: does the line close here?
    fn arrive(&mut self, point: &Arc<str>, now: Along, source: &Source) {
        let before = self
            .visited
            .get(point)
            .filter(|before| before.line == now.line)
            .copied();
        let known = (self.known)(point);
        if let Some(before) = before {
            let (setups, length) = self.between(now, before);
            self.book.closures.push(Closure {
                from: Arc::clone(point),
                to: Arc::clone(point),
                misclosure: now.height - before.height,
                known_sigma: 0.0,
                setups,
                length,
                source: source.clone(),
            });
        } else if let (Some(end), Some((from, at, start))) = (known, &self.anchor)
            && at.line == now.line
        {
            let (setups, length) = self.between(now, *at);
            self.book.closures.push(Closure {
                from: Arc::clone(from),
                to: Arc::clone(point),
                misclosure: now.height - at.height - (end.z - start.z),
                known_sigma: f64::hypot(end.sigma, start.sigma),
                setups,
                length,
                source: source.clone(),
            });
        }
        self.stand(point, now, known);
    }

    fn stand(&mut self, point: &Arc<str>, now: Along, known: Option<Known>) {
        self.visited.insert(Arc::clone(point), now);
        if let Some(known) = known {
            self.anchor = Some((Arc::clone(point), now, known));
        }
    }
}

/// Reduces a book; `known` gives the heights that fix it.
#[must_use]
pub fn reduce(rows: &[LevelRow], known: &dyn Fn(&str) -> Option<Known>) -> Book {
    let mut walk = Walk {
        book: Book::default(),
        visited: HashMap::new(),
        anchor: None,
        forks: vec![None],
        known,
    };
    let mut now = Along {
        height: 0.0,
        setups: 0,
        length: 0.0,
        line: 0,
        branch: 0,
    };
    // The backsight, and where the line stood there.
    let mut setup: Option<(Sight, f64)> = None;
    let (mut setups, mut lines) = (0, 0);
    let mut last: Option<Arc<str>> = None;
    for row in rows {
        now.length += row.distance.unwrap_or(0.0);
        for (reading, turning) in [(row.intermediate, false), (row.foresight, true)] {
            let Some(reading) = reading else { continue };
            let Some((back, height)) = &setup else {
                walk.book.hanging.push(row.source.clone());
                continue;
            };
            let begun = walk.book.sights.last().map(|sight| sight.setup) == Some(back.setup);
            walk.book.sights.extend((!begun).then(|| back.clone()));
            walk.book.sights.push(Sight {
                setup: back.setup,
                back: false,
                point: Arc::clone(&row.point),
                reading,
                source: row.source.clone(),
            });
            if turning {
                now.height = height + back.reading - reading;
                now.setups += 1;
                walk.arrive(&row.point, now, &row.source);
                last = Some(Arc::clone(&row.point));
                setup = None;
            }
        }
        if let Some(backsight) = row.backsight {
            if last.as_ref() != Some(&row.point) {
                // Another line begins, or the old one goes on from a point visited before.
                let from = walk.visited.get(&row.point).copied();
                let branch = walk.forks.len();
                walk.forks.push(from);
                lines += u32::from(from.is_none());
                let begin = Along {
                    height: 0.0,
                    setups: 0,
                    length: 0.0,
                    line: lines,
                    branch,
                };
                now = from.map_or(begin, |from| Along { branch, ..from });
                walk.stand(&row.point, now, (walk.known)(&row.point));
                now.length += row.distance.unwrap_or(0.0);
            }
            setups += 1;
            let back = Sight {
                setup: setups,
                back: true,
                point: Arc::clone(&row.point),
                reading: backsight,
                source: row.source.clone(),
            };
            setup = Some((back, now.height));
            last = Some(Arc::clone(&row.point));
        }
    }
    walk.book
}

impl Closure {
    /// Tolerance, metres: the greater of set-ups and length ([`crate::sources::Source::LevellingOrders`] for the latter).
    ///
    /// The set-ups' is of levelling as good as the default of `level`. Of a job that says it is coarser, no more is asked than it says: what
    /// its one-sigma has beyond the default comes on top, as an alarm ([`crate::sources::Source::OurChoice`]). What both benchmarks say of
    /// themselves comes on top likewise: levels between heights that are known to a centimetre close to a centimetre.
    #[must_use]
    pub fn tolerance(&self, limits: &Limits, accuracy: &Accuracy) -> f64 {
        let coarser = (accuracy.level.powi(2) - Accuracy::default().level.powi(2)).max(0.0);
        let setup = f64::hypot(limits.level_setup, limits.alarm * coarser.sqrt());
        let by_setups = setup * f64::from(self.setups).sqrt();
        let by_length = self
            .length
            .map_or(0.0, |metres| limits.level_km * (metres / 1000.0).sqrt());
        f64::hypot(by_setups.max(by_length), limits.alarm * self.known_sigma)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A book of point, backsight, foresight and distance; a blank figure is 0.
    fn closures(rows: &[(&str, f64, f64, f64)], known: &[(&str, f64)]) -> Vec<Closure> {
        let some = |figure: f64| (figure != 0.0).then_some(figure);
        let rows: Vec<LevelRow> = (2..)
            .zip(rows)
            .map(|(row, &(point, backsight, foresight, distance))| LevelRow {
                point: Arc::from(point),
                backsight: some(backsight),
                intermediate: None,
                foresight: some(foresight),
                distance: some(distance),
                source: Source {
                    file: Arc::from("levels.csv"),
                    row,
                },
            })
            .collect();
        let known = |name: &str| {
            let at = known.iter().find(|(of, _)| *of == name);
            at.map(|&(_, z)| Known { z, sigma: 0.0 })
        };
        reduce(&rows, &known).closures
    }

    #[test]
    fn a_branch_closes_over_both_of_its_ways() {
        // B to Y in one set-up, on to X in two, and from Y to X in one.
        let found = closures(
            &[
                ("B", 1.5, 0.0, 0.0),
                ("Y", 1.5, 1.4, 30.0),
                ("T", 1.2, 1.3, 40.0),
                ("X", 0.0, 1.1, 50.0),
                ("Y", 1.6, 0.0, 0.0),
                ("X", 0.0, 1.297, 60.0),
            ],
            &[("B", 10.0)],
        );
        assert_eq!(found.len(), 1);
        let closure = &found[0];
        assert!((closure.misclosure - 0.003).abs() < 1e-9, "{closure:?}");
        assert_eq!((closure.setups, closure.length), (3, Some(150.0)));
    }

    #[test]
    fn a_branch_closes_on_a_known_point_by_its_own_way() {
        // The anchor stands farther along the line than where the branch goes off.
        let found = closures(
            &[
                ("P", 1.5, 0.0, 0.0),
                ("Y", 1.5, 1.4, 0.0),
                ("T", 1.2, 1.3, 0.0),
                ("Q", 0.0, 1.1, 0.0),
                ("Y", 1.6, 0.0, 0.0),
                ("R", 0.0, 1.3, 0.0),
            ],
            &[("Q", 10.4), ("R", 10.4)],
        );
        let ends: Vec<(&str, &str, u32)> =
            found.iter().map(|c| (&*c.from, &*c.to, c.setups)).collect();
        assert_eq!(ends, [("Q", "R", 3)]);
        assert!(found[0].misclosure.abs() < 1e-9, "{found:?}");
    }

    #[test]
    fn lines_stay_apart_after_going_back_to_an_earlier_one() {
        // A new line after the first was gone on with is not the second.
        let found = closures(
            &[
                ("A", 1.5, 0.0, 0.0),
                ("B", 0.0, 1.4, 0.0),
                ("C", 1.5, 0.0, 0.0),
                ("D", 0.0, 1.0, 0.0),
                ("B", 1.5, 0.0, 0.0),
                ("E", 0.0, 1.4, 0.0),
                ("F", 1.5, 0.0, 0.0),
                ("D", 0.0, 1.2, 0.0),
            ],
            &[],
        );
        assert!(found.is_empty(), "{found:?}");
    }
}
