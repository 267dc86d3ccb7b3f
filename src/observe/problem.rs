//! What stage 2 could not use or doubts: values, from which rules make findings.

use std::sync::Arc;

use super::window::Missed;
use crate::job::model::{Fix, Source};

/// What a place outside the area of use turns into a place inside it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Explanation {
    /// Latitude and longitude, or easting and northing, exchanged.
    Swapped,
    /// The longitude's minus is missing, or one too many.
    LongitudeSign,
    /// The latitude's.
    LatitudeSign,
    /// Metres where the coordinate system counts feet.
    MetresAsFeet,
    /// Feet where the coordinate system counts metres.
    FeetAsMetres,
}

/// A mark or point with the row that it is about.
#[derive(Clone, Debug, PartialEq)]
pub struct Subject {
    /// Index into `job.runs`, for marks.
    pub run: Option<usize>,
    /// Mark or point.
    pub name: Arc<str>,
    /// Row.
    pub source: Source,
}

/// A matter found in stage 2.
#[derive(Clone, Debug, PartialEq)]
pub enum Problem {
    /// A name that nothing defines.
    UnknownReference {
        /// Where it is used.
        subject: Subject,
        /// The name.
        name: Arc<str>,
        /// Column that holds it.
        column: String,
        /// A defined name like it.
        near: Option<Arc<str>>,
        /// Levels begin or close there and go no further: it may have been left for another day.
        left: bool,
    },
    /// A name whose own row can't be used, which has been said.
    Lost {
        /// Where it is used.
        subject: Subject,
    },
    /// A name defined twice.
    Duplicate {
        /// The second one.
        subject: Subject,
        /// Row of the first.
        first: Source,
    },
    /// A mark measured from itself.
    FromItself {
        /// The mark.
        subject: Subject,
        /// Column that names it.
        column: String,
    },
    /// A line between two points of one place.
    NoLine {
        /// The mark.
        subject: Subject,
        /// Column that names it.
        column: &'static str,
        /// The points.
        points: [Arc<str>; 2],
    },
    /// Compass bearings are used, and the declination is not known.
    NoDeclination {
        /// Whose is the first.
        subject: Subject,
        /// Column that holds it.
        column: &'static str,
        /// How many there are.
        bearings: usize,
        /// Why it is not known, and what to give.
        why: String,
    },
    /// Compass bearings are used with a declination that the magnetic model contradicts.
    Declination {
        /// Whose is the first.
        subject: Subject,
        /// Column that holds it.
        column: &'static str,
        /// The job's, radians east.
        given: f64,
        /// The model's, radians east.
        model: f64,
    },
    /// Coordinates outside the CRS's area of use.
    Outside {
        /// Whose.
        subject: Subject,
        /// Latitude and longitude in degrees, or easting and northing in the CRS's unit.
        given: (f64, f64),
        /// `given` is latitude and longitude.
        geographic: bool,
        /// What would explain it.
        explanation: Option<Explanation>,
        /// Name of the area of use.
        area: String,
    },
    /// Coordinates a little outside the CRS's area of use: they are used.
    Edge {
        /// The first.
        subject: Subject,
        /// How many there are.
        places: usize,
        /// They are latitudes and longitudes.
        geographic: bool,
        /// Name of the area of use.
        area: String,
    },
    /// A datum that can't be brought into the CRS.
    Datum {
        /// Whose.
        subject: Subject,
        /// Why, and the way out.
        why: String,
    },
    /// Nothing ties the job to its CRS.
    NoDatum,
    /// A GNSS position of poor quality.
    PoorFix {
        /// Whose.
        subject: Subject,
        /// Kind of fix.
        fix: Option<Fix>,
        /// One-sigma used, metres.
        sigma: f64,
    },
    /// Only an operation without regard to the datums' difference was to be had.
    Ballpark {
        /// From this datum.
        from: String,
        /// How many positions.
        positions: usize,
        /// One-sigma given to their shared shift, metres.
        sigma: f64,
    },
    /// Positions through a correction network that name no datum, in a CRS whose own datum no network works in: taken as WGS 84.
    OldDatum {
        /// Whose is the first.
        subject: Subject,
        /// How many.
        positions: usize,
        /// How far the CRS's own datum lies from WGS 84 there, metres.
        off: f64,
    },
    /// A window of the receiver log with too few epochs.
    Window {
        /// Whose.
        subject: Subject,
        /// Usable epochs in it.
        epochs: usize,
        /// What lies beside it.
        missed: Option<Missed>,
    },
    /// A window of the receiver log in which the receiver was carried from one place to another.
    Carried {
        /// Whose.
        subject: Subject,
        /// Greatest distance of an epoch from the mean, metres.
        furthest: f64,
        /// One-sigma used, metres.
        sigma: f64,
    },
    /// Rows give times of a receiver log, and the job has none.
    NoLog {
        /// The rows.
        subjects: Vec<Subject>,
    },
    /// A row kept out to be compared has nothing to be compared with.
    NothingToCompare {
        /// Whose.
        subject: Subject,
    },
    /// The place of an exposure that is kept out: only a located mark's own place could be held against it.
    ExposureKeptOut {
        /// Whose.
        subject: Subject,
    },
}
