//! An invented record: two runs, one of them a branch, nine marks, camera observations, references, values that aren't
//! known, and texts that try to break every format. State plane in US survey feet, results in metres.

use std::collections::BTreeMap;

use aslaid::findings::{Code, Finding, Level};
use aslaid::pipeline::{self, Options, Outcome};
use aslaid::record::AsBuilt;
use aslaid::record::model::*;
use aslaid::units::LengthUnit;

/// A `job.toml` of one run A in metres on a grid; with further lines of its sections.
pub fn settings(id: &str, grid: &str, equipment: &str) -> String {
    format!(
        r#"[job]
id = "{id}"
located_on = 2026-05-14
[grid]
crs = "EPSG:25832"
unit = "m"
{grid}
[equipment]
axis_above_invert = "0.05 m"
{equipment}
[[run]]
id = "A"
diameter = "150 mm"
wall = "4 mm"
pushed = "downstream"
min_grade = "1 %"
"#
    )
}

/// What becomes of a job of these files.
pub fn computed(files: &[(&str, &str)]) -> Outcome {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    pipeline::run(folder.path(), &Options::default()).unwrap()
}

/// Texts that programs are known to stumble over.
pub const HOSTILE: &[&str] = &[
    "=HYPERLINK(\"http://example.invalid\",\"x\")",
    "+1+1",
    "-2",
    "@SUM(A1)",
    "'quoted'",
    "'=already guarded",
    "a,b;c\td",
    "line one\r\nline two\nline three",
    "<script>alert(1)</script> & \"x\" ]]>",
    "Robert'); DROP TABLE mark;--",
    "ſtraße – 12′6″ ½ 🚧 日本",
    " leading and trailing ",
    "100%",
    "NaN",
    "0042",
];

const EASTING: f64 = 1_450_200.0;
const NORTHING: f64 = 541_700.0;

#[allow(
    clippy::unnecessary_wraps,
    reason = "most fields of the record are optional"
)]
fn text(value: &str) -> Option<String> {
    Some(value.to_owned())
}

fn texts(pairs: &[(&str, &str)]) -> BTreeMap<String, String> {
    pairs
        .iter()
        .map(|(key, value)| ((*key).to_owned(), (*value).to_owned()))
        .collect()
}

/// Longitude and latitude near the site: PROJ's values at the origin and 100 ft east and north of it
/// (`pyproj.Transformer.from_crs(2264, 4326, always_xy=True)`), linear between: good to a millimetre over 100 ft.
pub fn geographic(easting: f64, northing: f64, height: Option<f64>) -> Geographic {
    let (east, north) = ((easting - EASTING) / 100.0, (northing - NORTHING) / 100.0);
    Geographic {
        longitude: -80.841_098_058_448_21 + east * 0.000_334_790_108_81
            - north * 0.000_006_209_863_91,
        latitude: 35.224_412_377_659_206
            + east * 0.000_005_095_167_25
            + north * 0.000_274_719_756_674,
        ellipsoidal_height: height,
    }
}

fn mark(run: &str, number: usize) -> Mark {
    let at = number as f64;
    let (easting, northing) = (
        EASTING + 12.345_678_9 * at,
        NORTHING + 7.5 * at + 0.123_456_78,
    );
    let invert = 214.25 - 0.031_25 * at;
    Mark {
        id: format!("Invented Locating/LAT-2031/{run}/{run}{number}"),
        run: run.to_owned(),
        mark: format!("{run}{number}"),
        station: Some(4.123_456_78 * at),
        counter: Some(4.25 * at + 0.5),
        along_pipe: Some(4.123_9 * at),
        easting,
        northing,
        geographic: Some(geographic(easting, northing, Some(183.5 - 0.031_25 * at))),
        ellipse: Some(Ellipse {
            semi_major_95: 0.152_34,
            semi_minor_95: 0.091,
            azimuth_95: 33.3 + at,
        }),
        horizontal_95: Some(0.130_4),
        paint: Paint {
            easting: easting + 0.1,
            northing,
            ellipse: None,
        },
        ground: Some(216.0),
        ground_from: text("levelled"),
        transmitter_depth: Some(1.72),
        depth_basis: DepthBasis::Readings,
        cover: Some(1.65),
        cover_least: Some(1.49),
        invert: Some(invert),
        invert_depth: Some(216.0 - invert),
        invert_95: Some(0.171),
        depth_95: Some(0.168),
        tilt: Some(-1.1),
        axis_azimuth: Some(58.7),
        axis_azimuth_95: Some(4.0),
        evidence: Evidence::Located,
        accuracy_basis: AccuracyBasis::Modelled,
        redundancy: Some(2.0),
        largest_residual: Some(1.234_567),
        fix: None,
        entered: None,
        fitting: None,
        note: None,
        photo: None,
        quality_level: None,
        quality_by: None,
        findings: None,
        source: format!("marks.csv:{}", number + 2),
        further_sources: Vec::new(),
        further: Vec::new(),
        reading: None,
        ends: None,
        correction: None,
        peak: None,
        predicted: None,
        attributes: BTreeMap::new(),
    }
}

