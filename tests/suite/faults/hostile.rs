//! Files that mean harm: the command ends soon, says why, and touches nothing outside its results.

use std::fmt::Write as _;
use std::fs;
use std::os::unix::fs::{PermissionsExt as _, symlink};
use std::process::{Command, Output};
use std::time::{Duration, Instant};

use crate::cli::site::Site;

/// Longer than any of these may take, without optimisation and on a loaded machine.
const LONGEST: Duration = Duration::from_mins(1);

fn check(site: &Site, arguments: &[&str]) -> (i32, String) {
    let begun = Instant::now();
    let output = site.aslaid(arguments);
    assert!(
        begun.elapsed() < LONGEST,
        "{arguments:?}: {:?}",
        begun.elapsed()
    );
    told(&output)
}

fn told(output: &Output) -> (i32, String) {
    let said = String::from_utf8_lossy(&output.stdout).into_owned()
        + &String::from_utf8_lossy(&output.stderr);
    assert!(!said.contains("panicked"), "{said}");
    let code = output
        .status
        .code()
        .unwrap_or_else(|| panic!("ended by a signal: {said}"));
    assert!((0..=2).contains(&code), "{code}: {said}");
    (code, said)
}

fn fresh() -> Site {
    let site = Site::new();
    site.job("job", "J", "4.30");
    site
}

#[test]
fn ids_stay_in_their_folder() {
    for id in [
        "../escaped",
        "..",
        ".hidden",
        "a/b",
        "/tmp/aslaid-escaped",
        "a\\b",
        "con\u{0}",
        "x.superseded",
        "\u{202e}x",
    ] {
        let site = fresh();
        let literal = id.replace('\\', "\\\\").replace('\u{0}', "\\u0000");
        site.swap("job/job.toml", "id = \"J\"", &format!("id = \"{literal}\""));
        let (code, said) = check(&site, &["build", "job", "--out", "out", "--formats", "csv"]);
        assert_ne!(code, 0, "{id}: {said}");
        let outside = site.names(".");
        assert!(
            outside
                .iter()
                .all(|name| name.starts_with("job/") || name.starts_with("out/")),
            "{id}: {outside:?}"
        );
        assert!(!std::path::Path::new("/tmp/aslaid-escaped").exists());
    }
}

#[test]
fn devices_pipes_and_links_are_refused() {
    for name in ["marks.csv", "control.csv", "job.toml", "log.nmea"] {
        let site = fresh();
        let path = site.at("job").join(name);
        let _ = fs::remove_file(&path);
        assert!(
            Command::new("mkfifo")
                .arg(&path)
                .status()
                .unwrap()
                .success()
        );
        let (code, said) = check(&site, &["check", "job"]);
        assert!(
            code > 0 && said.contains("no regular file"),
            "{name}: {said}"
        );
        fs::remove_file(&path).unwrap();
        symlink("/dev/zero", &path).unwrap();
        let (code, said) = check(&site, &["check", "job"]);
        assert!(code > 0 && said.contains("is a link"), "{name}: {said}");
    }
    let site = fresh();
    for argument in ["/dev/zero", "/dev/null", "/proc/self/mem"] {
        let (code, said) = check(&site, &["check", argument]);
        assert!(code == 2 && said.contains(argument), "{said}");
        for option in ["--plan", "--fields"] {
            let (code, said) = check(
                &site,
                &[
                    "build",
                    "job",
                    "--out",
                    "out",
                    "--formats",
                    "csv",
                    option,
                    argument,
                ],
            );
            assert!(code == 2 && said.contains(argument), "{option}: {said}");
        }
    }
}

#[test]
fn what_may_not_be_read_or_written_is_said() {
    let site = fresh();
    let root = site.at(".");
    for path in [root.clone(), site.at("job")] {
        fs::set_permissions(path, fs::Permissions::from_mode(0o755)).unwrap();
    }
    // The program is copied, since the folder that it was built in may be closed to others.
    fs::copy(env!("CARGO_BIN_EXE_aslaid"), site.at("program")).unwrap();
    let nobody = |arguments: &[&str]| {
        let output = Command::new("setpriv")
            .args(["--reuid=65534", "--regid=65534", "--clear-groups"])
            .arg(site.at("program"))
            .args(arguments)
            .current_dir(&root)
            .output()
            .expect("setpriv, and root to use it");
        told(&output)
    };
    let (code, said) = nobody(&["check", "job"]);
    assert_eq!(code, 0, "{said}");
    fs::set_permissions(site.at("job/marks.csv"), fs::Permissions::from_mode(0o000)).unwrap();
    let (code, said) = nobody(&["check", "job"]);
    assert!(code == 1 && said.contains("no permission"), "{said}");
    fs::set_permissions(site.at("job/job.toml"), fs::Permissions::from_mode(0o000)).unwrap();
    let (code, said) = nobody(&["check", "job"]);
    assert!(code == 2 && said.contains("no permission"), "{said}");
    fs::set_permissions(site.at("job/job.toml"), fs::Permissions::from_mode(0o644)).unwrap();
    fs::set_permissions(site.at("job/marks.csv"), fs::Permissions::from_mode(0o644)).unwrap();
    let (code, said) = nobody(&["build", "job", "--out", "out"]);
    assert!(
        code == 2 && said.contains("no permission to write there"),
        "{said}"
    );
}

