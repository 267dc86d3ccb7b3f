//! Formats: GeoPackage as GDAL writes it equals GeoJSON; what isn't a plan is an error.

use std::path::{Path, PathBuf};
use std::process::Command;

use aslaid::plan::Feature;
use aslaid::plan::layers::Lie;
use geo::CoordsIter;
use serde_json::json;

use super::support::{Corner, folder, read, record, run};

pub fn ogr2ogr(arguments: &[&str]) {
    let output = Command::new("ogr2ogr")
        .args(arguments)
        .output()
        .expect("ogr2ogr, of gdal-bin");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
}

pub fn text(path: &Path) -> &str {
    path.to_str().expect("a plain path")
}

#[test]
fn a_geopackage_by_gdal_is_read_as_the_geojson_is() {
    let folder = folder();
    let mut record = record("EPSG:26917", 1.0, "m");
    let corner = |x: f64| Corner {
        at: (515_000.0 + x, 3_898_000.0),
        ..Corner::default()
    };
    record.runs = vec![run(&record, "A", &[corner(0.0), corner(9.0)])];
    let at = |x: f64, y: f64, z: f64| json!([515_000.0 + x, 3_898_000.0 + y, z]);
    let shapes = [
        json!({"type": "Point", "coordinates": at(1.0, 2.0, 3.0)}),
        json!({"type": "LineString", "coordinates": [at(1.0, 2.0, 3.0), at(4.5, -2.0, 1.0)]}),
        json!({"type": "Polygon", "coordinates": [[at(0.0, 0.0, 0.0), at(9.0, 0.0, 0.0), at(0.0, 9.0, 0.0), at(0.0, 0.0, 0.0)],
            [at(1.0, 1.0, 0.0), at(1.0, 2.0, 0.0), at(2.0, 1.0, 0.0), at(1.0, 1.0, 0.0)]]}),
        json!({"type": "MultiPoint", "coordinates": [at(1.0, 2.0, 3.0), at(5.0, 6.0, 7.0)]}),
        json!({"type": "MultiLineString", "coordinates": [[at(1.0, 2.0, 3.0), at(4.0, 5.0, 6.0)], [at(7.0, 8.0, 9.0), at(1.0, 1.0, 1.0)]]}),
        json!({"type": "MultiPolygon", "coordinates": [[[at(0.0, 0.0, 0.0), at(9.0, 0.0, 0.0), at(0.0, 9.0, 0.0), at(0.0, 0.0, 0.0)]]]}),
        json!({"type": "GeometryCollection", "geometries": [{"type": "Point", "coordinates": at(1.0, 2.0, 3.0)}]}),
    ];
    let features: Vec<_> = shapes
        .iter()
        .enumerate()
        .map(|(n, shape)| json!({"type": "Feature", "properties": {"n": n, "x": 1.5, "t": "Höhe", "none": null}, "geometry": shape}))
        .collect();
    let all = json!({"type": "FeatureCollection", "features": features,
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::26917"}}});
    let source = folder.path().join("plan.geojson");
    std::fs::write(&source, all.to_string()).unwrap();
    let layers = "[[layer]]\nname = \"plan\"\nelevation = { drawn = true }";
    let (expected, _) = read(&record, std::slice::from_ref(&source), layers, None).unwrap();
    assert_eq!(expected.features.len(), shapes.len());
    let heights = |feature: &Feature| match &feature.lie {
        Some(Lie::Drawn { heights, .. }) => heights.clone(),
        _ => Vec::new(),
    };
    let drawn: Vec<Vec<f64>> = expected.features.iter().map(heights).collect();
    // 0 throughout is drawn flat.
    let [none, point] = [vec![], vec![3.0]];
    let many = [vec![3.0, 1.0], vec![3.0, 7.0], vec![3.0, 6.0, 9.0, 1.0]];
    let [line, points, lines] = many;
    let stated = [
        point.clone(),
        line,
        none.clone(),
        points,
        lines,
        none.clone(),
        point,
    ];
    assert_eq!(drawn, stated);
    for dimension in ["XY", "XYZ", "XYM", "XYZM"] {
        let package = folder.path().join(format!("{dimension}.gpkg"));
        ogr2ogr(&[
            "-f",
            "GPKG",
            text(&package),
            text(&source),
            "-dim",
            dimension,
            "-nln",
            "plan",
        ]);
        let (found, _) = read(&record, std::slice::from_ref(&package), layers, None).unwrap();
        assert_eq!(found.features.len(), shapes.len(), "{dimension}");
        let drawn: Vec<Vec<f64>> = found.features.iter().map(heights).collect();
        match dimension.contains('Z') {
            true => assert_eq!(drawn, stated, "{dimension}"),
            false => assert!(drawn.iter().all(Vec::is_empty), "{dimension}"),
        }
        for (one, other) in found.features.iter().zip(&expected.features) {
            assert_eq!(
                (&one.geometry, &one.attributes),
                (&other.geometry, &other.attributes),
                "{dimension}"
            );
            assert!(one.geometry.coords_count() > 0);
        }
        assert_eq!(found.features[2].source, format!("{dimension}.gpkg!plan:3"));
    }
    // Without a system: asked for.
    let bare = folder.path().join("XY.gpkg");
    let connection = rusqlite::Connection::open(&bare).unwrap();
    assert_eq!(
        connection
            .execute("UPDATE gpkg_geometry_columns SET srs_id = -1", [])
            .unwrap(),
        1
    );
    drop(connection);
    let found = read(&record, std::slice::from_ref(&bare), "", None);
    assert!(
        found
            .as_ref()
            .is_err_and(|why| why.contains("does not say")),
        "{:?}",
        found.err()
    );
    assert!(read(&record, &[bare], "crs = \"job\"", None).is_ok());
}

#[test]
fn what_is_no_plan_is_an_error_that_names_the_file() {
    let folder = folder();
    let mut record = record("EPSG:26917", 1.0, "m");
    record.runs = vec![run(
        &record,
        "A",
        &[Corner {
            at: (515_000.0, 3_898_000.0),
            ..Corner::default()
        }],
    )];
    let write = |name: &str, bytes: &[u8]| -> PathBuf {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    };
    let deep = format!("{}{}", "[".repeat(100_000), "]".repeat(100_000));
    let nested = format!(r#"{{"type":"Point","coordinates":{deep}}}"#);
    for (path, says) in [
        (write("a.geojson", b"{"), "no GeoJSON"),
        (write("b.geojson", b"\xff\xfe{}"), "UTF-8"),
        (write("c.json", b"[]"), "no GeoJSON"),
        (write("d.geojson", nested.as_bytes()), "no GeoJSON"),
        (
            write("e.gpkg", b"SQLite format 3\0 and then nothing"),
            "no GeoPackage",
        ),
        (write("f.gpkg", b""), "no GeoPackage"),
        (write("g.dwg", b""), "a plan is a GeoJSON"),
        (write("i.pdf", b""), "a plan is a GeoJSON"),
        (
            folder.path().join("missing.geojson"),
            "there is no such file",
        ),
        (folder.path().to_owned(), "a plan is a GeoJSON"),
        (PathBuf::from("/dev/zero.geojson"), "there is no such file"),
    ] {
        let error = read(&record, std::slice::from_ref(&path), "", None).unwrap_err();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        assert!(
            error.contains(says) && error.contains(&name),
            "{name}: {error}"
        );
    }
    let link = folder.path().join("link.geojson");
    std::os::unix::fs::symlink("/dev/zero", &link).unwrap();
    assert!(
        read(&record, &[link], "", None)
            .unwrap_err()
            .contains("no file")
    );
}