fn vertex(mark: &Mark) -> Vertex {
    Vertex {
        kind: VertexKind::Mark,
        mark: Some(mark.mark.clone()),
        station: mark.station.unwrap_or_default(),
        along_pipe: mark.along_pipe,
        easting: mark.easting,
        northing: mark.northing,
        geographic: mark.geographic,
        ellipse: mark.ellipse,
        ground: mark.ground,
        transmitter_depth: mark.transmitter_depth,
        cover: mark.cover,
        invert: mark.invert,
        invert_95: mark.invert_95,
        grade: Some(0.757_8),
        grade_95: Some(1.9),
        depth_95: mark.depth_95,
        joint: None,
        evidence: mark.evidence,
    }
}

fn run(id: &str, marks: &[Mark], joins: Option<&str>) -> Run {
    let mut vertices: Vec<Vertex> = marks.iter().map(vertex).collect();
    if let Some(last) = vertices.last_mut() {
        (last.grade, last.grade_95) = (None, None);
    }
    Run {
        id: format!("Invented Locating/LAT-2031/{id}"),
        run: id.to_owned(),
        length: Some(20.6),
        length_plan: Some(20.59),
        length_95: Some(0.2),
        fall: Some(0.156),
        fall_95: Some(0.11),
        grade: Some(0.757_8),
        grade_95: Some(0.55),
        grade_uniform: Some(true),
        min_cover: Some(1.65),
        max_depth: Some(1.72),
        diameter: Some(0.1016),
        wall: None,
        axis_above_invert: None,
        min_grade: None,
        min_grade_from: None,
        pushed: "downstream".to_owned(),
        station_from: "upstream".to_owned(),
        joins: joins.map(str::to_owned),
        marks: marks.len(),
        evidence: Evidence::Located,
        texts: texts(&[
            ("material", "PVC"),
            ("system", "sanitary"),
            ("from", HOSTILE[0]),
            ("to", "main in Example Street"),
        ]),
        vertices,
        source: text("runs.csv:2"),
    }
}

fn camera(number: usize, mark: &Mark, what: &str) -> Camera {
    Camera {
        id: format!("Invented Locating/LAT-2031/A/c{number}"),
        run: "A".to_owned(),
        push: None,
        counter: 3.75 + number as f64,
        station: Some(3.0 + number as f64),
        what: what.to_owned(),
        clock: text("3"),
        easting: Some(mark.easting),
        northing: Some(mark.northing),
        geographic: mark.geographic,
        ellipse: mark.ellipse,
        transmitter_depth: mark.transmitter_depth,
        depth_95: mark.depth_95,
        invert: mark.invert,
        invert_depth: mark.invert_depth,
        invert_95: mark.invert_95,
        cover_least: mark.cover_least,
        extrapolated: false,
        until: None,
        note: text(HOSTILE[7]),
        photo: None,
        dig: number == 1,
        source: format!("camera.csv:{}", number + 1),
        attributes: BTreeMap::new(),
    }
}

fn reference(point: &str, east: f64, exact: bool) -> Reference {
    let (easting, northing) = (EASTING + east, NORTHING - 20.0);
    Reference {
        id: format!("Invented Locating/LAT-2031/{point}"),
        point: point.to_owned(),
        easting,
        northing,
        geographic: Some(geographic(easting, northing, None)),
        ellipse: (!exact).then_some(Ellipse {
            semi_major_95: 0.05,
            semi_minor_95: 0.04,
            azimuth_95: 12.0,
        }),
        sigma_v: None,
        elevation: exact.then_some(216.4),
        description: text(HOSTILE[8]),
        solved: !exact,
        permanent: true,
        source: text("control.csv:2"),
        attributes: BTreeMap::new(),
    }
}

fn finding(code: Code, level: Level) -> Finding {
    let mut finding = Finding::new(
        code,
        "first pair 1.72 and 2.10 m differ by 20 %; read the second pair",
    )
    .level(level);
    "LAT-2031".clone_into(&mut finding.job);
    finding.mark = text("A3");
    finding.run = text("A");
    finding.source = text("marks.csv:5");
    finding.figures(0.199_000_4, Some(0.1))
}

fn frame() -> Frame {
    Frame {
        crs: "EPSG:2264".to_owned(),
        crs_name: "NAD83 / North Carolina (ftUS)".to_owned(),
        given_crs: None,
        local: false,
        crs_unit: "US survey foot".to_owned(),
        crs_unit_metres: LengthUnit::UsSurveyFoot.metres(),
        unit: LengthUnit::Metre,
        vertical: text("NAVD88"),
        geoid: None,
        geoid_separation: Some(-30.75),
        height: Some(216.0),
        grid_scale: Some(0.999_9),
        height_factor: Some(0.999_97),
        combined_factor: Some(0.999_87),
        convergence: Some(-1.06),
        declination: None,
        declination_from: None,
        operations: Vec::new(),
        taped: None,
        distances: None,
        site_grid: None,
        projjson: None,
        wkt: None,
    }
}

