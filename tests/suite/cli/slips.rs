//! Slips that used to pass in silence, or to be told twice: each with its clean twin.

use std::fs;
use std::io::Read as _;

use serde_json::Value;

use super::site::Site;

/// The job of three marks that [`Site::job`] writes.
pub fn job() -> Site {
    let site = Site::new();
    site.job("job", "J1", "4.30");
    site
}

pub fn write(site: &Site, file: &str, text: &str) {
    fs::write(site.at("job").join(file), text).unwrap();
}

pub fn swap(site: &Site, file: &str, from: &str, to: &str) {
    site.swap(&format!("job/{file}"), from, to);
}

/// What `check` prints.
pub fn said(site: &Site) -> String {
    super::out(&site.aslaid(&["check", "job"]))
}

/// The findings of `check --json`, as `code level source message`.
pub fn found(site: &Site) -> Vec<String> {
    let output = site.aslaid(&["check", "job", "--json"]);
    let findings: Vec<Value> = serde_json::from_slice(&output.stdout).unwrap();
    let text = |finding: &Value, key: &str| finding[key].as_str().unwrap_or("-").to_owned();
    let line = |f: &Value| {
        ["code", "level", "source", "message"]
            .map(|key| text(f, key))
            .join(" ")
    };
    findings.iter().map(line).collect()
}

/// How many findings begin so.
fn count(site: &Site, beginning: &str) -> usize {
    found(site)
        .iter()
        .filter(|line| line.starts_with(beginning))
        .count()
}

#[track_caller]
fn says(site: &Site, beginning: &str, parts: &[&str]) {
    let found = found(site);
    let fits = |line: &&String| {
        line.starts_with(beginning) && parts.iter().all(|part| line.contains(part))
    };
    assert_eq!(
        found.iter().filter(fits).count(),
        1,
        "{beginning} {parts:?} in {found:#?}"
    );
}

/// Marks with a column `push`, and pushes.csv.
fn with_pushes(site: &Site, pushes: &str, of_marks: [&str; 3]) {
    write(site, "pushes.csv", pushes);
    swap(site, "marks.csv", "run,mark,", "push,run,mark,");
    for (at, push) in (1..).zip(of_marks) {
        swap(
            site,
            "marks.csv",
            &format!("\nA,A{at},"),
            &format!("\n{push},A,A{at},"),
        );
    }
}

const TWO_PUSHES: &str = "push,run,pushed,counter_at_start\n1,A,downstream,0\n2,A,downstream,0\n";

#[test]
fn private_columns_reach_the_record_and_nothing_else() {
    let site = job();
    swap(&site, "marks.csv", "run,mark,", "Gate Code,use,run,mark,");
    for (mark, used) in [("A1", ""), ("A2", ""), ("A3", "no")] {
        swap(
            &site,
            "marks.csv",
            &format!("\nA,{mark},"),
            &format!("\nx4711x,{used},A,{mark},"),
        );
    }
    let control = "point,easting,northing,keyholder\nP1,567900,5250000,x4712x\nP2,567910,5250000,x4712x\nP3,567905,5250012,x4712x\n";
    write(&site, "control.csv", control);
    write(
        &site,
        "camera.csv",
        "run,counter,what,telephone\nA,9,root,x4713x\n",
    );
    write(
        &site,
        "measures.csv",
        "kind,from,to,value,crew\ndistance,P1,P2,32.81,x4714x\n",
    );
    let private = ["x4711x", "x4712x", "x4713x", "x4714x"];
    let in_files = |word: &str| -> Vec<String> {
        let holds = |bytes: &[u8]| {
            bytes
                .windows(word.len())
                .any(|part| part == word.as_bytes())
        };
        let files = site.files("out/J1").into_iter();
        files
            .filter(|(_, bytes)| holds(bytes))
            .map(|(name, _)| name)
            .collect()
    };
    site.ends(0, &["build", "job", "--out", "out"]);
    for word in private {
        assert_eq!(in_files(word), ["record.json"], "{word}");
    }
    let page = String::from_utf8(site.files("out/J1")["report.html"].clone()).unwrap();
    assert!(page.contains("use = no") && page.contains("mark = A3"));
    // What is published is on the page, and nothing besides.
    swap(
        &site,
        "job.toml",
        "[[run]]",
        "[publish]\ncolumns = [\"gate code\"]\n[[run]]",
    );
    site.ends(0, &["build", "job", "--out", "out"]);
    assert!(in_files("x4711x").contains(&"report.html".to_owned()));
    for word in &private[1..] {
        assert_eq!(in_files(word), ["record.json"], "{word}");
    }
}

