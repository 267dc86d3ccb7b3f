//! What site plans show: in the table, in plan and profile, on the dig page and on the page.

use std::collections::BTreeMap;

use aslaid::record::AsBuilt;
use aslaid::record::model::*;
use aslaid::sheet::{self, Dig, Paper, SheetOptions};

use crate::sheet::outside::{out, pages, squeezed, written};
use crate::sheet::sample;

pub fn crossing(
    record: &AsBuilt,
    number: usize,
    meeting: Meeting,
    kind: &str,
    name: &str,
) -> Crossing {
    let run = &record.runs[0];
    let (a, b) = (&run.vertices[1], &run.vertices[2]);
    let mid = f64::midpoint;
    Crossing {
        id: format!("Example Locating/MILL-7/A/x{number}"),
        run: run.run.clone(),
        meeting,
        role: "utility".to_owned(),
        layer: format!("{kind} mains"),
        kind: Some(kind.to_owned()),
        name: Some(name.to_owned()),
        station: mid(a.station, b.station),
        easting: mid(a.easting, b.easting),
        northing: mid(a.northing, b.northing),
        geographic: None,
        ellipse: a.ellipse,
        along_95: None,
        distance: 0.0,
        clearance: if meeting == Meeting::Near { 1.37 } else { 0.0 },
        clearance_95: Some(0.21),
        transmitter_depth: a.transmitter_depth,
        depth_95: Some(0.09),
        cover: a.cover,
        cover_least: a.cover.map(|c| c - 0.08),
        invert: a.invert,
        invert_95: a.invert_95,
        passes: Some("under".to_owned()),
        vertical_clearance: Some(0.23),
        vertical_clearance_95: Some(0.12),
        requirement: Some(Requirement {
            direction: Direction::Vertical,
            required: 0.46,
            source: Some("water company's sheet 12".to_owned()),
            verdict: Separation::CannotBeTold,
        }),
        source: format!("site.gpkg!{kind} mains:{number}"),
    }
}

fn crossed() -> AsBuilt {
    let mut record = sample::long();
    let all = [
        crossing(&record, 1, Meeting::Crosses, "water", "W-1204"),
        crossing(&record, 2, Meeting::Near, "gas", "G-77"),
    ];
    record.crossings = all.to_vec();
    record.plans.push(PlanLayer {
        file: "site.gpkg".to_owned(),
        layer: "water mains".to_owned(),
        role: "utility".to_owned(),
        role_from: "given".to_owned(),
        used: true,
        features: 12,
        placed: "by its own coordinate system".to_owned(),
    });
    record
}

#[test]
fn crossings_are_in_the_table_in_plan_and_profile() {
    let record = crossed();
    let pages = pages(&written("crossed", &record, Paper::A3));
    let flat = squeezed(&pages.concat());
    for text in [
        "Crossings and lines near by",
        "vertical 0.46: can't be told (water company's sheet 12)",
        "Site plans",
        "line of a site plan across",
    ] {
        assert!(flat.contains(text), "{text}");
    }
    // In the table, in plan, in profile: the gas main beside the run is in no profile.
    let count = |text: &str| flat.matches(text).count();
    assert!(count("water W-1204") >= 3, "{}", count("water W-1204"));
    assert!(count("gas G-77") >= 2);
    let profiles: String = pages
        .into_iter()
        .filter(|p| p.contains("Profile of run A"))
        .collect();
    assert!(squeezed(&profiles).contains("x1 water W-1204"));
    // Without plans there is neither table nor legend.
    let none = squeezed(
        &crate::sheet::outside::pages(&written("uncrossed", &sample::long(), Paper::A3)).concat(),
    );
    assert!(!none.contains("Crossings and lines near by") && !none.contains("line of a site plan"));
}

#[test]
fn the_page_shows_crossings_with_every_number() {
    let page = String::from_utf8(sheet::html(&crossed()).unwrap()).unwrap();
    for text in [
        "id=\"t-crossings\"",
        "data-f=\"x0\"",
        "data-f=\"x1\"",
        "site.gpkg!gas mains:2",
    ] {
        assert!(page.contains(text), "{text}");
    }
    std::fs::write(out("crossed.html"), page).unwrap();
}

#[test]
fn a_dig_page_goes_on_where_its_words_find_no_room_and_loses_none() {
    let mut record = crossed();
    let seen = record.camera.iter().position(|c| c.dig).unwrap();
    let (e, n) = (
        record.camera[seen].easting.unwrap(),
        record.camera[seen].northing.unwrap(),
    );
    let mut nearest = record.crossings[0].clone();
    (nearest.easting, nearest.northing) = (e + 0.4, n);
    record.crossings = vec![nearest];
    let long = "a joint that stands open by a hand's breadth with roots in it and gravel beneath "
        .repeat(60);
    let last = "and this is the last word: yarrow";
    record.camera[seen].what = format!("{long}{last}");
    record.camera[seen].attributes = BTreeMap::new();
    let options = SheetOptions {
        size: Some(Paper::A4),
        dig: Dig::Marked,
    };
    let path = out("dig-long.pdf");
    std::fs::write(&path, sheet::pdf(&record, &options).unwrap()).unwrap();
    let dig: Vec<String> = pages(&path)
        .into_iter()
        .filter(|p| p.contains("Dig page: c1, run A"))
        .collect();
    assert!(dig.len() > 1, "{}", dig.len());
    assert!(dig[1].contains("continued"));
    let flat = squeezed(&dig.concat());
    for text in [
        "yarrow",
        "Earliest depth at which the pipe could be met",
        "allows no machine any depth",
        "water W-1204 of the site plan (x1)",
    ] {
        assert!(flat.contains(text), "{text}");
    }
}
