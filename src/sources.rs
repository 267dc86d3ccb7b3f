//! Every source that a formula, a threshold or a check rests on, as data.
//!
//! Documentation links to a variant, so that `cargo doc` fails on a dead key. A fact of the trade that has no
//! published source is [`Source::CommonPractice`]; a choice of ours is [`Source::OurChoice`], and the place
//! that uses it gives the reason.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

macro_rules! sources {
    ($($(#[$doc:meta])* $name:ident = $cite:literal;)*) => {
        /// Where a figure or a formula comes from.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
        #[serde(rename_all = "kebab-case")]
        pub enum Source { $($(#[$doc])* $name,)* }

        impl Source {
            /// Every source, in the order of this file.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// The citation as printed in a record or on a sheet.
            #[must_use]
            pub const fn cite(self) -> &'static str {
                match self { $(Self::$name => $cite,)* }
            }
        }
    };
}

sources! {
    /// Field of a magnetic dipole: D. J. Griffiths, Introduction to Electrodynamics, eq. 5.89 (number from memory).
    Griffiths = "Griffiths, Introduction to Electrodynamics, field of a magnetic dipole";
    /// Data snooping with standardised residuals: W. Baarda, A testing procedure for use in geodetic networks, 1968.
    Baarda1968 = "Baarda, A testing procedure for use in geodetic networks, 1968";
    /// National Standard for Spatial Data Accuracy, FGDC-STD-007.3-1998.
    Nssda = "FGDC-STD-007.3-1998, National Standard for Spatial Data Accuracy";
    /// International Plumbing Code, table 704.1, slope of horizontal drainage pipe.
    Ipc704 = "International Plumbing Code, table 704.1";
    /// GeoJSON: RFC 7946, IETF 2016.
    Rfc7946 = "RFC 7946, The GeoJSON Format";
    /// KML: OGC 07-147r2 (2.2) and 12-007r2 (2.3).
    Kml = "OGC 07-147r2, KML 2.2";
    /// GeoPackage encoding standard, OGC 12-128r17 (1.3) and later.
    GeoPackage = "OGC 12-128, GeoPackage Encoding Standard";
    /// GeoParquet 1.1.0 specification.
    GeoParquet = "GeoParquet 1.1.0";
    /// Drawing interchange files: the published DXF reference (group codes from memory, held against the `ezdxf` library).
    Dxf = "DXF reference, group codes";
    /// GDAL, the library of the Open Source Geospatial Foundation that reads map and drawing formats.
    Gdal = "GDAL, Open Source Geospatial Foundation";
    /// Names of a drawing's layers: United States National CAD Standard, AIA CAD Layer Guidelines (from memory).
    CadStandard = "United States National CAD Standard, layer guidelines";
    /// NMEA 0183 sentences GGA, GST and RMC, as public descriptions give them.
    Nmea0183 = "NMEA 0183, sentences GGA, GST, RMC";
    /// World Magnetic Model 2020, NOAA/NCEI and BGS, for dates before 2025.
    Wmm2020 = "World Magnetic Model 2020, NOAA and BGS";
    /// World Magnetic Model 2025, NOAA/NCEI and BGS.
    Wmm2025 = "World Magnetic Model 2025, NOAA and BGS";
    /// Deprecation of the US survey foot: Federal Register 85 FR 62698, 5 October 2020.
    FederalRegister2020 = "Federal Register 85 FR 62698, 5 October 2020";
    /// Map projections and the EPSG registry: IOGP Guidance Note 7-2.
    Iogp72 = "IOGP Guidance Note 7-2, Coordinate Conversions and Transformations";
    /// Geometric geodesy set of test data: IOGP GIGS 2.1.0.
    Gigs = "IOGP GIGS test data 2.1.0";
    /// Grid convergence and scale with their signs: GDA2020 Technical Manual, version 1.6.
    Gda2020Manual = "GDA2020 Technical Manual, version 1.6";
    /// Older United States orders of levelling: third order 12 mm times the root of the length in km.
    LevellingOrders = "United States levelling orders, third order, 12 mm per root km";
    /// Underground utilities, quality levels: ASCE 38-22 and PAS 128:2022. Carried as given, never assigned.
    QualityLevels = "ASCE 38-22 and PAS 128:2022";
    /// Observation coding of drains by camera: EN 13508-2.
    En13508 = "EN 13508-2";
    /// QR code symbology: ISO/IEC 18004.
    Iso18004 = "ISO/IEC 18004";
    /// Excavations: United States 29 CFR 1926.652.
    Cfr1926_652 = "29 CFR 1926.652";
    /// Lettering of drawings, named by the height of a capital: ISO 3098-1:2015 (sizes from memory).
    Iso3098 = "ISO 3098, lettering of technical drawings";
    /// Scales of drawings: ISO 5455:1979 (series from memory).
    Iso5455 = "ISO 5455, scales of technical drawings";
    /// Sizes and margins of drawing sheets: ISO 5457:1999 (margins from memory).
    Iso5457 = "ISO 5457, sizes and layout of drawing sheets";
    /// Line widths and types of drawings: ISO 128-2:2020 (series from memory).
    Iso128 = "ISO 128, line conventions of technical drawings";
    /// Fields of a title block: ISO 7200:2004 (from memory).
    Iso7200 = "ISO 7200, data fields in title blocks";
    /// Label placement: J. Christensen, J. Marks, S. Shieber, An empirical study of algorithms for point-feature label
    /// placement, ACM Transactions on Graphics 14(3), 1995, 203-232.
    Christensen1995 = "Christensen, Marks and Shieber, point-feature label placement, 1995";
    /// A fact of the trade with no published source.
    CommonPractice = "common practice, no source";
    /// Our own choice, with its reason where it is used.
    OurChoice = "our choice";
}
