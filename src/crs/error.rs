//! What can be wrong with a coordinate system, a datum or a place, in plain words with the way out.

/// Why a coordinate system can't be used, or a place not be converted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CrsError {
    /// Not written as authority and code.
    #[error(
        "\"{code}\" is not the code of a coordinate system: write authority and code, such as \"EPSG:2264\", or \"local\" for a site grid"
    )]
    Form {
        /// As written.
        code: String,
    },
    /// Well written, but not in the registry.
    #[error(
        "\"{code}\" is not in the EPSG registry that this program carries: look the number up, or use \"local\" for a site grid"
    )]
    Unknown {
        /// As written.
        code: String,
    },
    /// In the registry, but not projected.
    #[error(
        "{code} ({name}) is {kind}: results need a projected coordinate system in metres or feet, such as a state plane or UTM zone"
    )]
    NotProjected {
        /// As written.
        code: String,
        /// Its name.
        name: String,
        /// What it is instead.
        kind: &'static str,
    },
    /// Axes that are not east and north.
    #[error(
        "{code} ({name}) counts {axes}: only coordinate systems that count east and north can be used; take the one of the same area that does"
    )]
    Axes {
        /// As written.
        code: String,
        /// Its name.
        name: String,
        /// Directions of its axes.
        axes: String,
    },
    /// A datum that nobody knows.
    #[error(
        "the datum \"{name}\" is not known{hint}: write its name as in the EPSG registry, such as \"NAD83(2011)\", or the code of its geographic system, such as \"EPSG:6318\""
    )]
    Datum {
        /// As written.
        name: String,
        /// Names like it, if there are any.
        hint: String,
    },
    /// A place that can't be converted.
    #[error(
        "the place {x}, {y} (number {index} of {count}, {from}) can't be converted to {to}: check the figures and their order"
    )]
    Place {
        /// Which of the points handed over, counted from 0.
        index: usize,
        /// How many there were.
        count: usize,
        /// Easting in metres, or longitude in degrees.
        x: f64,
        /// Northing in metres, or latitude in degrees.
        y: f64,
        /// Coordinate system of the place.
        from: String,
        /// Coordinate system aimed at.
        to: String,
    },
    /// No operation between two datums.
    #[error(
        "no operation from {from} to {to} is known for this place: check that the positions lie where they should, or give them in the datum of the coordinate system"
    )]
    NoOperation {
        /// From.
        from: String,
        /// To.
        to: String,
    },
    /// An operation that moves with time, without a date.
    #[error("the operation from {from} to {to} needs the date of the positions: give `located_on`")]
    NoEpoch {
        /// From.
        from: String,
        /// To.
        to: String,
    },
    /// A site grid has no place on the Earth.
    #[error(
        "a local site grid has no place on the Earth: name a projected coordinate system in `crs` to use latitudes and longitudes"
    )]
    Local,
    /// A variable that adds definitions of systems and operations, which PROJ reads whatever is asked of it.
    #[error(
        "the variable PROJ_AUX_DB is set, which could change the meaning of a coordinate system: unset it for this program"
    )]
    AuxiliaryDatabase,
    /// The projection library can't be used.
    #[error("the projection library can't be used ({0}): please report this")]
    Library(&'static str),
}
