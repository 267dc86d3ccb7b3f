//! The plan drawn under the run: on the page, on the sheet, muted, and only there where it is seen.

use std::path::Path;

use aslaid::plan::attach;
use aslaid::sheet::{SheetOptions, html, pdf};

use super::support::{Corner, US_FOOT, folder, lines, python, read, record, run};

#[test]
fn a_plan_is_drawn_in_grey_under_the_run() {
    let folder = folder();
    let mut record = record("EPSG:2264", US_FOOT, "us-ft");
    let corner = |east: f64| Corner {
        at: (440_000.0 + east, 165_000.0),
        ..Corner::default()
    };
    record.runs = vec![run(&record, "A", &[corner(0.0), corner(20.0)])];
    let at = |east: f64, north: f64| ((440_000.0 + east) / US_FOOT, (165_000.0 + north) / US_FOOT);
    let path = folder.path().join("site.geojson");
    lines(
        &path,
        Some(2264),
        &[
            ("boundary", vec![at(8.0, -5.0), at(8.0, 5.0)]),
            ("building", vec![at(2.0, 2.0), at(6.0, 2.0), at(6.0, 4.0)]),
            ("far", vec![at(500.0, 0.0), at(510.0, 0.0)]),
        ],
    );
    let bare = record.clone();
    let (plan, site) = read(&record, &[path], "", None).unwrap();
    attach(&mut record, &plan, &site).unwrap();
    assert_eq!(record.underlay.len(), 2, "{:?}", record.underlay);
    assert!(record.underlay.iter().all(|shape| shape.points.len() <= 3));
    let notes = record
        .notes
        .iter()
        .filter(|note| note.text.contains("drawn in grey"));
    assert_eq!(notes.count(), 1);

    let page = |record| String::from_utf8(html(record).unwrap()).unwrap();
    let drawn = |page: &str| page.matches("class=\"pl\"").count();
    assert!(drawn(&page(&record)) >= 2 && drawn(&page(&bare)) == 0);
    // Under the run: the plan's lines come before it.
    let page = page(&record);
    assert!(page.find("class=\"pl\"") < page.find("class=\"ri\"").or(page.find("class=\"rn\"")));

    let sheets = [(&record, "with.pdf"), (&bare, "without.pdf")].map(|(record, name)| {
        let path = folder.path().join(name);
        std::fs::write(&path, pdf(record, &SheetOptions::default()).unwrap()).unwrap();
        path
    });
    let said = python("grey.py", &[&sheets[0] as &Path, &sheets[1]]);
    println!("grey pixels with and without: {}", said.trim());
    let counts: Vec<i64> = said
        .split_whitespace()
        .map(|word| word.parse().unwrap())
        .collect();
    assert!(counts[0] > counts[1] + 300, "{counts:?}");
}
