//! Plans drawn with heights: what of them is used, in which unit, and what is said where it can't be.

use aslaid::plan::crossing::crossings;
use aslaid::record::AsBuilt;
use aslaid::record::model::Crossing;
use aslaid::units::FOOT;
use serde_json::{Value, json};

use super::support::{Corner, folder, read, record, run};

const START: (f64, f64) = (515_000.0, 3_898_000.0);

/// A level run of 20 m due east, 100 mm wide with a wall of 5 mm, its invert at 90 m.
fn job() -> AsBuilt {
    let mut record = record("EPSG:26917", 1.0, "m");
    let corner = |east: f64| Corner {
        at: (START.0 + east, START.1),
        invert: Some((90.0, 0.01)),
        depth: Some((2.0, 0.01)),
        cover: Some(1.9),
        ..Corner::default()
    };
    record.runs = vec![run(&record, "A", &[corner(0.0), corner(20.0)])];
    record.runs[0].diameter = Some(0.1);
    record.runs[0].wall = Some(0.005);
    record
}

fn rule(elevation: &str) -> String {
    format!("[[layer]]\nname = \"*\"\nrole = \"utility\"\n{elevation}")
}

/// The crossings of a plan, and its notes.
fn met(name: &str, bytes: &str, layers: &str) -> (Vec<Crossing>, String) {
    let (folder, record) = (folder(), job());
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).unwrap();
    let (plan, site) = read(&record, &[path], layers, None).unwrap();
    let notes: Vec<&str> = plan.notes.iter().map(|note| note.text.as_str()).collect();
    (crossings(&record, &plan, &site).unwrap(), notes.join("\n"))
}

/// A plan of one shape.
fn shape(kind: &str, coordinates: &Value) -> String {
    json!({"type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::26917"}},
        "features": [{"type": "Feature", "properties": {"layer": "water", "TOP": "91.5"},
            "geometry": {"type": kind, "coordinates": coordinates}}]})
    .to_string()
}

/// A line square across the run, 8 m along it, with these heights 5 m before and 15 m behind.
fn across(heights: [Option<f64>; 2]) -> String {
    let at = |north: f64, height: Option<f64>| {
        let place = [Some(START.0 + 8.0), Some(START.1 + north), height];
        json!(place.into_iter().flatten().collect::<Vec<f64>>())
    };
    let [from, to] = heights;
    shape("LineString", &json!([at(-5.0, from), at(15.0, to)]))
}

fn clearance(found: &[Crossing]) -> Option<f64> {
    assert_eq!(found.len(), 1, "{found:?}");
    found[0].vertical_clearance
}

#[test]
fn a_line_is_met_at_the_height_that_it_has_there() {
    // A quarter of the way from 91 to 95 is 92; the pipe reaches from 89.995 to 90.105.
    let line = across([Some(91.0), Some(95.0)]);
    for (of, over) in [("bottom", 92.0), ("top", 91.8), ("axis", 91.9)] {
        let layers = rule(&format!(
            "elevation = {{ drawn = true, to = \"{of}\" }}\nsize = \"0.2 m\""
        ));
        let (found, notes) = met("p.geojson", &line, &layers);
        assert!(
            (clearance(&found).unwrap() - (over - 90.105)).abs() < 1e-9,
            "{of}"
        );
        assert!(!notes.contains("height"), "{notes}");
    }
    // Where the run's own places have no bound, nobody knows where a slope is crossed.
    let bound = |line: &str| {
        let layers = rule("sigma = \"0.1 m\"\nelevation = { drawn = true, to = \"bottom\" }");
        met("p.geojson", line, &layers).0[0].vertical_clearance_95
    };
    assert_eq!(bound(&line), None);
    let level = bound(&across([Some(92.0), Some(92.0)])).unwrap();
    // The inverts' centimetre, and a hundredth of the 8 m to the nearer mark.
    assert!(
        (level - 1.96 * 0.01_f64.hypot(0.08)).abs() < 1e-4,
        "{level}"
    );
}

#[test]
fn a_line_beside_the_run_has_the_height_of_its_nearest_place() {
    // Along the run from 4 m on, 2 m off; nearest all along: the first met is its first end.
    let at = |east: f64, north: f64, height: f64| json!([START.0 + east, START.1 + north, height]);
    let line = shape(
        "LineString",
        &json!([at(4.0, 9.0, 99.0), at(4.0, 2.0, 92.0)]),
    );
    let layers = rule("elevation = { drawn = true, to = \"bottom\" }");
    let (found, _) = met("p.geojson", &line, &layers);
    assert!((clearance(&found).unwrap() - (92.0 - 90.105)).abs() < 1e-9);
    // A manhole's lid.
    let (found, _) = met("p.geojson", &shape("Point", &at(10.0, 2.0, 93.0)), &layers);
    assert!((clearance(&found).unwrap() - (93.0 - 90.105)).abs() < 1e-9);
}

