//! What was misread or passed over in silence, and mistakes that were told more than once: each with its clean twin.

use std::fs;

use serde_json::Value;

use super::site::Site;
use super::slips::{found, job, said, swap, write};

/// The errors, of which there must be so many.
#[track_caller]
fn errors(site: &Site, count: usize) -> Vec<String> {
    let all = found(site);
    let errors: Vec<String> = all
        .iter()
        .filter(|line| line.split(' ').nth(1) == Some("error"))
        .cloned()
        .collect();
    assert_eq!(errors.len(), count, "{all:#?}");
    errors
}

/// The errors, of which there must be so many, all beginning so.
#[track_caller]
fn all_begin(site: &Site, count: usize, beginning: &str) {
    let said = errors(site, count);
    assert!(
        said.iter().all(|line| line.starts_with(beginning)),
        "{said:#?}"
    );
}

/// The record of the job as built.
fn record(site: &Site) -> Value {
    let output = site.aslaid(&["build", "job", "--out", "out", "--formats", "record"]);
    assert_eq!(output.status.code(), Some(0), "{}", super::err(&output));
    serde_json::from_slice(&fs::read(site.at("out/J1/record.json")).unwrap()).unwrap()
}

#[test]
fn a_blank_answer_is_as_good_as_none() {
    for (key, given) in [("crs", "\"EPSG:26910\""), ("unit", "\"ft\"")] {
        let site = job();
        swap(
            &site,
            "job.toml",
            &format!("{key} = {given}"),
            &format!("{key} = \"\""),
        );
        let said = errors(&site, 1).remove(0);
        assert!(
            said.starts_with("unreadable error job.toml:") && said.contains("is blank"),
            "{said}"
        );
        let output = site.aslaid(&["check", "job"]);
        assert!(!super::out(&output).contains("site coordinates"));
    }
}

#[test]
fn a_heading_s_unit_is_heeded_or_refused() {
    // Metres in a job in feet, by the heading of measures.csv.
    let site = job();
    write(
        &site,
        "measures.csv",
        "kind,from,to,value (m)\ndistance,P1,P2,10.004\n",
    );
    let value = |site: &Site| {
        let record = record(site);
        let all = record["measurements"].as_array().unwrap().iter();
        let own = all
            .filter(|row| row["source"] == "measures.csv:2")
            .collect::<Vec<_>>();
        own[0]["value"].as_f64().unwrap()
    };
    assert!((value(&site) - 10.004 / 0.3048).abs() < 1e-9);
    // Gon are nothing that is read; degrees are.
    write(
        &site,
        "measures.csv",
        "kind,at,from,to,value (gon)\nangle,P1,P2,A1,51\n",
    );
    let said = errors(&site, 2).remove(0);
    assert!(
        said.contains("\"gon\"") && said.contains("degrees"),
        "{said}"
    );
    for (heading, named) in [
        ("tilt (%)", true),
        ("tilt (rad)", true),
        ("tilt (ft)", true),
        ("tilt (deg)", false),
        ("tilt", false),
    ] {
        let site = job();
        swap(
            &site,
            "marks.csv",
            "tie_3,fitting",
            &format!("tie_3,{heading}"),
        );
        swap(&site, "marks.csv", ",cleanout", ",3");
        errors(&site, usize::from(named));
    }
}

#[test]
fn two_tables_of_one_name_are_one_too_many() {
    let site = job();
    errors(&site, 0);
    let marks = fs::read_to_string(site.at("job/marks.csv")).unwrap();
    write(&site, "Marks.csv", &marks);
    let said = errors(&site, 1).remove(0);
    assert!(
        said.starts_with("duplicate") && said.contains("keep one"),
        "{said}"
    );
}

#[test]
fn what_hangs_on_a_mistake_is_not_told_besides() {
    // Reference points whose rows are refused: nothing of the tapes to them, of the marks, or of the job's datum.
    let site = job();
    swap(
        &site,
        "control.csv",
        "point,easting,northing",
        "point,easting,northing,height",
    );
    for row in ["250000\nP2", "250000\nP3"] {
        let with = row.replace('\n', ",300\n");
        swap(&site, "control.csv", row, &with);
    }
    swap(&site, "control.csv", "5250012\n", "5250012,300\n");
    all_begin(&site, 3, "unreadable error control.csv:");
    // A reference misspelt: its row alone, not that the mark has too few measurements.
    let site = job();
    swap(
        &site,
        "marks.csv",
        "P1,20.50,P2,24.98,P3,24.78",
        "Q1,20.50,Q2,24.98,,",
    );
    all_begin(&site, 2, "unknown-reference error marks.csv:3");
    // A unit that is not known: one error for the heading, none for the marks that stand under it.
    let site = job();
    let marks = "run,mark,easting (km),northing (km)\nA,A1,567,5250\nA,A2,568,5250\n";
    write(&site, "marks.csv", marks);
    errors(&site, 2);
}

