//! A job for every finding code and its clean twin: the job raises the code at its level, about the mark concerned, in words
//! that say what is wrong; the twin, which differs in nothing else, does not raise it.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use aslaid::findings::Level::{Error, Note, Warning};
use aslaid::findings::{Code, Finding, Level};
use aslaid::pipeline::{Options, run};

/// Folder, the level of its code's findings, what they are about ("" = the job or a run), and words of a message.
const CASES: &[(&str, Level, &str, &str)] = &[
    ("unreadable", Error, "", "\"deep\" can't be read"),
    ("unknown-reference", Error, "A2", "\"P9\""),
    ("duplicate", Error, "", "\"A2\""),
    ("duplicate-point", Error, "", "\"P1\""),
    ("undetermined", Error, "A4", "1 usable measurement"),
    ("undetermined-gap", Error, "A4", "miss each other by 8.00 m"),
    (
        "undetermined-bare",
        Error,
        "P5",
        "neither coordinates nor measurements",
    ),
    ("no-datum", Error, "", "ETRS89 / UTM zone 32N"),
    ("outside-crs", Error, "A2", "exchange"),
    ("outside-crs-sign", Error, "A2", "sign of the longitude"),
    ("outside-crs-feet", Error, "P3", "Read as feet"),
    ("gnss-fix", Warning, "A2", "fix single"),
    ("gnss-fix-sigma", Warning, "A2", "0.15 m"),
    ("depth-disagrees", Warning, "A2", "second pair"),
    ("depth-disagrees-both", Warning, "A2", "metal"),
    ("depth-single", Warning, "A2", ""),
    ("depth-doubtful", Warning, "A2", "read_by = manual"),
    ("implausible", Warning, "A3", "inches"),
    ("implausible-unit", Warning, "A2", "Read as feet"),
    ("depth-missing", Note, "A2", ""),
    ("ends-disagree", Warning, "A2", ""),
    ("tilted", Note, "A2", "15°"),
    ("tilted-said", Note, "A2", "tilted"),
    ("tilted-signal", Note, "A2", "tilted"),
    ("not-peak", Warning, "A2", "74 to its left"),
    ("not-peak-beside", Warning, "A2", "ahead of its crossline"),
    ("one-end", Warning, "A2", ""),
    ("signal-path", Note, "", "cast iron"),
    ("signal-path-nearby", Note, "A3", "fence"),
    ("off-line", Warning, "A2", "0.5"),
    ("blunder", Warning, "A2", "10.350 m"),
    ("misfit", Warning, "", "variance factor"),
    ("unchecked", Note, "A2", ""),
    ("weak", Warning, "A2", ""),
    ("counter-order", Warning, "", ""),
    ("counter-order-repeat", Warning, "", ""),
    ("path-too-long", Warning, "", ""),
    ("path-too-short", Note, "", "bend"),
    ("adverse-grade", Warning, "A3", "rises with the flow"),
    ("adverse-grade-note", Note, "A3", "bare figures"),
    ("low-grade", Warning, "", "certainly under"),
    ("low-grade-note", Note, "", "bare figure"),
    ("low-grade-none", Note, "", "no minimum grade is given"),
    ("check-shot", Warning, "A3", "outside the 95 % bound"),
    ("check-shot-place", Warning, "A2", "outside the 95 % bound"),
    ("check-shot-note", Note, "A3", "inside the 95 % bound"),
    ("exposure", Warning, "A3", "outside the 95 % bound"),
    ("exposure-note", Note, "A3", "inside the 95 % bound"),
    ("sag", Warning, "", "low point"),
    ("shallow", Warning, "", ""),
    ("above-ground", Error, "A2", "above the ground"),
    ("level-misclosure", Warning, "BM1", "0.030 m"),
    ("grid-fit-residual", Warning, "P3", ""),
    ("scale-suspect", Warning, "", "feet"),
    ("unused-column", Note, "", "Did you mean \"depth_3\""),
];

/// Codes that are raised at two levels: the job with the code's name warns, the one with `-note` notes.
const TWO_LEVELS: [Code; 4] = [
    Code::CheckShot,
    Code::Exposure,
    Code::AdverseGrade,
    Code::LowGrade,
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/jobs/codes")
}

/// The code of a folder: the longest code that its name begins with.
fn code_of(folder: &str) -> Code {
    let codes = Code::ALL.iter().copied();
    codes
        .filter(|code| folder == code.word() || folder.starts_with(&format!("{code}-")))
        .max_by_key(|code| code.word().len())
        .expect("the folder is named after a code")
}

fn findings(folder: &str) -> Vec<Finding> {
    let outcome = run(&root().join(folder), &Options::default()).expect(folder);
    assert_eq!(outcome.job, folder, "the job's id is its folder's name");
    assert_eq!(
        outcome.blocked(),
        outcome
            .findings
            .iter()
            .any(|finding| finding.level == Error)
    );
    outcome.findings
}

