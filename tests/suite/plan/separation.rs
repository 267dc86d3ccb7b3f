//! What is required beside and over each other, what stands for "not known", and areas that a drawing has as closed lines.

use aslaid::plan::crossing::crossings;
use aslaid::record::AsBuilt;
use aslaid::record::model::{Crossing, Direction, Ellipse, Meeting, Separation, VertexKind};
use serde_json::{Value, json};

use super::support::{Corner, folder, read, record, run};

const START: (f64, f64) = (515_000.0, 3_898_000.0);

fn at(east: f64, north: f64) -> (f64, f64) {
    (START.0 + east, START.1 + north)
}

/// A level run of 20 m due east, 100 mm wide with a wall of 5 mm, its invert at 90 m, 1.9 m of cover, places good to a decimetre.
fn job() -> AsBuilt {
    let mut record = record("EPSG:26917", 1.0, "m");
    record.runs = vec![run(&record, "A", &[corner(0.0), corner(20.0)])];
    record.runs[0].diameter = Some(0.1);
    record.runs[0].wall = Some(0.005);
    record
}

fn corner(east: f64) -> Corner {
    Corner {
        at: at(east, 0.0),
        ellipse: Some(Ellipse {
            semi_major_95: 0.1,
            semi_minor_95: 0.1,
            azimuth_95: 0.0,
        }),
        invert: Some((90.0, 0.01)),
        depth: Some((1.95, 0.01)),
        cover: Some(1.9),
        ..Corner::default()
    }
}

fn feature(kind: &str, coordinates: &Value, attributes: &Value) -> Value {
    json!({"type": "Feature", "properties": attributes, "geometry": {"type": kind, "coordinates": coordinates}})
}

fn line(places: &[(f64, f64)], attributes: &Value) -> Value {
    feature("LineString", &json!(places), attributes)
}

