//! A large job comes out the same, byte for byte, whichever way it is computed: in sections, as the command may do when nobody asks
//! what it found on the way, or as a whole. Each case is a job that could be taken in sections, or looks as if it could.

use std::fs;
use std::path::Path;

use aslaid::export::{sections, select};
use aslaid::pipeline::{self, Options, Seal};

use crate::cli::site::Site;
use crate::sampled::{HEADING, Random, SETTINGS, rows};

/// Runs of seven or eight marks: several sections.
const RUNS: usize = 450;

/// A job's files.
#[derive(Clone)]
struct Job {
    settings: String,
    marks: String,
    further: Vec<(&'static str, String)>,
}

impl Job {
    fn plain() -> Self {
        let mut random = Random(11);
        let rows: Vec<String> = (0..RUNS).map(|run| rows(run, &mut random)).collect();
        Self {
            settings: SETTINGS.to_owned(),
            marks: format!("{HEADING}{}", rows.concat()),
            further: Vec::new(),
        }
    }

    fn settings(mut self, from: &str, to: &str) -> Self {
        assert!(self.settings.contains(from), "{from}");
        self.settings = self.settings.replace(from, to);
        self
    }

    /// Changes the line of a mark.
    fn line(mut self, mark: &str, change: impl Fn(&str) -> String) -> Self {
        let wanted = format!(",{mark},");
        let line = self.marks.lines().find(|line| line.contains(&wanted));
        let line = line.unwrap_or_else(|| panic!("no {mark}")).to_owned();
        self.marks = self.marks.replacen(&line, &change(&line), 1);
        self
    }

    fn table(mut self, change: impl Fn(&str) -> String) -> Self {
        self.marks = change(&self.marks);
        self
    }

