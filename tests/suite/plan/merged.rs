//! Plans in ground coordinates of their own, merged: the command, from fieldbook and plan to the drawing that goes back.

use std::path::{Path, PathBuf};
use std::process::Command;

use aslaid::pipeline::{Options, run};
use aslaid::record::AsBuilt;
use aslaid::units::FOOT;
use serde_json::json;

use super::support::{folder, python};

/// A job and its record.
fn demo() -> (PathBuf, AsBuilt) {
    let job = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/fern-hollow");
    let record = run(&job, &Options::default()).unwrap().record.unwrap();
    (job, record)
}

/// The ground system of a plan: feet, turned by 37°, 0.99985 of them to a foot of the grid, about the job's first vertex.
struct Ground {
    origin: (f64, f64),
    /// Metres in a unit of the plan, on the grid.
    unit: f64,
}

impl Ground {
    /// From the grid, metres.
    fn of(&self, (e, n): (f64, f64)) -> (f64, f64) {
        let (sin, cos) = 37.0_f64.to_radians().sin_cos();
        let (x, y) = (e - self.origin.0, n - self.origin.1);
        let scale = 1.0 / self.unit;
        (
            5000.0 + scale * (cos * x - sin * y),
            10_000.0 + scale * (sin * x + cos * y),
        )
    }
}

/// The run's vertices on the grid, metres.
fn vertices(record: &AsBuilt) -> Vec<(f64, f64)> {
    let metres = record.frame.crs_unit_metres;
    let run = &record.runs[0];
    let places = run.vertices.iter();
    places
        .map(|vertex| (vertex.easting * metres, vertex.northing * metres))
        .collect()
}

fn plan(folder: &Path, version: &str, unit: i32, lines: &[(&str, Vec<(f64, f64)>)]) -> PathBuf {
    let (source, path) = (folder.join("lines.json"), folder.join("plan.dxf"));
    let lines: Vec<_> = lines
        .iter()
        .map(|(layer, points)| {
            json!([
                layer,
                points.iter().map(|(x, y)| [*x, *y]).collect::<Vec<_>>()
            ])
        })
        .collect();
    std::fs::write(&source, json!({"unit": unit, "lines": lines}).to_string()).unwrap();
    python("make_plan.py", &[Path::new(version), &source, &path]);
    path
}

fn build(job: &Path, out: &Path, more: &[&str]) -> (i32, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_aslaid"))
        .arg("build")
        .arg(job)
        .args(["--quiet", "--formats", "record,points,crossings", "--out"])
        .arg(out)
        .args(more)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    (output.status.code().unwrap(), said)
}

fn checked(folder: &Path, plan: &Path, merged: &Path, run: &[(f64, f64)]) -> f64 {
    let expected = folder.join("expected.json");
    let run: Vec<_> = run.iter().map(|(x, y)| [*x, *y]).collect();
    std::fs::write(
        &expected,
        json!({"run": run, "layer": "V-SSWR-PIPE"}).to_string(),
    )
    .unwrap();
    let said = python("check_merged.py", &[plan, merged, &expected]);
    println!("entities before, new, worst vertex: {}", said.trim());
    said.split_whitespace().last().unwrap().parse().unwrap()
}

