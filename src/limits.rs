//! Every adjustable threshold and every default one-sigma: unit, default, source.
//!
//! `job.toml` may change any of them by name, in `[accuracy]` and `[limits]`; the values in force go into the
//! record.
//!
//! **What is fixed stands where it is used**, with its reason, and no job can change it. Of those figures, some reach a sigma:
//!
//! | figure | where |
//! | --- | --- |
//! | shift that a ballpark operation leaves, 2 m; 250 m of datums of the time before satellites | [`crate::crs::shift_sigma`] |
//! | a signal's own scatter, 3 % | `transmitter/tilt.rs`, `SIGNAL_FRACTION` |
//! | axis above the invert where none is given, 25 mm | [`crate::run::AXIS_ABOVE_INVERT`] |
//! | how pipe and ground depart from the straight between known levels, 1 % and 2 % | `profile/inverts.rs`, `profile/sights.rs`, `run/ground.rs` |
//! | what is taken of a drain's slope before any invert is looked at | `run/slope.rs` |
//! | depth taken for placing a mark that has none, 1.5 m | `run/locate.rs`, `USUAL_DEPTH` |
//! | a common point of a site plan, 10 mm | [`crate::plan::tie::SIGMA`] |
//! | how much more cable than way a bend that nothing located is reckoned with, a 90 % bound | `run/chain.rs`, `longest` |
//! | odds of a bend that nothing located, even or 1 : 19 | `run/hidden.rs`, `SHOWN`, `UNSEEN` |
//!
//! and some decide what is said:
//!
//! | figure | where |
//! | --- | --- |
//! | tilt from which automatic readings are doubted, 10° | [`crate::transmitter::depth::STEEP`] |
//! | how far a camera observation is placed beyond the marks, 3 m | `run/camera.rs`, `EXTRAPOLATED` |
//! | shares and counts of single rules | `findings/rules/`, `advice/` |
//! | how far a grid's scale may lie from 1, 1 % | `findings/rules/scale_suspect.rs`, `MOST` |
//! | one-sigma of a setting that is doubted, 30 times its default and 10 m | `job/settings/values.rs`, `TIMES`, `SIGMA` |
//! | ground that lies off the site's height, 30 m | `height/mod.rs`, `APART` |
//! | when two places that values fit are one, 0.25 of the sum of squares | `position/construct.rs`, `BARRIER` |
//! | alarms from which the values near one are tried in its stead, 1.5 times the limit | `position/snoop.rs`, `GROSS` |
//! | comparisons from which a job counts as tested, 3, and from which there is a figure, 20 | `record/build/accuracy.rs` |
//! | what an intake takes for a pipe: falls up to 100 %, turns up to 150°, bores of 25 mm to 2 m | `intake/checks/pipe.rs`, `STEEPEST`, `TURN`, `DIAMETERS` |
//! | how far its ground, invert and depth may disagree beside their bounds, 0.15 m | `intake/checks/heights.rs`, `BESIDE`, `BORE` |
//! | how high above its main's invert a lateral may end, `max_depth` under `[require]` | `intake/checks/heights.rs`, `high_above` |
//! | a depth that stands for "not known", 30 m, and an elevation as far off the job | `plan/layers.rs`, `DEEPEST` |
//! | straights that lie side by side, 30°; places that may as well be the nearest, 4.65 sigma | `plan/crossing/` |
//! | when a common point is wrong, when a tie has a unit, when a plan lies far off, what counts as near | `plan/tie.rs`, `plan/placing.rs`, [`crate::plan::far::FAR`], [`crate::plan::layers::NEAR`] |

use crate::sources::Source;

/// What a setting's number measures, which decides how it is read and printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Metres inside; read as a length.
    Length,
    /// Radians inside; read as degrees.
    Angle,
    /// A plain ratio or count.
    Number,
}

/// One setting: its name in `job.toml`, what it measures, where its default comes from.
#[derive(Clone, Copy, Debug)]
pub struct Setting {
    /// Key in `[accuracy]` or `[limits]`.
    pub name: &'static str,
    /// What the number measures.
    pub quantity: Quantity,
    /// Where the default comes from.
    pub source: Source,
    /// What it is, in one line.
    pub meaning: &'static str,
}

macro_rules! settings {
    ($(#[$doc:meta])* $struct:ident { $($field:ident: $quantity:ident = $default:expr, $source:ident, $meaning:literal;)* }) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq)]
        pub struct $struct { $(#[doc = $meaning] pub $field: f64,)* }

        impl Default for $struct {
            fn default() -> Self { Self { $($field: $default,)* } }
        }

        impl $struct {
            /// Every setting of this table.
            pub const SETTINGS: &'static [Setting] = &[$(Setting {
                name: stringify!($field), quantity: Quantity::$quantity,
                source: Source::$source, meaning: $meaning,
            },)*];

            /// The value of a setting, by name.
            #[must_use]
            pub fn get(&self, name: &str) -> Option<f64> {
                match name { $(stringify!($field) => Some(self.$field),)* _ => None }
            }

            /// Puts a value under a name; false if there is no such setting.
            pub fn set(&mut self, name: &str, value: f64) -> bool {
                match name { $(stringify!($field) => { self.$field = value; true })* _ => false }
            }
        }
    };
}

