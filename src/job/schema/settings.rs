//! The sections of `job.toml`, which are also the rows of a workbook's `job` sheet.

use std::sync::LazyLock;

use super::{Column, Form, Sign, TableSpec};
use crate::limits::{Accuracy, Limits, Quantity, Setting};

/// `[job]`.
pub mod head {
    use crate::job::schema::{Form, table};

    table! { "job", "Who, where, when.", key ID, numbered &[];
        ID "id" Form::Id, required, "What is the job's number or short name?", "LAT-0042";
        SUPPLIER "supplier" Form::Text, optional, "Which firm makes this record?", "Example Drain Survey";
        TITLE "title" Form::Text, optional, "What should the sheet be titled?", "Sewer lateral, 12 Alder Row";
        LOCATED_ON "located_on" Form::Date, optional, "On which day was the pipe located?", "2026-05-14";
        LOCATED_BY "located_by" Form::Text, optional, "Who located it?", "J. Doe";
        CLIENT "client" Form::Text, optional, "Who ordered it?", "";
        SITE "site" Form::Text, optional, "What is the site called?", "";
        ADDRESS "address" Form::Text, optional, "What is the address?", "12 Alder Row";
        PARCEL "parcel" Form::Text, optional, "Which parcel is it?", "";
        PERMIT "permit" Form::Text, optional, "Which permit is it under?", "";
        NOTE "note" Form::Text, optional, "Anything to note?", "";
        CHECKED_BY "checked_by" Form::Text, optional, "Who checked the record?", "";
        LICENCE "licence" Form::Text, optional, "Under which licence does that person practise?", "";
        REVISION "revision" Form::Count, optional, "Which revision is this?", "1";
        SUPERSEDES "supersedes" Form::Text, optional, "Which record does it replace (its hash)?", "";
    }
}

/// `[grid]`.
pub mod grid {
    use crate::job::schema::{Form, Sign, table};

    table! { "grid", "Coordinate system, units and heights.", key CRS, numbered &[];
        CRS "crs" Form::Crs, required, "Which projected coordinate system should the results be in? local for an assumed site grid", "EPSG:2264";
        UNIT "unit" Form::Word(&["m", "ft", "us-ft"]), required, "In which unit are plain lengths: m, ft (0.3048 m) or us-ft (1200/3937 m)?", "ft";
        VERTICAL "vertical" Form::Text, optional, "Which datum are the elevations in?", "NAVD88";
        GEOID "geoid" Form::Text, optional, "Which geoid model is behind the heights?", "";
        HEIGHT "height" Form::Length(Sign::Any), optional, "How high is the ground of the site, about?", "705 ft";
        TAPED "taped" Form::Word(&["level", "slope"]), optional, "Were lengths taped level or along the slope?", "level";
        DISTANCES "distances" Form::Word(&["ground", "grid"]), optional, "Are the lengths ground lengths, or grid lengths already?", "ground";
        GEOID_SEPARATION "geoid_separation" Form::Length(Sign::Any), optional, "What is ellipsoidal height minus elevation here?", "";
        DECLINATION "declination" Form::Declination, optional, "What is the magnetic declination, in degrees east? Left out: by model", "";
    }
}

/// `[equipment]`.
pub mod equipment {
    use crate::job::schema::{Form, Sign, table};

    table! { "equipment", "Receiver, transmitter and pole.", key RECEIVER, numbered &[];
        RECEIVER "receiver" Form::Text, optional, "Which receiver was used?", "";
        SERIAL "serial" Form::Text, optional, "What is its serial number?", "";
        FREQUENCY "frequency" Form::Text, optional, "On which frequency?", "";
        LAST_CHECKED "last_checked" Form::Text, optional, "When was it last checked?", "";
        LENS_TO_TRANSMITTER "lens_to_transmitter" Form::Length(Sign::Any), optional, "How far is it along the rod from the lens back to the transmitter's centre?", "0.9 ft";
        AXIS_ABOVE_INVERT "axis_above_invert" Form::Length(Sign::NotNegative), optional, "How high does the transmitter's axis lie above the invert?", "1.5 in";
        SENSOR_HEIGHT "sensor_height" Form::Length(Sign::NotNegative), optional, "How high was the receiver's sensing point above the ground while end points and crossline were found?", "0 in";
        ANTENNA_HEIGHT "antenna_height" Form::Length(Sign::NotNegative), optional, "How long is the GNSS pole?", "0 ft";
        SIGNAL_IS_LINEAR "signal_is_linear" Form::YesNo, optional, "Are signal readings proportional to field strength?", "no";
    }
}

/// `[publish]`.
pub mod publish {
    use crate::job::schema::{Form, table};

    table! { "publish", "What may leave the record.", key COLUMNS, numbered &[];
        COLUMNS "columns" Form::Names, optional, "Which further columns of marks may be published?", "";
    }
}

/// `[points]`: files of other people's points, see [`crate::job::points`].
pub mod points {
    use crate::job::schema::{Form, table};

    table! { "points", "Files of other people's points.", key FILES, numbered &[];
        FILES "files" Form::Names, optional, "Which files in the job's folder hold points (text, GeoJSON, GeoPackage)?", "";
        COLUMNS "columns" Form::Names, optional, "Which columns do they have, in their order (point, northing, easting, elevation, description)?", "";
    }
}

