//! The sum of cells that `check` prints, against a count by other software.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use super::site::{Site, fixture};

/// Every job among the fixtures.
fn jobs() -> Vec<String> {
    let mut found = Vec::new();
    search(Path::new(&fixture(".")), &mut found);
    found.sort();
    found
}

fn search(folder: &Path, found: &mut Vec<String>) {
    if folder.join("job.toml").exists() {
        found.push(folder.to_string_lossy().into_owned());
        return;
    }
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            search(&path, found);
        } else if path.extension().is_some_and(|end| end == "xlsx") {
            found.push(path.to_string_lossy().into_owned());
        }
    }
}

/// used, kept, named and their sum, as printed.
fn printed(said: &str) -> [usize; 4] {
    let line = said
        .lines()
        .find_map(|line| line.trim().strip_prefix("cells: "))
        .unwrap();
    let figures: Vec<usize> = line
        .split(|letter: char| !letter.is_ascii_digit())
        .filter_map(|figure| figure.parse().ok())
        .collect();
    figures.try_into().unwrap()
}

#[test]
fn every_filled_cell_of_every_fixture_is_accounted_for() {
    let site = Site::new();
    let mut jobs = jobs();
    assert!(jobs.len() > 90, "{}", jobs.len());
    site.ends(0, &["new", "--workbook", "book"]);
    jobs.push(site.at("book.xlsx").to_string_lossy().into_owned());
    // Python's csv takes all that follows a quotation mark that is never closed as one cell.
    jobs.retain(|job| !job.ends_with("quote-unclosed"));
    let names: Vec<&str> = jobs.iter().map(String::as_str).collect();
    let counts = site.python("count_cells.py", &names);
    let counts: BTreeMap<&str, usize> = counts
        .lines()
        .map(|line| line.split_once('\t').unwrap())
        .map(|(count, job)| (job, count.parse().unwrap()))
        .collect();
    let mut wrong = Vec::new();
    for job in &names {
        let output = site.aslaid(&["check", job]);
        let [used, kept, named, sum] = printed(&super::out(&output));
        if used + kept + named != sum || sum != counts[job] {
            wrong.push(format!(
                "{job}: {used} + {kept} + {named} = {sum}; counted {}",
                counts[job]
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