fn tie(mark: &Mark) -> Tie {
    let distance = |reference: &str, distance: f64| TieDistance {
        reference: reference.to_owned(),
        distance,
        text: format!("{distance:.2} m"),
    };
    Tie {
        feature: "mark".to_owned(),
        id: mark.id.clone(),
        run: mark.run.clone(),
        name: mark.mark.clone(),
        distances: vec![distance("P1", 6.123_45), distance("P2", 9.87)],
        semi_major_95: Some(0.06),
    }
}

fn marks() -> Vec<Mark> {
    let mut marks: Vec<Mark> = (1..=6)
        .map(|number| mark("A", number))
        .chain((1..=3).map(|n| mark("B", n)))
        .collect();
    for (mark, hostile) in marks.iter_mut().zip(HOSTILE) {
        mark.note = text(hostile);
        mark.attributes = texts(&[("Inspector", hostile), ("Gate Code", "4711")]);
    }
    marks[1].fitting = text(HOSTILE[9]);
    marks[2].findings = text("depth-disagrees");
    // A mark without a depth, and a zero that is no missing value.
    let bare = &mut marks[8];
    (
        bare.transmitter_depth,
        bare.cover,
        bare.cover_least,
        bare.invert,
    ) = (None, None, None, None);
    (bare.invert_depth, bare.invert_95, bare.depth_95, bare.tilt) = (None, None, None, Some(0.0));
    bare.depth_basis = DepthBasis::None;
    if let Some(place) = &mut bare.geographic {
        place.ellipsoidal_height = None;
    }
    marks
}

/// The record.
#[allow(clippy::too_many_lines, reason = "one line a field of the record")]
pub fn sample() -> AsBuilt {
    let marks = marks();
    let mut camera: Vec<Camera> = vec![
        camera(1, &marks[0], "root intrusion"),
        camera(2, &marks[1], HOSTILE[1]),
        camera(3, &marks[2], HOSTILE[10]),
    ];
    let lost = &mut camera[2];
    (lost.easting, lost.northing, lost.geographic, lost.ellipse) = (None, None, None, None);
    (
        lost.station,
        lost.invert,
        lost.transmitter_depth,
        lost.invert_depth,
    ) = (None, None, None, None);
    AsBuilt {
        schema: SCHEMA.to_owned(),
        generator: "aslaid 0.1.0".to_owned(),
        hash: None,
        draft: None,
        job: JobHead {
            id: "LAT-2031".to_owned(),
            supplier: text("Invented Locating"),
            title: text("Sewer lateral, 12 Example Street"),
            located_on: text("2026-05-14"),
            revision: Some(2),
            texts: texts(&[("client", HOSTILE[8])]),
        },
        frame: frame(),
        equipment: Equipment::default(),
        accuracy: Accuracy {
            statement: "Bounds are modelled.".to_owned(),
            ..Accuracy::default()
        },
        sigmas: Vec::new(),
        limits: Vec::new(),
        adjustment: Adjustment::default(),
        pushes: Vec::new(),
        runs: vec![
            run("A", &marks[..6], None),
            run("B", &marks[6..], Some("A")),
        ],
        ties: vec![tie(&marks[0]), tie(&marks[1])],
        plans: Vec::new(),
        underlay: Vec::new(),
        crossings: Vec::new(),
        camera,
        references: vec![
            reference("P1", 0.0, true),
            reference("P2", 60.0, true),
            reference("corner", 30.0, false),
        ],
        measurements: Vec::new(),
        checks: Vec::new(),
        advice: Vec::new(),
        findings: vec![
            finding(Code::DepthDisagrees, Level::Warning),
            finding(Code::Unchecked, Level::Note),
        ],
        notes: Vec::new(),
        left_out: Vec::new(),
        inputs: Vec::new(),
        cells: Cells {
            used: 120,
            kept: 9,
            named: 1,
        },
        cautions: vec!["Not exposed. Computed from signals received at the surface.".to_owned()],
        published: vec!["inspector".to_owned()],
        layers: BTreeMap::new(),
        marks,
    }
}

/// The record as a draft of which two rows were left out.
pub fn draft() -> AsBuilt {
    AsBuilt {
        draft: Some(Draft { left_out: 2 }),
        ..sample()
    }
}

/// The record in site coordinates.
pub fn local() -> AsBuilt {
    let mut record = sample();
    record.frame.local = true;
    "local".clone_into(&mut record.frame.crs);
    record
}