#[test]
fn a_blank_push_on_a_run_with_several_is_an_error_at_the_row() {
    let site = job();
    with_pushes(&site, TWO_PUSHES, ["1", "", "2"]);
    write(&site, "camera.csv", "run,counter,what\nA,9,root\n");
    for row in ["marks.csv:3", "camera.csv:2"] {
        says(
            &site,
            &format!("unreadable error {row}"),
            &["push is blank", "\"1\", \"2\""],
        );
    }
    // With its push it is right; on a run that was pushed once it may be blank, and is that push's.
    swap(&site, "marks.csv", "\n,A,A2", "\n1,A,A2");
    write(&site, "camera.csv", "run,push,counter,what\nA,2,9,root\n");
    assert_eq!(count(&site, "unreadable"), 0, "{:#?}", found(&site));
    write(&site, "pushes.csv", "push,run,counter_at_start\n1,A,2\n");
    write(&site, "camera.csv", "run,counter,what\nA,9,root\n");
    swap(&site, "marks.csv", "\n1,A,A2", "\n,A,A2");
    swap(&site, "marks.csv", "\n2,A,A3", "\n,A,A3");
    assert_eq!(count(&site, "unreadable"), 0, "{:#?}", found(&site));
}

#[test]
fn a_row_beside_a_centre_row_that_is_not_there_is_an_error() {
    let site = job();
    swap(&site, "marks.csv", "run,mark,", "role,run,mark,");
    for mark in ["A1", "A2", "A3"] {
        swap(
            &site,
            "marks.csv",
            &format!("\nA,{mark},"),
            &format!("\n,A,{mark},"),
        );
    }
    let marks = fs::read_to_string(site.at("job/marks.csv")).unwrap();
    for role in ["end_ahead", "end_behind", "peak"] {
        let row = |mark: &str| format!("{marks}{role},A,{mark},,,,,P1,21.9,P2,24.5,P3,23.0,\n");
        write(&site, "marks.csv", &row("A9"));
        says(
            &site,
            "unknown-reference error marks.csv:5",
            &["\"A9\" has no centre row", "\"A3\""],
        );
        write(&site, "marks.csv", &row("A2"));
        assert_eq!(count(&site, "unknown-reference"), 0, "{:#?}", found(&site));
    }
    // A centre row that can't be used is named by its own finding alone.
    let spoilt = marks.replace(",A,A2,", "centr,A,A2,");
    write(
        &site,
        "marks.csv",
        &format!("{spoilt}end_ahead,A,A2,,,,,P1,21.9,P2,24.5,P3,23.0,\n"),
    );
    assert_eq!(
        (
            count(&site, "unreadable"),
            count(&site, "unknown-reference")
        ),
        (1, 0)
    );
}

#[test]
fn a_table_of_marks_without_a_row_is_named_like_an_empty_one() {
    let site = job();
    for text in [
        "run,mark,easting,northing\n",
        "run,mark,easting,northing\n# none yet\n",
        "",
    ] {
        write(&site, "marks.csv", text);
        says(&site, "unreadable error marks.csv", &["there are no marks"]);
    }
    // A heading that can't be used is one finding.
    write(
        &site,
        "marks.csv",
        "run,easting,northing\nA,567905,5250004\n",
    );
    assert_eq!(count(&site, "unreadable"), 1, "{:#?}", found(&site));
}

