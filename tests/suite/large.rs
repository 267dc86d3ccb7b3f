//! A large job comes out the same, byte for byte, whichever way it is computed: in parts, as the command may do when nobody asks
//! what it found on the way, or as a whole. Each case is a job that could be taken in parts, or looks as if it could.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use aslaid::export::{self, sections};
use aslaid::pipeline::{Large, Options};

use crate::cli::site::Site;
use crate::sampled::{HEADING, Random, SETTINGS, note, rows};

/// Runs; with their notes they make a mebibyte, from which on a job may be taken in parts.
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
        let rows: Vec<String> = (0..RUNS)
            .map(|run| rows(run, &note(RUNS), &mut random))
            .collect();
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

/// The table with columns for a place on the grid as well, which its rows leave empty.
fn placed(text: &str) -> String {
    let mut lines = text.lines();
    let heading = format!(
        "{},easting,northing,sigma,gate",
        lines.next().unwrap_or_default()
    );
    let rows = lines.map(|line| format!("{line},,,,x"));
    std::iter::once(heading)
        .chain(rows)
        .collect::<Vec<_>>()
        .join("\n")
}

/// The table with places on the grid in place of latitude and longitude, about where they were.
fn gridded(text: &str) -> String {
    let mut lines = text.lines();
    let heading = lines.next().unwrap_or_default();
    let heading = heading
        .replace("latitude,longitude", "northing,easting")
        .replace("height,fix", "elevation,photo");
    let rows = lines.map(|line| {
        let place = |at: usize| line.split(',').nth(at).unwrap().parse::<f64>().unwrap();
        let north = 5_271_900.0 + (place(3) - 47.6) * 111_200.0;
        let east = 552_600.0 + (place(4) + 122.3) * 74_900.0;
        cell(
            &cell(line, 3, &format!("{north:.3}")),
            4,
            &format!("{east:.3}"),
        )
    });
    std::iter::once(heading)
        .chain(rows)
        .collect::<Vec<_>>()
        .join("\n")
}

/// A run and a mark near the table's end.
const LATE: &str = "M440-3";

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
        ("places on the grid", job().table(|text| gridded(text))),
        ("an empty column for another place", job().table(placed)),
        ("semicolons", job().table(|text| text.replace(',', ";"))),
        (
            "blank rows",
            job().line(LATE, |line| format!("\n,,,,,,,,,\n{line}\n")),
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
            job()
                .table(placed)
                .line(LATE, |line| line.replace(",,,x", ",552000,5271900,0.02,x")),
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
            "no height of the site",
            job()
                .settings("height = \"95 m\"\n", "")
                .settings("distances = \"grid\"\n", ""),
        ),
        (
            "no separation",
            job().settings("geoid_separation = \"-20.1 m\"\n", ""),
        ),
        ("feet", job().settings("unit = \"m\"", "unit = \"ft\"")),
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

/// What the job makes in parts, by the library: the command takes them only where the table is too long for a workbook of
/// corrections. `None` if the job has to be computed whole.
pub fn in_parts(site: &Site, folder: &Path) -> Option<BTreeMap<String, Vec<u8>>> {
    let options = Options {
        no_hash: true,
        ..Options::default()
    };
    let large = Large::open(folder, &options)?;
    let formats = export::select(&["geojson".to_owned(), "csv".to_owned()]).unwrap();
    let section = |at| large.section(at);
    let parts = (large.sections(), &section as sections::Section<'_>);
    sections::deliver(&site.at("parts"), large.job(), parts, &formats)
        .unwrap()
        .map(|_| site.files("parts"))
}

#[test]
fn a_large_job_is_the_same_whichever_way_it_is_computed() {
    let site = Site::new();
    let (mut differ, mut taken, mut ends) = (Vec::new(), Vec::new(), [0, 0]);
    for (name, job) in jobs() {
        assert!(job.marks.len() > 1 << 20, "{name}");
        let folder = site.at("job");
        for old in ["job", "whole", "parts"] {
            let _ = fs::remove_dir_all(site.at(old));
        }
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join("job.toml"), &job.settings).unwrap();
        fs::write(folder.join("marks.csv"), &job.marks).unwrap();
        for (file, text) in &job.further {
            fs::write(folder.join(file), text).unwrap();
        }
        let whole = site.aslaid(&["build", "job", "--out", "whole", "--formats", "geojson,csv"]);
        let status = whole.status.code().unwrap_or(2);
        *ends
            .get_mut(status as usize)
            .unwrap_or_else(|| panic!("{name}: ends with {status}")) += 1;
        let Some(parts) = in_parts(&site, &folder) else {
            continue;
        };
        taken.push(name);
        assert_eq!(status, 0, "{name}: has errors and was taken in parts");
        let mut whole = site.files("whole");
        // Made of the tables as a whole; the command takes no job in parts that has one.
        whole.retain(|file, _| !file.ends_with("corrections.xlsx"));
        assert!(whole.len() >= 7, "{name}: {:?}", whole.keys());
        let more = parts.keys().filter(|file| !whole.contains_key(*file));
        for file in whole.keys().chain(more) {
            if whole.get(file) != parts.get(file) {
                differ.push(format!("{name}: {file}"));
            }
        }
    }
    println!("taken in parts: {}", taken.join("; "));
    assert!(taken.len() >= 8 && taken.contains(&"plain"), "{taken:?}");
    println!("{} jobs end well and {} with errors", ends[0], ends[1]);
    assert!(ends[0] > 10 && ends[1] > 5);
    assert!(differ.is_empty(), "{differ:#?}");
}
