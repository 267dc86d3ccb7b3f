//! The tables that a job's files and sheets hold.

/// `runs.csv`.
pub mod runs {
    pub use super::super::settings::run::*;
}

/// `pushes.csv`.
pub mod pushes {
    use crate::job::schema::{Form, Sign, table};

    table! { "pushes", "Pushes of the camera: where a run was pushed more than once, or both ways from one opening.", key PUSH, numbered &[];
        PUSH "push" Form::Name, required, "name of the push", "1";
        RUN "run" Form::Name, required, "run that was pushed", "A";
        PUSHED "pushed" Form::Word(&["downstream", "upstream"]), optional, "the way that the counter grows", "downstream";
        COUNTER_AT_START "counter_at_start" Form::Length(Sign::Any), optional, "counter with the lens at the opening", "0";
        START "start" Form::Name, optional, "mark or point that is the opening", "P1";
        NOTE "note" Form::Text, optional, "free text", "";
        USE "use" Form::Word(&["yes", "no"]), optional, "no leaves the row out", "";
    }
}

/// `control.csv`.
pub mod control {
    use crate::job::schema::{Form, Sign, table};

    table! { "control", "Reference points: known, or to be solved from the measurements.", key POINT, numbered &[];
        POINT "point" Form::Name, required, "name of the point, unique", "P1";
        EASTING "easting" Form::Grid, optional, "easting, in the unit of the coordinate system", "1448210.55";
        NORTHING "northing" Form::Grid, optional, "northing, in the unit of the coordinate system", "562310.20";
        LATITUDE "latitude" Form::Latitude, optional, "latitude", "";
        LONGITUDE "longitude" Form::Longitude, optional, "longitude", "";
        HEIGHT "height" Form::Length(Sign::Any), optional, "height above the ellipsoid", "";
        DATUM "datum" Form::Text, optional, "datum of latitude and longitude; without it the coordinate system's own", "";
        X "x" Form::Length(Sign::Any), optional, "x on the site grid", "";
        Y "y" Form::Length(Sign::Any), optional, "y on the site grid", "";
        ELEVATION "elevation" Form::Length(Sign::Any), optional, "elevation in the job's height datum", "705.32";
        SIGMA "sigma" Form::Length(Sign::NotNegative), optional, "one-sigma of each horizontal coordinate; without it the point is exact", "";
        SIGMA_V "sigma_v" Form::Length(Sign::NotNegative), optional, "one-sigma of the height", "";
        DESCRIPTION "description" Form::Text, optional, "what it is, so that it can be found again", "cleanout at the rear wall, middle of its cap";
        PERMANENT "permanent" Form::YesNo, optional, "may be used to find the pipe again (default yes)", "yes";
        USE "use" Form::Word(&["yes", "no", "check"]), optional, "no leaves the row out, check only compares it", "";
    }
}

/// `marks.csv`.
pub mod marks {
    use crate::job::schema::{Column, Form, Sign, table};

    /// Number of the taped distance among the numbered columns.
    pub const TIE_REF: usize = 0;
    /// Number of its reference point.
    pub const TIE: usize = 1;

    static TIES: [Column; 2] = [
        Column {
            name: "tie_N_ref",
            form: Form::Name,
            required: false,
            meaning: "reference point of tie N",
            example: "",
        },
        Column {
            name: "tie_N",
            form: Form::Length(Sign::Positive),
            required: false,
            meaning: "taped distance from the reference point",
            example: "",
        },
    ];

