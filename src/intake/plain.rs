//! Plain deliveries: points of a CSV, GeoJSON or GeoPackage, one row a mark, as the field file names their columns; made into records.
//!
//! Rows of one supplier and job are one delivery, rows of one run its marks: in the order of `order`, downstream, else as they stand.
//! What the columns don't say is not made up: it is absent, and the checks say what is missing.

use std::collections::BTreeMap;
use std::path::Path;

use geo::Geometry;

use super::fields::Fields;
use super::read::{Delivery, Refusal};
use crate::crs::{Crs, Datum};
use crate::export::record::seal;
use crate::maps::{self, System};
use crate::record::AsBuilt;
use crate::record::model::{
    Accuracy, Adjustment, Cells, Ellipse, Equipment, Evidence, Frame, Input, JobHead, Run, SCHEMA,
    Vertex, VertexKind,
};
use crate::units::{LengthUnit, parse_number};

/// A row: its number, its place (CRS unit), its cells.
struct Point {
    number: u64,
    at: (f64, f64),
    cells: BTreeMap<String, String>,
}

/// Reads a plain file; one delivery for each supplier and job in it.
#[must_use]
pub fn deliveries(path: &Path, fields: &Fields) -> Vec<Result<Delivery, Refusal>> {
    match points(path, fields) {
        Ok((crs, points)) => by_job(points, fields)
            .into_iter()
            .map(|((supplier, job), points)| {
                let source = format!("{} ({supplier}/{job})", path.display());
                record(path, fields, &crs, (&supplier, &job), points)
                    .map(|record| Delivery {
                        source: source.clone(),
                        record,
                    })
                    .map_err(|message| Refusal {
                        source,
                        code: "unreadable",
                        message,
                        supplier: Some(supplier),
                        job: Some(job),
                    })
            })
            .collect(),
        Err(refusal) => vec![Err(refusal)],
    }
}

fn points(path: &Path, fields: &Fields) -> Result<(Crs, Vec<Point>), Refusal> {
    let unreadable = |why: &dyn std::fmt::Display| Refusal::unreadable(path, why);
    let is_table = path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("csv"));
    let (system, points) = if is_table {
        (
            System::Unsaid,
            table(path, fields).map_err(|why| unreadable(&why))?,
        )
    } else {
        shapes(path).map_err(|why| unreadable(&why))?
    };
    if points.is_empty() {
        return Err(unreadable(&"it has no point"));
    }
    let own = match system {
        System::Code(code) => Some(code),
        _ => None,
    };
    let code = own.as_ref().or(fields.delivery.crs.as_ref()).ok_or_else(|| {
        unreadable(&"nothing says its coordinate system; name it in the file, or as `crs` under [delivery] in the field file")
    })?;
    // Degrees go to the system that the field file names.
    match (Crs::new(code, fields.unit), &fields.delivery.crs) {
        (Ok(crs), _) => Ok((crs, points)),
        (Err(_), Some(grid)) if grid != code => {
            let crs = Crs::new(grid, fields.unit).map_err(|why| unreadable(&why))?;
            let places: Vec<_> = points
                .iter()
                .map(|point| (point.at.0.to_radians(), point.at.1.to_radians()))
                .collect();
            let (places, _) = crs
                .to_grid(&Datum::Named(code.clone()), &places)
                .map_err(|why| unreadable(&why))?;
            let metres = crs.unit_metres();
            let moved = points.into_iter().zip(places).map(|(point, (x, y))| Point {
                at: (x / metres, y / metres),
                ..point
            });
            Ok((crs, moved.collect()))
        }
        (Err(why), _) => Err(unreadable(&why)),
    }
}

fn table(path: &Path, fields: &Fields) -> Result<Vec<Point>, String> {
    let text = std::fs::read_to_string(path).map_err(|why| crate::error::unread(&why))?;
    let text = text.trim_start_matches('\u{feff}');
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let names: Vec<String> = reader
        .headers()
        .map_err(|why| why.to_string())?
        .iter()
        .map(str::to_owned)
        .collect();
    let mut points = Vec::new();
    for row in reader.records() {
        let row = row.map_err(|why| why.to_string())?;
        let number = row.position().map_or(0, csv::Position::line);
        let cells: BTreeMap<_, _> = names
            .iter()
            .cloned()
            .zip(row.iter().map(str::to_owned))
            .collect();
        let coordinate = |name: &str| {
            let text = fields
                .text(&cells, name)
                .ok_or_else(|| format!("row {number} has no {name}"))?;
            parse_number(text, false).map_err(|why| format!("row {number}, {name}: {why}"))
        };
        let at = (coordinate("easting")?, coordinate("northing")?);
        points.push(Point { number, at, cells });
    }
    Ok(points)
}