#[test]
fn a_tied_plan_comes_back_with_the_results_and_names_the_wrong_point() {
    let (job, record) = demo();
    let run = vertices(&record);
    let ground = Ground {
        origin: run[0],
        unit: 0.99985 * FOOT,
    };
    let middle = (
        f64::midpoint(run[0].0, run[1].0),
        f64::midpoint(run[0].1, run[1].1),
    );
    let lot: Vec<_> = [(-6.0, 7.0), (6.0, -7.0)]
        .map(|(x, y)| ground.of((middle.0 + x, middle.1 + y)))
        .to_vec();
    for version in ["R12", "R2000", "R2010"] {
        let folder = folder();
        let path = plan(folder.path(), version, 2, &[("C-PROP-LINE", lot.clone())]);
        let mut table = String::from("point,plan_x,plan_y,easting,northing\n");
        let metres = record.frame.crs_unit_metres;
        for (number, (x, y)) in [
            (-10.0, -12.0),
            (45.0, -8.0),
            (50.0, 40.0),
            (-5.0, 38.0),
            (20.0, 15.0),
        ]
        .into_iter()
        .enumerate()
        {
            let grid = (run[0].0 + x, run[0].1 + y);
            let (plan_x, plan_y) = ground.of(grid);
            let wrong = if number == 2 { 0.3 * FOOT } else { 0.0 };
            table += &format!(
                "T{number},{plan_x:.6},{plan_y:.6},{:.6},{:.6}\n",
                (grid.0 + wrong) / metres,
                grid.1 / metres
            );
        }
        let tie = folder.path().join("tie.csv");
        std::fs::write(&tie, table).unwrap();
        let out = folder.path().join("out");
        let text = |path: &Path| path.to_str().unwrap().to_owned();
        let (code, said) = build(
            &job,
            &out,
            &[
                "--plan",
                &text(&path),
                "--plan-tie",
                &text(&tie),
                "--merge-plan",
                "--plan-system",
            ],
        );
        assert_eq!(code, 0, "{said}");
        let results = out.join("FH-0117");
        let notes = std::fs::read_to_string(results.join("record.json")).unwrap();
        assert!(
            notes.contains("T2 0.091 m (wrong: left out)") && notes.contains("rotation"),
            "{version}"
        );
        assert!(notes.contains("drawn in grey under the runs is from plan.dxf"));
        let due: Vec<_> = run.iter().map(|place| ground.of(*place)).collect();
        let worst = checked(folder.path(), &path, &results.join("merged.dxf"), &due);
        // The tie file has six decimals, the drawing four; a thousandth of a foot is asked for.
        assert!(worst < 1e-3, "{version}: {worst}");

        let table = std::fs::read_to_string(results.join("plan-points.csv")).unwrap();
        let mut table = csv::Reader::from_reader(table.trim_start_matches('\u{feff}').as_bytes());
        let head = table.headers().unwrap().clone();
        let column = |name: &str| head.iter().position(|of| of == name).unwrap();
        let rows: Vec<_> = table.records().map(Result::unwrap).collect();
        assert!(rows.iter().any(|row| &row[column("feature")] == "crossing"));
        for mark in &record.marks {
            let row = rows.iter().find(|row| row[0] == mark.id).unwrap();
            let number = |name: &str| row[column(name)].parse::<f64>().unwrap();
            let due = ground.of((mark.easting * metres, mark.northing * metres));
            assert!((number("plan_x") - due.0).hypot(number("plan_y") - due.1) < 1e-3);
            // The plan is turned counter-clockwise: what points north there points 37° west of it.
            let turned = (number("azimuth_95_in_plan") - mark.ellipse.unwrap().azimuth_95 + 37.0)
                .rem_euclid(180.0);
            assert!(turned.min(180.0 - turned) < 0.01, "{turned}");
            let invert = mark
                .invert
                .map(|invert| invert * record.frame.unit.metres() / FOOT);
            assert!((number("invert_in_plan_unit") - invert.unwrap()).abs() < 2e-4);
        }
        assert!(results.join("asbuilt-plan.dxf").exists());
        // Without the options they are not there, and the earlier ones are gone.
        let (code, said) = build(
            &job,
            &out,
            &["--plan", &text(&path), "--plan-tie", &text(&tie)],
        );
        assert_eq!(code, 0, "{said}");
        assert!(!results.join("merged.dxf").exists() && !results.join("plan-points.csv").exists());
    }
}

