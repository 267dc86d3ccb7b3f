//! Every finding code has a job that raises it, and a clean twin that does not.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use aslaid::findings::Code;
use aslaid::pipeline::{Options, run};

#[test]
fn every_code_is_raised_by_its_job_and_not_by_the_clean_twin() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/jobs/codes");
    let mut raised = BTreeSet::new();
    let mut clean = BTreeSet::new();
    let mut wrong = Vec::new();
    let mut names: Vec<String> = fs::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap())
        .filter(|entry| entry.path().is_dir())
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    for name in names {
        let code = Code::ALL
            .iter()
            .filter(|code| name.starts_with(code.word()))
            .max_by_key(|code| code.word().len())
            .copied()
            .unwrap_or_else(|| panic!("{name} names no code"));
        let outcome = run(&folder.join(&name), &Options::default()).unwrap();
        let found = outcome.findings.iter().any(|finding| finding.code == code);
        let twin = name.ends_with("-clean");
        if found == twin {
            wrong.push(name);
        } else if twin {
            clean.insert(code);
        } else {
            raised.insert(code);
        }
    }
    let all: BTreeSet<Code> = Code::ALL.iter().copied().collect();
    let missing: Vec<_> = all
        .difference(&raised)
        .chain(all.difference(&clean))
        .collect();
    assert!(
        wrong.is_empty() && missing.is_empty(),
        "wrong: {wrong:?}; missing: {missing:?}"
    );
}
