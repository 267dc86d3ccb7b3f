//! Drawings and Shapefiles, through GDAL: units, zones, broken files, files of others.

use std::path::{Path, PathBuf};
use std::process::Command;

use aslaid::crs::Crs;
use aslaid::maps;
use aslaid::plan::crossing::crossings;
use aslaid::record::AsBuilt;
use aslaid::units::{FOOT, LengthUnit};

use super::formats::{ogr2ogr, text};
use super::support::{Corner, US_FOOT, folder, lines, read, record, run};

const START: (f64, f64) = (440_000.0, 165_000.0);

/// A job in EPSG:2264 with a run of 20 m due east.
fn job() -> AsBuilt {
    of("EPSG:2264", US_FOOT, "us-ft", START)
}

fn of(crs: &str, crs_unit: f64, unit: &str, start: (f64, f64)) -> AsBuilt {
    let mut record = record(crs, crs_unit, unit);
    let corner = |east: f64| Corner {
        at: (start.0 + east, start.1),
        ..Corner::default()
    };
    record.runs = vec![run(&record, "A", &[corner(0.0), corner(20.0)])];
    record
}

/// A line square across the run, 8 m along it, in a unit.
fn across(start: (f64, f64), metres: f64) -> Vec<(f64, f64)> {
    let at = |north: f64| ((start.0 + 8.0) / metres, (start.1 + north) / metres);
    vec![at(-5.0), at(5.0)]
}

/// A drawing of the first version, by hand: a line, and lettering beside it. `unit` is the number of `$INSUNITS`.
fn drawing(points: &[(f64, f64)], unit: Option<i32>) -> String {
    let header = unit.map_or_else(String::new, |unit| {
        format!("0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n{unit}\n0\nENDSEC\n")
    });
    let [(x1, y1), (x2, y2)] = points else {
        panic!("two points")
    };
    format!(
        "{header}0\nSECTION\n2\nENTITIES\n0\nLINE\n8\nC-PROP\n10\n{x1}\n20\n{y1}\n11\n{x2}\n21\n{y2}\n\
         0\nTEXT\n8\nC-PROP\n10\n{x1}\n20\n{y1}\n40\n1\n1\nLOT 7\n0\nENDSEC\n0\nEOF\n"
    )
}

fn write(folder: &Path, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, bytes).unwrap();
    path
}

fn station(record: &AsBuilt, text: &str, layers: &str) -> Result<(f64, String), String> {
    let folder = folder();
    let path = write(folder.path(), "site.dxf", text);
    let (plan, site) = read(record, &[path], layers, None)?;
    let rows = crossings(record, &plan, &site).unwrap();
    assert_eq!(
        (rows.len(), rows[0].role.as_str()),
        (1, "boundary"),
        "{rows:?}"
    );
    let notes: Vec<&str> = plan.notes.iter().map(|note| note.text.as_str()).collect();
    assert!(
        notes.iter().any(|text| text.contains("it is lettering")),
        "{notes:?}"
    );
    Ok((
        rows[0].station * record.frame.unit.metres(),
        plan.layers[0].placed.clone(),
    ))
}

#[track_caller]
fn eight(found: Result<(f64, String), String>, says: &str) {
    let (station, placed) = found.unwrap();
    assert!((station - 8.0).abs() < 1e-3, "{station} {placed}");
    assert!(placed.contains(says), "{placed}");
}

