//! Plain deliveries: points of a CSV, GeoJSON or GeoPackage, one row a mark, as the field file names their columns; made into records.
//!
//! Rows of one supplier and job are one delivery, rows of one run its marks: in the order of `order`, downstream, else as they stand.
//! What the columns don't say is not made up: it is absent, and the checks say what is missing.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;

use geo::Geometry;

use super::fields::Fields;
use super::read::{Delivery, Refusal};
use super::said::Said;
use crate::crs::{Crs, Datum, shift_sigma};
use crate::export::record::seal;
use crate::job::{near, normal, read_headed};
use crate::maps::{self, System};
use crate::math::stats::ELLIPSE_95;
use crate::record::AsBuilt;
use crate::record::model::{
    Accuracy, AccuracyBasis, Adjustment, Cells, DepthBasis, Ellipse, Equipment, Evidence, Frame,
    Input, JobHead, Mark, Operation, Paint, Run, SCHEMA, Vertex, VertexKind,
};
use crate::units::{LengthUnit, Plain, parse_date, parse_number, parse_time};

/// What a record that a plain delivery became says of what made it, after the program and its version.
const FROM_PLAIN: &str = ", from a plain delivery";

/// Whether a record is what a plain delivery became.
#[must_use]
pub fn is_plain(record: &AsBuilt) -> bool {
    record.generator.ends_with(FROM_PLAIN)
}

/// The operations whose doubt is in all bounds of a record: of a plain delivery that came in longitude and latitude.
#[must_use]
pub fn operations(record: &AsBuilt) -> &[Operation] {
    if is_plain(record) {
        &record.frame.operations
    } else {
        &[]
    }
}

/// A row: its number, its place (CRS unit), its cells.
struct Point {
    number: u64,
    at: (f64, f64),
    cells: BTreeMap<String, String>,
}

/// Rows, with how their figures are to be taken.
struct Rows<'a> {
    fields: &'a Fields,
    crs: Crs,
    unit: LengthUnit,
    vertical: Option<String>,
    plain: Plain,
    /// What brought the places to the grid, where it leaves them in doubt.
    by: Option<Operation>,
    points: Vec<Point>,
}

/// What a file says.
struct Content {
    system: System,
    decimal_comma: bool,
    points: Vec<Point>,
}

/// Why a file can't be taken: code and message.
pub(super) type Wrong = (&'static str, String);

fn unreadable(why: impl std::fmt::Display) -> Wrong {
    Refusal::why(&why)
}

/// Reads a plain file; one delivery for each supplier and job in it.
#[must_use]
pub fn deliveries(path: &Path, fields: &Fields) -> Vec<Result<Delivery, Refusal>> {
    let mut rows = match rows(path, fields) {
        Ok(rows) => rows,
        Err((code, message)) => return vec![Err(Refusal::file(path, code, message))],
    };
    let points = std::mem::take(&mut rows.points);
    by_job(points, fields)
        .into_iter()
        .map(|((supplier, job), points)| {
            let source = format!("{} ({supplier}/{job})", path.display());
            match rows.record(path, (&supplier, &job), points) {
                Ok(record) => Ok(Delivery {
                    source,
                    record,
                    unaltered: true,
                    sheet: None,
                }),
                Err(why) => {
                    let (code, message) = unreadable(why);
                    Err(Refusal {
                        source,
                        supplier: Some(supplier),
                        job: Some(job),
                        ..Refusal::file(path, code, message)
                    })
                }
            }
        })
        .collect()
}

fn rows<'a>(path: &Path, fields: &'a Fields) -> Result<Rows<'a>, Wrong> {
    let is_table = path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("csv"));
    let content = if is_table {
        table(path, fields)?
    } else {
        shapes(path, fields)?
    };
    let own = match &content.system {
        System::Code(code) => Some(code),
        _ => None,
    };
    let code = own.or(fields.delivery.crs.as_ref()).ok_or_else(|| {
        unreadable("nothing says its coordinate system; name it in the file, or as `crs` under [delivery] in the field file")
    })?;
    let (crs, points, by) = on_grid(code, fields, content.points).map_err(unreadable)?;
    let unit = fields.delivered_in(&crs).map_err(unreadable)?;
    let rows = points.iter().map(|point| (point.number, &point.cells));
    let said = Said::of(rows, fields);
    said.unit(unit)?;
    if own.is_none() {
        said.crs(&crs)?;
    }
    let vertical = said.vertical(fields.delivery.vertical.as_deref())?;
    let plain = Plain {
        decimal_comma: content.decimal_comma,
        ..Plain::of(unit)
    };
    Ok(Rows {
        fields,
        crs,
        unit,
        vertical,
        plain,
        by,
        points,
    })
}

