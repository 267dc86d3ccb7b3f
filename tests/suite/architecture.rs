//! The one-way flow of the stages, held against the code's own imports.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// The stages in the direction of flow. A stage may use itself, what stands before it, and the shared modules.
const FLOW: &[&str] = &[
    "job",
    "observe",
    "position",
    "transmitter",
    "height",
    "run",
    "profile",
    "findings",
    "advice",
    "record",
    "plan",
    "sheet",
    "export",
    "intake",
    "pipeline",
    "cli",
];

/// Modules that every stage may use. They may not use a stage, but for [`VALUES`].
const SHARED: &[&str] = &[
    "sources", "limits", "units", "crs", "math", "maps", "error", "watch",
];

/// Values that any module may name: plain types that carry a result, no computation.
const VALUES: &[(&str, &str)] = &[
    ("record", "model"),
    ("findings", "Finding"),
    ("findings", "Code"),
    ("findings", "Level"),
];

fn rust_files(folder: &Path, into: &mut Vec<PathBuf>) {
    let mut entries: Vec<_> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            rust_files(&path, into);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            into.push(path);
        }
    }
}

/// Every source file: its top-level module, its path, its text without test modules and comments.
fn sources() -> Vec<(String, PathBuf, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    rust_files(&root, &mut files);
    files
        .into_iter()
        .map(|path| {
            let relative = path.strip_prefix(&root).unwrap().to_owned();
            let first = relative
                .components()
                .next()
                .unwrap()
                .as_os_str()
                .to_string_lossy()
                .into_owned();
            let module = first.trim_end_matches(".rs").to_owned();
            let text = fs::read_to_string(&path).unwrap();
            let text = text.split("#[cfg(test)]\nmod ").next().unwrap().to_owned();
            let code: Vec<&str> = text
                .lines()
                .filter(|line| !line.trim_start().starts_with("//"))
                .collect();
            (module, relative, code.join("\n"))
        })
        .collect()
}

fn used_modules(code: &str) -> BTreeSet<(String, String)> {
    let mut used = BTreeSet::new();
    for part in code.split("crate::").skip(1) {
        let path: String = part
            .chars()
            .take_while(|c| c.is_alphanumeric() || "_:{".contains(*c))
            .collect();
        let mut names = path.split("::");
        let first = names.next().unwrap_or_default().to_owned();
        let second = names
            .next()
            .unwrap_or_default()
            .trim_start_matches('{')
            .to_owned();
        used.insert((first, second));
    }
    used
}

#[test]
fn no_stage_uses_a_later_one() {
    let mut looked_at = 0;
    let mut wrong = Vec::new();
    for (module, path, code) in sources() {
        if module == "lib" || module == "main" {
            continue;
        }
        looked_at += 1;
        let mine = FLOW.iter().position(|stage| *stage == module);
        assert!(
            mine.is_some() || SHARED.contains(&module.as_str()),
            "{} belongs to no stage",
            path.display()
        );
        for (first, second) in used_modules(&code) {
            let Some(theirs) = FLOW.iter().position(|stage| *stage == first) else {
                continue;
            };
            let is_value = VALUES
                .iter()
                .any(|(a, b)| *a == first && second.starts_with(b));
            // Rules read every stage's result; each rule is called by the stage table, never by a stage.
            let later = mine.is_none_or(|mine| theirs > mine);
            if later && !is_value {
                wrong.push(format!("{}: crate::{first}::{second}", path.display()));
            }
        }
    }
    assert!(
        looked_at > 30,
        "only {looked_at} files found: the test looks in the wrong place"
    );
    assert!(
        wrong.is_empty(),
        "these imports go against the flow:\n{}",
        wrong.join("\n")
    );
}

#[test]
fn only_crs_knows_proj_and_only_cli_prints() {
    let mut wrong = Vec::new();
    for (module, path, code) in sources() {
        if module != "crs" && code.contains("proj_sys") {
            wrong.push(format!("{}: proj_sys", path.display()));
        }
        let prints = [
            "println!",
            "print!(",
            "eprintln!",
            "eprint!(",
            "io::stdout",
            "io::stderr",
        ];
        if !["cli", "main"].contains(&module.as_str())
            && prints.iter().any(|word| code.contains(word))
        {
            wrong.push(format!("{}: prints", path.display()));
        }
        let clocks = ["SystemTime::now", "Instant::now"];
        if module != "cli" && clocks.iter().any(|word| code.contains(word)) {
            wrong.push(format!("{}: reads a clock", path.display()));
        }
        if module != "crs" && code.contains("unsafe ") && !code.contains("unsafe_code") {
            wrong.push(format!("{}: unsafe", path.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_stage_table_names_every_module() {
    let lib = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/lib.rs")).unwrap();
    let modules: Vec<&str> = lib
        .lines()
        .filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';'))
        .collect();
    assert!(modules.len() > 15, "no modules found in lib.rs");
    for module in modules {
        assert!(
            FLOW.contains(&module) || SHARED.contains(&module),
            "{module} is in lib.rs but in no list of this test"
        );
    }
}
