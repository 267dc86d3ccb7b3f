//! Invented records for the tests of sheet and page. Nothing here is surveyed, and no stage of the library computed it:
//! figures are merely consistent with one another.

use std::collections::BTreeMap;

use aslaid::findings::{Code, Finding, Level};
use aslaid::record::model::*;
use aslaid::units::LengthUnit;

/// A small generator of our own, so that a failure can be repeated from its seed.
pub struct Lcg(pub u64);

impl Lcg {
    pub fn next(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
    /// Between two numbers.
    pub fn between(&mut self, lo: f64, hi: f64) -> f64 {
        lo + (hi - lo) * self.next()
    }
}

/// What a sample looks like; metres.
pub struct Spec {
    pub id: &'static str,
    pub title: &'static str,
    pub unit: LengthUnit,
    pub local: bool,
    /// Corners of each run, the first upstream, relative to the site.
    pub runs: Vec<Vec<(f64, f64)>>,
    pub spacing: f64,
    pub grade: f64,
    pub seed: u64,
}

pub const CAUTIONS: [&str; 6] = [
    "Not exposed. Computed from signals received at the surface on the date shown. The bounds are modelled: they assume an undistorted field; metal pipe, nearby conductors and interference are not in them.",
    "Before digging, ask the one-call centre for locates (US: 811) and wait. Its members often do not mark private laterals or lines beyond a meter: have those located. This sheet is not a locate mark.",
    "The tolerance zone is set by local law, runs the pipe's whole length and starts at its outside edges. Expose by hand or vacuum before any machine. The shallowest place where the pipe could be met is stated.",
    "If another line may cross this sewer: no cutting, jetting or rodding. If one is hit or gas is suspected: stop, leave, no ignition, warn occupants, call emergency services and the gas utility from a safe distance.",
    "Excavations: deepest point stated; protection by a competent person (US: 29 CFR 1926.652). No entry into manholes or pits without a confined-space procedure.",
    "Not a boundary or land survey; property lines are copied from the named file. \u{201c}Checked by\u{201d} is as entered, not a signature or seal. Local codes and licensed practice govern.",
];

/// A record after a specification.
pub fn record(spec: &Spec) -> AsBuilt {
    let mut random = Lcg(spec.seed);
    let mut record = empty(spec);
    for (r, corners) in spec.runs.iter().enumerate() {
        let id = ["A", "B", "C", "D"][r % 4];
        run(&mut record, spec, id, corners, r, &mut random);
    }
    references(&mut record, spec);
    measurements(&mut record, &mut random);
    ties(&mut record);
    record.hash = Some(pretend_hash(spec.seed));
    record
}

/// Sixty-four hexadecimal digits that stand for a hash where none is tested.
fn pretend_hash(seed: u64) -> String {
    let mut random = Lcg(seed ^ 0xabcd);
    (0..64)
        .map(|_| char::from_digit((random.next() * 16.0) as u32, 16).unwrap())
        .collect()
}

fn empty(spec: &Spec) -> AsBuilt {
    let texts = [
        ("client", "Vale Street Housing Society"),
        ("site", "Quarry Lane library"),
        ("address", "14 Quarry Lane"),
        ("located_by", "R. Example"),
        ("checked_by", "S. Sample"),
        ("licence", "PLS 00000"),
    ];
    let unit = spec.unit;
    AsBuilt {
        layers: std::collections::BTreeMap::new(),
        schema: SCHEMA.to_owned(),
        generator: "aslaid 0.1.0".to_owned(),
        hash: None,
        draft: None,
        job: JobHead {
            id: spec.id.to_owned(),
            supplier: Some("Example Locating".to_owned()),
            title: Some(spec.title.to_owned()),
            located_on: Some("2026-05-14".to_owned()),
            revision: Some(1),
            texts: texts.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect(),
        },
        frame: frame(spec),
        equipment: Equipment {
            lens_to_transmitter: unit.of(0.27),
            axis_above_invert: Some(unit.of(0.04)),
            texts: BTreeMap::from([("frequency".to_owned(), "512 Hz".to_owned())]),
            ..Equipment::default()
        },
        accuracy: Accuracy {
            basis: AccuracyBasis::Modelled,
            statement: "Bounds are propagated from the one-sigmas in force; reference points without one are taken as exact.".to_owned(),
            ..Accuracy::default()
        },
        sigmas: vec![Setting { name: "tape".to_owned(), value: Some(unit.of(0.015)), unit: unit.symbol().to_owned(), given: false, source: "our choice".to_owned() }],
        limits: vec![Setting { name: "min_cover".to_owned(), value: None, unit: unit.symbol().to_owned(), given: false, source: "our choice".to_owned() }],
        adjustment: Adjustment {
            equations: 30,
            unknowns: 18,
            redundancy: 12,
            redundancy_of_heights: 0,
            components: 1,
            variance_factor: Some(0.93),
            variance_lower: Some(0.37),
            variance_upper: Some(1.94),
        },
        pushes: Vec::new(),
        runs: Vec::new(),
        marks: Vec::new(),
        camera: Vec::new(),
        references: Vec::new(),
        ties: Vec::new(),
        measurements: Vec::new(),
        checks: Vec::new(),
        advice: vec![Advice {
            about: "A2".to_owned(),
            concern: "ellipse".to_owned(),
            text: "A tape from P3 to A2 would cut A2's ellipse from 0.31 to 0.12.".to_owned(),
            now: Some(0.31),
            then: Some(0.12),
        }],
        findings: Vec::new(),
        notes: vec![Note::new(None, "No minimum grade given; not checked.".to_owned())],
        left_out: vec![],
        inputs: vec![Input { file: "marks.csv".to_owned(), bytes: 1234, sha256: pretend_hash(99) }],
        cells: Cells { used: 120, kept: 4, named: 2 },
        cautions: CAUTIONS.iter().map(|c| (*c).to_owned()).collect(),
        published: Vec::new(),
        plans: Vec::new(),
        underlay: Vec::new(),
        crossings: Vec::new(),
    }
}

fn frame(spec: &Spec) -> Frame {
    let foot = spec.unit.is_foot();
    Frame {
        crs: if spec.local {
            "local"
        } else if foot {
            "EPSG:2264"
        } else {
            "EPSG:25832"
        }
        .to_owned(),
        crs_name: if spec.local {
            "local"
        } else if foot {
            "NAD83 / North Carolina (ftUS)"
        } else {
            "ETRS89 / UTM zone 32N"
        }
        .to_owned(),
        given_crs: None,
        local: spec.local,
        crs_unit: if foot { "US survey foot" } else { "metre" }.to_owned(),
        crs_unit_metres: if foot {
            LengthUnit::UsSurveyFoot.metres()
        } else {
            1.0
        },
        unit: spec.unit,
        vertical: Some(if foot { "NAVD88" } else { "DHHN2016" }.to_owned()),
        geoid: None,
        geoid_separation: None,
        height: Some(spec.unit.of(215.0)),
        grid_scale: Some(0.999_871_2),
        height_factor: Some(0.999_966_3),
        combined_factor: (!spec.local).then_some(0.999_837_5),
        convergence: (!spec.local).then_some(-0.8123),
        declination: (!spec.local).then_some(-8.1),
        declination_from: (!spec.local).then(|| "World Magnetic Model 2025".to_owned()),
        operations: Vec::new(),
        taped: None,
        distances: None,
        site_grid: None,
        projjson: None,
        wkt: None,
    }
}

/// Site metres to the CRS.
fn place(spec: &Spec, (x, y): (f64, f64)) -> (f64, f64) {
    let k = if spec.unit.is_foot() {
        LengthUnit::UsSurveyFoot.metres()
    } else {
        1.0
    };
    let (e, n) = if spec.local {
        (0.0, 0.0)
    } else if spec.unit.is_foot() {
        (436_604.0, 209_108.0)
    } else {
        (567_890.0, 5_934_120.0)
    };
    ((e + x) / k, (n + y) / k)
}

/// Points along corners at a spacing, corners included, with their distance.
fn along(corners: &[(f64, f64)], spacing: f64) -> Vec<(f64, (f64, f64), bool)> {
    let mut found = Vec::new();
    let mut start = 0.0;
    for (i, pair) in corners.windows(2).enumerate() {
        let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
        let length = (x1 - x0).hypot(y1 - y0);
        let count = (length / spacing).round().max(1.0) as usize;
        for k in 0..count {
            let t = k as f64 / count as f64;
            found.push((
                start + t * length,
                (x0 + t * (x1 - x0), y0 + t * (y1 - y0)),
                k == 0 && i > 0,
            ));
        }
        start += length;
    }
    found.push((start, *corners.last().unwrap(), false));
    found
}

/// Inside diameter, wall and the axis above the invert, metres.
const PIPE: (f64, f64, f64) = (0.1016, 0.006, 0.04);

/// A vertex of a run: a mark, or a bend if it has no name.
fn vertex(
    spec: &Spec,
    (s, xy): (f64, (f64, f64)),
    name: Option<String>,
    number: usize,
    random: &mut Lcg,
) -> Vertex {
    let (diameter, wall, axis) = PIPE;
    let u = spec.unit;
    let (e, n) = place(spec, xy);
    let ground = 215.2 - 0.004 * s + 0.05 * (s * 0.7).sin();
    let invert = 214.3 - 0.15 * number as f64 - spec.grade * s + random.between(-0.01, 0.01);
    let depth = ground - invert - axis;
    let cover = depth - (diameter - axis) - wall;
    let (a, b) = (random.between(0.12, 0.32), random.between(0.06, 0.12));
    let ellipse = Ellipse {
        semi_major_95: u.of(a),
        semi_minor_95: u.of(b),
        azimuth_95: random.between(0.0, 180.0),
    };
    let evidence = if name.is_none() {
        Evidence::Inferred
    } else {
        Evidence::Located
    };
    Vertex {
        kind: if name.is_none() {
            VertexKind::Bend
        } else {
            VertexKind::Mark
        },
        mark: name,
        station: u.of(s),
        along_pipe: Some(u.of(s * 1.0002)),
        easting: e,
        northing: n,
        geographic: None,
        ellipse: Some(ellipse),
        ground: Some(u.of(ground)),
        transmitter_depth: Some(u.of(depth)),
        depth_95: Some(u.of(0.09)),
        cover: Some(u.of(cover)),
        invert: Some(u.of(invert)),
        invert_95: Some(u.of(0.09 + 0.02 * depth)),
        grade: None,
        grade_95: None,
        evidence,
        joint: None,
    }
}

fn run(
    record: &mut AsBuilt,
    spec: &Spec,
    id: &str,
    corners: &[(f64, f64)],
    number: usize,
    random: &mut Lcg,
) {
    let u = spec.unit;
    let points = along(corners, spec.spacing);
    let length = points.last().unwrap().0;
    let (diameter, wall, _) = PIPE;
    let mut vertices = Vec::new();
    let mut names = 0;
    for (s, xy, corner) in &points {
        let name = (!corner).then(|| {
            names += 1;
            format!("{id}{names}")
        });
        vertices.push(vertex(spec, (*s, *xy), name.clone(), number, random));
        if let Some(name) = name {
            record.marks.push(mark(
                record,
                spec,
                id,
                &name,
                vertices.last().unwrap(),
                random,
            ));
        }
    }
    for i in 0..vertices.len() - 1 {
        let (a, b) = (vertices[i].invert.unwrap(), vertices[i + 1].invert.unwrap());
        let leg = vertices[i + 1].station - vertices[i].station;
        vertices[i].grade = Some((a - b) / leg * 100.0);
        vertices[i].grade_95 = Some(u.of(0.11) / leg * 100.0);
    }
    camera(record, spec, id, &vertices);
    let fall = vertices[0].invert.unwrap() - vertices.last().unwrap().invert.unwrap();
    let covers = vertices.iter().filter_map(|v| v.cover);
    record.runs.push(Run {
        id: format!("Example Locating/{}/{id}", spec.id),
        run: id.to_owned(),
        length: Some(u.of(length * 1.0002)),
        length_plan: Some(u.of(length)),
        length_95: Some(u.of(0.2)),
        fall: Some(fall),
        fall_95: Some(u.of(0.12)),
        grade: Some(fall / u.of(length) * 100.0),
        grade_95: Some(u.of(0.12) / u.of(length) * 100.0),
        grade_uniform: Some(true),
        min_cover: covers.clone().reduce(f64::min),
        max_depth: vertices
            .iter()
            .filter_map(|v| v.transmitter_depth)
            .reduce(f64::max),
        diameter: Some(u.of(diameter)),
        wall: Some(u.of(wall)),
        axis_above_invert: None,
        min_grade: None,
        min_grade_from: None,
        pushed: "downstream".to_owned(),
        station_from: "upstream".to_owned(),
        joins: (number > 0).then(|| "A".to_owned()),
        marks: names,
        evidence: Evidence::Located,
        texts: [
            ("material", "PVC"),
            ("system", "sanitary"),
            ("from", "cleanout at rear wall"),
            ("to", "main in Quarry Lane"),
        ]
        .iter()
        .map(|(k, v)| ((*k).to_owned(), (*v).to_owned()))
        .collect(),
        vertices,
        source: Some("job.toml:21".to_owned()),
    });
}

fn mark(
    record: &AsBuilt,
    spec: &Spec,
    run: &str,
    name: &str,
    v: &Vertex,
    random: &mut Lcg,
) -> Mark {
    let u = spec.unit;
    let cover = v.cover.unwrap();
    let depth = v.transmitter_depth.unwrap();
    let first = record.marks.iter().all(|m| m.run != run);
    Mark {
        id: format!("Example Locating/{}/{run}/{name}", spec.id),
        run: run.to_owned(),
        mark: name.to_owned(),
        station: Some(v.station),
        counter: Some(v.station + u.of(0.27)),
        along_pipe: v.along_pipe,
        easting: v.easting,
        northing: v.northing,
        geographic: None,
        ellipse: v.ellipse,
        horizontal_95: v.ellipse.map(|e| e.semi_major_95 * 0.9),
        paint: Paint {
            easting: v.easting + 0.02,
            northing: v.northing - 0.01,
            ellipse: v.ellipse,
        },
        ground: v.ground,
        ground_from: Some("ground".to_owned()),
        transmitter_depth: v.transmitter_depth,
        depth_basis: DepthBasis::Readings,
        cover: Some(cover),
        cover_least: Some(cover - u.of(random.between(0.06, 0.12))),
        invert: v.invert,
        invert_depth: Some(depth + u.of(0.04)),
        invert_95: v.invert_95,
        depth_95: Some(u.of(0.09)),
        tilt: Some(-spec.grade.atan().to_degrees()),
        axis_azimuth: Some(93.2),
        axis_azimuth_95: Some(4.1),
        evidence: v.evidence,
        accuracy_basis: AccuracyBasis::Modelled,
        redundancy: Some(1.4),
        largest_residual: Some(1.1),
        fix: None,
        entered: None,
        fitting: first.then(|| "cleanout".to_owned()),
        note: None,
        photo: None,
        quality_level: None,
        quality_by: None,
        findings: None,
        source: format!("marks.csv:{}", record.marks.len() + 2),
        further_sources: Vec::new(),
        further: Vec::new(),
        reading: Some(Reading {
            depths: [
                Some(depth + u.of(0.01)),
                Some(depth - u.of(0.01)),
                None,
                None,
            ],
            read_by: "automatic".to_owned(),
            accepted: "first pair".to_owned(),
            spread: Some(0.014),
            sigma: u.of(0.044),
        }),
        ends: Some(Ends {
            ahead: Some(depth * 0.71),
            behind: Some(depth * 0.7),
            depth: Some(depth * 0.99),
            depth_95: Some(u.of(0.2)),
        }),
        correction: Some(Correction {
            along: u.of(0.012),
            tilt: -1.1,
            tilt_from: "slope".to_owned(),
        }),
        peak: None,
        predicted: None,
        attributes: BTreeMap::new(),
    }
}

fn camera(record: &mut AsBuilt, spec: &Spec, run: &str, vertices: &[Vertex]) {
    let what = ["root intrusion", "offset joint", "crack"];
    let pairs: Vec<(&Vertex, &Vertex)> = vertices.iter().zip(vertices.iter().skip(1)).collect();
    let step = (pairs.len() / 3).max(1);
    for (i, (a, b)) in pairs.iter().step_by(step).take(3).enumerate() {
        let mid = |x: f64, y: f64| f64::midpoint(x, y);
        let some = |x: Option<f64>, y: Option<f64>| Some(mid(x?, y?));
        let number = record.camera.len() + 1;
        let cover = some(a.cover, b.cover);
        record.camera.push(Camera {
            id: format!("Example Locating/{}/{run}/c{number}", spec.id),
            run: run.to_owned(),
            push: None,
            counter: mid(a.station, b.station) + spec.unit.of(0.27),
            station: Some(mid(a.station, b.station)),
            what: what[i % 3].to_owned(),
            clock: Some("3".to_owned()),
            easting: Some(mid(a.easting, b.easting)),
            northing: Some(mid(a.northing, b.northing)),
            geographic: None,
            ellipse: a.ellipse,
            transmitter_depth: some(a.transmitter_depth, b.transmitter_depth),
            depth_95: some(a.depth_95, b.depth_95),
            invert: some(a.invert, b.invert),
            invert_depth: some(a.transmitter_depth, b.transmitter_depth)
                .map(|d| d + spec.unit.of(0.04)),
            invert_95: a.invert_95,
            cover_least: cover.map(|c| c - spec.unit.of(0.15)),
            extrapolated: false,
            until: None,
            note: None,
            photo: None,
            dig: i == 0,
            source: format!("camera.csv:{}", number + 1),
            attributes: BTreeMap::new(),
        });
    }
}

fn references(record: &mut AsBuilt, spec: &Spec) {
    let all = spec.runs.iter().flatten();
    let (mut w, mut s, mut e, mut n) = (f64::MAX, f64::MAX, f64::MIN, f64::MIN);
    for (x, y) in all {
        (w, s, e, n) = (w.min(*x), s.min(*y), e.max(*x), n.max(*y));
    }
    let m = 4.0;
    let spots = [
        (w - m, n + m),
        (e + m, n + m * 0.8),
        (e + m * 0.7, s - m),
        (w - m * 0.6, s - m),
    ];
    for (i, spot) in spots.iter().enumerate() {
        let (easting, northing) = place(spec, *spot);
        record.references.push(Reference {
            id: format!("Example Locating/{}/P{}", spec.id, i + 1),
            point: format!("P{}", i + 1),
            easting,
            northing,
            geographic: None,
            ellipse: None,
            sigma_v: None,
            elevation: Some(spec.unit.of(215.3)),
            description: Some(["house corner", "fence post", "hydrant", "gate pier"][i].to_owned()),
            solved: i == 3,
            permanent: true,
            source: Some(format!("control.csv:{}", i + 2)),
            attributes: BTreeMap::new(),
        });
    }
}

fn measurements(record: &mut AsBuilt, random: &mut Lcg) {
    let k = record.frame.crs_unit_metres / record.frame.unit.metres();
    let mut all = Vec::new();
    for m in &record.marks {
        for r in record.references.iter().take(3) {
            all.push(Measurement {
                kind: "distance".to_owned(),
                points: vec![r.point.clone(), m.mark.clone()],
                value: (m.easting - r.easting).hypot(m.northing - r.northing) * k,
                sigma: record.frame.unit.of(0.015),
                residual: record.frame.unit.of(random.between(-0.02, 0.02)),
                standardised: Some(random.between(-2.0, 2.0)),
                redundancy: random.between(0.1, 0.9),
                source: m.source.clone(),
            });
        }
    }
    record.measurements = all;
}

fn ties(record: &mut AsBuilt) {
    let k = record.frame.crs_unit_metres
        / record.frame.unit.metres()
        / record.frame.combined_factor.unwrap_or(1.0);
    let unit = record.frame.unit;
    let places: Vec<(String, String, String, String, f64, f64)> = record
        .marks
        .iter()
        .map(|m| {
            (
                "mark".to_owned(),
                m.id.clone(),
                m.run.clone(),
                m.mark.clone(),
                m.easting,
                m.northing,
            )
        })
        .chain(record.camera.iter().filter_map(|c| {
            Some((
                "camera".to_owned(),
                c.id.clone(),
                c.run.clone(),
                c.what.clone(),
                c.easting?,
                c.northing?,
            ))
        }))
        .collect();
    record.ties = places
        .into_iter()
        .map(|(feature, id, run, name, e, n)| {
            let mut distances: Vec<TieDistance> = record
                .references
                .iter()
                .map(|r| {
                    let distance = (e - r.easting).hypot(n - r.northing) * k;
                    let text = format!("{distance:.2} {unit}");
                    TieDistance {
                        reference: r.point.clone(),
                        distance,
                        text,
                    }
                })
                .collect();
            distances.sort_by(|a, b| a.distance.total_cmp(&b.distance));
            distances.truncate(3);
            Tie {
                feature,
                id,
                run,
                name,
                distances,
                semi_major_95: Some(unit.of(0.06)),
            }
        })
        .collect();
}

/// A finding at a mark.
pub fn finding(code: Code, level: Level, mark: Option<&str>, message: &str) -> Finding {
    let mut finding = Finding::new(code, message).level(level).run("A");
    finding.source = Some("marks.csv:4".to_owned());
    finding.mark = mark.map(str::to_owned);
    finding
}

/// A lateral of 6 m, four marks, feet.
pub fn short() -> AsBuilt {
    let spec = Spec {
        id: "LAT-0042",
        title: "Sewer lateral, Quarry Lane library",
        unit: LengthUnit::UsSurveyFoot,
        local: false,
        runs: vec![vec![(0.0, 0.0), (5.7, -1.9)]],
        spacing: 2.0,
        grade: 0.02,
        seed: 1,
    };
    let mut record = record(&spec);
    record.findings.push(finding(Code::DepthSingle, Level::Warning, Some("A2"), "A2 has a single depth reading, 2.61 ft; nothing confirms it. Turn the receiver half a turn and read again."));
    record.findings.push(finding(Code::Unchecked, Level::Note, Some("A3"), "Nothing checks A3's position: two tapes fix it and no third compares. Tape it from a third reference."));
    record
}

/// High above the sea, with a name as long as a line: figures and names that a phone has little room for.
pub fn high() -> AsBuilt {
    let mut record = short();
    let up = |z: &mut Option<f64>| *z = z.map(|z| z + 11_234.0);
    for v in record.runs.iter_mut().flat_map(|run| &mut run.vertices) {
        up(&mut v.ground);
        up(&mut v.invert);
    }
    for m in &mut record.marks {
        up(&mut m.ground);
        up(&mut m.invert);
    }
    record.camera.iter_mut().for_each(|c| up(&mut c.invert));
    let name = "Inspection_chamber_of_the_library's_north_wing_beside_the_lane";
    let first = std::mem::replace(&mut record.marks[0].mark, name.to_owned());
    for v in record.runs.iter_mut().flat_map(|run| &mut run.vertices) {
        if v.mark.as_ref() == Some(&first) {
            v.mark = Some(name.to_owned());
        }
    }
    record
}

/// 120 m with three bends and a branch, metres.
pub fn long() -> AsBuilt {
    record(&Spec {
        id: "MILL-7",
        title: "Drain from Mill Row 7 to the interceptor",
        unit: LengthUnit::Metre,
        local: false,
        runs: vec![
            vec![
                (0.0, 0.0),
                (32.0, 6.0),
                (55.0, -9.0),
                (83.0, -4.0),
                (112.0, -16.0),
            ],
            vec![(50.0, 14.0), (55.0, -9.0)],
        ],
        spacing: 7.0,
        grade: 0.012,
        seed: 2,
    })
}

/// Marks 0.3 m apart.
pub fn dense() -> AsBuilt {
    record(&Spec {
        id: "DENSE",
        title: "Marks close together",
        unit: LengthUnit::Metre,
        local: false,
        runs: vec![vec![(0.0, 0.0), (6.0, 2.5), (9.0, 2.2)]],
        spacing: 0.3,
        grade: 0.02,
        seed: 3,
    })
}

/// A local site grid.
pub fn local() -> AsBuilt {
    record(&Spec {
        id: "YARD",
        title: "Harbour yard, site grid",
        unit: LengthUnit::Metre,
        local: true,
        runs: vec![vec![(100.0, 200.0), (112.0, 222.0), (130.0, 231.0)]],
        spacing: 4.0,
        grade: 0.015,
        seed: 4,
    })
}

/// Every code as a finding, a draft, rows left out.
pub fn troubled() -> AsBuilt {
    let mut record = long();
    record.draft = Some(Draft { left_out: 3 });
    for (i, code) in Code::ALL.iter().enumerate() {
        let mark = format!("A{}", i % 8 + 1);
        let message = format!(
            "{}: {}. The figure found is 0.{i:02} and the limit 0.10; measure it again from a second reference.",
            mark,
            code.when()
        );
        record
            .findings
            .push(finding(*code, code.level(), Some(&mark), &message));
    }
    record
        .findings
        .sort_by_key(|finding| std::cmp::Reverse(finding.level));
    record.checks.push(Check {
        east: None,
        north: None,
        point: "A3".to_owned(),
        what: "horizontal".to_owned(),
        difference: 0.11,
        bound: 0.2,
        inside: true,
        from: "check".to_owned(),
        source: "marks.csv:9".to_owned(),
    });
    record.left_out.push(LeftOut {
        source: "marks.csv:12".to_owned(),
        reason: "use = no".to_owned(),
        cells: BTreeMap::from([("mark".to_owned(), "A9".to_owned())]),
    });
    record
}

/// Two thousand marks.
pub fn many() -> AsBuilt {
    record(&Spec {
        id: "MANY",
        title: "Two thousand marks",
        unit: LengthUnit::Metre,
        local: false,
        runs: vec![vec![
            (0.0, 0.0),
            (180.0, 60.0),
            (330.0, -20.0),
            (560.0, 30.0),
        ]],
        spacing: 0.286,
        grade: 0.008,
        seed: 5,
    })
}

/// Strings that try to be something else.
pub fn hostile() -> AsBuilt {
    let mut record = short();
    let bad = "<script>window.hacked=1</script><img src=x onerror=\"window.hacked=2\">' \" & ]]> --> 漢字 🌳 \u{202e}evil";
    record.job.title = Some(bad.to_owned());
    record
        .job
        .texts
        .insert("note".to_owned(), "javascript:window.hacked=3".to_owned());
    record.job.texts.insert("client".to_owned(), bad.to_owned());
    for m in &mut record.marks {
        m.note = Some(bad.to_owned());
        m.fitting = Some("</script><script>window.hacked=4</script>".to_owned());
        m.attributes.insert(bad.to_owned(), bad.to_owned());
    }
    for c in &mut record.camera {
        bad.clone_into(&mut c.what);
        c.note = Some("javascript:window.hacked=5".to_owned());
    }
    for r in &mut record.references {
        r.description = Some(bad.to_owned());
    }
    record.findings.push(finding(
        Code::Unreadable,
        Level::Error,
        Some("\"><svg onload=window.hacked=6>"),
        bad,
    ));
    record
}

/// A mark without depth, a run without heights, nothing else known.
pub fn bare() -> AsBuilt {
    let mut record = short();
    for v in &mut record.runs[0].vertices {
        (v.ground, v.invert, v.invert_95, v.grade, v.grade_95) = (None, None, None, None, None);
    }
    for m in &mut record.marks {
        (m.ground, m.invert, m.invert_95, m.ground_from) = (None, None, None, None);
    }
    record.camera.clear();
    record.ties.clear();
    record
}