#[test]
fn a_drawing_lies_in_its_own_unit_in_the_jobs_system_or_is_asked() {
    let own = "states its unit and no coordinate system";
    for (unit, metres, says) in [
        (21, US_FOOT, "us-ft"),
        // 2, feet, is written for either foot: 2 parts in a million are 0.9 m at this easting.
        (2, US_FOOT, "feet, taken as those of the coordinate system"),
        (4, 0.001, "mm"),
        (5, 0.01, "cm"),
        (6, 1.0, "EPSG:2264 in m"),
        (1, 0.0254, "EPSG:2264 in in"),
    ] {
        let text = drawing(&across(START, metres), Some(unit));
        let found = station(&job(), &text, "");
        assert!(
            found.as_ref().is_ok_and(|(_, placed)| placed.contains(own)),
            "{unit}"
        );
        eight(found, says);
    }
    // The reverse: a drawing in feet under a job in metres.
    let utm = (515_000.0, 3_898_000.0);
    let metric = of("EPSG:26917", 1.0, "m", utm);
    eight(
        station(&metric, &drawing(&across(utm, FOOT), Some(2)), ""),
        "EPSG:26917 in ft",
    );
    // The layers file gives the system, the drawing its unit.
    let feet = drawing(&across(START, US_FOOT), Some(21));
    eight(
        station(&job(), &feet, "crs = \"EPSG:2264\""),
        "as the layers file says",
    );
    let just_feet = drawing(&across(START, US_FOOT), Some(2));
    eight(
        station(&job(), &just_feet, "crs = \"EPSG:2264\""),
        "as the layers file says",
    );
    let other = drawing(&across(utm, FOOT), Some(2));
    let said = "crs = \"EPSG:26917\"";
    eight(station(&metric, &other, said), "EPSG:26917");

    // Without a unit, or with one of no use (0 unitless, 3 miles): asked for, with what would fit.
    for unit in [None, Some(0), Some(3)] {
        let text = drawing(&across(START, US_FOOT), unit);
        let error = station(&job(), &text, "").unwrap_err();
        for word in [
            "site.dxf",
            "does not say its coordinate system",
            "unit = \"us-ft\"",
            "--plan-layers",
        ] {
            assert!(error.contains(word), "{word}: {error}");
        }
        eight(
            station(&job(), &text, "unit = \"us-ft\""),
            "as the layers file says",
        );
    }
    // A wrong unit, a wrong zone: the error says what fits.
    let wrong = drawing(&across(START, US_FOOT), Some(4));
    let error = station(&job(), &wrong, "").unwrap_err();
    assert!(
        error.contains("from the job") && error.contains("us-ft"),
        "{error}"
    );
    let beats = "[[file]]\nname = \"site.dxf\"\nunit = \"us-ft\"";
    eight(
        station(&job(), &wrong, beats),
        "as the layers file says of this file",
    );
    let zone = drawing(&across(utm, 1.0), Some(6));
    let error = station(&metric, &zone, "crs = \"EPSG:26916\"").unwrap_err();
    assert!(error.contains("EPSG:26917"), "{error}");
}

#[test]
fn a_broken_drawing_is_an_error_that_says_so() {
    let whole = drawing(&across(START, US_FOOT), Some(21));
    let half = &whole[..whole.len() / 2];
    let letters = whole.replace("10\n", "ten\n");
    let no_line = whole.replace("0\nEOF\n", "");
    for (text, says) in [
        (half.as_bytes(), "no DXF that can be read"),
        (letters.as_bytes(), "\"ten\" is no group code"),
        (no_line.as_bytes(), "not whole"),
        (b"hello\n".as_slice(), "line 1: \"hello\" is no group code"),
        (b"binary\r\n\x1a\0", "binary DXF, or none"),
        (b"", "not whole"),
    ] {
        let folder = folder();
        let path = write(folder.path(), "site.dxf", text);
        let error = read(&job(), &[path], "", None).unwrap_err();
        assert!(
            error.contains(says) && error.contains("site.dxf"),
            "{error}"
        );
    }
    // Whole as a file, and not as a drawing: GDAL's reader or the lack of anything to use says so, nothing panics.
    for entity in [
        "LINE\n8\nA\n10\nx\n20\n1\n11\n2\n21\n",
        "POLYLINE\n8\nA\n66\n1\n0\nVERTEX\n8\nA\n10\n1\n",
        "HATCH\n91\n9999999\n",
    ] {
        let text = format!("0\nSECTION\n2\nENTITIES\n0\n{entity}0\nENDSEC\n0\nEOF\n");
        let folder = folder();
        let path = write(folder.path(), "site.dxf", text);
        match maps::file(&path, None) {
            Ok(raw) => println!(
                "{entity:?}: {} layer(s), {:?}",
                raw.layers.len(),
                raw.remarks
            ),
            Err(error) => println!("{entity:?}: {error}"),
        }
    }
}

#[test]
fn without_gdal_the_program_says_what_to_install() {
    let folder = folder();
    let path = write(
        folder.path(),
        "site.dxf",
        drawing(&across(START, US_FOOT), Some(21)),
    );
    let output = Command::new(env!("CARGO_BIN_EXE_aslaid"))
        .args(["build", "fixtures/demo/fern-hollow", "--out"])
        .arg(folder.path().join("out"))
        .arg("--plan")
        .arg(&path)
        .env("PATH", "/nonexistent")
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(
        said.contains("ogr2ogr") && said.contains("gdal-bin"),
        "{said}"
    );
    assert!(!folder.path().join("out/FH-0117").exists());
}

