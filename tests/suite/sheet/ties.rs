//! From the text of the sheet alone, places are set out again.

use aslaid::export::record::seal;
use aslaid::record::AsBuilt;
use aslaid::sheet::Paper;
use aslaid::sheet::content::between::between;

use crate::sheet::outside::{demo, out, python, run, written};
use crate::sheet::sample;

/// Writes the sheet's text and the places to compare with; the script gets no more than the text to work from.
fn set_out(name: &str, record: &AsBuilt) -> String {
    let pdf = written(&format!("ties-{name}"), record, Paper::A4);
    // Through a black-and-white print of the page nothing but text is left to read: the same as the text of the file.
    let text = out(&format!("ties-{name}.txt"));
    run(
        "pdftotext",
        &["-layout", pdf.to_str().unwrap(), text.to_str().unwrap()],
    );
    let wanted: Vec<serde_json::Value> = record
        .marks
        .iter()
        .map(|m| {
            serde_json::json!({ "name": m.mark, "e": m.easting, "n": m.northing,
                "a": m.ellipse.map(|e| e.semi_major_95) })
        })
        .collect();
    let least = record
        .marks
        .iter()
        .filter_map(|m| m.cover_least)
        .chain(record.camera.iter().filter_map(|c| c.cover_least))
        .chain(between(record).iter().filter_map(|at| at.cover_least))
        .fold(f64::INFINITY, f64::min);
    let expected = serde_json::json!({ "marks": wanted, "shallowest": least, "datum": record.frame.vertical,
        "cautions": record.cautions });
    let file = out(&format!("ties-{name}.json"));
    std::fs::write(&file, expected.to_string()).unwrap();
    python("ties.py", &[text.to_str().unwrap(), file.to_str().unwrap()])
}

#[test]
fn every_mark_is_found_again_from_its_ties() {
    for (name, record) in [
        ("demo", demo()),
        ("short", sample::short()),
        ("long", sample::long()),
        ("local", sample::local()),
    ] {
        println!("{name}: {}", set_out(name, &record));
    }
}

/// With two tapes a place could lie on either side: the sheet says on which.
#[test]
fn two_tapes_and_a_side_are_enough() {
    for (name, mut record) in [("demo-two", demo()), ("local-two", sample::local())] {
        for tie in &mut record.ties {
            tie.distances.truncate(2);
        }
        println!("{name}: {}", set_out(name, &seal(record).unwrap()));
    }
}
