//! Every column, once: name, quantity, whether it is always there, meaning, and where its value comes from.

use super::table::{Column, Getter, Item, Row};
use super::value::{Quantity, Value};
use crate::record::model::Ellipse;

/// Columns of one kind of item: `name: quantity, required or optional, "meaning" => value;` in braces, and between them the names of
/// functions whose columns several kinds share.
macro_rules! columns {
    ($(#[$doc:meta])* $function:ident, $pattern:pat =>
     $({ $($name:literal: $quantity:ident $need:ident, $meaning:literal => $value:expr;)* } $($shared:ident)?)+) => {
        $(#[$doc])*
        #[must_use]
        pub fn $function() -> Vec<Column> {
            let mut all = Vec::new();
            $(
                all.extend([$(Column {
                    name: $name.to_owned(),
                    quantity: Quantity::$quantity,
                    required: columns!(@ $need),
                    meaning: $meaning.to_owned(),
                    getter: Getter::Field({
                        #[allow(
                            unused_variables,
                            irrefutable_let_patterns,
                            reason = "a column takes of its row what it needs"
                        )]
                        fn get(row: Row<'_>) -> Value<'_> {
                            let $pattern = row else { return Value::Absent };
                            Value::from($value)
                        }
                        get
                    }),
                },)*]);
                $(all.extend($shared());)?
            )+
            all
        }
    };
    (@ required) => { true };
    (@ optional) => { false };
}

columns! {
    /// The ellipse of a place.
    ellipse, Row { record: Some(_), item } => {
        "semi_major_95": Length optional, "semi-major axis of the 95 % error ellipse" => ellipse_of(item).map(|e| e.semi_major_95);
        "semi_minor_95": Length optional, "semi-minor axis of the 95 % error ellipse" => ellipse_of(item).map(|e| e.semi_minor_95);
        "azimuth_95": Degrees optional, "grid azimuth of the ellipse's major axis" => ellipse_of(item).map(|e| e.azimuth_95);
    }
}

columns! {
    /// What every feature states.
    common, Row { record: Some(r), item } => {
        "id": Text required, "stable identity: supplier/job/run/mark" => id(item);
        "feature": Text required, "run, mark, camera, reference or crossing" => feature(item);
        "supplier": Text optional, "who made the record" => &r.job.supplier;
        "job": Text required, "job id" => &r.job.id;
        "revision": Integer optional, "revision of the record" => r.job.revision;
        "unit": Text required, "unit of lengths: m, ft or us-ft" => r.frame.unit.symbol();
        "crs": Text required, "coordinate system of easting and northing" => &r.frame.crs;
        "vertical": Text optional, "height datum" => &r.frame.vertical;
        "located_on": Text optional, "date of locating, ISO 8601" => &r.job.located_on;
    }
}

columns! {
    /// A mark.
    mark, Row { item: Item::Mark(m), .. } => {
        "run": Text required, "run id" => &m.run;
        "mark": Text required, "mark name" => &m.mark;
        "station": Length optional, "horizontal distance along the run" => m.station;
        "counter": Length optional, "cable counter as entered" => m.counter;
        "along_pipe": Length optional, "length along the pipe in 3D" => m.along_pipe;
        "easting": Coordinate required, "the transmitter's place" => m.easting;
        "northing": Coordinate required, "the transmitter's place" => m.northing;
    } ellipse {
        "horizontal_95": Length optional, "radius of the circle that holds 95 %" => m.horizontal_95;
        "ground": Length optional, "ground elevation" => m.ground;
        "transmitter_depth": Length optional, "ground to transmitter axis, accepted" => m.transmitter_depth;
        "depth_basis": Text required, "readings, ends, exposed or none" => m.depth_basis.word();
        "cover": Length optional, "ground to the outside top of the pipe" => m.cover;
        "cover_least": Length optional, "lower one-sided 95 % bound of the cover" => m.cover_least;
        "invert": Length optional, "invert elevation" => m.invert;
        "invert_depth": Length optional, "ground to invert" => m.invert_depth;
        "invert_95": Length optional, "95 % bound of the invert's elevation" => m.invert_95;
        "depth_95": Length optional, "95 % bound of the depth" => m.depth_95;
        "tilt": Degrees optional, "transmitter's tilt, lens end up positive" => m.tilt;
        "axis_azimuth": Degrees optional, "grid azimuth of the pipe in the push direction" => m.axis_azimuth;
        "evidence": Text required, "exposed, located, inferred or records" => m.evidence.word();
        "accuracy_basis": Text required, "modelled or tested" => m.accuracy_basis.word();
        "redundancy": Ratio optional, "sum of the redundancy numbers of its own measurements" => m.redundancy;
        "largest_residual": Ratio optional, "largest absolute standardised residual" => m.largest_residual;
        "fitting": Text optional, "what is on the pipe here" => &m.fitting;
        "note": Text optional, "note as entered" => &m.note;
        "findings": Text optional, "codes of its findings, space-separated" => &m.findings;
        "source": Text required, "row that it comes from" => &m.source;
    }
}

columns! {
    /// A run.
    run, Row { item: Item::Run(n), .. } => {
        "run": Text required, "run id" => &n.run;
        "length": Length optional, "length in 3D; in plan where inverts aren't known" => n.length;
        "length_plan": Length optional, "horizontal length" => n.length_plan;
        "fall": Length optional, "fall from the upstream to the downstream end" => n.fall;
        "grade": Percent optional, "grade of the best line, falling with the flow positive" => n.grade;
        "grade_95": Percent optional, "95 % bound of the grade" => n.grade_95;
        "min_cover": Length optional, "least cover at a mark" => n.min_cover;
        "max_depth": Length optional, "greatest transmitter depth at a mark" => n.max_depth;
        "diameter": Length optional, "inside diameter" => n.diameter;
        "material": Text optional, "material as entered" => n.texts.get("material");
        "system": Text optional, "sanitary, storm or combined" => n.texts.get("system");
        "pushed": Text required, "the way the counter grows: downstream or upstream" => &n.pushed;
        "from": Text optional, "upstream end" => n.texts.get("from");
        "to": Text optional, "downstream end" => n.texts.get("to");
        "joins": Text optional, "run that it joins" => &n.joins;
        "asset": Text optional, "asset number as entered" => n.texts.get("asset");
        "main_asset": Text optional, "asset number of the main as entered" => n.texts.get("main_asset");
        "status": Text optional, "active, abandoned or replaced" => n.texts.get("status");
        "parcel": Text optional, "parcel as entered" => n.texts.get("parcel");
        "address": Text optional, "address as entered" => n.texts.get("address");
        "permit": Text optional, "permit as entered" => n.texts.get("permit");
        "marks": Integer required, "number of marks" => n.marks;
        "evidence": Text required, "its weakest evidence" => n.evidence.word();
    }
}

columns! {
    /// A camera observation.
    camera, Row { item: Item::Camera(c), .. } => {
        "run": Text required, "run id" => &c.run;
        "counter": Length required, "cable counter at the lens as entered" => c.counter;
        "station": Length optional, "horizontal distance along the run" => c.station;
        "what": Text required, "what was seen" => &c.what;
        "clock": Text optional, "position on the pipe wall, 1 to 12" => &c.clock;
        "easting": Coordinate optional, "computed place" => c.easting;
        "northing": Coordinate optional, "computed place" => c.northing;
    } ellipse {
        "transmitter_depth": Length optional, "ground to transmitter axis there" => c.transmitter_depth;
        "invert": Length optional, "invert elevation there" => c.invert;
        "invert_depth": Length optional, "ground to invert there" => c.invert_depth;
        "note": Text optional, "note as entered" => &c.note;
    }
}

columns! {
    /// A reference point.
    reference, Row { item: Item::Reference(p), .. } => {
        "point": Text required, "name" => &p.point;
        "easting": Coordinate required, "place" => p.easting;
        "northing": Coordinate required, "place" => p.northing;
    } ellipse {
        "elevation": Length optional, "elevation" => p.elevation;
        "description": Text optional, "description as entered" => &p.description;
        "solved": Text required, "solved from measurements: yes or no" => p.solved;
    }
}

columns! {
    /// A vertex of a run. The unit and the coordinate system come last: every file states them.
    profile, Row { record: Some(r), item: Item::Vertex(n, v) } => {
        "run": Text required, "run id" => &n.run;
        "kind": Text required, "mark, bend (inferred) or junction" => v.kind.word();
        "mark": Text optional, "mark name" => &v.mark;
        "station": Length required, "horizontal distance along the run" => v.station;
        "easting": Coordinate required, "place" => v.easting;
        "northing": Coordinate required, "place" => v.northing;
    } ellipse {
        "ground": Length optional, "ground elevation" => v.ground;
        "transmitter_depth": Length optional, "ground to transmitter axis" => v.transmitter_depth;
        "cover": Length optional, "ground to the outside top of the pipe" => v.cover;
        "invert": Length optional, "invert elevation" => v.invert;
        "invert_95": Length optional, "95 % bound of the invert's elevation" => v.invert_95;
        "grade": Percent optional, "grade to the next vertex, falling positive" => v.grade;
        "grade_95": Percent optional, "95 % bound of the grade" => v.grade_95;
        "unit": Text required, "unit of lengths: m, ft or us-ft" => r.frame.unit.symbol();
        "crs": Text required, "coordinate system of easting and northing" => &r.frame.crs;
        "vertical": Text optional, "height datum" => &r.frame.vertical;
    }
}

columns! {
    /// Ties of a point: two or three ground distances, in full and as the sheet prints them.
    ties, Row { record: Some(r), item: Item::Tie(t) } => {
        "id": Text required, "id of the mark or camera observation" => &t.id;
        "feature": Text required, "mark or camera" => &t.feature;
        "job": Text required, "job id" => &r.job.id;
        "run": Text required, "run id" => &t.run;
        "name": Text required, "mark name, or what the camera saw" => &t.name;
        "ref_1": Text optional, "first reference" => t.distances.first().map(|d| &d.reference);
        "distance_1": Length optional, "ground distance from it" => t.distances.first().map(|d| d.distance);
        "text_1": Text optional, "that distance as the sheet prints it" => t.distances.first().map(|d| &d.text);
        "ref_2": Text optional, "second reference" => t.distances.get(1).map(|d| &d.reference);
        "distance_2": Length optional, "ground distance from it" => t.distances.get(1).map(|d| d.distance);
        "text_2": Text optional, "that distance as the sheet prints it" => t.distances.get(1).map(|d| &d.text);
        "ref_3": Text optional, "third reference" => t.distances.get(2).map(|d| &d.reference);
        "distance_3": Length optional, "ground distance from it" => t.distances.get(2).map(|d| d.distance);
        "text_3": Text optional, "that distance as the sheet prints it" => t.distances.get(2).map(|d| &d.text);
        "semi_major_95": Length optional, "95 % semi-major axis of a place set out from these ties" => t.semi_major_95;
        "unit": Text required, "unit of lengths: m, ft or us-ft" => r.frame.unit.symbol();
    }
}

columns! {
    /// Where a run crosses or comes near something of a site plan.
    crossing, Row { item: Item::Crossing(x), .. } => {
        "run": Text required, "run id" => &x.run;
        "meeting": Text required, "crosses, within or near" => x.meeting.word();
        "role": Text required, "what the plan's layer is taken for" => &x.role;
        "layer": Text required, "layer of the plan" => &x.layer;
        "kind": Text optional, "kind of a utility" => &x.kind;
        "name": Text optional, "name of the plan's feature" => &x.name;
        "station": Length required, "horizontal distance along the run" => x.station;
        "easting": Coordinate required, "place on the run" => x.easting;
        "northing": Coordinate required, "place on the run" => x.northing;
    } ellipse {
        "along_95": Length optional, "95 % bound of where along the plan's line the pipe crosses" => x.along_95;
        "distance": Length required, "run's line to the feature as drawn, horizontal" => x.distance;
        "clearance": Length required, "the same less the half widths that are known" => x.clearance;
        "clearance_95": Length optional, "95 % bound of distance and clearance" => x.clearance_95;
        "transmitter_depth": Length optional, "ground to transmitter axis there" => x.transmitter_depth;
        "depth_95": Length optional, "95 % bound of depth and cover there" => x.depth_95;
        "cover": Length optional, "ground to the outside top of the pipe there" => x.cover;
        "cover_least": Length optional, "lower one-sided 95 % bound of the cover there" => x.cover_least;
        "invert": Length optional, "invert elevation there" => x.invert;
        "invert_95": Length optional, "95 % bound of the invert there" => x.invert_95;
        "passes": Text optional, "over or under the other utility" => &x.passes;
        "vertical_clearance": Length optional, "between the outsides of pipe and utility, in height" => x.vertical_clearance;
        "vertical_clearance_95": Length optional, "95 % bound of it" => x.vertical_clearance_95;
        "direction": Text optional, "separation required: horizontal or vertical" => x.requirement.as_ref().map(|r| r.direction.word());
        "required": Length optional, "how much of it is required" => x.requirement.as_ref().map(|r| r.required);
        "required_by": Text optional, "where the requirement comes from" => x.requirement.as_ref().and_then(|r| r.source.as_deref());
        "separation": Text optional, "met, not met, or can't be told, the bound included" => x.requirement.as_ref().map(|r| r.verdict.word());
        "source": Text required, "the feature: file!layer:number" => &x.source;
    }
}

columns! {
    /// A finding. Its figures are in the unit that its message names.
    findings, Row { item: Item::Finding(f), .. } => {
        "code": Text required, "what it is about" => f.code.word();
        "level": Text required, "error, warning or note" => f.level.word();
        "job": Text required, "job id" => &f.job;
        "run": Text optional, "run id" => &f.run;
        "mark": Text optional, "mark or point" => &f.mark;
        "source": Text optional, "file:row" => &f.source;
        "value": Figure optional, "figure found, in the unit that the message names" => f.value;
        "limit": Figure optional, "limit it was held against, same unit" => f.limit;
        "message": Text required, "what is wrong and what to do" => &f.message;
    }
}

/// The stable identity of an item.
#[must_use]
pub fn id(item: Item<'_>) -> &str {
    match item {
        Item::Run(n) | Item::Vertex(n, _) => &n.id,
        Item::Mark(m) => &m.id,
        Item::Camera(c) => &c.id,
        Item::Reference(p) => &p.id,
        Item::Tie(t) => &t.id,
        Item::Crossing(x) => &x.id,
        Item::Finding(f) => &f.job,
    }
}

/// The 95 % ellipse of an item's place.
#[must_use]
pub fn ellipse_of(item: Item<'_>) -> Option<Ellipse> {
    match item {
        Item::Mark(m) => m.ellipse,
        Item::Camera(c) => c.ellipse,
        Item::Reference(p) => p.ellipse,
        Item::Vertex(_, v) => v.ellipse,
        Item::Crossing(x) => x.ellipse,
        Item::Run(_) | Item::Tie(_) | Item::Finding(_) => None,
    }
}

/// What a feature is; also the name of its table.
pub(super) fn feature(item: Item<'_>) -> &'static str {
    match item {
        Item::Run(_) => "run",
        Item::Mark(_) => "mark",
        Item::Camera(_) => "camera",
        Item::Reference(_) => "reference",
        Item::Vertex(..) => "vertex",
        Item::Tie(_) => "tie",
        Item::Crossing(_) => "crossing",
        Item::Finding(_) => "finding",
    }
}
