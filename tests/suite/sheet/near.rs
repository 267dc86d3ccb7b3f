//! What a dig page says lies near: measured to lines, each thing once, nothing that could be hit left out.

use aslaid::record::AsBuilt;
use aslaid::record::model::*;
use aslaid::sheet::content::near::{Neighbour, near};
use aslaid::sheet::{self, Dig, Paper, SheetOptions};

use crate::sheet::outside::{out, pages, squeezed};
use crate::sheet::sample;

/// A spot in the middle of a straight run along the grid's east, alone.
fn alone() -> AsBuilt {
    let mut record = sample::long();
    record.marks.clear();
    record.references.clear();
    record.runs.truncate(1);
    record.camera.truncate(1);
    let (e, n) = spot(&record);
    let camera = &mut record.camera[0];
    (camera.station, camera.dig) = (Some(20.0), true);
    line(&mut record.runs[0], &[(e - 20.0, n), (e + 20.0, n)]);
    record
}

fn spot(record: &AsBuilt) -> (f64, f64) {
    let seen = &record.camera[0];
    (seen.easting.unwrap(), seen.northing.unwrap())
}

/// Gives a run these places, with its stations.
fn line(run: &mut Run, places: &[(f64, f64)]) {
    let first = run.vertices[0].clone();
    let mut station = 0.0;
    let mut before = places[0];
    run.vertices = places
        .iter()
        .map(|&(e, n)| {
            station += (e - before.0).hypot(n - before.1);
            before = (e, n);
            Vertex {
                easting: e,
                northing: n,
                station,
                ..first.clone()
            }
        })
        .collect();
}

fn found(record: &AsBuilt) -> Vec<Neighbour> {
    near(record, &record.camera[0])
}

fn said(record: &AsBuilt) -> Vec<String> {
    let text = |near: &Neighbour| format!("{:.2} {}", near.metres, near.what);
    found(record).iter().map(text).collect()
}

fn shape(layer: &str, role: &str, points: &[(f64, f64)]) -> PlanShape {
    PlanShape {
        layer: layer.to_owned(),
        role: role.to_owned(),
        points: points.iter().map(|&(e, n)| [e, n]).collect(),
    }
}

fn dig(name: &str, record: &AsBuilt) -> String {
    let options = SheetOptions {
        size: Some(Paper::A4),
        dig: Dig::Marked,
    };
    let path = out(name);
    std::fs::write(&path, sheet::pdf(record, &options).unwrap()).unwrap();
    let pages = pages(&path).into_iter();
    squeezed(
        &pages
            .filter(|p| p.contains("Dig page:"))
            .collect::<String>(),
    )
}

#[test]
fn a_run_is_as_near_as_its_line() {
    let mut record = alone();
    assert_eq!(said(&record), Vec::<String>::new());
    let (e, n) = spot(&record);
    let mut other = record.runs[0].clone();
    other.run = "B".to_owned();
    // Its corners are far off, its legs are not; it passes twice and is said once.
    line(
        &mut other,
        &[
            (e - 15.0, n + 0.2),
            (e + 15.0, n + 0.2),
            (e - 15.0, n + 0.9),
        ],
    );
    record.runs.push(other);
    assert_eq!(said(&record), ["0.20 run B"]);
    line(
        &mut record.runs[1],
        &[(e - 15.0, n + 3.1), (e + 15.0, n + 3.1)],
    );
    assert_eq!(said(&record), Vec::<String>::new());
}

#[test]
fn a_run_that_comes_back_is_near_itself() {
    let mut record = alone();
    let (e, n) = spot(&record);
    let back = [
        (e - 20.0, n),
        (e + 8.0, n),
        (e + 8.0, n + 0.4),
        (e - 20.0, n + 0.4),
    ];
    line(&mut record.runs[0], &back);
    assert_eq!(
        said(&record),
        ["0.40 another part of run A, at station 0+036.40"]
    );
    // However the stations run.
    let length = record.runs[0].vertices[3].station;
    for v in &mut record.runs[0].vertices {
        v.station = length - v.station;
    }
    record.camera[0].station = Some(length - 20.0);
    assert_eq!(found(&record).len(), 1);
    // A right angle close by is a run going its way.
    line(
        &mut record.runs[0],
        &[(e - 20.0, n), (e + 0.5, n), (e + 0.5, n + 9.0)],
    );
    record.camera[0].station = Some(20.0);
    assert_eq!(said(&record), Vec::<String>::new());
}

