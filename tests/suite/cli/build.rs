//! `build` and `check` of one job: what is written where, and how it ends.

use std::fs;

use aslaid::export::FORMATS;
use serde_json::Value;

use super::site::{Site, fixture};

const FINDINGS_ONLY: [&str; 3] = ["corrections.xlsx", "findings.csv", "findings.json"];

#[test]
fn errors_leave_only_findings_and_move_earlier_results_aside_whole() {
    let site = Site::new();
    site.job("job", "J1", "4.30");
    site.ends(0, &["build", "job", "--out", "out"]);
    let good = site.files("out/J1");
    assert!(good.len() > FINDINGS_ONLY.len());

    site.swap("job/marks.csv", "4.30", "6-Dec");
    let said = site.ends(1, &["build", "job", "--out", "out"]);
    assert_eq!(site.names("out/J1"), FINDINGS_ONLY);
    assert_eq!(site.files("out/J1.superseded"), good);
    for part in [
        "error   unreadable         marks.csv:4",
        "12-6",
        "no deliverables while there are errors",
        "--draft",
        "J1.superseded",
    ] {
        assert!(said.contains(part), "{part} in {said}");
    }
    let listed: Value =
        serde_json::from_slice(&fs::read(site.at("out/J1/findings.json")).unwrap()).unwrap();
    assert_eq!(listed[0]["code"], "unreadable");

    // Still there after another failed build, and current results come back with the mended job.
    site.ends(1, &["build", "job", "--out", "out"]);
    assert_eq!(site.files("out/J1.superseded"), good);
    site.swap("job/marks.csv", "6-Dec", "4.30");
    site.ends(0, &["build", "job", "--out", "out"]);
    assert_eq!(site.files("out/J1"), good);
}

#[test]
fn a_draft_is_marked_with_its_number_in_every_file() {
    let site = Site::new();
    site.job("job", "J1", "6-Dec");
    let said = site.ends(1, &["build", "job", "--out", "out", "--draft"]);
    assert!(said.contains("DRAFT, without 1 row"), "{said}");
    let files = site.files("out/J1");
    // crossings.csv only with a plan.
    for format in FORMATS
        .iter()
        .filter(|format| format.file() != "crossings.csv")
    {
        assert!(files.contains_key(format.file()), "{}", format.file());
    }
    for (name, bytes) in &files {
        // Packed formats have readers of their own, in the tests of each.
        if ["csv", "json", "geojson", "kml", "html"]
            .iter()
            .any(|end| name.ends_with(&format!(".{end}")))
        {
            let text = String::from_utf8(bytes.clone()).unwrap();
            let marked = if *name == "record.json" {
                text.contains("\"left_out\": 1")
            } else {
                text.contains("DRAFT, 1 row left out")
            };
            assert!(marked, "{name}");
        }
    }
    let marks = String::from_utf8(files["points.csv"].clone()).unwrap();
    assert!(marks.contains(",A2,") && !marks.contains(",A3,"), "{marks}");

    // The same without an error is no draft.
    site.swap("job/marks.csv", "6-Dec", "4.30");
    let said = site.ends(0, &["build", "job", "--out", "out", "--draft"]);
    assert!(!said.contains("DRAFT"));
    let draft = site.files("out/J1");
    site.ends(0, &["build", "job", "--out", "out"]);
    assert_eq!(site.files("out/J1"), draft);
}

#[test]
fn a_job_alone_is_built_beside_itself() {
    let site = Site::new();
    site.job("season/job", "J1", "4.30");
    site.ends(0, &["season/job"]);
    let beside = site.files("season/results/J1");
    site.ends(0, &["build", "season/job", "--out", "out"]);
    assert_eq!(site.files("out/J1"), beside);
    // A second look at the folder does not take the results for jobs.
    let said = site.ends(0, &["check", "season"]);
    assert_eq!(said.matches("cells:").count(), 1, "{said}");
}

#[test]
fn check_writes_nothing() {
    let site = Site::new();
    site.job("good", "G", "4.30");
    site.job("bad", "B", "6-Dec");
    let before = site.files(".");
    site.ends(0, &["check", "good"]);
    site.ends(1, &["check", "bad"]);
    site.ends(1, &["check", ".", "--json", "--unit", "m"]);
    assert_eq!(site.files("."), before);
}

#[test]
fn formats_are_picked() {
    let site = Site::new();
    site.job("job", "J1", "4.30");
    site.ends(
        0,
        &[
            "build",
            "job",
            "--out",
            "out",
            "--formats",
            "geojson,points",
        ],
    );
    let mut names = site.names("out/J1");
    names.retain(|name| name != "corrections.xlsx");
    assert_eq!(
        names,
        [
            "asbuilt.geojson",
            "findings.csv",
            "findings.json",
            "points.csv"
        ]
    );
    let output = site.aslaid(&[
        "build",
        "job",
        "--out",
        "other",
        "--formats",
        "points,shape",
    ]);
    assert_eq!(output.status.code(), Some(2));
    assert!(super::err(&output).contains("no format is called \"shape\""));
    assert!(!site.at("other").exists());
}