fn shapes(path: &Path) -> Result<(System, Vec<Point>), String> {
    let raw = maps::file(path, None).map_err(|why| why.to_string())?;
    let mut system = System::Unsaid;
    let mut points = Vec::new();
    for layer in raw.layers {
        if let Some((number, why)) = layer.left_out.first() {
            return Err(format!("feature number {number} can't be used: {why}"));
        }
        if points.is_empty() {
            system = layer.system.clone();
        } else if system != layer.system {
            return Err("its layers are in different coordinate systems".to_owned());
        }
        for feature in layer.features {
            let Geometry::Point(point) = feature.geometry else {
                return Err(format!(
                    "feature number {} is no point: deliver one point a mark",
                    feature.number
                ));
            };
            points.push(Point {
                number: feature.number,
                at: (point.x(), point.y()),
                cells: feature.attributes,
            });
        }
    }
    Ok((system, points))
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

fn record(
    path: &Path,
    fields: &Fields,
    crs: &Crs,
    (supplier, job): (&str, &str),
    points: Vec<Point>,
) -> Result<AsBuilt, String> {
    let mut runs: Vec<(String, Vec<Point>)> = Vec::new();
    let (mut located_on, mut revision) = (None, None);
    for point in points {
        located_on =
            located_on.or_else(|| fields.text(&point.cells, "located_on").map(str::to_owned));
        revision = revision.or_else(|| {
            fields
                .text(&point.cells, "revision")
                .and_then(|text| text.parse().ok())
        });
        let run = fields.text(&point.cells, "run").unwrap_or("1").to_owned();
        match runs.iter_mut().find(|(id, _)| *id == run) {
            Some((_, own)) => own.push(point),
            None => runs.push((run, vec![point])),
        }
    }
    let text = |text: &str| Some(text.to_owned()).filter(|text| !text.is_empty());
    let mut record = blank(fields, crs);
    record.job = JobHead {
        id: job.to_owned(),
        supplier: text(supplier),
        located_on,
        revision,
        ..JobHead::default()
    };
    record.inputs = vec![Input {
        file: path
            .file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default(),
        bytes: 0,
        sha256: String::new(),
    }];
    for (id, points) in runs {
        record.runs.push(run(
            fields,
            crs,
            &format!("{supplier}/{job}/{id}"),
            &id,
            points,
        )?);
    }
    seal(record).map_err(|why| why.to_string())
}

fn run(
    fields: &Fields,
    crs: &Crs,
    full: &str,
    id: &str,
    mut points: Vec<Point>,
) -> Result<Run, String> {
    let unit = fields.unit;
    let order = |point: &Point| order(fields, point);
    points.sort_by(|a, b| order(a).total_cmp(&order(b)));
    let vertices = vertices(fields, crs, &points)?;
    let first = points.first().map(|point| &point.cells);
    let length = |name: &str| match first {
        Some(cells) => Ok::<_, String>(fields.length(cells, name)?.map(|metres| unit.of(metres))),
        None => Ok(None),
    };
    let words = ["material", "system"].into_iter();
    let texts = words
        .filter_map(|name| Some((name.to_owned(), fields.text(first?, name)?.to_owned())))
        .collect();
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

/// Place of a row in its run; rows that don't say come last, as they stand.
fn order(fields: &Fields, point: &Point) -> f64 {
    let text = fields.text(&point.cells, "order");
    text.and_then(|text| parse_number(text, false).ok())
        .unwrap_or(f64::INFINITY)
}

/// The vertices of a run, with stations from its first one.
fn vertices(fields: &Fields, crs: &Crs, points: &[Point]) -> Result<Vec<Vertex>, String> {
    let mut vertices: Vec<Vertex> = Vec::new();
    let mut station = 0.0;
    for point in points {
        if let Some(before) = vertices.last() {
            let (east, north) = (point.at.0 - before.easting, point.at.1 - before.northing);
            station += fields.unit.of(east.hypot(north) * crs.unit_metres());
        }
        vertices.push(
            vertex(fields, point, station).map_err(|why| format!("row {}: {why}", point.number))?,
        );
    }
    Ok(vertices)
}

fn vertex(fields: &Fields, point: &Point, station: f64) -> Result<Vertex, String> {
    let length = |name: &str| {
        Ok::<_, String>(
            fields
                .length(&point.cells, name)?
                .map(|metres| fields.unit.of(metres)),
        )
    };
    let circle = length("horizontal_95")?.filter(|radius| *radius > 0.0);
    Ok(Vertex {
        kind: VertexKind::Mark,
        mark: Some(
            fields
                .text(&point.cells, "mark")
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
        transmitter_depth: length("depth")?,
        cover: length("cover")?,
        invert: length("invert")?,
        invert_95: length("invert_95")?,
        grade: None,
        grade_95: None,
        depth_95: length("depth_95")?,
        joint: None,
        evidence: Evidence::Records,
    })
}

/// A record that says nothing but its frame.
fn blank(fields: &Fields, crs: &Crs) -> AsBuilt {
    let unit: LengthUnit = fields.unit;
    AsBuilt {
        schema: SCHEMA.to_owned(),
        generator: concat!(
            "aslaid ",
            env!("CARGO_PKG_VERSION"),
            ", from a plain delivery"
        )
        .to_owned(),
        hash: None,
        draft: None,
        job: JobHead::default(),
        frame: Frame {
            crs: crs.code().to_owned(),
            crs_name: crs.name().to_owned(),
            local: crs.is_local(),
            crs_unit: crs.unit_name().to_owned(),
            crs_unit_metres: crs.unit_metres(),
            unit,
            vertical: fields.delivery.vertical.clone(),
            geoid: None,
            geoid_separation: None,
            height: None,
            grid_scale: None,
            height_factor: None,
            combined_factor: None,
            convergence: None,
            declination: None,
            declination_from: None,
            operations: Vec::new(),
            taped: None,
            distances: None,
            site_grid: None,
            projjson: None,
            wkt: None,
        },
        equipment: Equipment::default(),
        accuracy: Accuracy {
            statement: "As delivered; not computed here.".to_owned(),
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