#[test]
fn a_draft_counts_what_falls_out_later() {
    let site = job();
    swap(
        &site,
        "marks.csv",
        "P1,20.50,P2,24.98,P3,24.78",
        "P1,20.50,,,,",
    );
    let said = site.ends(
        1,
        &[
            "build",
            "job",
            "--out",
            "out",
            "--draft",
            "--formats",
            "record",
        ],
    );
    assert!(said.contains("1 row"), "{said}");
    let record: Value =
        serde_json::from_slice(&fs::read(site.at("out/J1/record.json")).unwrap()).unwrap();
    assert_eq!(record["draft"]["left_out"], 1);
    assert_eq!(record["marks"].as_array().unwrap().len(), 2);
}

#[test]
fn a_ditch_is_shallow_though_nobody_sounded_it() {
    let site = job();
    swap(
        &site,
        "job.toml",
        "[equipment]",
        "[limits]\nmin_cover = \"3 ft\"\n[equipment]",
    );
    let shallow = |site: &Site| {
        let all = found(site);
        all.iter()
            .filter(|line| line.starts_with("shallow warning marks.csv:3"))
            .count()
    };
    assert_eq!(shallow(&site), 0);
    swap(
        &site,
        "marks.csv",
        "A,A2,8.00,312.4,4.20,4.25,",
        "A,A2,8.00,310.4,,,",
    );
    assert_eq!(shallow(&site), 1);
    let record = record(&site);
    let mark = &record["marks"][1];
    let figure = |name: &str| mark[name].as_f64().unwrap();
    assert!(mark.get("transmitter_depth").is_none() && mark["depth_basis"] == "none");
    assert!((figure("invert_depth") - (310.4 - figure("invert"))).abs() < 1e-9);
    assert!(figure("cover_least") < figure("cover") && figure("cover") < 2.5);
    let least = record["runs"][0]["min_cover"].as_f64().unwrap();
    assert!((least - figure("cover")).abs() < 1e-9);
}

#[test]
fn a_grid_for_maps_of_the_earth_is_refused() {
    let site = job();
    let twin = site.aslaid(&["check", "job", "--crs", "32610"]);
    assert_eq!(twin.status.code(), Some(0), "{}", super::out(&twin));
    let output = site.aslaid(&["check", "job", "--crs", "EPSG:3857"]);
    let said = super::out(&output);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(
        said.contains("scale-suspect") && said.contains("times as long as the ground"),
        "{said}"
    );
}

#[test]
fn what_is_given_twice_or_elsewhere_is_noted() {
    let site = job();
    assert!(!said(&site).contains("`ground` is used") && !said(&site).contains("on average"));
    swap(
        &site,
        "marks.csv",
        "run,mark,counter",
        "elevation,run,mark,counter",
    );
    swap(&site, "marks.csv", "\nA,A1", "\n316.0,A,A1");
    swap(&site, "marks.csv", "\nA,A2", "\n,A,A2");
    swap(&site, "marks.csv", "\nA,A3", "\n,A,A3");
    assert!(said(&site).contains("`ground` is used"), "{}", said(&site));
    swap(&site, "job.toml", "height = \"95 m\"", "height = \"950 m\"");
    assert!(said(&site).contains("on average, and `height` in [grid] says"));
    swap(
        &site,
        "job.toml",
        "[[run]]",
        "[accuracy]\ntape = 40\n[[run]]",
    );
    let doubted = found(&site);
    assert!(
        doubted
            .iter()
            .any(|line| line.starts_with("implausible") && line.contains("tape")),
        "{doubted:#?}"
    );
}

#[test]
fn names_that_differ_in_capitals_are_noted() {
    let site = job();
    assert!(!said(&site).contains("capital"));
    swap(&site, "marks.csv", "\nA,A3", "\nA,a2");
    assert!(
        said(&site).contains("A2 and a2 differ in capital letters or blanks only"),
        "{}",
        said(&site)
    );
}

#[test]
fn a_table_in_another_form_is_named() {
    for form in ["ods", "xlsx", "csv.txt"] {
        let site = job();
        let (table, other) = (
            site.at("job/marks.csv"),
            site.at("job/marks.").with_extension(form),
        );
        fs::copy(&table, &other).unwrap();
        let said = said(&site);
        assert!(
            said.contains("is not read: the CSV file of its name is"),
            "{said}"
        );
        fs::remove_file(table).unwrap();
        let said = found(&site);
        let named = |line: &&String| {
            line.starts_with("unused-column") && line.contains("Save it as marks.csv")
        };
        assert_eq!(said.iter().filter(named).count(), 1, "{said:#?}");
    }
    let site = job();
    fs::write(site.at("job/camera.jpg"), "a photo").unwrap();
    assert!(!said(&site).contains("camera.jpg"));
}