/// Points on a grid, and what brought them there where it leaves them in doubt.
type OnGrid = (Crs, Vec<Point>, Option<Operation>);

/// Points as they stand, or brought from degrees to the system that the field file names.
fn on_grid(code: &str, fields: &Fields, points: Vec<Point>) -> Result<OnGrid, String> {
    let grid = |code: &str| Crs::new(code, LengthUnit::Metre).map_err(|why| why.to_string());
    match (grid(code), &fields.delivery.crs) {
        (Ok(crs), _) => Ok((crs, points, None)),
        (Err(_), Some(onto)) if onto != code => {
            let crs = grid(onto)?;
            let places: Vec<_> = points
                .iter()
                .map(|point| (point.at.0.to_radians(), point.at.1.to_radians()))
                .collect();
            let (places, by) = crs
                .to_grid(&Datum::Named(code.to_owned()), &places)
                .map_err(|why| why.to_string())?;
            let metres = crs.unit_metres();
            let moved = points.into_iter().zip(places).map(|(point, (x, y))| Point {
                at: (x / metres, y / metres),
                ..point
            });
            let by = Some(by).filter(|by| shift_sigma(by) > 0.0);
            Ok((crs, moved.collect(), by))
        }
        (Err(why), _) => Err(why),
    }
}

/// Reads a text file as the tables of a job are read: any encoding and separator, a decimal comma where the separator is none.
fn table(path: &Path, fields: &Fields) -> Result<Content, Wrong> {
    let bytes = std::fs::read(path).map_err(|why| unreadable(crate::error::unread(&why)))?;
    let names: Vec<&str> = fields.looked_for().collect();
    let table = read_headed(Arc::from(""), bytes, &names).map_err(unreadable)?;
    if let Some((line, why)) = table.broken().next() {
        return Err(unreadable(format!("row {line}: {why}")));
    }
    let width = table.width(0);
    let heads: Vec<&str> = (0..width).map(|column| table.cell(0, column)).collect();
    let mut have = BTreeSet::new();
    let twice = heads
        .iter()
        .find(|head| !have.insert(**head) && names.contains(head));
    if let Some(head) = twice {
        return Err((
            "columns",
            format!("Two columns are called \"{head}\". Give one of them another name."),
        ));
    }
    missing(fields, &have, true)?;
    let mut points = Vec::new();
    for row in 1..table.height() {
        let number = table.line(row);
        if let Some(why) = table.spoilt(number) {
            return Err(unreadable(format!("row {number}: {why}")));
        }
        let cells = table.width(row);
        let beyond = table.filled(row).any(|(column, _)| column >= width);
        if cells < width || beyond {
            return Err(unreadable(format!(
                "row {number} has {cells} cells, and the heading {width}; is a decimal comma in it, or is it cut off?"
            )));
        }
        let cells: BTreeMap<_, _> = heads
            .iter()
            .enumerate()
            .map(|(column, head)| ((*head).to_owned(), table.cell(row, column).to_owned()))
            .collect();
        let coordinate = |name: &str| {
            let text = fields
                .text(&cells, name)
                .ok_or_else(|| unreadable(format!("row {number} has no {name}")))?;
            parse_number(text, table.decimal_comma)
                .map_err(|why| unreadable(format!("row {number}, {name}: {why}")))
        };
        let at = (coordinate("easting")?, coordinate("northing")?);
        points.push(Point {
            number: u64::from(number),
            at,
            cells,
        });
    }
    if points.is_empty() {
        return Err(unreadable("it has no row below its heading"));
    }
    Ok(Content {
        system: System::Unsaid,
        decimal_comma: table.decimal_comma,
        points,
    })
}