    table! { "marks", "Located points, one a row.", key MARK, numbered &TIES;
        RUN "run" Form::Name, optional, "run; may be left out where the job has one", "A";
        MARK "mark" Form::Name, required, "name of the mark, unique in the job", "A1";
        PUSH "push" Form::Name, optional, "push, if the run has several", "1";
        COUNTER "counter" Form::Length(Sign::Any), optional, "cable counter at the lens", "13.5";
        ROLE "role" Form::Word(&["centre", "end_ahead", "end_behind", "peak", "exposed"]), optional, "what was located (default centre)", "centre";
        BASELINE "baseline" Form::Baseline, optional, "line that station and offset refer to", "";
        STATION "station" Form::Station, optional, "along the baseline from its first point", "";
        OFFSET "offset" Form::Offset, optional, "square off the baseline, right positive", "";
        SIDE "side" Form::Word(&["left", "right"]), optional, "with two ties: side of the line ref 1 to ref 2", "";
        SETUP "setup" Form::Name, optional, "point that was measured from", "P1";
        BACKSIGHT "backsight" Form::Name, optional, "point sighted for zero", "";
        ANGLE "angle" Form::Angle, optional, "clockwise from the backsight", "";
        BEARING "bearing" Form::Bearing, optional, "bearing to the mark", "N 45\u{b0}30' E";
        BEARING_FROM "bearing_from" Form::Word(&["magnetic", "true", "grid"]), optional, "north of the bearing (default magnetic)", "grid";
        DISTANCE "distance" Form::Length(Sign::Positive), optional, "distance to the mark", "12' 3 1/2\"";
        LATITUDE "latitude" Form::Latitude, optional, "latitude by GNSS", "";
        LONGITUDE "longitude" Form::Longitude, optional, "longitude by GNSS", "";
        HEIGHT "height" Form::Length(Sign::Any), optional, "height above the ellipsoid", "";
        FIX "fix" Form::Word(&["rtk", "fixed", "float", "dgnss", "single"]), optional, "kind of GNSS solution", "";
        SIGMA "sigma" Form::Length(Sign::Positive), optional, "one-sigma of each horizontal coordinate", "";
        SIGMA_V "sigma_v" Form::Length(Sign::Positive), optional, "one-sigma of the height", "";
        DATUM "datum" Form::Text, optional, "datum of latitude and longitude", "";
        POLE "pole" Form::Length(Sign::NotNegative), optional, "antenna above the ground", "";
        FROM_TIME "from_time" Form::Time, optional, "average the receiver log from this UTC time", "";
        TO_TIME "to_time" Form::Time, optional, "average the receiver log up to this UTC time", "";
        EASTING "easting" Form::Grid, optional, "easting from elsewhere", "";
        NORTHING "northing" Form::Grid, optional, "northing from elsewhere", "";
        ELEVATION "elevation" Form::Length(Sign::Any), optional, "elevation from elsewhere", "";
        GROUND "ground" Form::Length(Sign::Any), optional, "ground elevation at the mark", "705.10";
        DEPTH_1 "depth_1" Form::Length(Sign::Any), optional, "depth reading as first turned", "4.1";
        DEPTH_2 "depth_2" Form::Length(Sign::Any), optional, "depth reading half a turn on", "4.2";
        DEPTH_3 "depth_3" Form::Length(Sign::Any), optional, "depth reading a quarter turn", "";
        DEPTH_4 "depth_4" Form::Length(Sign::Any), optional, "depth reading three quarters of a turn", "";
        READ_BY "read_by" Form::Word(&["automatic", "manual"]), optional, "how the receiver was made to give them (default automatic)", "automatic";
        LIFT "lift" Form::Length(Sign::NotNegative), optional, "receiver's lowest point above the ground", "0";
        ATTITUDE "attitude" Form::Word(&["level", "tilted", "vertical"]), optional, "how the transmitter lies (default level)", "level";
        FOUND_BY "found_by" Form::Word(&["crossline", "peak"]), optional, "how the mark was found (default crossline)", "crossline";
        END_AHEAD "end_ahead" Form::Length(Sign::Positive), optional, "taped from the mark to the end point ahead", "";
        END_BEHIND "end_behind" Form::Length(Sign::Positive), optional, "taped from the mark to the end point behind", "";
        SIGNAL "signal" Form::Number(Sign::Any), optional, "receiver's signal at the mark", "";
        SIGNAL_AHEAD "signal_ahead" Form::Number(Sign::Any), optional, "signal ahead", "";
        SIGNAL_BEHIND "signal_behind" Form::Number(Sign::Any), optional, "signal behind", "";
        SIGNAL_LEFT "signal_left" Form::Number(Sign::Any), optional, "signal to the left", "";
        SIGNAL_RIGHT "signal_right" Form::Number(Sign::Any), optional, "signal to the right", "";
        SIGNAL_STEP "signal_step" Form::Length(Sign::Positive), optional, "step to each side for the signals", "";
        PEAK_CHECKED "peak_checked" Form::YesNo, optional, "the signal was seen to fall off on every side", "yes";
        TILT "tilt" Form::Angle, optional, "tilt of the transmitter, lens end up positive", "";
        INVERT_DEPTH "invert_depth" Form::Length(Sign::Any), optional, "exposed: measured from ground to invert", "";
        FITTING "fitting" Form::Text, optional, "what is on the pipe here: cleanout, bend, junction, main connection, \u{2026}", "";
        QUALITY_LEVEL "quality_level" Form::Text, optional, "utility quality level as a named professional assigned it", "";
        QUALITY_BY "quality_by" Form::Text, optional, "who assigned it", "";
        PHOTO "photo" Form::Text, optional, "file name of a photo", "";
        NOTE "note" Form::Text, optional, "free text", "";
        USE "use" Form::Word(&["yes", "no", "check"]), optional, "no leaves the row out, check only compares it", "";
    }
}

