//! A large job is written section by section as it is written whole, to the byte; and is computed whole where its runs share anything.
//!
//! With `--quiet` a job that can be is taken in sections; without it, never: advice is of the job as a whole.

use std::fmt::Write as _;
use std::fs;

use aslaid::pipeline::{Large, Options};

use crate::cli::site::Site;

const GRID: &str = "[grid]\ncrs = \"EPSG:26910\"\nunit = \"m\"\nvertical = \"NAVD88\"\nheight = \"95 m\"\ngeoid_separation = \"-20.1 m\"\n";
const HEADING: &str = "run,mark,counter,latitude,longitude,height,fix,depth_1,depth_2,note";
const RUNS: usize = 6_400;

fn settings(grid: &str) -> String {
    format!(
        "[job]\nid = \"CITY\"\nsupplier = \"Example Survey\"\nlocated_on = 2026-05-14\n{grid}[equipment]\naxis_above_invert = \"50 mm\"\n\
         [limits]\nmin_cover = \"1.5 m\"\n[run_default]\ndiameter = \"100 mm\"\nwall = \"6 mm\"\nmin_grade = \"1 %\"\n"
    )
}

/// A scattered figure between −1 and 1 for a row.
fn chance(row: usize, kind: usize) -> f64 {
    let mixed = (row * 7 + kind).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 33;
    (mixed % 20_001) as f64 / 10_000.0 - 1.0
}

/// Rows of runs of eight marks on ways of every direction; some readings disagree, some marks lie off, some depths are missing.
fn rows(cell: impl Fn(usize, usize, [f64; 4]) -> String) -> Vec<String> {
    let mut rows = Vec::new();
    for run in 0..RUNS {
        let way = run as f64 * 0.37;
        for k in 0..8 {
            let row = rows.len();
            let step = 2.5 * k as f64;
            let off = if run % 13 == 4 && k == 3 { 2.5 } else { 0.0 };
            let north = step * way.cos() + off + 0.02 * chance(row, 0) + 30.0 * (run / 50) as f64;
            let east = step * way.sin() + 0.02 * chance(row, 1) + 40.0 * (run % 50) as f64;
            let depth = 1.5 + 0.02 * step + 0.03 * chance(row, 2);
            let other = depth
                + if run % 9 == 2 && k == 5 {
                    0.5
                } else {
                    0.03 * chance(row, 3)
                };
            rows.push(cell(run, k, [north, east, depth, other]));
        }
    }
    rows
}

/// Rows by latitude and longitude.
fn geographic() -> Vec<String> {
    rows(|run, k, [north, east, depth, other]| {
        let fix = ["rtk", "Float", "single", "dgnss"][if run % 40 == 7 { run / 40 % 4 } else { 0 }];
        let second = if run % 17 == 3 && k == 1 {
            String::new()
        } else {
            format!("{other:.2}")
        };
        let note = if k == 2 { "by the \u{e9}glise" } else { "" };
        format!(
            "R{run},M{run}-{k},{:.2},{:.9},{:.9},{:.3},{fix},{depth:.2},{second},{note}",
            1.0 + 2.5 * k as f64,
            47.6 + north / 111_200.0,
            -122.3 + east / 74_900.0,
            74.0 + 0.02 * chance(run, k),
        )
    })
}

struct Case {
    name: &'static str,
    settings: String,
    marks: String,
    further: Vec<(&'static str, &'static str)>,
    sections: bool,
    status: i32,
}

fn case(name: &'static str, rows: &[String]) -> Case {
    Case {
        name,
        settings: settings(GRID),
        marks: format!("{HEADING}\n{}\n", rows.join("\n")),
        further: Vec::new(),
        sections: true,
        status: 0,
    }
}

/// Writes a job, and asks whether it can be computed in sections.
fn write(case: &Case) -> Site {
    let site = Site::new();
    fs::create_dir_all(site.at("job")).unwrap();
    fs::write(site.at("job/job.toml"), &case.settings).unwrap();
    fs::write(site.at("job/marks.csv"), &case.marks).unwrap();
    for (name, text) in &case.further {
        fs::write(site.at("job").join(name), text).unwrap();
    }
    let large = Large::open(&site.at("job"), &Options::default());
    let whole = large
        .is_some_and(|large| (0..large.sections()).all(|section| large.section(section).is_some()));
    assert_eq!(whole, case.sections, "{}: in sections", case.name);
    site
}

