//! The blank field form.

use aslaid::sheet::{self, Paper};

use crate::outside::{out, pages, run, squeezed};

#[test]
fn the_form_shows_every_column_and_the_rule_for_depth_pairs() {
    for size in [Paper::A4, Paper::Letter] {
        let path = out(&format!("form-{}.pdf", size.word()));
        std::fs::write(&path, sheet::form(size).unwrap()).unwrap();
        let pages = pages(&path);
        assert_eq!(pages.len(), 4);
        let flat = squeezed(&pages.concat());
        let folder = aslaid::job::template::folder();
        let (_, marks) = folder.iter().find(|(name, _)| name == "marks.csv").unwrap();
        for column in marks.lines().next().unwrap().split(',') {
            assert!(flat.contains(column), "{column}");
        }
        assert!(
            flat.contains("differ by no more than 10 % of their mean"),
            "{flat}"
        );
        assert!(pages[1].contains("Depth pairs"));
        let info = run("pdfinfo", &[path.to_str().unwrap()]);
        let word = if size == Paper::A4 { "A4" } else { "letter" };
        assert!(info.contains(word), "{info}");
    }
}

#[test]
fn a_new_job_has_the_form_in_it_and_is_still_a_job() {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("job");
    let aslaid = |arguments: &[&str]| {
        std::process::Command::new(env!("CARGO_BIN_EXE_aslaid"))
            .args(arguments)
            .output()
            .unwrap()
    };
    let job_text = job.to_str().unwrap();
    assert!(aslaid(&["new", job_text, "--sheet", "a4"]).status.success());
    let form = std::fs::read(job.join("field-form.pdf")).unwrap();
    assert!(form == sheet::form(Paper::A4).unwrap());
    let check = aslaid(&["check", job_text]);
    assert!(
        check.status.success(),
        "{}",
        String::from_utf8_lossy(&check.stdout)
    );
}