    fn file(mut self, name: &'static str, text: &str) -> Self {
        self.further.push((name, text.to_owned()));
        self
    }
}

/// The cells of a line with one of them changed.
fn cell(line: &str, place: usize, text: &str) -> String {
    let mut cells: Vec<&str> = line.split(',').collect();
    cells[place] = text;
    cells.join(",")
}

/// A run and a mark near the table's end.
const LATE: &str = "M440-3";

/// A line whose place is given on the grid.
fn on_grid(line: &str) -> String {
    let bare = [3, 4, 5, 6]
        .iter()
        .fold(line.to_owned(), |line, at| cell(&line, *at, ""));
    cell(&cell(&bare, 9, "552000.5"), 10, "5271900.25")
}

/// Every place on the grid of another system, in feet.
fn in_feet(text: &str) -> String {
    let mut lines = text.lines();
    let heading = lines.next().unwrap().to_owned();
    let moved = lines.map(|line| {
        let cells: Vec<&str> = line.split(',').collect();
        let figure = |at: usize| cells[at].parse::<f64>().unwrap();
        let east = format!("{:.3}", 1_270_000.0 + (figure(4) + 122.3) * 245_000.0);
        let north = format!("{:.3}", 230_000.0 + (figure(3) - 47.6) * 365_000.0);
        let bare = [3, 4, 5, 6]
            .iter()
            .fold(line.to_owned(), |line, at| cell(&line, *at, ""));
        cell(&cell(&bare, 9, &east), 10, &north)
            .replace(',', ";")
            .replace('.', ",")
    });
    std::iter::once(heading.replace(',', ";"))
        .chain(moved)
        .collect::<Vec<_>>()
        .join("\r\n")
}

#[expect(clippy::too_many_lines, reason = "a list of cases")]
fn jobs() -> Vec<(&'static str, Job)> {
    let job = Job::plain;
    let crlf = |text: &str| format!("\u{feff}{}", text.replace('\n', "\r\n"));
    let last = |text: &str| text.trim_end().to_owned();
    let moved = |text: &str| {
        // A run whose rows stand in two places of the table.
        let at = text.find("R40,").unwrap();
        let end = at + text[at..].find('\n').unwrap() + 1;
        format!("{}{}{}", &text[..at], &text[end..], &text[at..end])
    };
    let widened = |text: &str| {
        let mut lines = text.lines();
        let heading = format!("{},inspector,dpeth_3", lines.next().unwrap());
        let rows = lines.map(|line| format!("{line},x,"));
        std::iter::once(heading)
            .chain(rows)
            .collect::<Vec<_>>()
            .join("\n")
    };
    vec![
        ("plain", job()),
        (
            "no row end at the end, CRLF, a byte-order mark",
            job().table(last).table(crlf),
        ),
        ("semicolons", job().table(|text| text.replace(',', ";"))),
        (
            "blank rows",
            job().line(LATE, |line| format!("\n,,,,,,,,,,,\n{line}\n")),
        ),
        (
            "a row left out",
            job().line(LATE, |line| format!("#{line}")),
        ),
        (
            "a quoted cell",
            job().line(LATE, |line| line.replace(LATE, &format!("\"{LATE}\""))),
        ),
        (
            "a quoted row end",
            job().line(LATE, |line| line.replace(LATE, "\"M\n1\"")),
        ),
        (
            "heading twice",
            job().line(LATE, |line| format!("{HEADING}{line}")),
        ),
        ("a run in two places", job().table(moved)),
        (
            "a name twice, far apart",
            job().line(LATE, |line| cell(line, 1, "M3-3")),
        ),
        (
            "no depth in the last rows",
            job().line(LATE, |line| cell(&cell(line, 7, ""), 8, "")),
        ),
        (
            "a cell that can't be read",
            job().line(LATE, |line| cell(line, 7, "deep")),
        ),
        (
            "a length with its unit",
            job().line(LATE, |line| cell(line, 7, "5' 2\"")),
        ),
        (
            "above the ground",
            job().line(LATE, |line| cell(&cell(line, 7, "-1.5"), 8, "-1.5")),
        ),
        (
            "latitude and longitude swapped",
            job().line(LATE, |line| cell(&cell(line, 3, "-122.3"), 4, "47.6")),
        ),
        (
            "no place",
            job().line(LATE, |line| cell(&cell(line, 3, ""), 4, "")),
        ),
        (
            "two places",
            job().line(LATE, |line| {
                cell(&cell(&cell(line, 9, "552000"), 10, "5271900"), 11, "0.02")
            }),
        ),
        ("no run", job().line(LATE, |line| cell(line, 0, ""))),
        (
            "another fix",
            job().line(LATE, |line| cell(line, 6, "good")),
        ),
        (
            "a short row",
            job().line(LATE, |line| line.rsplit_once(',').unwrap().0.to_owned()),
        ),
        ("a long row", job().line(LATE, |line| format!("{line},x"))),
        ("further columns", job().table(widened)),
        (
            "a published column",
            job()
                .table(widened)
                .settings("[limits]", "[publish]\ncolumns = [\"inspector\"]\n[limits]"),
        ),
        (
            "a column of their own, published",
            job()
                .table(|text| text.replacen("note\n", "inspector\n", 1))
                .line(LATE, |line| format!("{line}x"))
                .settings("[limits]", "[publish]\ncolumns = [\"inspector\"]\n[limits]"),
        ),
        (
            "no height of the site",
            job()
                .settings("height = \"95 m\"\n", "")
                .settings("distances = \"grid\"\n", ""),
        ),
        (
            "no separation",
            job().settings("geoid_separation = \"-20.1 m\"\n", ""),
        ),
        (
            "feet",
            job()
                .settings("unit = \"m\"", "unit = \"ft\"")
                .settings("height = \"95 m\"", "height = \"43 m\""),
        ),
        (
            "ground far from the site's height",
            job().settings("height = \"95 m\"", "height = \"950 m\""),
        ),
        (
            "positions that share a shift",
            job().line(LATE, |line| cell(line, 6, "single")),
        ),
        ("a place on the grid", job().line(LATE, on_grid)),
        (
            "places on the grid, feet, semicolons and decimal commas",
            job()
                .settings("26910", "2285")
                .settings("unit = \"m\"", "unit = \"ft\"")
                .table(in_feet),
        ),
        (
            "a column of tapes, blank",
            job().table(|text| text.replacen("note\n", "tie_1\n", 1)),
        ),
        (
            "a column of tapes",
            job()
                .table(|text| text.replacen("note\n", "tie_1\n", 1))
                .line(LATE, |line| format!("{line}3")),
        ),
        (
            "a row that is compared",
            job()
                .table(|text| text.replacen("note\n", "use\n", 1))
                .line(LATE, |line| format!("{line}check")),
        ),
        (
            "a run of its own",
            job().file("runs.csv", "id,diameter\nR440,200 mm\n"),
        ),
        (
            "a run in the settings",
            job().settings(
                "[run_default]",
                "[[run]]\nid = \"R7\"\ndiameter = \"200 mm\"\n[run_default]",
            ),
        ),
        (
            "a run joins another",
            job().file("runs.csv", "id,joins\nR440,R439\n"),
        ),
        (
            "a camera observation",
            job().file("camera.csv", "run,counter,what\nR440,4,roots\n"),
        ),
        (
            "a tape between runs",
            job().file(
                "measures.csv",
                "kind,from,to,value\ndistance,M3-3,M4-3,30\n",
            ),
        ),
        (
            "a reference",
            job().file("control.csv", "point,easting,northing\nP1,552000,5271900\n"),
        ),
        (
            "tables that are none of ours",
            job().file("notes.csv", "a\n1\n").file("mark.csv", "a\n1\n"),
        ),
    ]
}

/// Builds a job in sections; false if it has to be computed whole.
fn in_sections(job: &Path, out: &Path) -> bool {
    let options = Options {
        in_sections: Some(1),
        seal: Seal::Later,
        ..Options::default()
    };
    let outcome = pipeline::run(job, &options).unwrap();
    let Some(large) = outcome.large else {
        return false;
    };
    let formats = select(&["geojson".to_owned(), "csv".to_owned()]).unwrap();
    let section = |at| large.section(at);
    let sections = (large.sections(), &section as sections::Section<'_>);
    assert!(large.sections() > 2);
    sections::deliver(out, large.job(), sections, &formats)
        .unwrap()
        .is_some()
}

#[test]
fn a_large_job_is_the_same_whichever_way_it_is_computed() {
    let site = Site::new();
    let (mut differ, mut ends, mut taken) = (Vec::new(), [0, 0], Vec::new());
    for (name, job) in jobs() {
        let folder = site.at("job");
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join("job.toml"), &job.settings).unwrap();
        fs::write(folder.join("marks.csv"), &job.marks).unwrap();
        for (file, text) in &job.further {
            fs::write(folder.join(file), text).unwrap();
        }
        for out in ["whole", "parts"] {
            let _ = fs::remove_dir_all(site.at(out));
        }
        let plain = ["build", "job", "--out", "whole", "--formats", "geojson,csv"];
        let status = site.aslaid(&plain).status.code().unwrap_or(2);
        *ends
            .get_mut(status as usize)
            .unwrap_or_else(|| panic!("{name}: ends with {status}")) += 1;
        if !in_sections(&folder, &site.at("parts")) {
            assert!(!site.at("parts/CITY").exists(), "{name}");
            continue;
        }
        taken.push(name);
        let mut whole = site.files("whole");
        // The workbook is made only of jobs that the command doesn't take in sections.
        whole.retain(|file, _| !file.ends_with("corrections.xlsx"));
        let parts = site.files("parts");
        if status != 0 {
            differ.push(format!("{name}: ends with {status}"));
        }
        let more = parts.keys().filter(|file| !whole.contains_key(*file));
        for file in whole.keys().chain(more) {
            if whole.get(file) != parts.get(file) {
                differ.push(format!("{name}: {file}"));
            }
        }
        assert_eq!(whole.len(), 7, "{name}: {:?}", whole.keys());
    }
    println!(
        "{} jobs end well and {} with errors; in sections: {}",
        ends[0],
        ends[1],
        taken.join("; ")
    );
    assert!(ends[0] > 10 && ends[1] > 5);
    assert!(differ.is_empty(), "{differ:#?}");
    for name in [
        "plain",
        "semicolons",
        "a place on the grid",
        "places on the grid, feet, semicolons and decimal commas",
        "feet",
        "a column of tapes, blank",
        "a column of their own, published",
        "no row end at the end, CRLF, a byte-order mark",
    ] {
        assert!(taken.contains(&name), "{name}");
    }
    for name in [
        "positions that share a shift",
        "a run in two places",
        "a name twice, far apart",
        "a quoted cell",
        "a row left out",
        "two places",
        "a column of tapes",
        "a row that is compared",
        "a reference",
        "a run in the settings",
        "ground far from the site's height",
    ] {
        assert!(!taken.contains(&name), "{name}");
    }
}

#[test]
fn a_full_disk_leaves_nothing_of_the_sections() {
    let site = Site::new();
    let place = site.at("disk");
    let disk = crate::faults::full::Disk::of(&place, "1m");
    fs::create_dir_all(site.at("job")).unwrap();
    fs::write(site.at("job/job.toml"), SETTINGS).unwrap();
    fs::write(site.at("job/marks.csv"), Job::plain().marks).unwrap();
    let options = Options {
        in_sections: Some(1),
        ..Options::default()
    };
    let large = pipeline::run(&site.at("job"), &options)
        .unwrap()
        .large
        .unwrap();
    let formats = select(&["geojson".to_owned()]).unwrap();
    let section = |at| large.section(at);
    let sections = (large.sections(), &section as sections::Section<'_>);
    let error = sections::deliver(&place.join("out"), large.job(), sections, &formats)
        .unwrap_err()
        .to_string();
    assert!(error.contains("the disk is full"), "{error}");
    assert_eq!(site.names("disk/out"), [""; 0]);
    drop(disk);
}
