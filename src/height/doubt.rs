//! Heights that the job's own figures contradict.

use super::gather::given;
use super::{GroundFrom, Grounds, Heights};
use crate::job::model::{Control, Job, MarkRow, Source, Use};
use crate::math::stats::median;
use crate::observe::{Observations, window};
use crate::units::OtherUnit;

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
    /// Heights that fit the site if they are in another unit than they were read in.
    Unit {
        /// The row; the first of them.
        row: HeightRow,
        /// Its column.
        column: &'static str,
        /// What it says, metres.
        z: f64,
        /// Height of the site, metres, and what says so.
        site: (f64, SiteHeight),
        /// What it would fit in.
        unit: OtherUnit,
        /// So many rows of the table are like it.
        rows: usize,
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

/// A row that gives a height.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HeightRow {
    /// Index into `job.marks`.
    Mark(usize),
    /// Index into `job.control`.
    Control(usize),
}

/// What says how high a site lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SiteHeight {
    /// `height` of the settings.
    Settings,
    /// The middle of the reference points' elevations.
    Control,
    /// The middle of the marks' ground.
    Marks,
}

/// Height of the site and mean ground farther apart than this, metres, are of different kinds, or one is a slip: our choice. Half of it
/// makes 1 mm in 200 m of tape.
const APART: f64 = 30.0;
/// A height in another unit lies as near the site's as this, metres: our choice.
const NEAR: f64 = 10.0;
/// Geoid models differ by less than this, metres: our choice.
const MODELS: f64 = 10.0;
/// One-sigma of a separation that is said once for a site, metres: our choice.
const SEPARATION: f64 = 0.1;
/// So many rows that are off alike have one cause.
const ALIKE: usize = 3;

/// Every doubt of a job's heights.
pub(super) fn doubts(job: &Job, observations: &Observations, heights: &Heights) -> Vec<Doubt> {
    let mut all = Vec::new();
    let units = in_other_unit(job);
    if units.is_empty() {
        all.extend(off_site(job, observations, heights));
    }
    all.extend(units);
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

/// Heights of the marks and of the reference points that are in the other unit: one doubt a table.
fn in_other_unit(job: &Job) -> Vec<Doubt> {
    let marks: Vec<Height> = (0..).zip(&job.marks).filter_map(of_mark).collect();
    let control: Vec<Height> = (0..).zip(&job.control).filter_map(of_control).collect();
    let settings = site_height(job).map(|z| (z, SiteHeight::Settings));
    let by = |heights: &[Height], least: usize, of: SiteHeight| {
        let mut all: Vec<f64> = heights.iter().map(|height| height.z).collect();
        median(&mut all)
            .filter(|_| all.len() >= least)
            .map(|z| (z, of))
    };
    // Of one reference point another can't be judged, but the marks can.
    let by_points = |least: usize| by(&control, least, SiteHeight::Control);
    let by_marks = || by(&marks, ALIKE, SiteHeight::Marks);
    let site = |least: usize| settings.or_else(|| by_points(least)).or_else(by_marks);
    let (of_marks, of_control) = (site(1), site(ALIKE));
    let told = |heights: &[Height], site: Option<(f64, SiteHeight)>| {
        let (site, unit) = (site?, *job.grid.unit.others().first()?);
        let is_off = |height: &&Height| {
            (height.z - site.0).abs() > APART && (height.z * unit.times - site.0).abs() < NEAR
        };
        let mut off = heights.iter().filter(is_off);
        let first = off.next()?;
        Some(Doubt::Unit {
            row: first.row,
            column: first.column,
            z: first.z,
            site,
            unit,
            rows: 1 + off.count(),
        })
    };
    [told(&marks, of_marks), told(&control, of_control)]
        .into_iter()
        .flatten()
        .collect()
}

/// A height as a row gives it.
struct Height {
    row: HeightRow,
    column: &'static str,
    /// Metres.
    z: f64,
}

fn of_mark((index, row): (usize, &MarkRow)) -> Option<Height> {
    let ground = row.ground.map(|z| (z, GroundFrom::Given));
    let elevation = row.placing.elevation.map(|z| (z, GroundFrom::Elevation));
    let (z, from) = ground.or(elevation).filter(|_| row.usage == Use::Yes)?;
    Some(Height {
        row: HeightRow::Mark(index),
        column: from.column(),
        z,
    })
}

fn of_control((index, control): (usize, &Control)) -> Option<Height> {
    let z = control.elevation.filter(|_| control.usage == Use::Yes)?;
    Some(Height {
        row: HeightRow::Control(index),
        column: GroundFrom::Elevation.column(),
        z,
    })
}

/// `height` of the settings, where the job's elevations are of the same kind: a height datum of the site's own has its own zero.
fn site_height(job: &Job) -> Option<f64> {
    let vertical = job.grid.vertical.as_deref();
    let local = vertical.is_some_and(|name| name.eq_ignore_ascii_case("local"));
    job.grid.height.filter(|_| !local)
}

fn off_site(job: &Job, observations: &Observations, heights: &Heights) -> Option<Doubt> {
    let height = site_height(job)?;
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
