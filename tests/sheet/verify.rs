//! Sheet and record belong together, or not.

use aslaid::export::record::seal;
use aslaid::record::{self, AsBuilt};
use aslaid::sheet::{self, Dig, Paper, SheetOptions, Verdict};

use crate::outside::{demo, out, python, run};
use crate::sample;

fn json(record: &AsBuilt) -> Vec<u8> {
    let mut bytes = Vec::new();
    record::write_json(record, &mut bytes).unwrap();
    bytes
}

#[test]
fn a_record_read_back_verifies_its_sheet_on_every_paper() {
    for (record, dig) in [
        (demo(), Dig::All),
        (
            seal(sample::long()).unwrap(),
            Dig::Named(vec!["c2".to_owned()]),
        ),
    ] {
        for size in Paper::ALL {
            let options = SheetOptions {
                size: Some(size),
                dig: dig.clone(),
            };
            let pdf = sheet::pdf(&record, &options).unwrap();
            assert_eq!(
                sheet::verify(&pdf, &json(&record)).unwrap(),
                Verdict::Same,
                "{}",
                size.word()
            );
        }
    }
}

#[test]
fn a_record_changed_by_one_digit_is_refused_wherever_the_digit_is() {
    let record = demo();
    let pdf = sheet::pdf(&record, &SheetOptions::default()).unwrap();
    let text = json(&record);
    let digits: Vec<usize> = text
        .iter()
        .enumerate()
        .filter(|(_, b)| b.is_ascii_digit())
        .map(|(i, _)| i)
        .collect();
    let mut refused = 0;
    // A prime step meets digits of every kind: values, dates, names, hashes.
    for &at in digits.iter().step_by(97) {
        let mut changed = text.clone();
        changed[at] = if changed[at] == b'9' {
            b'8'
        } else {
            changed[at] + 1
        };
        match sheet::verify(&pdf, &changed).unwrap() {
            Verdict::Changed { .. } => refused += 1,
            // Some changes break the file itself (an escape, a name).
            Verdict::NoRecord(_) => {}
            verdict => panic!("byte {at}: {verdict}"),
        }
    }
    assert!(refused > 100, "only {refused} changes tried");
}

#[test]
fn another_record_a_redrawn_sheet_and_no_sheet_are_told_apart() {
    let record = demo();
    let pdf = sheet::pdf(&record, &SheetOptions::default()).unwrap();
    let mut other = record.clone();
    other.job.revision = Some(2);
    let other = seal(other).unwrap();
    assert!(matches!(
        sheet::verify(&pdf, &json(&other)).unwrap(),
        Verdict::Other { .. }
    ));
    assert_eq!(
        sheet::verify(b"%PDF-1.7 nothing", &json(&record)).unwrap(),
        Verdict::NoSheet
    );
    // A byte of a page's drawing: the names still agree, the pages do not.
    let mut spoilt = pdf.clone();
    let at = spoilt.len() / 2;
    spoilt[at] ^= 1;
    assert_eq!(
        sheet::verify(&spoilt, &json(&record)).unwrap(),
        Verdict::Redrawn
    );
    // A title that plays the file's own words.
    let mut playing = record.clone();
    playing.job.title = Some(format!(
        "/Keywords(aslaid sheet 1, record {}, paper A4, dig )",
        "0".repeat(64)
    ));
    let playing = seal(playing).unwrap();
    let pdf = sheet::pdf(&playing, &SheetOptions::default()).unwrap();
    assert_ne!(sheet::verify(&pdf, &json(&record)).unwrap(), Verdict::Same);
    assert!(!matches!(
        sheet::verify(&pdf, &json(&playing)).unwrap(),
        Verdict::Other { .. }
    ));
}

#[test]
fn the_command_says_so_with_its_exit_status() {
    let record = demo();
    let (pdf, json_file, other) = (
        out("verify.pdf"),
        out("verify.json"),
        out("verify-other.json"),
    );
    std::fs::write(&pdf, sheet::pdf(&record, &SheetOptions::default()).unwrap()).unwrap();
    std::fs::write(&json_file, json(&record)).unwrap();
    let text = String::from_utf8(json(&record)).unwrap();
    std::fs::write(
        &other,
        text.replacen("\"revision\": 1", "\"revision\": 2", 1),
    )
    .unwrap();
    let ask = |record: &std::path::Path| {
        let arguments = [
            std::ffi::OsStr::new("verify"),
            pdf.as_os_str(),
            record.as_os_str(),
        ];
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_aslaid"))
            .args(arguments)
            .output()
            .unwrap();
        (
            output.status.code(),
            String::from_utf8(output.stdout).unwrap(),
        )
    };
    let (status, said) = ask(&json_file);
    assert_eq!(status, Some(0), "{said}");
    assert!(said.contains("belong together"));
    let (status, said) = ask(&other);
    assert_eq!(status, Some(1), "{said}");
    assert!(said.contains("changed after it was made"), "{said}");
    assert_eq!(ask(&pdf).0, Some(2));
}

/// The code on every page, read off the rendered paper by another library.
#[test]
fn another_reader_finds_identity_hash_and_ends_in_the_code() {
    for (name, record) in [
        ("short", seal(sample::short()).unwrap()),
        ("demo", demo()),
        ("long", seal(sample::long()).unwrap()),
    ] {
        let path = crate::outside::written(&format!("code-{name}"), &record, Paper::A4);
        let image = out(&format!("code-{name}"));
        run(
            "pdftoppm",
            &[
                "-r",
                "200",
                "-gray",
                "-f",
                "1",
                "-l",
                "2",
                path.to_str().unwrap(),
                image.to_str().unwrap(),
            ],
        );
        let mut images: Vec<_> = std::fs::read_dir(image.parent().unwrap())
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .filter(|p| {
                let file = p.file_name().unwrap().to_string_lossy().into_owned();
                file.starts_with(&format!("code-{name}-")) && file.ends_with(".pgm")
            })
            .collect();
        images.sort();
        assert!(images.len() >= 2);
        for image in images {
            let text = python("code.py", &[image.to_str().unwrap()]);
            let parts: Vec<&str> = text.trim().split('|').collect();
            assert_eq!(parts[0], "aslaid 1");
            assert_eq!(
                parts[1],
                format!(
                    "{}/{}",
                    record.job.supplier.as_deref().unwrap(),
                    record.job.id
                )
            );
            assert_eq!(parts[2], format!("r{}", record.job.revision.unwrap()));
            assert_eq!(parts[3], record.hash.as_deref().unwrap());
            let run = &record.runs[0];
            let ends: Vec<&str> = parts[4].split_whitespace().collect();
            assert_eq!(ends[0], run.run);
            let (e, n) = ends[2].split_once(',').unwrap();
            let last = run.vertices.last().unwrap();
            assert!((e.parse::<f64>().unwrap() - last.easting).abs() < 0.051);
            assert!((n.parse::<f64>().unwrap() - last.northing).abs() < 0.051);
        }
    }
}
