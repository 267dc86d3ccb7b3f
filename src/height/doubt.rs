//! Heights that the job's own figures contradict.

use super::gather::given;
use super::{GroundFrom, Grounds, Heights};
use crate::job::model::{Job, MarkRow, Source, Use};
use crate::math::stats::median;
use crate::observe::{Observations, window};

/// A height, and what the job says besides.
#[derive(Clone, Debug, PartialEq)]
pub enum Doubt {
    /// The marks' ground lies far from the height that the job gives for its site.
    OffSite {
        /// Mean ground, metres.
        mean: f64,
        /// `height` of the settings, metres.
        height: f64,
        /// They differ by about the job's separation.
        by_separation: bool,
    },
    /// Two heights of one row.
    Beside {
        /// Index into `job.marks` of the row; the first of them.
        row: usize,
        /// The one that is used, and the other: column and metres.
        heights: [(&'static str, f64); 2],
        /// Bound of their difference, metres.
        bound: f64,
        /// So many rows have the same difference.
        rows: usize,
    },
    /// The separation that the job gives, and the one in a receiver log.
    Separation {
        /// The job's, metres.
        given: f64,
        /// The log's, metres.
        log: f64,
        /// Row of the mark whose window it is.
        source: Source,
    },
}

/// Height of the site and mean ground farther apart than this, metres, are of different kinds, or one is a slip: our choice. Half of it
/// makes 1 mm in 200 m of tape.
const APART: f64 = 30.0;
/// Geoid models differ by less than this, metres: our choice.
const MODELS: f64 = 10.0;
/// One-sigma of a separation that is said once for a site, metres: our choice.
const SEPARATION: f64 = 0.1;
/// So many rows that are off alike have one cause.
const ALIKE: usize = 3;

/// Every doubt of a job's heights.
pub(super) fn doubts(job: &Job, observations: &Observations, heights: &Heights) -> Vec<Doubt> {
    let mut all = Vec::new();
    all.extend(off_site(job, observations, heights));
    all.extend(separation(job));
    let mut pairs: Vec<Pair> = job
        .marks
        .iter()
        .enumerate()
        .flat_map(|(i, row)| beside(job, i, row))
        .collect();
    pairs.retain(|pair| pair.off().abs() > pair.bound);
    let kinds = [
        ["ground", "elevation"],
        ["ground", "height"],
        ["elevation", "height"],
    ];
    for kind in kinds {
        let of_kind: Vec<&Pair> = pairs
            .iter()
            .filter(|pair| pair.heights.map(|(word, _)| word) == kind)
            .collect();
        all.extend(told(&of_kind));
    }
    all
}

/// Two heights of a row.
struct Pair {
    row: usize,
    heights: [(&'static str, f64); 2],
    bound: f64,
}

impl Pair {
    fn off(&self) -> f64 {
        self.heights[1].1 - self.heights[0].1
    }

    fn doubt(&self, rows: usize) -> Doubt {
        Doubt::Beside {
            row: self.row,
            heights: self.heights,
            bound: self.bound,
            rows,
        }
    }
}

/// The height that is used against those that the row gives besides.
fn beside(job: &Job, row: usize, mark: &MarkRow) -> Vec<Pair> {
    let mut given = given(job, mark).map(|(z, sigma, from)| match from {
        GroundFrom::Gnss => (from.column(), z, sigma.hypot(SEPARATION)),
        _ => (from.column(), z, sigma),
    });
    let Some((word, used, sigma)) = given.next().filter(|_| mark.usage == Use::Yes) else {
        return Vec::new();
    };
    let pair = |(other, z, theirs): (&'static str, f64, f64)| Pair {
        row,
        heights: [(word, used), (other, z)],
        bound: job.limits.alarm * sigma.hypot(theirs),
    };
    given.map(pair).collect()
}

/// One doubt where all are off alike, else one for each.
fn told(pairs: &[&Pair]) -> Vec<Doubt> {
    let mut offs: Vec<f64> = pairs.iter().map(|pair| pair.off()).collect();
    let middle = median(&mut offs).unwrap_or(0.0);
    let alike = pairs
        .iter()
        .all(|pair| (pair.off() - middle).abs() <= pair.bound);
    match pairs.first() {
        Some(first) if alike && pairs.len() >= ALIKE => vec![first.doubt(pairs.len())],
        _ => pairs.iter().map(|pair| pair.doubt(1)).collect(),
    }
}

fn off_site(job: &Job, observations: &Observations, heights: &Heights) -> Option<Doubt> {
    let height = job.grid.height?;
    let centres = observations.marks.iter().filter_map(|mark| mark.centre);
    let grounds = centres.filter_map(|(_, point)| Some(heights.ground(point)?.z));
    let (sum, count) = grounds.fold((0.0, 0_u32), |(sum, count), z| (sum + z, count + 1));
    let mean = sum / f64::from(count.max(1));
    let off = mean - height;
    let separation = job.grid.geoid_separation;
    let by_separation =
        separation.is_some_and(|separation| (off.abs() - separation.abs()).abs() < APART / 10.0);
    (count > 0 && off.abs() > APART).then_some(Doubt::OffSite {
        mean,
        height,
        by_separation,
    })
}

fn separation(job: &Job) -> Option<Doubt> {
    let given = job.grid.geoid_separation?;
    job.marks.iter().find_map(|row| {
        let log = window::mean(job, row.placing.window?)?.separation?;
        // A receiver without a model says 0.
        let known = log.abs() > 0.0;
        (known && (log - given).abs() > MODELS).then(|| Doubt::Separation {
            given,
            log,
            source: row.source.clone(),
        })
    })
}