#[test]
fn drawn_lines_of_a_plan_are_near_by_their_own_distance() {
    let mut record = alone();
    let (e, n) = spot(&record);
    record.underlay = vec![
        shape(
            "GAS",
            "utility",
            &[(e - 30.0, n + 0.5), (e + 30.0, n + 0.5)],
        ),
        shape(
            "GAS",
            "utility",
            &[(e - 30.0, n + 1.5), (e + 30.0, n + 1.5)],
        ),
        shape(
            "GAS",
            "utility",
            &[(e - 30.0, n + 9.0), (e + 30.0, n + 9.0)],
        ),
        shape(
            "KERB",
            "pavement",
            &[(e - 30.0, n - 0.1), (e + 30.0, n - 0.1)],
        ),
        shape("SPOT", "other", &[(e, n + 2.0)]),
    ];
    // What could be hit comes first.
    assert_eq!(
        said(&record),
        [
            "0.50 utility, 2 shapes of layer GAS of the site plan",
            "0.10 pavement, layer KERB of the site plan",
            "2.00 layer SPOT of the site plan",
        ]
    );
    // Where a crossing names the line, it has that name, and the line's least distance rather than the crossing's.
    let crossed =
        crate::sheet::crossings::crossing(&sample::long(), 1, Meeting::Crosses, "gas", "G-77");
    record.underlay = vec![shape(
        "gas mains",
        "utility",
        &[(e + 8.0, n), (e - 2.0, n + 1.0), (e - 30.0, n + 1.0)],
    )];
    record.crossings = vec![Crossing {
        easting: e + 8.0,
        northing: n,
        distance: 0.0,
        ..crossed
    }];
    let away = 8.0 / 101.0_f64.sqrt();
    assert_eq!(
        said(&record),
        [format!("{away:.2} gas G-77 of the site plan (x1)")]
    );
    // A record holds only so many shapes: without its own the crossing itself is known.
    record.underlay.clear();
    assert_eq!(said(&record), Vec::<String>::new());
    record.crossings[0].easting = e + 1.0;
    assert_eq!(said(&record), ["1.00 gas G-77 of the site plan (x1)"]);
}

#[test]
fn a_long_list_says_how_many_more_and_keeps_every_line() {
    let mut record = alone();
    let (e, n) = spot(&record);
    for i in 2..=13 {
        let mut other = record.camera[0].clone();
        other.id = format!("Example Locating/MILL-7/A/c{i}");
        other.easting = Some(e + 0.01 * f64::from(i));
        other.dig = false;
        record.camera.push(other);
    }
    record.underlay = vec![shape(
        "GAS",
        "utility",
        &[(e - 30.0, n + 2.5), (e + 30.0, n + 2.5)],
    )];
    let text = dig("near-many.pdf", &record);
    let gas = text
        .find("2.50 m: utility, layer GAS of the site plan")
        .unwrap();
    assert!(gas < text.find("0.02 m: c2").unwrap(), "{text}");
    assert!(
        text.contains("c10, ") && !text.contains(": c11, "),
        "{text}"
    );
    assert!(
        text.contains("And 3 more that are neither a utility nor a run"),
        "{text}"
    );
    // Ten and no more: nothing is left out, and nothing said of it.
    record.camera.truncate(10);
    let text = dig("near-ten.pdf", &record);
    assert!(
        text.contains(": c10, ") && !text.contains("more that are"),
        "{text}"
    );
}

#[test]
fn the_spot_of_a_dig_page_has_its_label_among_many() {
    let mut record = alone();
    for i in 2..=30 {
        let mut other = record.camera[0].clone();
        other.id = format!("Example Locating/MILL-7/A/c{i}");
        other.dig = i == 30;
        other.what = format!("crack {i}");
        record.camera.push(other);
    }
    record.camera[0].dig = false;
    let text = dig("near-label.pdf", &record);
    // In the title, and at the spot, where 29 others want the same room.
    assert!(text.matches("c30").count() >= 2, "{text}");
    assert!(
        text.contains("labels found no room: see the tables."),
        "{text}"
    );
}

#[test]
fn a_dig_page_has_the_note_and_the_end_of_a_stretch_and_the_bound_of_the_depth() {
    let mut record = alone();
    let seen = &mut record.camera[0];
    (seen.invert_95, seen.depth_95) = (Some(0.31), Some(0.17));
    (seen.invert, seen.invert_depth) = (Some(98.5), Some(1.25));
    let bare = dig("dig-bare.pdf", &record);
    assert!(
        bare.contains("Invert below ground: 1.25 m ± 0.17"),
        "{bare}"
    );
    assert!(bare.contains("Invert's height: 98.50 m ± 0.31"), "{bare}");
    assert!(
        !bare.contains("Note:") && !bare.contains("As far as"),
        "{bare}"
    );
    let seen = &mut record.camera[0];
    seen.note = Some("plumber says a tee was cut in here".to_owned());
    seen.until = Some(StretchEnd {
        counter: 24.5,
        station: Some(23.75),
        easting: Some(440_123.456),
        northing: Some(165_987.654),
    });
    seen.depth_95 = None;
    let full = dig("dig-full.pdf", &record);
    for text in [
        "Note: plumber says a tee was cut in here",
        "24.50, 0+023.75, 440123.46, 165987.65",
    ] {
        assert!(full.contains(text), "{text}: {full}");
    }
    // Without a bound of its own it borrows none.
    assert!(
        full.contains("Invert below ground: 1.25 m Invert's"),
        "{full}"
    );
}