#[test]
fn notes_of_the_record_are_printed() {
    let site = job();
    swap(
        &site,
        "job.toml",
        "[equipment]",
        "[equipment]\nlens_to_transmitter = \"0.9 ft\"",
    );
    let camera = |counter: &str| {
        write(
            &site,
            "camera.csv",
            &format!("run,counter,what\nA,{counter},root\n"),
        );
    };
    camera("60");
    for arguments in [&["check", "job"][..], &["build", "job", "--out", "out"]] {
        let said = site.ends(0, arguments);
        assert!(
            said.contains("  note: camera.csv:2: Counter 60.00 ft has no place"),
            "{said}"
        );
    }
    assert!(!site.ends(0, &["check", "job", "--quiet"]).contains("note"));
    assert!(
        found(&site)
            .iter()
            .all(|line| !line.contains("has no place"))
    );
    let elsewhere = site.ends(0, &["check", "job", "--crs", "EPSG:32610"]);
    assert!(
        elsewhere.contains("  note: The job is in EPSG:26910"),
        "{elsewhere}"
    );
    camera("9");
    let said = site.ends(0, &["check", "job"]);
    assert!(!said.contains("note: "), "{said}");
}

#[test]
fn a_counter_before_its_opening_is_named() {
    let site = job();
    with_pushes(
        &site,
        &TWO_PUSHES.replace("1,A,downstream,0", "1,A,downstream,200"),
        ["1", "1", "2"],
    );
    write(
        &site,
        "camera.csv",
        "run,push,counter,what\nA,1,9,root\nA,2,9,root\n",
    );
    let parts = ["push 1", "pushes.csv:2", "200.00 ft"];
    for row in ["marks.csv:2", "marks.csv:3", "camera.csv:2"] {
        says(&site, &format!("counter-order warning {row}"), &parts);
    }
    assert_eq!(count(&site, "counter-order"), 3, "{:#?}", found(&site));
    write(&site, "pushes.csv", TWO_PUSHES);
    assert_eq!(count(&site, "counter-order"), 0, "{:#?}", found(&site));
}

#[test]
fn runs_without_marks_and_marks_without_a_run_are_named() {
    let site = job();
    swap(&site, "job.toml", "id = \"A\"", "id = \"B\"");
    says(
        &site,
        "unknown-reference warning marks.csv:2",
        &["\"A\" is defined nowhere", "Did you mean \"B\"?"],
    );
    says(
        &site,
        "unknown-reference note job.toml",
        &["\"B\" has no marks"],
    );
    swap(&site, "job.toml", "id = \"B\"", "id = \"A\"");
    assert_eq!(count(&site, "unknown-reference"), 0, "{:#?}", found(&site));
    swap(&site, "marks.csv", "\nA,A2,", "\na,A2,");
    says(
        &site,
        "unknown-reference warning marks.csv:3",
        &["\"a\" is defined nowhere", "Did you mean \"A\"?"],
    );
    assert_eq!(count(&site, "unknown-reference"), 1, "{:#?}", found(&site));
    // Where no run is defined there is nothing to compare with.
    let toml = fs::read_to_string(site.at("job/job.toml")).unwrap();
    write(&site, "job.toml", toml.split("[[run]]").next().unwrap());
    assert_eq!(count(&site, "unknown-reference"), 0, "{:#?}", found(&site));
}

#[test]
fn heights_that_wait_for_the_separation_are_named_once() {
    let site = job();
    let marks = "run,mark,latitude,longitude,height,fix,depth_1,depth_2\n\
                 A,A1,47.3999,-122.0999,350,rtk,4.1,4.15\nA,A2,47.39985,-122.0999,349,rtk,4.2,4.25\n";
    write(&site, "marks.csv", marks);
    let said = site.ends(0, &["check", "job"]);
    assert_eq!(
        said.matches(
            "GNSS heights give no ground where nothing else does (marks.csv:2 is the first)"
        )
        .count(),
        1,
        "{said}"
    );
    let next = said
        .lines()
        .find(|line| line.contains("Levelling the ground"))
        .unwrap();
    assert!(next.contains("once `geoid_separation` is given"), "{next}");
    swap(
        &site,
        "job.toml",
        "unit = \"ft\"",
        "unit = \"ft\"\ngeoid_separation = \"-70 ft\"",
    );
    assert!(!site.ends(0, &["check", "job"]).contains("geoid_separation"));
}