/// `[layers]`: names of the layers of `asbuilt.dxf`, see [`crate::export::dxf::layers`].
pub mod layers {
    use crate::job::schema::{Form, table};

    table! { "layers", "Names of the drawing's layers.", key RUN, numbered &[];
        RUN "run" Form::Text, optional, "Layer of sanitary and combined runs", "V-SSWR-PIPE";
        RUN_STORM "run_storm" Form::Text, optional, "Layer of storm runs", "V-STRM-PIPE";
        MARK "mark" Form::Text, optional, "Layer of marks of sanitary and combined runs", "V-NODE-SSWR";
        MARK_STORM "mark_storm" Form::Text, optional, "Layer of marks of storm runs", "V-NODE-STRM";
        CAMERA "camera" Form::Text, optional, "Layer of camera observations", "V-NODE-CMRA";
        REFERENCE "reference" Form::Text, optional, "Layer of reference points", "V-CTRL-HCPT";
        CROSSING "crossing" Form::Text, optional, "Layer of places where a run crosses what a site plan shows", "V-NODE-CRSG";
        LABEL "label" Form::Text, optional, "Layer of labels", "V-ANNO-TEXT";
        NOTICE "notice" Form::Text, optional, "Layer of the cautions", "V-ANNO-NOTE";
    }
}

/// `[[run]]`, and the rows of `runs.csv`.
pub mod run {
    use crate::job::schema::{Form, Sign, table};

    table! { "runs", "Runs of pipe, one a row.", key ID, numbered &[];
        ID "id" Form::Name, required, "Name of the run", "A";
        DIAMETER "diameter" Form::Length(Sign::Positive), optional, "Inside diameter", "4 in";
        WALL "wall" Form::Length(Sign::NotNegative), optional, "Wall thickness", "0.24 in";
        MATERIAL "material" Form::Text, optional, "Material", "PVC";
        PUSHED "pushed" Form::Word(&["downstream", "upstream"]), optional, "The way that the counter grows", "downstream";
        SYSTEM "system" Form::Word(&["sanitary", "storm", "combined"]), optional, "What it carries", "sanitary";
        FROM "from" Form::Text, optional, "Upstream end, whatever the push", "cleanout at rear wall";
        TO "to" Form::Text, optional, "Downstream end", "main in Alder Row";
        MIN_GRADE "min_grade" Form::MinGrade, optional, "Least grade to check against", "2 %";
        STATION_FROM "station_from" Form::Word(&["upstream", "downstream"]), optional, "End that has station 0", "upstream";
        ASSET "asset" Form::Text, optional, "Asset number", "";
        MAIN_ASSET "main_asset" Form::Text, optional, "Asset number of the main", "";
        STATUS "status" Form::Word(&["active", "abandoned", "replaced"]), optional, "Status", "active";
        PARCEL "parcel" Form::Text, optional, "Parcel", "";
        ADDRESS "address" Form::Text, optional, "Address", "";
        AXIS_ABOVE_INVERT "axis_above_invert" Form::Length(Sign::NotNegative), optional, "Transmitter axis above the invert, if not the job's", "";
        JOINS "joins" Form::Name, optional, "Run that this branch joins", "";
        USE "use" Form::Word(&["yes", "no"]), optional, "no leaves the row out", "";
    }
}

/// `[run_default]`: the keys of a run.
pub static RUN_DEFAULT: TableSpec = TableSpec {
    name: "run_default",
    meaning: "What a run that does not say otherwise is.",
    ..run::TABLE
};

/// `[accuracy]`, from the settings themselves.
pub fn accuracy() -> &'static TableSpec {
    static SPEC: LazyLock<TableSpec> = LazyLock::new(|| {
        of_settings(
            "accuracy",
            "One-sigma figures of measuring.",
            Accuracy::SETTINGS,
        )
    });
    &SPEC
}

/// `[limits]`, from the settings themselves.
pub fn limits() -> &'static TableSpec {
    static SPEC: LazyLock<TableSpec> =
        LazyLock::new(|| of_settings("limits", "When findings are raised.", Limits::SETTINGS));
    &SPEC
}

fn of_settings(
    name: &'static str,
    meaning: &'static str,
    settings: &'static [Setting],
) -> TableSpec {
    let columns: Vec<Column> = settings
        .iter()
        .map(|setting| Column {
            name: setting.name,
            form: match setting.quantity {
                Quantity::Length => Form::Length(Sign::NotNegative),
                Quantity::Angle => Form::Angle,
                Quantity::Number => Form::Fraction,
            },
            required: false,
            meaning: setting.meaning,
            example: "",
        })
        .collect();
    TableSpec {
        name,
        meaning,
        columns: columns.leak(),
        numbered: &[],
        key: 0,
    }
}

/// The sections of `job.toml` that hold single values, in its order.
pub fn sections() -> [&'static TableSpec; 9] {
    [
        &head::TABLE,
        &grid::TABLE,
        &equipment::TABLE,
        accuracy(),
        limits(),
        &publish::TABLE,
        &points::TABLE,
        &layers::TABLE,
        &RUN_DEFAULT,
    ]
}