/// The unit that results are asked for in is none of the layers file's.
#[test]
fn plain_numbers_of_the_layers_file_are_in_the_jobs_unit() {
    let (job, record) = demo();
    let folder = folder();
    let run = vertices(&record);
    // Beside the run, within 5 of the job's feet and not within 5 m of anything else.
    let metres = record.frame.crs_unit_metres;
    let beside: Vec<[f64; 2]> = run
        .iter()
        .map(|(e, n)| [(e + 40.0 * metres) / metres, n / metres])
        .collect();
    let crs = format!("urn:ogc:def:crs:{}", record.frame.crs.replace(':', "::"));
    let plan = json!({"type": "FeatureCollection", "crs": {"type": "name", "properties": {"name": crs}},
        "features": [{"type": "Feature", "properties": {}, "geometry": {"type": "LineString", "coordinates": beside}}]});
    let (path, layers) = (
        folder.path().join("p.geojson"),
        folder.path().join("l.toml"),
    );
    std::fs::write(&path, plan.to_string()).unwrap();
    let rows = |near: f64, unit: &str| {
        std::fs::write(&layers, format!("near = {near}")).unwrap();
        let out = folder.path().join(format!("{near}{unit}"));
        let more = [
            "--unit",
            unit,
            "--plan",
            path.to_str().unwrap(),
            "--plan-layers",
            layers.to_str().unwrap(),
        ];
        assert_eq!(build(&job, &out, &more).0, 0);
        let text = std::fs::read_to_string(out.join(&record.job.id).join("crossings.csv")).unwrap();
        text.lines().count() - 1
    };
    let near = [5.0, 60.0].map(|near| ["us-ft", "m"].map(|unit| rows(near, unit)));
    assert_eq!(near, [[0, 0], [2, 2]]);
}

#[test]
fn an_untied_plan_in_millimetres_gets_the_results_in_millimetres() {
    let (job, record) = demo();
    let folder = folder();
    let run = vertices(&record);
    let millimetres = |(x, y): (f64, f64)| (x * 1000.0, y * 1000.0);
    let lot = vec![
        millimetres((run[0].0 - 3.0, run[0].1 + 1.0)),
        millimetres((run[0].0 + 3.0, run[0].1 + 2.0)),
    ];
    let path = plan(folder.path(), "R2018", 4, &[("C-PROP-LINE", lot)]);
    let out = folder.path().join("out");
    let (code, said) = build(
        &job,
        &out,
        &["--plan", path.to_str().unwrap(), "--merge-plan"],
    );
    assert_eq!(code, 0, "{said}");
    let due: Vec<_> = run.iter().copied().map(millimetres).collect();
    let worst = checked(folder.path(), &path, &out.join("FH-0117/merged.dxf"), &due);
    // The grid's coordinates are written to 0.0001 ft, 0.03 mm.
    assert!(worst < 0.05, "{worst} mm");
}

#[test]
fn what_can_not_be_merged_is_said() {
    let (job, record) = demo();
    let folder = folder();
    let metres = record.frame.crs_unit_metres;
    let run = vertices(&record);
    let near: Vec<_> = [(-3.0, 1.0), (3.0, 2.0)]
        .map(|(x, y)| ((run[0].0 + x) / metres, (run[0].1 + y) / metres))
        .to_vec();
    let map = folder.path().join("site.geojson");
    super::support::lines(&map, Some(2264), &[("boundary", near)]);
    let out = folder.path().join("out");
    let map = map.to_str().unwrap();
    let (code, said) = build(&job, &out, &["--plan", map, "--merge-plan"]);
    assert!(
        code == 2 && said.contains("--merge-plan: one of the plans, and no more, is to be a DXF"),
        "{said}"
    );
    let (code, said) = build(&job, &out, &["--merge-plan"]);
    assert!(code == 2 && said.contains("--plan"), "{said}");
    let (code, said) = build(&job, &out, &["--plan", map, "--plan-system"]);
    assert_eq!(code, 0, "{said}");
    assert!(out.join("FH-0117/plan-points.csv").exists());
}