/// The crossings of a plan with a job's runs, and the plan's notes.
fn met(record: &AsBuilt, features: &[Value], layers: &str) -> (Vec<Crossing>, String) {
    let all = json!({"type": "FeatureCollection", "features": features,
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::26917"}}});
    found(record, "p.geojson", &all.to_string(), layers)
}

fn found(record: &AsBuilt, name: &str, bytes: &str, layers: &str) -> (Vec<Crossing>, String) {
    let folder = folder();
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).unwrap();
    let (plan, site) = read(record, &[path], layers, None).unwrap();
    let notes: Vec<&str> = plan.notes.iter().map(|note| note.text.as_str()).collect();
    (crossings(record, &plan, &site).unwrap(), notes.join("\n"))
}

fn verdicts(rows: &[Crossing]) -> Vec<(Meeting, Direction, Separation)> {
    rows.iter()
        .filter_map(|row| {
            let requirement = row.requirement.as_ref()?;
            Some((row.meeting, requirement.direction, requirement.verdict))
        })
        .collect()
}

#[test]
fn a_separation_that_is_required_is_looked_for_as_far_as_it_reaches() {
    let layers = "near = \"1 m\"\n[[layer]]\nname = \"*\"\nrequired = { horizontal = \"5 m\" }\nsize = \"0.4 m\"";
    let beside = |north: f64| {
        let (rows, _) = met(
            &job(),
            &[line(&[at(-9.0, north), at(29.0, north)], &json!({}))],
            layers,
        );
        verdicts(&rows)
    };
    let row = |verdict| vec![(Meeting::Near, Direction::Horizontal, verdict)];
    assert_eq!(beside(4.0), row(Separation::NotMet));
    // Half of 0.11 m and of 0.4 m between the middles and the outsides; the places' bound is 0.08 m.
    assert_eq!(beside(5.255), row(Separation::CannotBeTold));
    assert_eq!(beside(5.20), row(Separation::CannotBeTold));
    assert_eq!(beside(5.15), row(Separation::NotMet));
    assert_eq!(beside(5.4), [], "met, and farther off than is looked");
    let near = layers.replace("1 m", "9 m");
    let (rows, _) = met(
        &job(),
        &[line(&[at(-9.0, 5.4), at(29.0, 5.4)], &json!({}))],
        &near,
    );
    assert_eq!(verdicts(&rows), row(Separation::Met));
}

#[test]
fn a_main_that_crosses_and_then_goes_alongside_is_judged_for_both() {
    let layers = "[[layer]]\nname = \"*\"\nrequired = { horizontal = \"3 m\", vertical = \"0.3 m\" }\n\
                  elevation = { value = \"89 m\", to = \"top\" }";
    let over = (Meeting::Crosses, Direction::Vertical, Separation::Met);
    let beside = (Meeting::Near, Direction::Horizontal, Separation::NotMet);
    // Across at 4 m, then 0.6 m beside.
    let along = line(&[at(4.0, -9.0), at(4.0, 0.6), at(19.0, 0.6)], &json!({}));
    let (rows, _) = met(&job(), &[along], layers);
    assert_eq!(verdicts(&rows), [over, beside]);
    // Across and away: no more than a crossing, though it comes nearer than 3 m on its way.
    for away in [(4.0, 9.0), (14.0, 9.0)] {
        let across = line(&[at(4.0, -9.0), at(away.0, away.1)], &json!({}));
        let (rows, _) = met(&job(), &[across], layers);
        assert_eq!(verdicts(&rows), [over], "{away:?}");
    }
}

#[test]
fn inside_an_area_is_nearer_than_any_separation() {
    let ring = [
        at(-9.0, -9.0),
        at(29.0, -9.0),
        at(29.0, 9.0),
        at(-9.0, 9.0),
        at(-9.0, -9.0),
    ];
    let house = feature("Polygon", &json!([ring]), &json!({}));
    let verdict = |required: &str| {
        let layers =
            format!("[[layer]]\nname = \"*\"\nrequired = {{ horizontal = \"{required}\" }}");
        verdicts(&met(&job(), std::slice::from_ref(&house), &layers).0)
    };
    let row = |verdict| vec![(Meeting::Within, Direction::Horizontal, verdict)];
    assert_eq!(verdict("3 m"), row(Separation::NotMet));
    // The pipe itself is known to no more than 0.08 m.
    assert_eq!(verdict("0.07 m"), row(Separation::CannotBeTold));
}

#[test]
fn a_closed_line_is_an_area_where_its_role_has_areas() {
    let closed = |places: &[(f64, f64)], flag: u8| {
        let places: String = places
            .iter()
            .map(|(x, y)| format!("10\n{x}\n20\n{y}\n"))
            .collect();
        format!(
            "0\nSECTION\n2\nENTITIES\n0\nLWPOLYLINE\n100\nAcDbEntity\n8\nP\n100\nAcDbPolyline\n90\n4\n70\n{flag}\n{places}0\nENDSEC\n0\nEOF\n"
        )
    };
    let corners = [at(-9.0, -9.0), at(29.0, -9.0), at(29.0, 9.0), at(-9.0, 9.0)];
    let ring = [&corners[..], &corners[..1]].concat();
    let layers = |role: &str| format!("crs = \"job\"\n[[layer]]\nname = \"*\"\nrole = \"{role}\"");
    for (role, within) in [
        ("building", true),
        ("excavation", true),
        ("water", true),
        ("boundary", false),
        ("utility", false),
    ] {
        let expected: &[Meeting] = if within { &[Meeting::Within] } else { &[] };
        let meetings = |(rows, _): (Vec<Crossing>, String)| -> Vec<Meeting> {
            rows.iter().map(|row| row.meeting).collect()
        };
        let as_line = met(&job(), &[line(&ring, &json!({}))], &layers(role));
        assert_eq!(meetings(as_line), expected, "{role}");
        if cfg!(feature = "gdal") {
            let drawn = |flag| found(&job(), "p.dxf", &closed(&corners, flag), &layers(role));
            assert_eq!(meetings(drawn(1)), expected, "{role}");
            assert_eq!(meetings(drawn(0)), [], "{role}: open");
        }
    }
}

#[test]
fn a_word_for_not_known_is_no_level() {
    let across = |attributes: Value| line(&[at(8.0, -5.0), at(8.0, 5.0)], &attributes);
    let by_depth = "[[layer]]\nname = \"*\"\ndepth = { column = \"D\", to = \"bottom\" }";
    let by_elevation = "[[layer]]\nname = \"*\"\nelevation = { column = \"D\", to = \"bottom\" }";
    for (layers, level, passes) in [
        (by_depth, "0.9", Some("under")),
        (by_depth, "29.9", Some("over")),
        (by_depth, "30.1", None),
        (by_depth, "0", None),
        (by_depth, "-0.9", None),
        (by_depth, "-9999", None),
        (by_elevation, "91", Some("under")),
        (by_elevation, "-9999", None),
        (by_elevation, "0", None),
        (by_elevation, "9999", None),
    ] {
        let (rows, notes) = met(&job(), &[across(json!({"D": level}))], layers);
        assert_eq!(rows[0].passes.as_deref(), passes, "{level}");
        assert_eq!(
            notes.contains("not taken"),
            passes.is_none(),
            "{level}: {notes}"
        );
    }
    let text = "[[layer]]\nname = \"*\"\ndepth = \"-1 m\"";
    let error =
        aslaid::plan::layers::Layers::parse(text, "l.toml", aslaid::units::LengthUnit::Metre);
    assert!(error.unwrap_err().to_string().contains("counts downwards"));
}

/// A branch that joins in the gap makes a vertex there, which has no depth of its own: the crossing beside it keeps its figures.
#[test]
fn a_junction_or_a_bend_takes_no_depth_from_a_crossing_beside_it() {
    let layers = "[[layer]]\nname = \"*\"\ndepth = { value = \"1 m\", to = \"bottom\" }";
    let across = line(&[at(8.0, -5.0), at(8.0, 5.0)], &json!({}));
    let (plain, _) = met(&job(), std::slice::from_ref(&across), layers);
    for kind in [VertexKind::Junction, VertexKind::Bend] {
        let mut record = job();
        let between = Corner {
            depth: None,
            cover: None,
            ..corner(12.0)
        };
        record.runs[0].vertices = run(&record, "A", &[corner(0.0), between, corner(20.0)]).vertices;
        record.runs[0].vertices[1].kind = kind;
        let (beside, _) = met(&record, std::slice::from_ref(&across), layers);
        let figures = |row: &Crossing| {
            [row.transmitter_depth, row.cover, row.vertical_clearance].map(Option::unwrap)
        };
        for (one, other) in figures(&beside[0]).into_iter().zip(figures(&plain[0])) {
            assert!((one - other).abs() < 1e-9, "{kind:?}: {one} {other}");
        }
        // What the pipe departs from the straight between the marks is not less for the vertex.
        let bound = |rows: &[Crossing]| rows[0].depth_95.unwrap();
        assert!(
            bound(&beside) >= bound(&plain) * 0.95,
            "{} {}",
            bound(&beside),
            bound(&plain)
        );
        assert!(beside[0].cover_least.is_some() && beside[0].vertical_clearance_95.is_some());
    }
}

/// A width of 0 is none, and so is one that no utility has: nothing is met for it.
#[test]
fn a_word_for_not_known_is_no_size() {
    let layers = "[[layer]]\nname = \"*\"\ndepth = { value = \"0.9 m\", to = \"top\" }\nsize = { column = \"DIAM\", unit = \"mm\" }\n\
        required = { vertical = \"0.3 m\", source = \"s\" }";
    for (size, is_taken) in [
        ("200", true),
        ("0", false),
        ("-9999", false),
        ("20000", false),
    ] {
        let across = line(&[at(8.0, -5.0), at(8.0, 5.0)], &json!({"DIAM": size}));
        let (rows, notes) = met(&job(), &[across], layers);
        let blank = line(&[at(8.0, -5.0), at(8.0, 5.0)], &json!({"DIAM": ""}));
        let (bare, _) = met(&job(), &[blank], layers);
        assert_eq!(
            notes.contains("The size of 1 feature is not taken"),
            !is_taken,
            "{size}: {notes}"
        );
        assert_eq!(verdicts(&rows) == verdicts(&bare), !is_taken, "{size}");
    }
}