#[test]
fn a_million_columns_cells_and_rows_of_nothing() {
    let site = fresh();
    let hostile = [
        ("columns", ",".repeat(1_000_000)),
        (
            "headings",
            (0..1_000_000).fold(String::from("run,mark"), |mut line, n| {
                let _ = write!(line, ",c{n}");
                line
            }),
        ),
        (
            "cell",
            format!("run,mark,note\nA,A1,{}\n", "x".repeat(20_000_000)),
        ),
        (
            "quotes",
            format!("run,mark,note\nA,A1,\"{}", "\"\"".repeat(5_000_000)),
        ),
        (
            "one quote a line",
            "run,mark\n".to_owned() + &"\",A\n".repeat(300_001),
        ),
        (
            "wide rows",
            "run,mark\n".to_owned() + &"A,B,C,D\n".repeat(200_000),
        ),
        (
            "long cells",
            format!(
                "run,mark\n{}",
                format!("{}\n", "y".repeat(40_000)).repeat(500)
            ),
        ),
        (
            "ties",
            (1..4000).fold(String::from("run,mark"), |mut line, n| {
                let _ = write!(line, ",tie_{n}_ref,tie_{n}");
                line
            }) + "\nA,A1"
                + &",P1,5".repeat(2047)
                + "\n",
        ),
    ];
    for (what, text) in hostile {
        fs::write(site.at("job/marks.csv"), text).unwrap();
        let (code, said) = check(&site, &["check", "job"]);
        assert_eq!(
            code,
            1,
            "{what}: {}",
            said.chars().take(2000).collect::<String>()
        );
        assert!(said.contains("marks.csv"), "{what}");
    }
}

#[test]
fn nested_and_circular_things_end() {
    let site = fresh();
    let original = fs::read_to_string(site.at("job/job.toml")).unwrap();
    for deep in [
        format!("x = {}{}\n", "[".repeat(100_000), "]".repeat(100_000)),
        format!("x = {}\n", "{a=".repeat(100_000)),
        format!("{} = 1\n", vec!["a"; 100_000].join(".")),
        format!("[{}]\n", vec!["a"; 100_000].join(".")),
    ] {
        fs::write(site.at("job/job.toml"), deep + &original).unwrap();
        let (code, said) = check(&site, &["check", "job"]);
        assert!(code > 0, "{}", said.chars().take(500).collect::<String>());
    }
    // Runs that join each other in a ring, and one that joins itself.
    let runs = "[[run]]\nid = \"B\"\njoins = \"C\"\n[[run]]\nid = \"C\"\njoins = \"B\"\n[[run]]\nid = \"D\"\njoins = \"D\"\n";
    fs::write(site.at("job/job.toml"), original.clone() + runs).unwrap();
    let (code, said) = check(&site, &["check", "job"]);
    assert!(code <= 1, "{said}");
    // Points that are measured only from each other, and from themselves.
    fs::write(site.at("job/job.toml"), &original).unwrap();
    let mut marks = String::from(
        "run,mark,tie_1_ref,tie_1,tie_2_ref,tie_2,setup,backsight,angle,distance,baseline,station,offset\n",
    );
    for n in 0..300 {
        let (a, b) = ((n + 1) % 300, (n + 2) % 300);
        let _ = writeln!(marks, "A,M{n},M{a},5,M{b},7,M{n},M{n},0,0,M{n}>M{n},1,1");
    }
    fs::write(site.at("job/marks.csv"), marks).unwrap();
    let (code, said) = check(&site, &["check", "job"]);
    assert_eq!(code, 1, "{}", said.chars().take(2000).collect::<String>());
    // Plans that nest as deep as a stack.
    site.job("job", "J", "4.30");
    let deep = format!(
        "{{\"type\":\"FeatureCollection\",\"features\":{}",
        "[".repeat(200_000)
    );
    let collections = "{\"type\":\"GeometryCollection\",\"geometries\":[".repeat(50_000);
    for (name, text) in [("a.geojson", deep), ("b.geojson", collections)] {
        fs::write(site.at(name), text).unwrap();
        let (code, said) = check(
            &site,
            &[
                "build",
                "job",
                "--out",
                "out",
                "--formats",
                "csv",
                "--plan",
                name,
            ],
        );
        assert!(
            code == 2,
            "{name}: {}",
            said.chars().take(500).collect::<String>()
        );
    }
}

/// Folders that are links to themselves, and folders deeper than are searched.
#[test]
fn a_search_for_jobs_ends() {
    let site = fresh();
    fs::create_dir_all(site.at("all/one")).unwrap();
    symlink("..", site.at("all/one/up")).unwrap();
    fs::rename(site.at("job"), site.at("all/one/job")).unwrap();
    let (code, said) = check(&site, &["check", "all"]);
    assert_eq!(code, 0, "{said}");
    let deep = site.at(&vec!["d"; 200].join("/"));
    fs::create_dir_all(&deep).unwrap();
    let (code, said) = check(&site, &["check", "d"]);
    assert!(code == 2 && said.contains("holds no job.toml"), "{said}");
}