#[test]
fn every_job_raises_its_code() {
    let mut wrong = Vec::new();
    for &(folder, level, about, words) in CASES {
        let all = findings(folder);
        let code = code_of(folder);
        let raised: Vec<&Finding> = all.iter().filter(|finding| finding.code == code).collect();
        let said = raised.iter().any(|finding| {
            finding.level == level
                && (about.is_empty() || finding.mark.as_deref() == Some(about))
                && finding.message.contains(words)
        });
        if !said {
            wrong.push(format!(
                "{folder}: no {level} about {about:?} saying {words:?} in {all:#?}"
            ));
        }
        // A place can be inside its bound where a depth is outside, so that lower levels may stand beside it.
        if raised.iter().any(|finding| finding.level > level) {
            wrong.push(format!("{folder}: raised above {level}: {raised:#?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_clean_twin_raises_it_nor_anything_above_a_note() {
    let mut wrong = Vec::new();
    for code in Code::ALL {
        let twin = format!("{code}-clean");
        for finding in findings(&twin) {
            if finding.code == *code || finding.level > Note {
                wrong.push(format!("{twin}: {finding:#?}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A cause is said once: what hangs on it is not told to be measured anew.
#[test]
fn what_lacks_a_place_for_want_of_another_is_not_accused() {
    for folder in [
        "no-datum",
        "outside-crs",
        "outside-crs-sign",
        "outside-crs-feet",
    ] {
        let errors: Vec<Code> = findings(folder)
            .iter()
            .filter(|finding| finding.level == Error)
            .map(|finding| finding.code)
            .collect();
        assert_eq!(errors, [code_of(folder)], "{folder}");
    }
}

/// Sentences, with figures wherever the finding has a limit.
#[test]
fn messages_are_sentences_with_figures() {
    for &(folder, ..) in CASES {
        let (all, code) = (findings(folder), code_of(folder));
        for finding in all.iter().filter(|finding| finding.code == code) {
            let text = &finding.message;
            let whole = text.split_whitespace().count() >= 5;
            assert!(whole, "{folder}: {text}");
            let figures = text.contains(|c: char| c.is_ascii_digit());
            assert!(finding.limit.is_none() || figures, "{folder}: {text}");
        }
    }
}

/// A comparison is a warning outside its bound and a note inside, the bound being the limit that it states.
#[test]
fn comparisons_are_notes_inside_and_warnings_outside() {
    for code in [Code::CheckShot, Code::Exposure] {
        for &(folder, ..) in CASES.iter().filter(|case| code_of(case.0) == code) {
            for finding in findings(folder).iter().filter(|f| f.code == code) {
                let (value, limit) = finding.value.zip(finding.limit).expect("figures");
                let outside = value.abs() > limit;
                assert_eq!(finding.level == Warning, outside, "{folder}: {finding:?}");
            }
        }
    }
}

#[test]
fn no_code_and_no_folder_is_left_out() {
    let tested: BTreeSet<(&str, Level)> = CASES.iter().map(|case| (case.0, case.1)).collect();
    assert_eq!(
        tested.len(),
        CASES.len(),
        "a folder stands twice in the table"
    );
    for code in Code::ALL {
        if TWO_LEVELS.contains(code) {
            let note = CASES.iter().find(|case| case.0 == format!("{code}-note"));
            assert_eq!(note.map(|case| case.1), Some(Note), "{code}-note");
            assert!(tested.contains(&(code.word(), Warning)), "{code}");
        } else {
            assert!(tested.contains(&(code.word(), code.level())), "{code}");
        }
    }
    let known = Code::ALL.iter().map(|code| format!("{code}-clean"));
    let known: BTreeSet<String> = known
        .chain(CASES.iter().map(|case| case.0.to_owned()))
        .collect();
    let there: BTreeSet<String> = fs::read_dir(root())
        .expect("the folder of jobs")
        .map(|entry| entry.expect("an entry"))
        .filter(|entry| entry.path().is_dir())
        .map(|entry| entry.file_name().into_string().expect("a plain name"))
        .collect();
    assert_eq!(there, known);
}

/// Every file of a folder, less what names the job.
fn files(folder: &str) -> Vec<(String, Vec<String>)> {
    let mut files: Vec<_> = fs::read_dir(root().join(folder))
        .expect(folder)
        .map(|entry| entry.expect("an entry").path())
        .map(|path| {
            let name = path
                .file_name()
                .and_then(|name| name.to_str())
                .expect("a plain name");
            let text = fs::read_to_string(&path).expect("text");
            let lines = text
                .lines()
                .filter(|line| !line.starts_with('#') && !line.starts_with("id = \""));
            (name.to_owned(), lines.map(str::to_owned).collect())
        })
        .collect();
    files.sort();
    files
}

#[test]
fn a_job_differs_from_its_twin_only_in_the_rows_that_it_takes() {
    for &(folder, ..) in CASES {
        let code = code_of(folder);
        let (job, twin) = (files(folder), files(&format!("{code}-clean")));
        let names = |files: &[(String, Vec<String>)]| -> Vec<String> {
            files.iter().map(|(name, _)| name.clone()).collect()
        };
        assert_eq!(names(&job), names(&twin), "{folder}");
        let rows: usize = job
            .iter()
            .zip(&twin)
            .map(|((_, a), (_, b))| {
                let changed = a.iter().zip(b).filter(|(a, b)| a != b).count();
                changed + a.len().abs_diff(b.len())
            })
            .sum();
        assert!(
            (1..=4).contains(&rows),
            "{folder}: {rows} rows differ from its twin's"
        );
    }
}