/// `measures.csv`.
pub mod measures {
    use crate::job::schema::{Form, Sign, table};

    table! { "measures", "Any further measurement, one a row.", key KIND, numbered &[];
        KIND "kind" Form::Word(&["distance", "angle", "bearing", "height_difference"]), required, "what was measured", "distance";
        AT "at" Form::Name, optional, "angle: point of the instrument", "";
        FROM "from" Form::Name, required, "from; for an angle the backsight", "P1";
        TO "to" Form::Name, required, "to; for an angle the target", "A1";
        VALUE "value" Form::LengthOrAngle, required, "what was read", "12.30";
        SIGMA "sigma" Form::LengthOrAngle, optional, "its one-sigma", "";
        BEARING_FROM "bearing_from" Form::Word(&["magnetic", "true", "grid"]), optional, "north of a bearing (default magnetic)", "";
        NOTE "note" Form::Text, optional, "free text", "";
        USE "use" Form::Word(&["yes", "no", "check"]), optional, "no leaves the row out, check only compares it", "";
    }

    /// The form of a value, by the row's kind.
    pub fn value_form(kind: &str) -> Form {
        match kind {
            "angle" => Form::Angle,
            "bearing" => Form::Bearing,
            "distance" => Form::Length(Sign::Positive),
            _ => Form::Length(Sign::Any),
        }
    }

    /// The form of a one-sigma, by the row's kind.
    pub fn sigma_form(kind: &str) -> Form {
        match kind {
            "angle" | "bearing" => Form::Angle,
            _ => Form::Length(Sign::Positive),
        }
    }
}

/// `camera.csv`.
pub mod camera {
    use crate::job::schema::{Form, Sign, table};

    table! { "camera", "What the camera saw, by cable counter.", key WHAT, numbered &[];
        RUN "run" Form::Name, optional, "run; may be left out where the job has one", "A";
        PUSH "push" Form::Name, optional, "push, if the run has several", "1";
        COUNTER "counter" Form::Length(Sign::Any), required, "cable counter at the lens", "14.2";
        WHAT "what" Form::Text, required, "what was seen", "roots at a joint";
        NOTE "note" Form::Text, optional, "free text", "";
        CLOCK "clock" Form::Clock, optional, "position on the pipe wall, 1 to 12", "3";
        UNTIL "until" Form::Length(Sign::Any), optional, "counter at the end of a stretch", "";
        PHOTO "photo" Form::Text, optional, "file name of a photo", "";
        DIG "dig" Form::YesNo, optional, "yes asks for a dig page", "no";
        USE "use" Form::Word(&["yes", "no"]), optional, "no leaves the row out", "";
    }
}

/// `levels.csv`.
pub mod levels {
    use crate::job::schema::{Form, Sign, table};

    table! { "levels", "Levelling book, in the order of the book.", key POINT, numbered &[];
        POINT "point" Form::Name, required, "point that the staff stood on", "P1";
        BACKSIGHT "backsight" Form::Length(Sign::Any), optional, "backsight reading", "4.85";
        INTERMEDIATE "intermediate" Form::Length(Sign::Any), optional, "intermediate sight", "";
        FORESIGHT "foresight" Form::Length(Sign::Any), optional, "foresight", "";
        DISTANCE "distance" Form::Length(Sign::NotNegative), optional, "length of the set-up's sights", "";
        NOTE "note" Form::Text, optional, "free text", "";
        USE "use" Form::Word(&["yes", "no"]), optional, "no leaves the row out", "";
    }
}