#[test]
fn what_hangs_on_an_unreadable_row_is_not_named_besides() {
    let site = job();
    for (from, to) in [
        ("material = \"PVC\"", "pushed = \"down\""),
        ("material = \"PVC\"", "min_grade = \"2\""),
    ] {
        swap(&site, "job.toml", from, to);
        let found = found(&site);
        assert!(
            found[0].starts_with("unreadable error job.toml"),
            "{found:#?}"
        );
        assert!(
            !found
                .iter()
                .any(|line| line.starts_with("low-grade") || line.contains("defined nowhere")),
            "{found:#?}"
        );
        swap(&site, "job.toml", to, from);
    }
    assert_eq!(count(&site, "low-grade"), 1);
    // One push that can't be read, and two marks of it.
    with_pushes(
        &site,
        &TWO_PUSHES.replace("2,A,downstream", "2,A,down"),
        ["1", "2", "2"],
    );
    assert_eq!(
        (
            count(&site, "unreadable"),
            count(&site, "unknown-reference")
        ),
        (1, 0),
        "{:#?}",
        found(&site)
    );
    write(&site, "pushes.csv", "push,run\n1,A\n3,A\n");
    assert_eq!(count(&site, "unknown-reference"), 2, "{:#?}", found(&site));
}

#[test]
fn times_without_a_receiver_log_are_named_once() {
    let site = job();
    let timed = "run,mark,from_time,to_time,easting,northing\n\
                 A,A1,2026-05-14T12:00:00Z,2026-05-14T12:01:00Z,,\nA,A2,2026-05-14T12:02:00Z,2026-05-14T12:03:00Z,,\n";
    write(&site, "marks.csv", timed);
    says(
        &site,
        "gnss-fix error marks.csv:2",
        &["A1 and 1 more mark", "there is no receiver log in the job"],
    );
    assert_eq!(
        (count(&site, "gnss-fix"), count(&site, "undetermined")),
        (1, 0),
        "{:#?}",
        found(&site)
    );
    // With a place besides it is no error; with a log its epochs count.
    write(
        &site,
        "marks.csv",
        &timed.replace(",,\n", ",567905,5250004\n"),
    );
    says(
        &site,
        "gnss-fix warning marks.csv:2",
        &["there is no receiver log"],
    );
    write(
        &site,
        "log.nmea",
        "$GPGGA,120000,4723.994,N,12205.994,W,4,12,0.6,100.0,M,-21.0,M,1.0,0000*74\n",
    );
    assert_eq!(
        found(&site)
            .iter()
            .filter(|line| line.contains("no receiver log"))
            .count(),
        0
    );
}

#[test]
fn a_stretch_ends_beyond_its_beginning() {
    let site = job();
    let camera = |until: &str| {
        write(
            &site,
            "camera.csv",
            &format!("run,counter,until,what\nA,9,{until},roots\n"),
        );
    };
    for until in ["8", "9"] {
        camera(until);
        says(
            &site,
            "unreadable error camera.csv:2",
            &["until is the counter at the end"],
        );
    }
    camera("10");
    assert_eq!(count(&site, "unreadable"), 0, "{:#?}", found(&site));
}

#[test]
fn crossings_need_a_plan() {
    let site = job();
    for word in ["crossings", "Crossings.csv"] {
        let output = site.aslaid(&["build", "job", "--out", "out", "--formats", word]);
        assert_eq!(output.status.code(), Some(2));
        assert!(
            super::err(&output).contains("name one with --plan"),
            "{}",
            super::err(&output)
        );
    }
    site.ends(0, &["build", "job", "--out", "out", "--formats", "csv"]);
}

#[test]
fn a_layer_that_no_plan_has_is_named() {
    let site = job();
    let plan = r#"{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"layer":"WATER"},
        "geometry":{"type":"LineString","coordinates":[[-122.10,47.40],[-122.0999,47.4001]]}}]}"#;
    fs::write(site.at("plan.geojson"), plan).unwrap();
    let layers = |name: &str, role: &str| {
        let text =
            format!("near = \"100000 ft\"\n[[layer]]\nname = \"{name}\"\nrole = \"{role}\"\n");
        fs::write(site.at("layers.toml"), text).unwrap();
    };
    let arguments = [
        "build",
        "job",
        "--out",
        "out",
        "--plan",
        "plan.geojson",
        "--plan-layers",
        "layers.toml",
    ];
    layers("WATR", "utility");
    let said = site.ends(0, &arguments);
    assert!(
        said.contains("note: ")
            && said.contains("\"WATR\", and no plan has such a layer. Did you mean \"WATER\"?"),
        "{said}"
    );
    layers("WAT*", "utility");
    assert!(
        !site
            .ends(0, &arguments)
            .contains("no plan has such a layer")
    );
    layers("WATER", "utilty");
    let output = site.aslaid(&arguments);
    let said = super::err(&output);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        said.contains("layers.toml:4") && said.contains("`utilty` is not known; write `building`"),
        "{said}"
    );
}

