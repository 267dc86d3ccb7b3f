//! What was taken for granted without a word, and advice that could not be followed; each with its clean twin.

use super::site::Site;
use super::slips::{found, job, said, swap, write};

/// The findings of one code, as `code level source message`.
fn of(site: &Site, code: &str) -> Vec<String> {
    let all = found(site).into_iter();
    all.filter(|line| line.starts_with(code)).collect()
}

#[track_caller]
fn one(found: &[String], parts: &[&str]) {
    let [line] = found else { panic!("{found:#?}") };
    assert!(
        parts.iter().all(|part| line.contains(part)),
        "{parts:?} in {line}"
    );
}

/// A job without `ground`, and P1 and P2 with elevations.
fn levelled() -> Site {
    let site = job();
    for ground in ["312.5", "312.4", "312.3"] {
        swap(&site, "marks.csv", &format!(",{ground},"), ",,");
    }
    let control = "point,easting,northing,elevation\nP1,567900,5250000,312.0\nP2,567910,5250000,312.2\nP3,567905,5250012,\n";
    write(&site, "control.csv", control);
    site
}

const BOOK: &str = "point,backsight,intermediate,foresight\nP1,5.00,,\nA1,,4.50,\nT,4.80,,4.70\nA2,,4.60,\nP2,,,4.90\n";

#[test]
fn a_sight_to_what_is_no_point_is_refused() {
    let site = levelled();
    write(&site, "levels.csv", BOOK);
    assert!(
        of(&site, "unknown-reference").is_empty(),
        "{:#?}",
        found(&site)
    );
    for wrong in ["a1", "A-1", "A 1", "Q7"] {
        write(
            &site,
            "levels.csv",
            &BOOK.replace("\nA1,", &format!("\n{wrong},")),
        );
        let refused = of(&site, "unknown-reference");
        one(
            &refused,
            &["error levels.csv:3", "in column point is not a point"],
        );
        assert_eq!(
            refused[0].contains("Did you mean \"A1\"?"),
            wrong != "Q7",
            "{refused:?}"
        );
    }
    // A name that the levels close on and leave may be meant for another day.
    write(
        &site,
        "levels.csv",
        &BOOK.replace("\nP2,,,4.90", "\nP2,,,4.90\nP2,4.00,,\nBM 9,,,4.10"),
    );
    one(
        &of(&site, "unknown-reference"),
        &[
            "warning levels.csv:8",
            "\"BM 9\"",
            "the levels go no further",
        ],
    );
}

#[test]
fn a_height_difference_to_what_is_no_point_is_refused() {
    let measures = |rows: &str| format!("kind,from,to,value\n{rows}");
    let site = levelled();
    let chain = "height_difference,P1,T,1.0\nheight_difference,T,A1,-0.5\n";
    write(&site, "measures.csv", &measures(chain));
    assert!(
        of(&site, "unknown-reference").is_empty(),
        "{:#?}",
        found(&site)
    );
    // There and back is no way on.
    let back = "height_difference,P1,a1,0.5\nheight_difference,a1,P1,-0.5\n";
    write(&site, "measures.csv", &measures(back));
    let refused = of(&site, "unknown-reference");
    one(
        &refused,
        &[
            "error measures.csv:2",
            "\"a1\" in column to",
            "Did you mean \"A1\"?",
        ],
    );
    assert!(of(&site, "undetermined").is_empty());
}

#[test]
fn turning_points_are_compared_with_other_names() {
    let site = levelled();
    write(&site, "levels.csv", BOOK);
    assert!(!said(&site).contains("differ in capital"));
    write(&site, "levels.csv", &BOOK.replace("\nT,", "\na 3,"));
    assert!(
        said(&site).contains("A3 and a 3 differ in capital letters or blanks only"),
        "{}",
        said(&site)
    );
}

#[test]
fn rows_that_begin_with_a_number_sign_are_named_where_they_read_as_rows() {
    let site = job();
    let rows = "kind,from,to,value\n# taped by two, in the rain, with the steel tape\n#,,,\n# distance\ndistance,P1,P2,32.81\n";
    write(&site, "measures.csv", rows);
    assert!(of(&site, "unreadable").is_empty(), "{:#?}", found(&site));
    write(
        &site,
        "measures.csv",
        &rows.replace("\ndistance", "\n#distance"),
    );
    one(
        &of(&site, "unreadable"),
        &[
            "warning measures.csv:5",
            "row 5 begins with #",
            "`use` = no",
        ],
    );
}

