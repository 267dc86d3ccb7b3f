//! Reduction of a levelling book by height of instrument.
//!
//! A set-up is a backsight and the sights that follow it up to the next backsight. Its height of instrument is backsight
//! point plus reading; every other sight gives the height difference from the backsight point. Set-ups
//! have equal sigmas, so that a misclosure is spread equally over them; an intermediate sight hangs on its set-up's
//! backsight point and takes no share of what is found out later.

use std::collections::HashMap;
use std::sync::Arc;

use crate::job::model::{LevelRow, Source};

/// A height difference from one set-up.
#[derive(Clone, Debug, PartialEq)]
pub struct Sight {
    /// Backsight point.
    pub from: Arc<str>,
    /// Point sighted.
    pub to: Arc<str>,
    /// Height of `to` above `from`, metres.
    pub difference: f64,
    /// Row of the sight.
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
    /// One for each foresight and intermediate sight.
    pub sights: Vec<Sight>,
    /// Each time that it closed.
    pub closures: Vec<Closure>,
    /// Sights without a backsight before them.
    pub hanging: Vec<Source>,
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
}

/// The walk through the book.
struct Walk<'a> {
    book: Book,
    visited: HashMap<Arc<str>, Along>,
    /// Last point of known height on this line.
    anchor: Option<(Arc<str>, Along, f64)>,
    known: &'a dyn Fn(&str) -> Option<f64>,
}

impl Walk<'_> {
    /// Arrives at a point: does the line close here?
    fn arrive(&mut self, point: &Arc<str>, now: Along, source: &Source) {
        let length = |from: Along| (now.length > from.length).then_some(now.length - from.length);
        let before = self
            .visited
            .get(point)
            .filter(|before| before.line == now.line)
            .copied();
        let known = (self.known)(point);
        if let Some(before) = before {
            self.book.closures.push(Closure {
                from: Arc::clone(point),
                to: Arc::clone(point),
                misclosure: now.height - before.height,
                setups: now.setups - before.setups,
                length: length(before),
                source: source.clone(),
            });
        } else if let (Some(z), Some((from, at, start))) = (known, &self.anchor)
            && at.line == now.line
        {
            self.book.closures.push(Closure {
                from: Arc::clone(from),
                to: Arc::clone(point),
                misclosure: now.height - at.height - (z - start),
                setups: now.setups - at.setups,
                length: length(*at),
                source: source.clone(),
            });
        }
        self.stand(point, now, known);
    }

    fn stand(&mut self, point: &Arc<str>, now: Along, known: Option<f64>) {
        self.visited.insert(Arc::clone(point), now);
        if let Some(z) = known {
            self.anchor = Some((Arc::clone(point), now, z));
        }
    }
}

/// Reduces a book; `known` gives the heights that fix it.
#[must_use]
pub fn reduce(rows: &[LevelRow], known: &dyn Fn(&str) -> Option<f64>) -> Book {
    let mut walk = Walk {
        book: Book::default(),
        visited: HashMap::new(),
        anchor: None,
        known,
    };
    let mut now = Along {
        height: 0.0,
        setups: 0,
        length: 0.0,
        line: 0,
    };
    // Backsight point, its reading, and where the line stood there.
    let mut setup: Option<(Arc<str>, f64, f64)> = None;
    let mut last: Option<Arc<str>> = None;
    for row in rows {
        now.length += row.distance.unwrap_or(0.0);
        for (reading, turning) in [(row.intermediate, false), (row.foresight, true)] {
            let Some(reading) = reading else { continue };
            let Some((from, backsight, height)) = &setup else {
                walk.book.hanging.push(row.source.clone());
                continue;
            };
            let difference = backsight - reading;
            let (from, to, source) = (Arc::clone(from), Arc::clone(&row.point), row.source.clone());
            walk.book.sights.push(Sight {
                from,
                to,
                difference,
                source,
            });
            if turning {
                now.height = height + difference;
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
                let (line, length) = (now.line + 1, now.length);
                now = from.map_or(
                    Along {
                        height: 0.0,
                        setups: 0,
                        length,
                        line,
                    },
                    |from| Along { length, ..from },
                );
                walk.stand(&row.point, now, (walk.known)(&row.point));
            }
            setup = Some((Arc::clone(&row.point), backsight, now.height));
            last = Some(Arc::clone(&row.point));
        }
    }
    walk.book
}

impl Closure {
    /// Tolerance, metres: the greater of set-ups and length ([`crate::sources::Source::LevellingOrders`] for the latter).
    #[must_use]
    pub fn tolerance(&self, limits: &crate::limits::Limits) -> f64 {
        let by_setups = limits.level_setup * f64::from(self.setups).sqrt();
        let by_length = self
            .length
            .map_or(0.0, |metres| limits.level_km * (metres / 1000.0).sqrt());
        by_setups.max(by_length)
    }
}
