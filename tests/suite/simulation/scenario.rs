//! The knobs of a simulated job.

use super::frame::{self, Crs};

/// Unit of the job's plain numbers, and how its lengths are written.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Unit {
    /// Metres.
    Metre,
    /// International feet, some as feet, inches and fractions.
    Foot,
    /// US survey feet.
    UsSurveyFoot,
}

/// How a mark's place is measured.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Method {
    /// Tapes from three references.
    ThreeTies,
    /// Tapes from two references, and the side.
    TwoTies,
    /// Station and offset.
    Baseline,
    /// Station and offset, and a tape.
    BaselineAndTie,
    /// Angle from a backsight, and distance.
    Angle,
    /// Compass bearing and distance.
    MagneticBearing,
    /// True bearing and distance.
    TrueBearing,
    /// Grid bearing and distance.
    GridBearing,
    /// GNSS, carrier phase fixed.
    Rtk,
    /// GNSS, carrier phase float.
    Float,
    /// GNSS, differential.
    Dgnss,
    /// A window of the receiver log.
    Log,
    /// Grid coordinates from elsewhere.
    Grid,
    /// Tapes from house corners that are known only by tapes from control.
    Corners,
}

/// Whether and how the end points were located.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum EndPoints {
    /// Not at all.
    None,
    /// Taped from the mark.
    Distances,
    /// As rows with a place of their own.
    Rows,
}

/// Which spot over the transmitter is marked.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Found {
    /// The line where the field is level.
    Crossline,
    /// The strongest signal.
    Peak,
    /// The line where the field is level, and the strongest signal besides.
    PeakBeside,
}

/// Linear signals that are read besides.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Signals {
    /// None.
    None,
    /// At the mark and at the end points (which must be located).
    AtEnds,
    /// At the mark and so many metres ahead of it and behind.
    Step(f64),
}

/// Where ground elevations come from.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Heights {
    /// `ground` at every mark.
    Given,
    /// `ground` at some marks, the first and last among them.
    Sparse,
    /// The levelling book.
    Levels,
    /// Heights of the GNSS positions (all marks must be such).
    Gnss,
}

/// A change of direction.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Bend {
    /// By how much, degrees; to either side.
    pub degrees: f64,
    /// A mark lies on it; else it lies in the middle half of the path between two marks 4 to 8 m apart.
    pub located: bool,
}

/// A low stretch: a cosine's dip below the uniform grade.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Belly {
    /// Deepest point below the grade line.
    pub depth: f64,
    /// Its length.
    pub length: f64,
}

/// A kind of job; ranges are drawn from anew for each.
#[derive(Clone, Debug)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "a panel of switches that are independent of each other"
)]
pub struct Scenario {
    /// Heading of its own in the coverage table.
    pub class: &'static str,
    /// Coordinate system.
    pub crs: &'static Crs,
    /// Unit.
    pub unit: Unit,
    /// Each mark is measured by one of these.
    pub methods: Vec<Method>,
    /// Pushed against the flow.
    pub upstream: bool,
    /// Fall over horizontal distance.
    pub grade: (f64, f64),
    /// Depth of the transmitter's axis at the upstream end.
    pub depth: (f64, f64),
    /// The ground falls as the pipe does: the depth stays.
    pub ground_follows: bool,
    /// Number of marks.
    pub marks: (usize, usize),
    /// Horizontal distance between marks.
    pub leg: (f64, f64),
    /// Bends.
    pub bends: Vec<Bend>,
    /// A low stretch in the middle.
    pub belly: Option<Belly>,
    /// End points.
    pub ends: EndPoints,
    /// Depth readings are taken.
    pub readings: bool,
    /// The spot that is marked.
    pub found: Found,
    /// Linear signals.
    pub signals: Signals,
    /// Every other mark is over a transmitter that stands in an upright pipe.
    pub upright: bool,
    /// Sensing point above the ground while ends and crossline are found.
    pub sensor_height: f64,
    /// Every other mark has its tilt given.
    pub tilts: bool,
    /// Ground elevations.
    pub heights: Heights,
    /// References have site coordinates, three of them grid coordinates as well.
    pub site_grid: bool,
    /// References have a sigma, and errors.
    pub uncertain_control: bool,
    /// Camera observations.
    pub camera: usize,
    /// Marks found a second time, with a name of their own.
    pub again: usize,
    /// The cable has a counter.
    pub counter: bool,
    /// Marks later exposed.
    pub exposures: usize,
    /// Marks measured a second time, to check.
    pub checks: usize,
    /// A second run joins the first.
    pub branch: bool,
    /// Factor of all errors: 1, or 0 for a job without any, tilt apart from the slope included.
    pub errors: f64,
    /// Figures are written in full, not as a crew would.
    pub exact: bool,
}

impl std::fmt::Debug for Crs {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.code)
    }
}

impl Default for Scenario {
    /// An everyday lateral: three tapes a mark, a pair of readings, ground given, metres, pushed downstream.
    fn default() -> Self {
        Self {
            class: "",
            crs: &frame::UTM_32,
            unit: Unit::Metre,
            methods: vec![Method::ThreeTies],
            upstream: false,
            grade: (0.005, 0.10),
            depth: (0.6, 2.5),
            ground_follows: false,
            marks: (6, 10),
            leg: (1.0, 5.0),
            bends: Vec::new(),
            belly: None,
            ends: EndPoints::None,
            readings: true,
            found: Found::Crossline,
            signals: Signals::None,
            upright: false,
            sensor_height: 0.0,
            tilts: false,
            heights: Heights::Given,
            site_grid: false,
            uncertain_control: false,
            camera: 0,
            again: 0,
            counter: true,
            exposures: 0,
            checks: 0,
            branch: false,
            errors: 1.0,
            exact: false,
        }
    }
}

macro_rules! knobs {
    ($($knob:ident: $type:ty),* $(,)?) => {
        impl Scenario {
            $(
                /// The same with this knob turned.
                pub fn $knob(&self, $knob: $type) -> Self {
                    Self { $knob, ..self.clone() }
                }
            )*
        }
    };
}

knobs! {
    class: &'static str,
    crs: &'static Crs,
    unit: Unit,
    methods: Vec<Method>,
    upstream: bool,
    grade: (f64, f64),
    depth: (f64, f64),
    ground_follows: bool,
    marks: (usize, usize),
    leg: (f64, f64),
    bends: Vec<Bend>,
    belly: Option<Belly>,
    ends: EndPoints,
    readings: bool,
    found: Found,
    signals: Signals,
    upright: bool,
    sensor_height: f64,
    tilts: bool,
    heights: Heights,
    site_grid: bool,
    uncertain_control: bool,
    camera: usize,
    again: usize,
    counter: bool,
    exposures: usize,
    checks: usize,
    branch: bool,
    errors: f64,
    exact: bool,
}