/// Which of the columns that the field file names a delivery does not have: a name that is written otherwise would leave out all that
/// is in it. Tables must say their places too.
fn missing(fields: &Fields, have: &BTreeSet<&str>, table: bool) -> Result<(), Wrong> {
    let is_place = |name: &str| matches!(name, "easting" | "northing");
    let named: Vec<_> = fields.columns().collect();
    let places = ["easting", "northing"].map(|name| (name, name));
    let unnamed = places
        .into_iter()
        .filter(|(place, _)| named.iter().all(|(name, _)| name != place));
    let wanted = named.iter().copied().chain(unnamed);
    let lacking: Vec<String> = wanted
        .filter(|(name, column)| (table || !is_place(name)) && !have.contains(column))
        .map(|(name, column)| {
            let alike = |head: &&&str| normal(head).name == normal(column).name;
            let close = |head: &&&str| near(&head.to_lowercase(), &column.to_lowercase());
            let meant = have.iter().find(alike).or_else(|| have.iter().find(close));
            let meant = meant.map_or_else(String::new, |head| format!(" (is \"{head}\" meant?)"));
            format!("\"{column}\" for `{name}`{meant}")
        })
        .collect();
    if lacking.is_empty() {
        return Ok(());
    }
    let lacks = if table {
        "It lacks columns"
    } else {
        "It has nothing in columns"
    };
    let have: Vec<&str> = have.iter().copied().collect();
    Err((
        "columns",
        format!(
            "{lacks} that the field file names: {}. Name them as the field file does, or have the field file changed; its own are {}.",
            lacking.join(", "),
            have.join(", ")
        ),
    ))
}

fn shapes(path: &Path, fields: &Fields) -> Result<Content, Wrong> {
    let raw = maps::file(path, None).map_err(unreadable)?;
    let mut system = System::Unsaid;
    let mut points = Vec::new();
    for layer in raw.layers {
        if let Some((number, why)) = layer.left_out.first() {
            return Err(unreadable(format!(
                "feature number {number} can't be used: {why}"
            )));
        }
        if points.is_empty() {
            system = layer.system.clone();
        } else if system != layer.system {
            return Err(unreadable("its layers are in different coordinate systems"));
        }
        for feature in layer.features {
            let Geometry::Point(point) = feature.geometry else {
                return Err(unreadable(format!(
                    "feature number {} is no point: deliver one point a mark",
                    feature.number
                )));
            };
            points.push(Point {
                number: feature.number,
                at: (point.x(), point.y()),
                cells: feature.attributes,
            });
        }
    }
    if points.is_empty() {
        return Err(unreadable("it has no point"));
    }
    let have = points
        .iter()
        .flat_map(|point| point.cells.keys().map(String::as_str))
        .collect();
    missing(fields, &have, false)?;
    Ok(Content {
        system,
        decimal_comma: false,
        points,
    })
}

fn by_job(points: Vec<Point>, fields: &Fields) -> BTreeMap<(String, String), Vec<Point>> {
    let mut jobs: BTreeMap<(String, String), Vec<Point>> = BTreeMap::new();
    for point in points {
        let text = |name: &str| fields.text(&point.cells, name).map(str::to_owned);
        let supplier = text("supplier")
            .or_else(|| fields.delivery.supplier.clone())
            .unwrap_or_default();
        jobs.entry((supplier, text("job").unwrap_or_default()))
            .or_default()
            .push(point);
    }
    jobs
}