#[test]
fn a_job_without_an_id_is_told_why_nothing_is_written() {
    let site = Site::new();
    site.job("all/a", "A1", "4.30");
    for broken in ["all/b", "all/c"] {
        site.job(broken, "B", "4.30");
        site.swap(
            &format!("{broken}/job.toml"),
            "[job]\nid = \"B\"",
            "[job\nid = \"B\"",
        );
    }
    let output = site.aslaid(&["build", "all", "--out", "out"]);
    let said = super::err(&output);
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(
        said.matches("nothing is written, since the job's id can't be read: job.toml:1")
            .count(),
        2,
        "{said}"
    );
    assert!(
        !said.contains("can't name a folder") && !said.contains("has the id"),
        "{said}"
    );
    assert!(site.at("out/A1/record.json").exists());
}

/// The text of a workbook's parts.
fn unpacked(bytes: &[u8]) -> String {
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(bytes)).unwrap();
    let mut all = String::new();
    for index in 0..archive.len() {
        archive
            .by_index(index)
            .unwrap()
            .read_to_string(&mut all)
            .unwrap();
    }
    all
}

#[test]
fn the_corrections_of_a_draft_say_so() {
    let site = job();
    swap(&site, "marks.csv", "4.30", "6-Dec");
    site.ends(1, &["build", "job", "--out", "out", "--draft"]);
    let draft = unpacked(&site.files("out/J1")["corrections.xlsx"]);
    assert!(draft.contains("<dc:title>DRAFT, 1 row left out</dc:title>"));
    assert_eq!(draft.matches("DRAFT, 1 row left out").count(), 2);
    site.ends(1, &["build", "job", "--out", "out"]);
    assert!(!unpacked(&site.files("out/J1")["corrections.xlsx"]).contains("DRAFT"));
}

#[test]
fn a_cell_that_a_finding_names_is_counted_so() {
    let site = job();
    let marks = |role: &str| {
        let text = format!(
            "run,mark,role,easting,northing,invert_depth\nA,A1,{role},567905,5250004,4.5\n"
        );
        write(&site, "marks.csv", &text);
    };
    marks("centre");
    let said = site.ends(1, &["check", "job"]);
    assert!(said.contains("+ 2 named in findings"), "{said}");
    marks("exposed");
    assert!(
        site.ends(0, &["check", "job"])
            .contains("+ 0 named in findings")
    );
}

#[test]
fn messages_are_in_plain_words() {
    let site = job();
    fs::write(site.at("book.xlsx"), "no workbook").unwrap();
    fs::write(site.at("sheet.pdf"), "no sheet").unwrap();
    for (arguments, says, never) in [
        (
            &["check", "job", "--jobs", "0"][..],
            "a whole number from 1 on",
            "non-zero",
        ),
        (&["check", "book.xlsx"], "save it as .xlsx again", "EOCD"),
        (
            &["verify", "sheet.pdf", "none.json"],
            "there is no such file",
            "os error",
        ),
    ] {
        let output = site.aslaid(arguments);
        let said = super::err(&output);
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains(says) && !said.contains(never), "{said}");
    }
    let help = site.ends(0, &["load", "--help"]);
    assert!(help.contains("or nothing.\nA record"), "{help}");
}

#[test]
fn a_place_is_named_once() {
    let site = job();
    swap(&site, "marks.csv", "run,mark,", "run,point,");
    let said = site.ends(1, &["check", "job"]);
    let line = said
        .lines()
        .find(|line| line.contains("no column mark"))
        .unwrap();
    assert_eq!(line.matches("marks.csv").count(), 1, "{line}");
}