/// Builds a job both ways, and holds the files against each other.
fn both_ways(case: &Case) {
    let site = write(case);
    let build = ["build", "job", "--formats", "geojson,csv", "--out"];
    let with = |more: &[&'static str]| -> Vec<&'static str> {
        build.iter().chain(more).copied().collect()
    };
    site.ends(case.status, &with(&["whole"]));
    site.ends(case.status, &with(&["sections", "--quiet"]));
    let (one, other) = (site.files("whole"), site.files("sections"));
    assert!(one.keys().eq(other.keys()), "{}: files", case.name);
    for (name, bytes) in &one {
        assert!(other[name] == *bytes, "{}: {name}", case.name);
    }
    let findings = String::from_utf8_lossy(&one["CITY/findings.csv"])
        .lines()
        .count();
    println!(
        "{}: {} files alike, {findings} lines of findings",
        case.name,
        one.len()
    );
    assert!(findings > RUNS, "{}", case.name);
}

#[test]
fn in_sections_as_whole() {
    let rows = geographic();
    both_ways(&case("latitude and longitude", &rows));

    let mut feet = case("feet, semicolons and decimal commas", &rows);
    feet.settings = settings(
        &GRID
            .replace("\"m\"", "\"ft\"")
            .replace("26910", "2285")
            .replace("height = \"95 m\"\n", ""),
    );
    let heading =
        "run;mark;counter;easting;northing;sigma;depth 1 [m];depth 2 [m];Colour;elevation";
    let table = self::rows(|run, k, [north, east, depth, other]| {
        let text = format!(
            "R{run};M{run}-{k};{:.2};{:.3};{:.3};0.05;{depth:.2};{other:.2};blue;{:.2}",
            4.0 + 8.2 * k as f64,
            1_270_000.0 + east / 0.3048,
            230_000.0 + north / 0.3048,
            210.0 + chance(run, k),
        );
        text.replace('.', ",")
    });
    feet.marks = format!("{heading}\r\n{}\r\n\r\n", table.join("\r\n"));
    feet.settings = feet.settings.replace(
        "[equipment]",
        "distances = \"grid\"\n[publish]\ncolumns = [\"Colour\"]\n[equipment]",
    );
    both_ways(&feet);
}

#[test]
fn whole_where_runs_share_anything() {
    let rows = geographic();
    let swap = |at: usize, from: &str, to: &str| {
        let mut changed = rows.clone();
        assert!(changed[at].contains(from), "{}", changed[at]);
        changed[at] = changed[at].replacen(from, to, 1);
        changed
    };
    let odd = |case: Case| Case {
        sections: false,
        ..case
    };
    let mut control = case("control", &rows);
    control.further = vec![("control.csv", "point,easting,northing\nP1,552900,5272000\n")];
    let mut run = case("a run by itself", &rows);
    run.settings
        .push_str("[[run]]\nid = \"R7\"\njoins = \"R8\"\n");
    let mut checked = case("a column of rows that are compared", &rows);
    checked.marks = checked.marks.replacen("note\n", "use\n", 1);
    let cases = [
        case("a name in two runs", &swap(9_000, "M1125-0", "M3-0")),
        case("a run in two places", &swap(9_003, "R1125", "R4")),
        case("a comment", &swap(500, "R62", "# R62")),
        case("a quoted cell", &swap(500, "R62,", "\"R62\",")),
        Case {
            status: 1,
            ..case("a depth that can't be read", &swap(12_345, "1.5", "l.5"))
        },
        Case {
            status: 1,
            ..case("a place elsewhere", &swap(12_345, "47.", "17."))
        },
        case("few rows", &rows[..40_000]),
        control,
        run,
        checked,
    ];
    // What comes of two of them; the others are only asked whether they are told from a job in sections.
    for case in cases.map(odd) {
        match case.status {
            0 => drop(write(&case)),
            _ => both_ways(&case),
        }
    }
}

#[test]
fn a_full_disk_leaves_the_earlier_results() {
    let site = Site::new();
    let place = site.at("disk");
    let disk = super::faults::full::Disk::of(&place, "40m");
    let rows = geographic();
    fs::create_dir_all(site.at("job")).unwrap();
    fs::write(site.at("job/job.toml"), settings(GRID)).unwrap();
    let mut few = String::from(HEADING);
    for row in &rows[..400] {
        write!(few, "\n{row}").unwrap();
    }
    fs::write(site.at("job/marks.csv"), few).unwrap();
    let build = [
        "build",
        "job",
        "--out",
        "disk/out",
        "--formats",
        "geojson,csv",
        "--quiet",
    ];
    site.ends(0, &build);
    let earlier = site.files("disk/out");
    fs::write(site.at("job/marks.csv"), case("", &rows).marks).unwrap();
    let output = site.aslaid(&build);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("the disk is full"), "{said}");
    assert_eq!(site.files("disk/out"), earlier);
    drop(disk);
}
