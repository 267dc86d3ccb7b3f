//! Every finding code has a job in `fixtures/jobs/codes` that raises it, and a twin, alike but for the one matter, that does not.
//!
//! `expected.txt` beside a job lists all that it raises, a finding a line: code, level, mark (or run), source. The twins raise
//! nothing above a note. A code whose level hangs on the figures has a second job, `<code>-note`, or both levels in one.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use aslaid::findings::{Code, Finding, Level};
use aslaid::pipeline::{Options, run};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/jobs/codes")
}

/// Codes with a job of their own for the lower level.
const LOWER: [Code; 2] = [Code::AdverseGrade, Code::LowGrade];

/// The jobs that raise something, with the code that each is there for.
fn raising() -> Vec<(String, Code)> {
    let all = Code::ALL.iter().map(|code| (code.word().to_owned(), *code));
    let lower = LOWER.map(|code| (format!("{code}-note"), code));
    all.chain(lower).collect()
}

fn findings(job: &str) -> Vec<Finding> {
    run(&folder().join(job), &Options::default())
        .expect("the job is computed")
        .findings
}

/// Code, level, mark or run, source.
fn line(finding: &Finding) -> String {
    let words = [finding.mark.as_deref(), finding.run.as_deref()];
    let about = words.into_iter().flatten().next().unwrap_or("-");
    let source = finding.source.as_deref().unwrap_or("-");
    format!("{} {} {about} {source}", finding.code, finding.level)
}

#[test]
fn every_code_has_a_job_and_a_clean_twin() {
    let twins = Code::ALL.iter().map(|code| format!("{code}-clean"));
    let wanted: BTreeSet<String> = raising()
        .into_iter()
        .map(|(job, _)| job)
        .chain(twins)
        .collect();
    let there: BTreeSet<String> = std::fs::read_dir(folder())
        .expect("the folder")
        .map(|entry| entry.expect("an entry"))
        .filter(|entry| entry.path().is_dir())
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    assert_eq!(there, wanted);
}

#[test]
fn the_jobs_raise_their_codes_and_what_else_is_expected() {
    let mut wrong = Vec::new();
    for (job, code) in raising() {
        let found = findings(&job);
        let mut lines: Vec<String> = found.iter().map(line).collect();
        lines.sort();
        let file = folder().join(&job).join("expected.txt");
        if std::env::var_os("UPDATE_EXPECT").is_some() {
            std::fs::write(&file, lines.join("\n") + "\n").expect("written");
        }
        let text = std::fs::read_to_string(&file).unwrap_or_default();
        let expected: Vec<&str> = text.lines().collect();
        if lines != expected || !found.iter().any(|finding| finding.code == code) {
            wrong.push(format!("{job}: {lines:#?}, not {expected:#?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_twins_raise_nothing_above_a_note() {
    let mut wrong = Vec::new();
    for code in Code::ALL {
        for finding in findings(&format!("{code}-clean")) {
            if finding.code == *code || finding.level > Level::Note {
                wrong.push(format!(
                    "{code}-clean: {}: {}",
                    line(&finding),
                    finding.message
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A job for a code's own level raises it at that level; the others at the lower one, and no higher.
#[test]
fn the_levels_are_the_registered_ones() {
    for (job, code) in raising() {
        let found = findings(&job);
        let highest = found
            .iter()
            .filter(|finding| finding.code == code)
            .map(|finding| finding.level)
            .max();
        let expected = match code {
            _ if job.ends_with("-note") => Level::Note,
            // Registered as notes; outside their bounds they are raised.
            Code::CheckShot | Code::Exposure => Level::Warning,
            _ => code.level(),
        };
        assert_eq!(highest, Some(expected), "{job}");
    }
}

/// What is wrong and what to do: whole sentences, with figures wherever the finding has a limit.
#[test]
fn the_messages_are_sentences_with_figures() {
    for (job, code) in raising() {
        for finding in findings(&job).iter().filter(|finding| finding.code == code) {
            let text = &finding.message;
            let whole = text.split_whitespace().count() >= 5;
            assert!(whole, "{code}: {text}");
            if finding.limit.is_some() {
                assert!(
                    text.contains(|c: char| c.is_ascii_digit()),
                    "{code}: {text}"
                );
            }
        }
    }
}

/// Levels that depend on the figures: inside a note, outside a warning.
#[test]
fn comparisons_are_notes_inside_and_warnings_outside() {
    for code in [Code::CheckShot, Code::Exposure] {
        let found = findings(code.word());
        let found: Vec<&Finding> = found
            .iter()
            .filter(|finding| finding.code == code)
            .collect();
        for finding in &found {
            let (value, limit) = finding.value.zip(finding.limit).expect("figures");
            assert_eq!(
                finding.level == Level::Warning,
                value.abs() > limit,
                "{finding:?}"
            );
        }
        let levels: BTreeSet<Level> = found.iter().map(|finding| finding.level).collect();
        assert_eq!(levels, BTreeSet::from([Level::Note, Level::Warning]));
    }
}
