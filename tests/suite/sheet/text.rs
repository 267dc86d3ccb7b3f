//! What `pdftotext`, `pdffonts` and `pdfinfo` read.

use aslaid::record::AsBuilt;
use aslaid::sheet::{self, Paper, SheetOptions};

use crate::sheet::outside::{pages, records, run, squeezed, written};
use crate::sheet::sample;

/// Millimetres in a point.
const POINT: f64 = 25.4 / 72.0;

fn has(text: &str, what: &str, record: &AsBuilt) {
    assert!(
        text.contains(what),
        "{}: \"{what}\" is not in the text",
        record.job.id
    );
}

#[test]
fn every_page_has_cautions_datum_hash_shallowest_place_and_its_number() {
    for (name, record) in records() {
        let pages = pages(&written(name, &record, Paper::A4));
        for (i, page) in pages.iter().enumerate() {
            let flat = squeezed(page);
            has(
                &flat,
                &format!("Sheet {} of {}", i + 1, pages.len()),
                &record,
            );
            has(&flat, record.hash.as_deref().unwrap(), &record);
            has(
                &flat,
                &format!(
                    "Height datum: {}",
                    record.frame.vertical.as_deref().unwrap()
                ),
                &record,
            );
            has(&flat, "the top of the pipe could be met", &record);
            if record.draft.is_some() {
                has(&flat, "DRAFT, 3 rows left out", &record);
            }
            // Columns stand side by side, so that a caution's words are looked for one by one, in order.
            for caution in &record.cautions {
                let mut rest = flat.as_str();
                for word in caution.split_whitespace() {
                    let at = rest
                        .find(word)
                        .unwrap_or_else(|| rest_missing(name, i, word));
                    rest = &rest[at + word.len()..];
                }
            }
        }
    }
}

fn rest_missing(name: &str, page: usize, word: &str) -> usize {
    panic!(
        "{name}, page {}: the caution's word \"{word}\" is missing",
        page + 1
    )
}

#[test]
fn marks_depths_and_findings_are_found_in_the_text() {
    for (name, record) in records() {
        for size in [Paper::Letter, Paper::Tabloid] {
            let text = pages(&written(name, &record, size)).concat();
            for m in &record.marks {
                has(&text, &m.mark, &record);
                has(&text, &format!("{:.2}", m.easting), &record);
                for depth in [m.cover, m.transmitter_depth, m.invert_depth, m.invert]
                    .into_iter()
                    .flatten()
                {
                    has(&text, &format!("{depth:.2}"), &record);
                }
            }
            for finding in &record.findings {
                has(&text, finding.code.word(), &record);
            }
        }
    }
}

#[test]
fn pages_have_their_size_and_all_faces_are_embedded() {
    for size in Paper::ALL {
        let path = written("long", &sample::long(), size);
        let path = path.to_str().unwrap();
        let fonts = run("pdffonts", &[path]);
        let lines: Vec<&str> = fonts.lines().skip(2).collect();
        assert_eq!(lines.len(), 2, "{fonts}");
        for line in lines {
            let words: Vec<&str> = line.split_whitespace().collect();
            // … emb sub uni object ID
            assert_eq!(
                words[words.len() - 5..words.len() - 2],
                ["yes", "yes", "yes"],
                "{line}"
            );
        }
        let info = run("pdfinfo", &["-f", "1", "-l", "99", path]);
        let sizes: Vec<(f64, f64)> = info
            .lines()
            .filter(|line| line.starts_with("Page ") && line.contains(" size:"))
            .map(|line| {
                let words: Vec<&str> = line.split(':').nth(1).unwrap().split_whitespace().collect();
                (
                    words[0].parse::<f64>().unwrap() * POINT,
                    words[2].parse::<f64>().unwrap() * POINT,
                )
            })
            .collect();
        assert!(sizes.len() > 3, "{info}");
        let (width, height) = size.size();
        for (w, h) in sizes {
            assert!(
                (w - width).abs() < 0.01 && (h - height).abs() < 0.01,
                "{w} {h}"
            );
        }
        // Nothing tells when it was made.
        assert!(!info.contains("Date"), "{info}");
    }
}

#[test]
fn the_same_record_gives_the_same_bytes() {
    for (name, record) in records() {
        let options = SheetOptions::default();
        assert!(
            sheet::pdf(&record, &options).unwrap() == sheet::pdf(&record, &options).unwrap(),
            "{name}"
        );
    }
}