#[test]
fn a_shapefile_is_read_with_what_belongs_to_it() {
    let folder = folder();
    let source = folder.path().join("site.geojson");
    lines(&source, Some(2264), &[("boundary", across(START, US_FOOT))]);
    let shape = folder.path().join("boundary.shp");
    ogr2ogr(&["-f", "ESRI Shapefile", text(&shape), text(&source)]);
    let record = job();
    let eight = |layers: &str| {
        let (plan, site) = read(&record, std::slice::from_ref(&shape), layers, None)?;
        let rows = crossings(&record, &plan, &site).unwrap();
        assert!((rows[0].station * US_FOOT - 8.0).abs() < 1e-3);
        let files: Vec<String> = plan.inputs.iter().map(|input| input.file.clone()).collect();
        Ok::<_, String>((files, plan.layers[0].placed.clone()))
    };
    let (files, placed) = eight("").unwrap();
    assert_eq!(
        files,
        [
            "boundary.shp",
            "boundary.shx",
            "boundary.dbf",
            "boundary.prj"
        ]
    );
    assert!(placed.contains("EPSG:2264, as the file says"), "{placed}");
    // Feet of a system in metres, and the reverse, come right by the system's own unit.
    let metric = folder.path().join("metric.shp");
    ogr2ogr(&[
        "-f",
        "ESRI Shapefile",
        "-t_srs",
        "EPSG:32119",
        text(&metric),
        text(&source),
    ]);
    let (plan, site) = read(&record, &[metric], "", None).unwrap();
    let rows = crossings(&record, &plan, &site).unwrap();
    assert!(
        (rows[0].station * US_FOOT - 8.0).abs() < 1e-3,
        "{}",
        plan.layers[0].placed
    );

    std::fs::remove_file(shape.with_extension("prj")).unwrap();
    let error = eight("").unwrap_err();
    assert!(
        error.contains("does not say") && error.contains("us-ft"),
        "{error}"
    );
    eight("crs = \"EPSG:2264\"").unwrap();
    let bytes = std::fs::read(&shape).unwrap();
    std::fs::remove_file(shape.with_extension("shx")).unwrap();
    let error = eight("crs = \"EPSG:2264\"").unwrap_err();
    assert!(
        error.contains("GDAL can't read it") && error.contains("boundary.shp"),
        "{error}"
    );
    assert!(
        !shape.with_extension("shx").exists(),
        "nothing is written beside a plan"
    );
    write(folder.path(), "boundary.shp", &bytes[..60]);
    assert!(eight("crs = \"EPSG:2264\"").is_err());
}

/// Features in a file, by GDAL's own program.
fn counted(path: &Path) -> usize {
    let output = Command::new("ogrinfo")
        .args(["-ro", "-so", "-al", text(path)])
        .output()
        .expect("ogrinfo, of gdal-bin");
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let counts = said
        .lines()
        .filter_map(|line| line.strip_prefix("Feature Count: "));
    counts
        .map(|count| count.trim().parse::<usize>().unwrap())
        .sum()
}

#[test]
fn published_samples_load_with_every_feature() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut samples: Vec<PathBuf> = std::fs::read_dir(root.join("fixtures/reference/plans"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some())
        .collect();
    let packages = root.join("target/venv/lib/python3.11/site-packages");
    let gdal = folder();
    // The halves of an empty drawing that GDAL itself writes by.
    let halves = ["header.dxf", "trailer.dxf"].map(|half| {
        let path = packages.join("pyogrio/gdal_data").join(half);
        std::fs::read_to_string(&path).unwrap_or_else(|why| panic!("{}: {why}", path.display()))
    });
    let empty = halves.concat().replace("{ENTITIES}", "");
    samples.push(write(gdal.path(), "gdal-empty.dxf", empty));
    samples
        .push(packages.join("pyogrio/tests/fixtures/naturalearth_lowres/naturalearth_lowres.shp"));
    samples.push(packages.join("geopandas/tests/data/null_geom.geojson"));
    samples.sort();
    let (mut drawings, mut features) = (0, 0);
    for path in &samples {
        let raw = maps::file(path, None).unwrap_or_else(|why| panic!("{why}"));
        let taken: usize = raw.layers.iter().map(|layer| layer.features.len()).sum();
        let aside: usize = raw.layers.iter().map(|layer| layer.left_out.len()).sum();
        println!(
            "{}: {} layers, {taken} features, {aside} left out; {:?}",
            raw.file,
            raw.layers.len(),
            raw.remarks
        );
        assert_eq!(taken + aside, counted(path), "{}", path.display());
        drawings += usize::from(path.extension().is_some_and(|ending| ending == "dxf"));
        features += taken;
    }
    assert!(
        samples.len() >= 10 && drawings == 2 && features > 200,
        "{}",
        samples.len()
    );
}

