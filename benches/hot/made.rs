//! Made-up jobs, the same every time.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

/// Numbers that look random and are the same every time.
struct Chance(u64);

impl Chance {
    /// Even between -1 and 1.
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

const HEAD: &str = "[job]\nid = \"HOT\"\nsupplier = \"Example Survey\"\nlocated_on = 2026-05-14\n[grid]\ncrs = \"EPSG:26910\"\n\
    unit = \"m\"\nvertical = \"NAVD88\"\n[equipment]\naxis_above_invert = \"50 mm\"\nsignal_is_linear = true\n";
const RUN: &str = "diameter = \"100 mm\"\nwall = \"6 mm\"\nmaterial = \"PVC\"\npushed = \"downstream\"\nsystem = \"sanitary\"\n";

fn write(folder: &Path, files: &[(&str, &str)]) {
    fs::create_dir_all(folder).unwrap();
    for (name, text) in files {
        fs::write(folder.join(name), text).unwrap();
    }
}

/// Runs of ten marks each, placed by GNSS, with depths and heights.
pub fn gnss(folder: &Path, marks: usize) {
    let mut chance = Chance(1);
    let mut rows = "run,mark,counter,latitude,longitude,height,fix,depth_1,depth_2\n".to_owned();
    for run in 0..marks / 10 {
        let (lat, lon) = (
            47.3 + 0.001 * (run % 100) as f64,
            -122.3 + 0.001 * (run / 100) as f64,
        );
        for k in 0..10 {
            let step = 3.0 * f64::from(k);
            let (north, depth) = (step / 111_200.0, 1.5 + 0.02 * step);
            writeln!(
                rows,
                "R{run},M{run}-{k},{:.2},{:.9},{:.9},{:.3},rtk,{:.2},{:.2}",
                1.0 + step,
                lat + north + 1e-7 * chance.next(),
                lon + 1e-7 * chance.next(),
                74.0 + 0.02 * chance.next(),
                depth + 0.03 * chance.next(),
                depth + 0.03 * chance.next(),
            )
            .unwrap();
        }
    }
    let heights = "vertical = \"NAVD88\"\nheight = \"95 m\"\ngeoid_separation = \"-20.1 m\"\n";
    let head = format!("{HEAD}[run_default]\n{RUN}").replace("vertical = \"NAVD88\"\n", heights);
    write(folder, &[("job.toml", &head), ("marks.csv", &rows)]);
}

/// One straight run, every mark taped from three of five references, with its ends and signals beside it.
pub fn taped(folder: &Path, marks: usize) {
    let mut chance = Chance(2);
    let points = [
        (0.0, 8.0),
        (12.0, -9.0),
        (25.0, 9.0),
        (38.0, -8.0),
        (50.0, 8.0),
    ];
    let mut control = "point,easting,northing\n".to_owned();
    for (i, (e, n)) in points.iter().enumerate() {
        writeln!(control, "P{i},{:.3},{:.3}", 567_900.0 + e, 5_250_000.0 + n).unwrap();
    }
    let mut rows = "run,mark,counter,ground,depth_1,depth_2,tie_1_ref,tie_1,tie_2_ref,tie_2,tie_3_ref,tie_3,end_ahead,end_behind,\
        signal,signal_ahead,signal_behind,signal_step\n"
        .to_owned();
    for k in 0..marks {
        let e = 50.0 * k as f64 / (marks.max(2) - 1) as f64;
        let depth = 1.2 + 0.02 * e;
        let mut near: Vec<(f64, usize)> = points
            .iter()
            .enumerate()
            .map(|(i, p)| (f64::hypot(p.0 - e, p.1), i))
            .collect();
        near.sort_by(|a, b| a.0.total_cmp(&b.0));
        write!(
            rows,
            "A,A{k},{:.2},{:.3},{:.2},{:.2}",
            1.3 + e,
            100.0 + 0.01 * chance.next(),
            depth,
            depth + 0.02 * chance.next()
        )
        .unwrap();
        for (length, i) in near.iter().take(3) {
            // The grid's scale here is 0.99964: tapes lie on the ground.
            write!(
                rows,
                ",P{i},{:.3}",
                length / 0.999_64 + 0.015 * chance.next()
            )
            .unwrap();
        }
        let end = depth / std::f64::consts::SQRT_2;
        writeln!(
            rows,
            ",{:.2},{:.2},100,54,{},0.5",
            end,
            end + 0.01 * chance.next(),
            53 + k % 3
        )
        .unwrap();
    }
    let head = format!("{HEAD}[[run]]\nid = \"A\"\nmin_grade = \"1 %\"\n{RUN}");
    let camera = "run,counter,what\nA,3,joint displaced\nA,17,joint displaced\nA,31,tap\n";
    write(
        folder,
        &[
            ("job.toml", &head),
            ("control.csv", &control),
            ("marks.csv", &rows),
            ("camera.csv", camera),
        ],
    );
}

/// Free points on a square grid of 20 m, taped to their neighbours and at the corners to fixed ones.
pub fn network(folder: &Path, side: usize) {
    let mut chance = Chance(3);
    let place: Vec<(f64, f64)> = (0..side * side)
        .map(|i| {
            (
                20.0 * (i % side) as f64 + 5.0 * chance.next(),
                20.0 * (i / side) as f64 + 5.0 * chance.next(),
            )
        })
        .collect();
    let span = 20.0 * (side - 1) as f64;
    let mut control = "point,easting,northing\n".to_owned();
    let mut rows = "kind,from,to,value,sigma\n".to_owned();
    let mut tape = |a: &str, b: &str, p: (f64, f64), q: (f64, f64)| {
        let length = f64::hypot(p.0 - q.0, p.1 - q.1) / 0.999_64 + 0.015 * chance.next();
        writeln!(rows, "distance,{a},{b},{length:.4},0.015").unwrap();
    };
    let corners = [
        (0.0, 0.0, -1.0, -1.0),
        (span, 0.0, 1.0, -1.0),
        (0.0, span, -1.0, 1.0),
        (span, span, 1.0, 1.0),
    ];
    for (k, (e, n, x, y)) in corners.into_iter().enumerate() {
        for (j, (a, b)) in [(10.0, 10.0), (14.0, -3.0), (-3.0, 14.0)]
            .into_iter()
            .enumerate()
        {
            let corner = (e + a * x, n + b * y);
            writeln!(
                control,
                "C{k}{j},{:.4},{:.4}",
                567_000.0 + corner.0,
                5_250_000.0 + corner.1
            )
            .unwrap();
            let mut near: Vec<usize> = (0..place.len()).collect();
            near.sort_by(|a, b| {
                let far = |i: &usize| f64::hypot(place[*i].0 - corner.0, place[*i].1 - corner.1);
                far(a).total_cmp(&far(b))
            });
            for i in near.into_iter().take(6) {
                tape(&format!("C{k}{j}"), &format!("X{i}"), corner, place[i]);
            }
        }
    }
    for (i, from) in place.iter().enumerate() {
        writeln!(control, "X{i},,").unwrap();
        for step in [1, side, side + 1, side - 1] {
            let near = ((i + step) % side).abs_diff(i % side) <= 1;
            if let Some(to) = place.get(i + step).filter(|_| near) {
                tape(&format!("X{i}"), &format!("X{}", i + step), *from, *to);
            }
        }
    }
    let head = format!("{HEAD}[[run]]\nid = \"A\"\n{RUN}");
    let marks =
        "run,mark,easting,northing,sigma\nA,A1,567000,5250000,0.02\nA,A2,567005,5250000,0.02\n";
    write(
        folder,
        &[
            ("job.toml", &head),
            ("control.csv", &control),
            ("measures.csv", &rows),
            ("marks.csv", marks),
        ],
    );
}

/// Known points only.
pub fn control(folder: &Path, points: usize) {
    let mut chance = Chance(4);
    let mut rows = "point,easting,northing,elevation,sigma,description\n".to_owned();
    for i in 0..points {
        let (e, n) = (
            567_000.0 + 500.0 * chance.next(),
            5_250_000.0 + 500.0 * chance.next(),
        );
        writeln!(
            rows,
            "P{i},{e:.3},{n:.3},{:.3},0.01,\"nail, kerb {i}\"",
            100.0 + chance.next()
        )
        .unwrap();
    }
    let head = format!("{HEAD}[[run]]\nid = \"A\"\n{RUN}");
    let marks = "run,mark,easting,northing,sigma\nA,A1,567000,5250000,0.02\n";
    write(
        folder,
        &[
            ("job.toml", &head),
            ("control.csv", &rows),
            ("marks.csv", marks),
        ],
    );
}