#[test]
fn what_lies_before_the_first_mark_is_not_said_to_lie_beyond_the_last() {
    let site = job();
    write(&site, "camera.csv", "run,counter,what,dig\nA,2,root,yes\n");
    site.ends(0, &["build", "job", "--out", "out", "--formats", "report"]);
    let page = String::from_utf8(site.files("out/J1")["report.html"].clone()).unwrap();
    assert!(page.contains("outside the marks") && !page.contains("beyond the last mark"));
}

/// Five marks of three or four tapes from corners of a house, with depths; the third mark's lengths in a unit so many times as large.
fn taped(unit: &str, tapes: usize, third: f64, counters: bool) -> Site {
    let site = job();
    fs::remove_file(site.at("job/camera.csv")).unwrap_or_default();
    let (crs, east, north) = match unit {
        "m" => ("EPSG:26910", 567_900.0, 5_250_000.0),
        _ => ("EPSG:2264", 1_450_000.0, 541_000.0),
    };
    write(
        &site,
        "job.toml",
        &format!(
            "[job]\nid = \"J1\"\nsupplier = \"Example Survey\"\nlocated_on = 2026-05-14\n[grid]\ncrs = \"{crs}\"\nunit = \"{unit}\"\n\
             [[run]]\nid = \"A\"\ndiameter = \"100 mm\"\n"
        ),
    );
    // In the job's unit all along: nothing depends on how long it is.
    let corners = [(0.0, 0.0), (12.0, 0.0), (12.0, 9.0), (-7.0, 6.0)];
    let mut control = String::from("point,easting,northing\n");
    let mut marks = String::from("run,mark,counter,depth_1,depth_2");
    for (number, (e, n)) in (1..).zip(&corners[..tapes]) {
        control += &format!("C{number},{:.3},{:.3}\n", east + e, north + n);
        marks += &format!(",tie_{number}_ref,tie_{number}");
    }
    for mark in 1..=5 {
        let (e, n) = (2.5 * f64::from(mark) - 1.5, -3.8 - 0.2 * f64::from(mark));
        let times = if mark == 3 { third } else { 1.0 };
        let counter = if counters {
            format!("{:.2}", 2.508 * f64::from(mark))
        } else {
            String::new()
        };
        marks += &format!("\nA,A{mark},{counter},{0:.2},{0:.2}", 1.5 * times);
        for (number, corner) in (1..).zip(&corners[..tapes]) {
            let length = (e - corner.0).hypot(n - corner.1);
            marks += &format!(",C{number},{:.3}", length * times);
        }
    }
    write(&site, "control.csv", &control);
    write(&site, "marks.csv", &(marks + "\n"));
    site
}

#[test]
fn a_row_in_another_unit_is_told_as_one() {
    let blunders = |site: &Site| count(site, "blunder");
    let told = "blunder warning marks.csv:4 The";
    for (unit, third, other, read) in [
        ("m", 1.0 / 0.3048, "feet", "ft"),
        ("ft", 0.3048, "metres", "m"),
    ] {
        let site = taped(unit, 3, third, true);
        let fit =
            format!("3 tapes to A3 fit no place as they were read, and one if all are in {other}");
        says(&site, told, &[&fit, &format!(" {read}, which is ")]);
        assert_eq!(blunders(&site), 1, "{unit}");
        // Its clean twin.
        assert_eq!(blunders(&taped(unit, 3, 1.0, true)), 0, "{unit}");
        assert!(!said(&site).contains("other row"), "{}", said(&site));
    }
    // Three tapes, of which any two fit each other in any unit, with no cable to say which.
    let site = taped("m", 3, 1.0 / 0.3048, false);
    assert!(!said(&site).contains("fit no place"), "{}", said(&site));
    assert_ne!(blunders(&site), 0);
    says(
        &taped("m", 4, 1.0 / 0.3048, false),
        told,
        &["4 tapes to A3 fit no place"],
    );
}

