//! Receiver logs: NMEA 0183 GGA, GST and RMC sentences ([`crate::sources::Source::Nmea0183`]).

/// A receiver log, parsed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Log {
    /// File name.
    pub file: String,
    /// Epochs in the order of the file.
    pub epochs: Vec<Epoch>,
    /// Lines that could not be used: line number and reason.
    pub broken: Vec<(u32, String)>,
}

/// One epoch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Epoch {
    /// Seconds since 1970-01-01 UTC, or of the day where no sentence dates it.
    pub time: f64,
    /// `time` includes the date.
    pub dated: bool,
    /// Radians, north positive.
    pub latitude: f64,
    /// Radians, east positive.
    pub longitude: f64,
    /// Metres above the ellipsoid: mean-sea-level height plus geoid separation.
    pub height: Option<f64>,
    /// Geoid minus ellipsoid, metres, where the log has it and it is not the 0.000 of receivers that give
    /// ellipsoidal heights.
    pub separation: Option<f64>,
    /// Fix.
    pub fix: super::model::Fix,
    /// One-sigma of latitude, longitude, height from GST, metres.
    pub sigma: Option<(f64, f64, f64)>,
}
