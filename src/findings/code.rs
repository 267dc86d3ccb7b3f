//! The registry of finding codes: one line each, with the level that it is raised at.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How serious a finding is.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    /// Said for the record.
    Note,
    /// The result stands, but look.
    Warning,
    /// A row can't be used; no deliverables.
    Error,
}

impl Level {
    /// `error`, `warning` or `note`.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Warning => "warning",
            Self::Error => "error",
        }
    }
}

impl fmt::Display for Level {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

macro_rules! codes {
    ($($name:ident $word:literal $level:ident $when:literal;)*) => {
        /// What a finding is about. The words are fixed: other people's programs read them.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
        #[serde(rename_all = "kebab-case")]
        pub enum Code { $(#[doc = $when] $name,)* }

        impl Code {
            /// Every code, in the order of the registry.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// The word in every file.
            #[must_use]
            pub const fn word(self) -> &'static str { match self { $(Self::$name => $word,)* } }

            /// The level it is raised at, where a rule does not lower it.
            #[must_use]
            pub const fn level(self) -> Level { match self { $(Self::$name => Level::$level,)* } }

            /// When it is raised.
            #[must_use]
            pub const fn when(self) -> &'static str { match self { $(Self::$name => $when,)* } }
        }
    };
}

codes! {
    Unreadable "unreadable" Error "a cell that can't be read";
    UnknownReference "unknown-reference" Error "a name that nothing defines";
    Duplicate "duplicate" Error "a name defined twice";
    Undetermined "undetermined" Error "a point that the measurements don't fix";
    NoDatum "no-datum" Error "nothing ties the job to its coordinate system";
    OutsideCrs "outside-crs" Error "coordinates outside the coordinate system's area of use";
    GnssFix "gnss-fix" Warning "a GNSS fix of poor quality";
    DepthDisagrees "depth-disagrees" Warning "pairs of depth readings that differ too much";
    DepthSingle "depth-single" Warning "one depth reading, nothing to confirm it";
    DepthDoubtful "depth-doubtful" Warning "an automatic reading over a tilted transmitter";
    Implausible "implausible" Warning "a depth beyond the limit, or that the end points exclude";
    DepthMissing "depth-missing" Note "no accepted depth here";
    EndsDisagree "ends-disagree" Warning "depth by the end points differs from the readings";
    Tilted "tilted" Note "the transmitter lies tilted";
    NotPeak "not-peak" Warning "the signal beside the mark exceeds that at it";
    OneEnd "one-end" Warning "only one end point was found";
    SignalPath "signal-path" Note "metal pipe or conductors nearby";
    OffLine "off-line" Warning "the mark lies off the line between its end points, or a branch off the run that it joins";
    Blunder "blunder" Warning "a measurement that does not fit the others";
    Misfit "misfit" Warning "the job's variance factor fails its test";
    Unchecked "unchecked" Note "nothing checks a mark's position";
    Weak "weak" Warning "error ellipse larger than the limit";
    CounterOrder "counter-order" Warning "the counter goes back, or repeats at another place; without one, rows out of order";
    PathTooLong "path-too-long" Warning "marks farther apart than the cable allows";
    PathTooShort "path-too-short" Note "more cable than path between two marks";
    AdverseGrade "adverse-grade" Warning "falls the wrong way";
    LowGrade "low-grade" Warning "below the minimum grade given";
    CheckShot "check-shot" Note "a row kept out and compared";
    Exposure "exposure" Note "a mark located and later exposed";
    Sag "sag" Warning "a low point";
    Shallow "shallow" Warning "cover under the limit";
    AboveGround "above-ground" Error "the computed pipe lies above the ground";
    LevelMisclosure "level-misclosure" Warning "a levelling loop over its tolerance";
    GridFitResidual "grid-fit-residual" Warning "a control point fits the site grid badly";
    ScaleSuspect "scale-suspect" Warning "the site-grid scale says that the unit is wrong";
    UnusedColumn "unused-column" Note "a column that looks misspelt";
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}