#[test]
fn a_long_run_goes_on_sheets_that_name_each_other() {
    let mut record = sample::long();
    // 2.4 km: too long for one sheet at 1:500, whatever the paper.
    for v in record.runs.iter_mut().flat_map(|run| &mut run.vertices) {
        v.easting = 567_890.0 + (v.easting - 567_890.0) * 20.0;
        v.northing = 5_934_120.0 + (v.northing - 5_934_120.0) * 20.0;
    }
    let places: Vec<(String, f64, f64)> = record
        .runs
        .iter()
        .flat_map(|run| &run.vertices)
        .filter_map(|v| Some((v.mark.clone()?, v.easting, v.northing)))
        .collect();
    for m in &mut record.marks {
        let (_, e, n) = places.iter().find(|(name, ..)| *name == m.mark).unwrap();
        (m.easting, m.northing) = (*e, *n);
    }
    record.camera.clear();
    let pages = pages(&written("longest", &record, Paper::A3));
    let named = |page: &str| -> Vec<usize> {
        page.split("Match line: sheet ")
            .skip(1)
            .map(|rest| rest.split_whitespace().next().unwrap().parse().unwrap())
            .collect()
    };
    let plans: Vec<usize> = (1..=pages.len())
        .filter(|n| pages[n - 1].contains("Plan 1:500"))
        .collect();
    assert!(plans.len() > 5, "{plans:?}");
    for &sheet in &plans {
        for other in named(&pages[sheet - 1]) {
            assert!(
                plans.contains(&other),
                "sheet {sheet} names {other}, which is no plan"
            );
            assert!(
                named(&pages[other - 1]).contains(&sheet),
                "sheet {other} does not name {sheet} back"
            );
        }
    }
    assert!(
        plans
            .iter()
            .all(|sheet| !named(&pages[sheet - 1]).is_empty()),
        "a sheet without a neighbour"
    );
    // Every mark is on some plan.
    let all: String = plans
        .iter()
        .map(|sheet| pages[sheet - 1].as_str())
        .collect();
    let missing: Vec<&str> = record
        .marks
        .iter()
        .map(|m| m.mark.as_str())
        .filter(|m| !all.contains(m))
        .collect();
    assert!(missing.is_empty(), "{missing:?}");
}

#[test]
fn dig_pages_are_those_marked_and_those_asked_for() {
    let record = sample::long();
    let count = |dig: sheet::Dig| {
        let options = SheetOptions {
            size: Some(Paper::A4),
            dig,
        };
        let path = crate::sheet::outside::out("dig.pdf");
        std::fs::write(&path, sheet::pdf(&record, &options).unwrap()).unwrap();
        let pages = pages(&path);
        let dig: Vec<String> = pages
            .into_iter()
            .filter(|page| page.contains("Dig page:"))
            .collect();
        for page in &dig {
            let flat = squeezed(page);
            has(
                &flat,
                "Earliest depth at which the pipe could be met:",
                &record,
            );
            has(&flat, "allows no machine any depth", &record);
        }
        dig.len()
    };
    let marked = record.camera.iter().filter(|c| c.dig).count();
    assert_eq!((marked, count(sheet::Dig::Marked)), (2, 2));
    assert_eq!(count(sheet::Dig::All), record.camera.len());
    assert_eq!(
        count(sheet::Dig::Named(vec![
            "c2".to_owned(),
            "A/c3".to_owned(),
            "B/c3".to_owned()
        ])),
        marked + 2
    );
    let options = SheetOptions {
        size: None,
        dig: sheet::Dig::Named(vec!["c2".to_owned(), "c99".to_owned()]),
    };
    assert_eq!(options.unknown(&record), ["c99"]);
}

/// What a title block and a plan must say, looked for in the rendered text.
#[test]
fn title_block_and_plan_say_all_that_a_drawing_must() {
    let mut record = crate::sheet::outside::demo();
    for (key, value) in [
        ("checked_by", "P. Yarrow"),
        ("supersedes", "0123abcd"),
        ("client", "The Trust"),
    ] {
        record.job.texts.insert(key.to_owned(), value.to_owned());
    }
    record.job.revision = Some(3);
    let record = aslaid::export::record::seal(record).unwrap();
    let pages = pages(&written("title-block", &record, Paper::A3));
    let (first, all) = (squeezed(&pages[0]), squeezed(&pages.concat()));
    for text in [
        "Record of located pipe",
        "Plan 1 in =",
        "95 % ellipses",
        "Grid north up; it lies 1° 03′ 33″ west of true north.",
        "Magnetic declination",
        "mm long on paper",
        "Height datum: NAVD88",
        "Coordinates: EPSG:2264",
        "international feet (ft)",
        "Accuracy is modelled.",
        "Located by: R. Teasel",
        "Checked by, as entered, not signed: P. Yarrow",
        "Client: The Trust",
        "Located on: 2026-05-14",
        "Supersedes: 0123abcd",
        "Revision 3",
        "Sheet 1 of",
        record.hash.as_deref().unwrap(),
    ] {
        assert!(first.contains(text), "first sheet: {text}");
    }
    // Ticks carry their coordinates.
    assert!(
        first.contains("E 1452") && first.contains("N 561"),
        "{first}"
    );
    for text in [
        "least-squares",
        "times enlarged",
        "ISO 128",
        "ISO 7200",
        "Depth of top",
        "Ties",
        "Camera observations",
        "Findings",
    ] {
        assert!(all.contains(text), "{text}");
    }
    // Depths in the order top of pipe, invert, transmitter.
    let tables = aslaid::sheet::content::tables::all(&record);
    let marks = tables.iter().find(|table| table.key == "marks").unwrap();
    let at = |head: &str| {
        marks
            .columns
            .iter()
            .position(|c| c.head.starts_with(head))
            .unwrap()
    };
    assert!(at("Top of pipe") < at("Invert depth") && at("Invert depth") < at("Transmitter"));
}