const DEGREE: f64 = std::f64::consts::PI / 180.0;

settings! {
    /// One-sigma figures of measuring, `[accuracy]`; lengths in metres, angles in radians.
    Accuracy {
        tape: Length = 0.015, OurChoice, "taped distance, fixed part";
        tape_fraction: Number = 0.0005, OurChoice, "taped distance, part of its length";
        square: Angle = 1.5 * DEGREE, OurChoice, "a square set by eye off a baseline, times the offset";
        offset: Length = 0.03, OurChoice, "offset from a baseline, fixed part";
        angle: Angle = 0.02 * DEGREE, OurChoice, "horizontal angle";
        bearing: Angle = 1.0 * DEGREE, OurChoice, "compass bearing";
        bearing_grid: Angle = 0.1 * DEGREE, OurChoice, "true or grid bearing";
        rtk: Length = 0.02, OurChoice, "GNSS fix rtk, each axis";
        float: Length = 0.25, OurChoice, "GNSS fix float, each axis";
        dgnss: Length = 0.6, OurChoice, "GNSS fix dgnss, each axis";
        single: Length = 2.5, OurChoice, "GNSS fix single, each axis";
        grid: Length = 0.02, OurChoice, "mark given by grid coordinates, each axis";
        vertical_ratio: Number = 2.0, OurChoice, "GNSS vertical over horizontal one-sigma";
        correction_service: Length = 0.0, OurChoice, "shift shared by all positions of one correction service";
        mark: Length = 0.05, OurChoice, "placing a mark over the transmitter, fixed part, each axis";
        mark_fraction: Number = 0.02, OurChoice, "placing a mark, part of the depth";
        end: Length = 0.05, OurChoice, "placing an end point, fixed part, each axis";
        end_fraction: Number = 0.03, OurChoice, "placing an end point, part of the depth";
        tilt: Angle = 3.0 * DEGREE, OurChoice, "unseen tilt about the expected one";
        tilt_given: Angle = 1.0 * DEGREE, OurChoice, "a tilt that was given";
        depth: Length = 0.03, OurChoice, "accepted depth, fixed part";
        depth_fraction: Number = 0.04, OurChoice, "accepted depth, part of it, mark by mark";
        depth_common: Number = 0.02, OurChoice, "depth scale shared by all readings of the job";
        exposed: Length = 0.01, OurChoice, "measured invert of an exposed pipe";
        ground: Length = 0.02, OurChoice, "ground elevation that was given";
        level: Length = 0.002, OurChoice, "levelling, a set-up";
        height_difference: Length = 0.005, OurChoice, "measured height difference";
        counter: Length = 0.03, OurChoice, "cable counter, fixed part";
        counter_fraction: Number = 0.01, OurChoice, "cable counter, part of the length";
    }
}

settings! {
    /// When findings are raised, `[limits]`; lengths in metres.
    Limits {
        min_cover: Length = f64::NEG_INFINITY, OurChoice, "least cover; none unless given";
        max_depth: Length = 9.0, OurChoice, "deepest plausible reading";
        semi_major: Length = 0.5, OurChoice, "largest semi-major axis of a 95 % ellipse";
        gnss_sigma: Length = 0.1, OurChoice, "largest one-sigma of a GNSS position";
        alarm: Number = crate::math::stats::ALARM, Baarda1968, "alarms repeated for each mark, in one-sigmas";
        pair: Number = 0.10, CommonPractice, "difference of a pair of readings, part of their mean";
        log_epochs: Number = 5.0, OurChoice, "least epochs in a receiver log's window";
        level_setup: Length = 0.004, OurChoice, "levelling misclosure, times the root of the set-ups";
        level_km: Length = 0.012, LevellingOrders, "levelling misclosure, times the root of the length in km";
        scale_band: Number = 0.05, OurChoice, "how near a site-grid scale lies to a foot/metre mix-up to be suspect";
    }
}
impl Accuracy {
    /// One-sigma of placing a mark, metres, each axis, over a transmitter at this depth below the sensing point.
    #[must_use]
    pub fn placing(&self, depth: f64) -> f64 {
        self.mark.hypot(self.mark_fraction * depth)
    }

    /// One-sigma of a cable length by the counter, metres.
    #[must_use]
    pub fn cable(&self, length: f64) -> f64 {
        self.counter.hypot(self.counter_fraction * length)
    }
}