/// From AC1021 on a drawing is in UTF-8, whatever code page it names: a layer's name is what it is.
#[test]
fn layers_of_newer_drawings_keep_their_letters() {
    let record = job();
    let points = across(START, 1.0);
    let text = drawing(&points, Some(6))
        .replace("C-PROP", "Gasstraße")
        .replace(
            "9\n$INSUNITS",
            "9\n$ACADVER\n1\nAC1024\n9\n$DWGCODEPAGE\n3\nANSI_1252\n9\n$INSUNITS",
        );
    let folder = folder();
    let path = write(folder.path(), "site.dxf", text);
    let layers = "[[layer]]\nname = \"Gasstraße\"\nrole = \"utility\"";
    let (plan, _) = read(&record, &[path], layers, None).unwrap();
    let names: Vec<&str> = plan
        .layers
        .iter()
        .map(|layer| layer.layer.as_str())
        .collect();
    assert_eq!(names, ["Gasstraße"]);
    assert_eq!(plan.layers[0].role.word(), "utility");
}

/// What is left out is told of the layer that it lies on.
#[test]
fn lettering_is_left_out_of_its_own_layer() {
    let points = across(START, 1.0);
    let text = drawing(&points, Some(6)).replace("TEXT\n8\nC-PROP", "TEXT\n8\nC-ANNO");
    let folder = folder();
    let path = write(folder.path(), "site.dxf", text);
    let (plan, _) = read(&job(), &[path], "", None).unwrap();
    let of = |layer: &str| -> Vec<&str> {
        let source = format!("site.dxf!{layer}");
        let notes = plan
            .notes
            .iter()
            .filter(|note| note.source.as_deref() == Some(&*source));
        notes.map(|note| note.text.as_str()).collect()
    };
    assert!(
        of("C-ANNO")
            .iter()
            .any(|text| text.contains("it is lettering")),
        "{:?}",
        plan.notes
    );
    assert!(
        of("C-PROP").iter().all(|text| !text.contains("lettering")),
        "{:?}",
        plan.notes
    );
}

/// Results in another system: "the job's" is the one that the job is written in, of drawings, layers files and common points.
#[test]
fn the_jobs_system_is_the_one_that_it_is_written_in() {
    let crs = |code: &str| Crs::new(code, LengthUnit::Metre).unwrap();
    let points = |metres: f64| across(START, metres);
    let text = drawing(&points(US_FOOT), Some(2));
    let plain = station(&job(), &text, "").unwrap().0;
    // The same record in UTM, by way of its own feet.
    let (from, to) = (crs("EPSG:2264"), crs("EPSG:32617"));
    let mut recast = job();
    let frame = &mut recast.frame;
    (frame.crs, frame.crs_unit_metres) = ("EPSG:32617".to_owned(), 1.0);
    frame.given_crs = Some("EPSG:2264".to_owned());
    for vertex in recast.runs.iter_mut().flat_map(|run| &mut run.vertices) {
        let at = [(vertex.easting * US_FOOT, vertex.northing * US_FOOT)];
        let (places, _) = from.to_other(&to, &at).unwrap();
        (vertex.easting, vertex.northing) = places[0];
    }
    let unit = "unit = \"us-ft\"\ncrs = \"job\"\n";
    for layers in ["", unit] {
        let (found, placed) = station(&recast, &text, layers).unwrap();
        assert!((found - plain).abs() < 0.01, "{layers}: {found} {plain}");
        assert!(placed.contains("EPSG:2264"), "{placed}");
    }
}