impl Rows<'_> {
    fn text<'a>(&self, point: &'a Point, name: &str) -> Option<&'a str> {
        self.fields.text(&point.cells, name)
    }

    /// A length in the record's unit.
    fn length(&self, point: &Point, name: &str) -> Result<Option<f64>, String> {
        let metres = self
            .fields
            .length(&point.cells, name, self.plain)
            .map_err(|why| format!("row {}: {why}", point.number))?;
        Ok(metres.map(|metres| self.unit.of(metres)))
    }

    fn record(
        &self,
        path: &Path,
        (supplier, job): (&str, &str),
        points: Vec<Point>,
    ) -> Result<AsBuilt, String> {
        let mut runs: Vec<(String, Vec<Point>)> = Vec::new();
        let mut located_on = None;
        let number = |point: &Point, text: &str| {
            whole(text, self.plain.decimal_comma).ok_or_else(|| {
                format!(
                    "row {}: `revision`: \"{text}\" is no whole number",
                    point.number
                )
            })
        };
        let revision = self.one(&points, "revision", number, u32::eq)?;
        for point in points {
            located_on = located_on.or_else(|| self.text(&point, "located_on").map(day));
            let run = self.text(&point, "run").unwrap_or("1").to_owned();
            match runs.iter_mut().find(|(id, _)| *id == run) {
                Some((_, own)) => own.push(point),
                None => runs.push((run, vec![point])),
            }
        }
        let text = |text: &str| Some(text.to_owned()).filter(|text| !text.is_empty());
        let mut record = self.blank();
        record.job = JobHead {
            id: job.to_owned(),
            supplier: text(supplier),
            located_on,
            revision,
            ..JobHead::default()
        };
        let file = path.file_name().map(|name| name.to_string_lossy());
        let file = file.unwrap_or_default().into_owned();
        record.inputs = vec![Input {
            file: file.clone(),
            bytes: 0,
            sha256: String::new(),
        }];
        for (id, points) in runs {
            let full = format!("{supplier}/{job}/{id}");
            let points = self.ordered(points)?;
            let run = self.run(&full, &id, &points)?;
            let vertices = run.vertices.iter();
            record
                .marks
                .extend(vertices.map(|vertex| mark(&run, vertex, &file)));
            record.runs.push(run);
        }
        seal(record).map_err(|why| crate::error::plain(&why))
    }

    /// A record that says nothing but its frame, and what its bounds are.
    fn blank(&self) -> AsBuilt {
        let frame = Frame {
            crs: self.crs.code().to_owned(),
            crs_name: self.crs.name().to_owned(),
            given_crs: None,
            local: self.crs.is_local(),
            crs_unit: self.crs.unit_name().to_owned(),
            crs_unit_metres: self.crs.unit_metres(),
            unit: self.unit,
            vertical: self.vertical.clone(),
            geoid: None,
            geoid_separation: None,
            height: None,
            grid_scale: None,
            height_factor: None,
            combined_factor: None,
            convergence: None,
            declination: None,
            declination_from: None,
            operations: self.by.iter().cloned().collect(),
            taped: None,
            distances: None,
            site_grid: None,
            projjson: None,
            wkt: None,
        };
        let mut statement = "As delivered; not computed here.".to_owned();
        if let Some((by, worth)) = self.by.as_ref().and_then(|by| Some((by, by.worth()?))) {
            statement += &format!(
                " The bounds of places also hold what the operation \"{}\" leaves in doubt that brought them to the grid, {worth}.",
                by.name
            );
        }
        blank(frame, statement)
    }

    /// A run of rows in the order of its marks.
    fn run(&self, full: &str, id: &str, points: &[Point]) -> Result<Run, String> {
        let vertices = self.vertices(points)?;
        let length = |name: &str| {
            let read = |point: &Point, _: &str| {
                let length = self.length(point, name)?;
                Ok(length.unwrap_or_default())
            };
            // 4 in and 101.6 mm are one size.
            self.one(points, name, read, |a, b| (a - b).abs() <= 1e-6 * a.abs())
        };
        let mut texts = BTreeMap::new();
        for name in ["material", "system"] {
            let read = |_: &Point, text: &str| Ok(text.to_owned());
            let same = |a: &String, b: &String| a.to_lowercase() == b.to_lowercase();
            if let Some(text) = self.one(points, name, read, same)? {
                texts.insert(name.to_owned(), text);
            }
        }
        Ok(Run {
            id: full.to_owned(),
            run: id.to_owned(),
            length: None,
            length_plan: vertices.last().map(|vertex| vertex.station),
            length_95: None,
            fall: None,
            fall_95: None,
            grade: None,
            grade_95: None,
            grade_uniform: None,
            min_cover: vertices
                .iter()
                .filter_map(|vertex| vertex.cover)
                .reduce(f64::min),
            max_depth: vertices
                .iter()
                .filter_map(|vertex| vertex.transmitter_depth)
                .reduce(f64::max),
            diameter: length("diameter")?,
            wall: length("wall")?,
            axis_above_invert: None,
            min_grade: None,
            min_grade_from: None,
            pushed: "downstream".to_owned(),
            station_from: "upstream".to_owned(),
            joins: None,
            marks: vertices.len(),
            evidence: Evidence::Records,
            texts,
            vertices,
            source: None,
        })
    }

    /// What rows say that can say but one thing; nothing where none says it.
    fn one<T>(
        &self,
        points: &[Point],
        name: &str,
        read: impl Fn(&Point, &str) -> Result<T, String>,
        same: impl Fn(&T, &T) -> bool,
    ) -> Result<Option<T>, String> {
        let mut first: Option<(&Point, &str, T)> = None;
        for point in points {
            let Some(text) = self.text(point, name) else {
                continue;
            };
            let value = read(point, text)?;
            match &first {
                None => first = Some((point, text, value)),
                Some((_, _, known)) if same(known, &value) => {}
                Some((before, known, _)) => {
                    return Err(format!(
                        "rows {} and {} say {known} and {text} for `{name}`, and it is one: write the same in all of them, or write it in one \
                         row only",
                        before.number, point.number
                    ));
                }
            }
        }
        Ok(first.map(|(_, _, value)| value))
    }

    /// Rows in the order that they state; those that state none come last, as they stand.
    fn ordered(&self, points: Vec<Point>) -> Result<Vec<Point>, String> {
        let place = |point: &Point| {
            let text = self.text(point, "order");
            text.map_or(Ok(f64::INFINITY), |text| {
                parse_number(text, self.plain.decimal_comma)
                    .map_err(|why| format!("row {}: `order`: {why}", point.number))
            })
        };
        let mut placed = points
            .into_iter()
            .map(|point| Ok((place(&point)?, point)))
            .collect::<Result<Vec<_>, String>>()?;
        placed.sort_by(|(a, _), (b, _)| a.total_cmp(b));
        Ok(placed.into_iter().map(|(_, point)| point).collect())
    }

    /// The vertices of a run, with stations from its first one.
    fn vertices(&self, points: &[Point]) -> Result<Vec<Vertex>, String> {
        let mut vertices: Vec<Vertex> = Vec::new();
        let mut station = 0.0;
        for point in points {
            if let Some(before) = vertices.last() {
                let (east, north) = (point.at.0 - before.easting, point.at.1 - before.northing);
                station += self.unit.of(east.hypot(north) * self.crs.unit_metres());
            }
            vertices.push(self.vertex(point, station)?);
        }
        Ok(vertices)
    }

    fn vertex(&self, point: &Point, station: f64) -> Result<Vertex, String> {
        let length = |name: &str| self.length(point, name);
        // A bound of 0 is none.
        let bound = |name: &str| Ok::<_, String>(length(name)?.filter(|bound| *bound > 0.0));
        let shift = self.by.as_ref().map_or(0.0, shift_sigma);
        let shift = self.unit.of(ELLIPSE_95 * shift);
        let circle = bound("horizontal_95")?.map(|radius| radius.hypot(shift));
        Ok(Vertex {
            kind: VertexKind::Mark,
            mark: Some(
                self.text(point, "mark")
                    .map_or_else(|| point.number.to_string(), str::to_owned),
            ),
            station,
            along_pipe: None,
            easting: point.at.0,
            northing: point.at.1,
            geographic: None,
            ellipse: circle.map(|radius| Ellipse {
                semi_major_95: radius,
                semi_minor_95: radius,
                azimuth_95: 0.0,
            }),
            ground: length("ground")?,
            transmitter_depth: length("transmitter_depth")?,
            cover: length("cover")?,
            invert: length("invert")?,
            invert_95: bound("invert_95")?,
            grade: None,
            grade_95: None,
            depth_95: bound("depth_95")?,
            joint: None,
            evidence: Evidence::Records,
        })
    }
}