#[test]
fn what_to_do_about_two_places_can_be_done() {
    let site = job();
    let corner =
        "point,easting,northing\nP1,567900,5250000\nP2,567910,5250000\nP3,567905,5250012\nK,,\n";
    let tapes = "kind,from,to,value\ndistance,P1,K,20 m\ndistance,P2,K,20 m\n";
    write(&site, "control.csv", corner);
    write(&site, "measures.csv", tapes);
    let open = of(&site, "undetermined");
    one(
        &open,
        &[
            "K has no place",
            "`bearing`",
            "rough coordinates",
            "`sigma`",
        ],
    );
    assert!(!open[0].contains("`side`"), "{open:?}");
    // Each of the ways works.
    for (file, text) in [
        ("measures.csv", format!("{tapes}bearing,P1,K,N 1 W\n")),
        ("measures.csv", format!("{tapes}distance,P3,K,7.365 m\n")),
        (
            "control.csv",
            "point,easting,northing,sigma\nP1,567900,5250000,\nP2,567910,5250000,\nP3,567905,5250012,\nK,567905,5250020,15\n".to_owned(),
        ),
    ] {
        write(&site, "control.csv", corner);
        write(&site, "measures.csv", tapes);
        write(&site, file, &text);
        assert!(of(&site, "undetermined").is_empty(), "{file} {text}: {:#?}", found(&site));
    }
    // Marks by two tapes have a column for it.
    let site = job();
    for third in [",P3,\"27' 7\"\"\",", ",P3,24.78,", ",P3,22.90,"] {
        swap(&site, "marks.csv", third, ",,,");
    }
    let open = of(&site, "undetermined");
    let told = open.iter().filter(|line| line.contains("Say `side`"));
    assert_eq!((open.len(), told.count()), (3, 3), "{open:#?}");
}

#[test]
fn the_way_from_lens_to_transmitter_is_asked_for_where_it_counts() {
    let site = job();
    let asked = |site: &Site| said(site).contains("lens_to_transmitter is not given");
    assert!(!asked(&site), "nothing was seen");
    write(&site, "camera.csv", "run,counter,what\nA,9,root\n");
    assert!(asked(&site), "{}", said(&site));
    for given in ["0.9 ft", "0"] {
        swap(
            &site,
            "job.toml",
            "[equipment]",
            &format!("[equipment]\nlens_to_transmitter = \"{given}\""),
        );
        assert!(!asked(&site), "{given}");
        swap(
            &site,
            "job.toml",
            &format!("\nlens_to_transmitter = \"{given}\""),
            "",
        );
    }
}

#[test]
fn a_decimal_number_is_no_degrees_minutes_seconds() {
    let site = job();
    let angled = |heading: &str, angle: &str| {
        site.job("job", "J1", "4.30");
        let headings = format!("setup,backsight,{heading},distance,run,mark,");
        swap(&site, "marks.csv", "run,mark,", &headings);
        for (mark, cells) in [
            ("A1", format!("P1,P2,{angle},20,")),
            ("A2", ",,,,".to_owned()),
            ("A3", ",,,,".to_owned()),
        ] {
            swap(
                &site,
                "marks.csv",
                &format!("\nA,{mark},"),
                &format!("\n{cells}A,{mark},"),
            );
        }
        of(&site, "unreadable")
    };
    for heading in ["angle (dms)", "angle (DDD.MMSS)", "Angle [deg min sec]"] {
        one(
            &angled(heading, "310.5"),
            &[
                "error marks.csv:2",
                "degrees, minutes, seconds",
                "310 30 00",
            ],
        );
        for parted in ["310 30 00", "310\u{b0}30'", "310"] {
            assert!(
                angled(heading, parted).is_empty(),
                "{heading} {parted}: {:#?}",
                found(&site)
            );
        }
    }
    for heading in ["angle", "angle (deg)"] {
        assert!(angled(heading, "310.5").is_empty(), "{heading}");
    }
}

#[test]
fn a_sigma_in_another_unit_is_doubted() {
    let site = job();
    swap(&site, "job.toml", "[[run]]", "[accuracy]\nSIGMA\n[[run]]");
    let doubted = |line: &str| {
        let before = std::fs::read_to_string(site.at("job/job.toml")).unwrap();
        swap(&site, "job.toml", "SIGMA", line);
        let found = of(&site, "implausible");
        write(&site, "job.toml", &before);
        found
    };
    for (line, unit) in [
        ("tape = 2", "in"),
        ("level = 3", "mm"),
        ("mark = 50", "in"),
        ("single = 40", "in"),
    ] {
        let said = line.replace(" =", ":");
        one(
            &doubted(line),
            &["warning job.toml", &said, &format!(" {unit}\"")],
        );
    }
    for line in [
        "tape = 0.1",
        "tape = \"2 ft\"",
        "level = 0.02",
        "mark = 0.5",
        "single = 12",
    ] {
        assert!(doubted(line).is_empty(), "{line}: {:#?}", doubted(line));
    }
}