/// A whole table in feet in a job in metres, but for what says otherwise.
#[test]
fn a_table_in_another_unit_is_told_row_by_row_and_can_say_so_in_its_headings() {
    let site = taped("m", 3, 1.0, true);
    let marks = fs::read_to_string(site.at("job/marks.csv")).unwrap();
    let in_feet = |cell: &str| match cell.parse::<f64>() {
        Ok(metres) => format!("{:.3}", metres / 0.3048),
        Err(_) => cell.to_owned(),
    };
    let rows = marks.lines().map(|line| {
        let cells: Vec<String> = line.split(',').map(in_feet).collect();
        cells.join(",") + "\n"
    });
    write(&site, "marks.csv", &rows.collect::<String>());
    let rows = (2..=6).map(|row| format!("blunder warning marks.csv:{row} The 3 tapes to"));
    for row in rows {
        says(
            &site,
            &row,
            &[
                "if all are in feet",
                "It is the same with 4 other rows",
                "`tie_1 (ft)`",
            ],
        );
    }
    assert_eq!(count(&site, "blunder"), 5);
    for column in ["counter", "depth_1", "depth_2", "tie_1", "tie_2", "tie_3"] {
        let marks = fs::read_to_string(site.at("job/marks.csv")).unwrap();
        let marks = marks.replacen(&format!(",{column},"), &format!(",{column} (ft),"), 1);
        let marks = marks.replacen(&format!(",{column}\n"), &format!(",{column} (ft)\n"), 1);
        write(&site, "marks.csv", &marks);
    }
    assert_eq!(count(&site, "blunder"), 0, "{}", said(&site));
}

#[test]
fn one_wrong_tape_is_no_row_in_another_unit() {
    for tapes in [3, 4] {
        for tie in 1..=tapes {
            let site = taped("m", tapes, 1.0, true);
            let marks = fs::read_to_string(site.at("job/marks.csv")).unwrap();
            let cells: Vec<&str> = marks.lines().nth(3).unwrap().split(',').collect();
            let length: f64 = cells[4 + 2 * tie].parse().unwrap();
            let feet = format!("C{tie},{:.2}", length / 0.3048);
            swap(
                &site,
                "marks.csv",
                &format!("{},{}", cells[3 + 2 * tie], cells[4 + 2 * tie]),
                &feet,
            );
            assert!(
                !said(&site).contains("fit no place"),
                "{tie} of {tapes}: {}",
                said(&site)
            );
            assert_eq!(count(&site, "blunder"), 1, "{tie} of {tapes}");
        }
    }
}

/// Depths of five marks 2.5 m apart, with or without the ground's heights.
fn depths(readings: [&str; 5], ground: bool) -> Site {
    let site = taped("m", 4, 1.0, true);
    let marks = fs::read_to_string(site.at("job/marks.csv")).unwrap();
    let mut lines = marks.lines();
    let mut all = format!("{},ground", lines.next().unwrap());
    for (line, reading) in lines.zip(readings) {
        let mut cells: Vec<&str> = line.split(',').collect();
        (cells[3], cells[4]) = (reading, reading);
        all += &format!("\n{},{}", cells.join(","), if ground { "100" } else { "" });
    }
    write(&site, "marks.csv", &(all + "\n"));
    site
}

#[test]
fn a_depth_far_from_both_neighbours_is_told() {
    let told = "implausible warning marks.csv:4 The depth of A3 reads";
    let feet = depths(["1.50", "1.52", "4.99", "1.56", "1.58"], false);
    says(
        &feet,
        told,
        &[
            "4.990 m",
            "it is 1.520 m at A2 and 1.560 m at A4",
            "Read as feet the figure would fit",
        ],
    );
    // A slip that no unit explains, and a decimal point.
    says(
        &depths(["1.50", "1.52", "7.21", "1.56", "1.58"], false),
        told,
        &["Check the figure"],
    );
    says(
        &depths(["4.10", "4.12", "0.41", "4.16", "4.18"], false),
        told,
        &["decimal point"],
    );
    for twin in [
        // A bank that the pipe goes under, and a drop that it takes.
        depths(["1.50", "1.52", "2.60", "1.56", "1.58"], false),
        depths(["1.50", "1.52", "4.99", "5.01", "5.03"], false),
        depths(["1.50", "1.52", "1.54", "1.56", "1.58"], false),
    ] {
        assert_eq!(count(&twin, "implausible"), 0, "{}", said(&twin));
    }
    // With heights the pipe itself is seen to go down and up again.
    let known = depths(["1.50", "1.52", "4.99", "1.56", "1.58"], true);
    assert_eq!(count(&known, "implausible"), 0);
    assert_ne!(count(&known, "adverse-grade"), 0, "{}", said(&known));
}