#[test]
fn the_unit_of_the_results_is_the_one_asked_for() {
    let site = Site::new();
    site.job("job", "J1", "4.30");
    let depth = |unit: &str, out: &str| {
        site.ends(
            0,
            &[
                "build",
                "job",
                "--out",
                out,
                "--unit",
                unit,
                "--formats",
                "record",
            ],
        );
        let record: Value =
            serde_json::from_slice(&fs::read(site.at(out).join("J1/record.json")).unwrap())
                .unwrap();
        assert_eq!(record["frame"]["unit"], unit);
        record["marks"][0]["transmitter_depth"].as_f64().unwrap()
    };
    let (metres, feet, survey) = (depth("m", "a"), depth("ft", "b"), depth("us-ft", "c"));
    assert!((feet * 0.3048 - metres).abs() < 2e-4, "{feet} {metres}");
    assert!((survey * 1200.0 / 3937.0 - metres).abs() < 2e-4);
    assert!((metres - 4.125 * 0.3048).abs() < 2e-4, "{metres}");
}

#[test]
fn quiet_prints_only_errors() {
    let site = Site::new();
    site.job("good", "G", "4.30");
    site.job("bad", "B", "6-Dec");
    assert_eq!(
        site.ends(0, &["build", "good", "--out", "out", "--quiet"]),
        ""
    );
    let said = site.ends(1, &["build", "good", "bad", "--out", "out", "-q"]);
    let lines: Vec<&str> = said.lines().collect();
    assert_eq!(lines.len(), 2, "{said}");
    assert!(lines[0].starts_with("B (bad)") && lines[1].contains("6-Dec"));
}

/// What a slip in the settings or a heading is told, and how it ends.
#[test]
fn slips_are_named_with_the_way_out() {
    for (file, from, to, parts) in [
        (
            "job/job.toml",
            "EPSG:26910",
            "EPSG:269100",
            &[
                "job.toml:6",
                "\"EPSG:269100\" is not in the EPSG registry",
                "local",
            ][..],
        ),
        (
            "job/job.toml",
            "EPSG:26910",
            "UTM 10N",
            &["job.toml:6", "write authority and code"],
        ),
        (
            "job/job.toml",
            "EPSG:26910",
            "EPSG:4326",
            &["job.toml:6", "projected"],
        ),
        (
            "job/job.toml",
            "unit = \"ft\"",
            "unit = \"yd\"",
            &["job.toml:7", "\"yd\"", "m, ft, us-ft"],
        ),
        (
            "job/job.toml",
            "unit = \"ft\"",
            "unit = ft",
            &["job.toml:7", "quotation marks"],
        ),
        (
            "job/job.toml",
            "\"4 in\"",
            "0,1",
            &["job.toml:13", "a decimal point in place of the comma"],
        ),
        (
            "job/job.toml",
            "\"J1\"",
            "\"J 1\"",
            &["job.toml:2", "a blank can't stand in it"],
        ),
        (
            "job/marks.csv",
            "run,mark,",
            "run,point,",
            &["marks.csv:1", "no column mark", "run, point, counter"],
        ),
        (
            "job/marks.csv",
            "4.30",
            "4.30 yd",
            &["marks.csv:4", "\"yd\" is no unit of length"],
        ),
        (
            "job/marks.csv",
            "P2,24.98",
            "P9,24.98",
            &["marks.csv:3", "\"P9\" in column tie_2_ref"],
        ),
    ] {
        let site = Site::new();
        site.job("job", "J1", "4.30");
        site.swap(file, from, to);
        let said = site.ends(1, &["check", "job"]);
        for part in parts {
            assert!(said.contains(part), "{from} -> {to}: {part} in {said}");
        }
    }
}

#[test]
fn figures_in_inches_read_as_feet_are_doubted() {
    let site = Site::new();
    site.job("job", "J1", "4.30");
    site.swap("job/job.toml", "\"4 in\"", "4");
    let said = site.ends(0, &["check", "job"]);
    assert!(
        said.contains("warning implausible        job.toml:13") && said.contains("write \"4 in\""),
        "{said}"
    );
    // With its unit it is believed.
    site.swap("job/job.toml", "diameter = 4", "diameter = \"4 ft\"");
    assert!(!site.ends(0, &["check", "job"]).contains("implausible"));
}

#[test]
fn how_files_were_read_and_what_is_not_used_is_said() {
    let said = Site::new().ends(1, &["check", &fixture("jobs/strangers/clipboard-metres")]);
    for part in [
        "note: marks.csv: is not UTF-8 (first in line 2); read as Windows-1252",
        "note: kept for the record and not used: marks.csv: Bemerkung",
        "position of point 2",
    ] {
        assert!(said.contains(part), "{part} in {said}");
    }
}