/// A whole number, as a column of real numbers has it too: `2.0`.
fn whole(text: &str, decimal_comma: bool) -> Option<u32> {
    let number = parse_number(text, decimal_comma).ok()?;
    let is_whole = number.fract() == 0.0 && (0.0..=f64::from(u32::MAX)).contains(&number);
    is_whole.then_some(number as u32)
}

/// The day of a time as exports write it, such as `2026-05-01T00:00:00+02:00` or `2026/05/01 00:00:00`, in its own zone; other texts as
/// they are.
fn day(text: &str) -> String {
    let (date, clock) = text.split_at_checked(10).unwrap_or((text, ""));
    let date = date.replace('/', "-");
    let is_time = clock.is_empty() || parse_time(&format!("{date}{clock}"), None).is_ok();
    if parse_date(&date).is_ok() && is_time {
        date
    } else {
        text.to_owned()
    }
}

/// The mark that a vertex of a plain delivery is. How its depth was found nobody says; its source is the file alone, whose blank rows
/// make no other record.
fn mark(run: &Run, vertex: &Vertex, file: &str) -> Mark {
    let name = vertex.mark.clone().unwrap_or_default();
    Mark {
        id: format!("{}/{name}", run.id),
        run: run.run.clone(),
        mark: name,
        station: Some(vertex.station),
        counter: None,
        along_pipe: None,
        easting: vertex.easting,
        northing: vertex.northing,
        geographic: None,
        ellipse: vertex.ellipse,
        horizontal_95: vertex.ellipse.map(|circle| circle.semi_major_95),
        paint: Paint {
            easting: vertex.easting,
            northing: vertex.northing,
            ellipse: None,
        },
        ground: vertex.ground,
        ground_from: vertex.ground.map(|_| "ground".to_owned()),
        transmitter_depth: vertex.transmitter_depth,
        depth_basis: DepthBasis::None,
        cover: vertex.cover,
        cover_least: None,
        invert: vertex.invert,
        invert_depth: vertex
            .ground
            .zip(vertex.invert)
            .map(|(ground, invert)| ground - invert),
        invert_95: vertex.invert_95,
        depth_95: vertex.depth_95,
        tilt: None,
        axis_azimuth: None,
        axis_azimuth_95: None,
        evidence: vertex.evidence,
        accuracy_basis: AccuracyBasis::Modelled,
        redundancy: None,
        largest_residual: None,
        fix: None,
        entered: None,
        fitting: None,
        note: None,
        photo: None,
        quality_level: None,
        quality_by: None,
        findings: None,
        source: file.to_owned(),
        further_sources: Vec::new(),
        further: Vec::new(),
        reading: None,
        ends: None,
        correction: None,
        predicted: None,
        peak: None,
        attributes: BTreeMap::new(),
    }
}

/// A record that says nothing but its frame.
fn blank(frame: Frame, statement: String) -> AsBuilt {
    AsBuilt {
        schema: SCHEMA.to_owned(),
        generator: format!("aslaid {}{FROM_PLAIN}", env!("CARGO_PKG_VERSION")),
        hash: None,
        draft: None,
        job: JobHead::default(),
        frame,
        equipment: Equipment::default(),
        accuracy: Accuracy {
            statement,
            ..Accuracy::default()
        },
        sigmas: Vec::new(),
        limits: Vec::new(),
        adjustment: Adjustment::default(),
        pushes: Vec::new(),
        runs: Vec::new(),
        marks: Vec::new(),
        camera: Vec::new(),
        references: Vec::new(),
        ties: Vec::new(),
        plans: Vec::new(),
        underlay: Vec::new(),
        crossings: Vec::new(),
        layers: BTreeMap::new(),
        measurements: Vec::new(),
        checks: Vec::new(),
        advice: Vec::new(),
        findings: Vec::new(),
        notes: Vec::new(),
        left_out: Vec::new(),
        inputs: Vec::new(),
        cells: Cells::default(),
        cautions: Vec::new(),
        published: Vec::new(),
    }
}