#[test]
fn what_is_drawn_flat_has_no_height_and_another_figure_is_taken() {
    let drawn = rule("elevation = { drawn = true, to = \"bottom\" }");
    for flat in [[Some(0.0), Some(0.0)], [None, None], [Some(91.0), None]] {
        let (found, notes) = met("p.geojson", &across(flat), &drawn);
        assert_eq!(clearance(&found), None, "{flat:?}");
        let half = flat[0] == Some(91.0);
        assert_eq!(
            notes.contains("1 of 1 features are drawn without heights"),
            !half,
            "{notes}"
        );
    }
    let (found, _) = met(
        "p.geojson",
        &across([Some(0.0), Some(0.0)]),
        &format!("{drawn}\ndepth = {{ value = \"1 m\", to = \"bottom\" }}"),
    );
    assert!((clearance(&found).unwrap() - 0.9).abs() < 1e-9);
}

#[test]
fn heights_that_nobody_asked_for_are_named_and_not_used() {
    let line = across([Some(91.0), Some(95.0)]);
    let (found, notes) = met("p.geojson", &line, &rule(""));
    assert_eq!(clearance(&found), None);
    assert!(
        notes.contains("give `elevation = { drawn = true }`"),
        "{notes}"
    );
    // Where a level is told otherwise, or what is drawn is no utility, that would be noise.
    for layers in [
        rule("elevation = { column = \"TOP\" }"),
        rule("").replace("utility", "boundary"),
    ] {
        let (_, notes) = met("p.geojson", &line, &layers);
        assert!(!notes.contains("heights"), "{notes}");
    }
}

#[cfg(feature = "gdal")]
#[test]
fn a_drawings_heights_are_in_its_unit_or_in_the_one_that_is_given() {
    let drawing = |unit: u8, metres: f64, high: f64| {
        let (x, low, up) = (
            (START.0 + 8.0) / metres,
            (START.1 - 5.0) / metres,
            (START.1 + 5.0) / metres,
        );
        format!(
            "0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n{unit}\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n0\nLINE\n8\nWATER\n\
             10\n{x}\n20\n{low}\n30\n{high}\n11\n{x}\n21\n{up}\n31\n{high}\n0\nENDSEC\n0\nEOF\n"
        )
    };
    let own = "elevation = { drawn = true, to = \"bottom\" }";
    let said = "elevation = { drawn = true, to = \"bottom\", unit = \"m\" }";
    for (unit, metres, high, elevation) in [
        (6, 1.0, 92.0, own),
        (2, FOOT, 92.0 / FOOT, own),
        (4, 0.001, 92_000.0, own),
        (2, FOOT, 92.0, said),
    ] {
        let (found, notes) = met("p.dxf", &drawing(unit, metres, high), &rule(elevation));
        let found = clearance(&found).unwrap();
        assert!(
            (found - (92.0 - 90.105)).abs() < 1e-6,
            "{unit} {elevation}: {found} {notes}"
        );
    }
}

/// A vertex that nobody levelled is drawn at 0, or at a figure that stands for nothing: beside it there is no height.
#[test]
fn a_vertex_that_nobody_levelled_has_no_height() {
    let drawn = rule("elevation = { drawn = true, to = \"bottom\" }");
    let at = |north: f64, height: f64| json!([START.0 + 8.0, START.1 + north, height]);
    let of = |points: Vec<Value>| met("p.geojson", &shape("LineString", &json!(points)), &drawn);
    let (sound, notes) = of(vec![at(-5.0, 91.5), at(15.0, 91.5), at(40.0, 91.5)]);
    assert!(
        clearance(&sound).is_some() && !notes.contains("not taken"),
        "{notes}"
    );
    for odd in [0.0, -9999.0, 9999.0] {
        // Beside the crossing there is none; beyond the next vertex it does no harm.
        let (near, notes) = of(vec![at(-5.0, 91.5), at(15.0, odd), at(40.0, 91.5)]);
        assert_eq!(clearance(&near), None, "{odd}");
        assert!(
            notes.contains("one of its points lies at"),
            "{odd}: {notes}"
        );
        let (far, _) = of(vec![at(-5.0, 91.5), at(15.0, 91.5), at(40.0, odd)]);
        assert_eq!(clearance(&far), clearance(&sound), "{odd}");
    }
    // A main that climbs out of the site as mains do is what it is.
    let (hill, notes) = of(vec![at(-5.0, 91.5), at(15.0, 91.5), at(415.0, 131.5)]);
    assert_eq!(clearance(&hill), clearance(&sound));
    assert!(!notes.contains("points lies"), "{notes}");
}
