//! Slips of the hand that look like something else: each is told as what it is, with the figure that was meant, and the sound twin is not.

use std::fmt::Write as _;

use aslaid::findings::{Code, Finding, Level};
use aslaid::pipeline::Outcome;

use crate::common::{computed, settings};

/// Corners of two houses, metres on the grid; elevations.
const CORNERS: [(&str, f64, f64, f64); 4] = [
    ("P1", 500_000.0, 5_700_000.0, 50.10),
    ("P2", 500_020.0, 5_700_001.0, 50.20),
    ("P3", 500_010.0, 5_700_016.0, 50.05),
    ("P4", 500_028.0, 5_700_014.0, 50.15),
];
/// Marks along a line: easting, northing, counter, ground, depth.
const MARKS: [(&str, f64, f64, f64, f64, f64); 5] = [
    ("A1", 500_004.0, 5_700_006.0, 3.3, 50.00, 1.50),
    ("A2", 500_008.0, 5_700_007.0, 7.42, 50.02, 1.60),
    ("A3", 500_012.0, 5_700_008.0, 11.55, 49.98, 1.64),
    ("A4", 500_016.0, 5_700_009.0, 15.67, 50.01, 1.75),
    ("A5", 500_020.0, 5_700_010.0, 19.79, 50.00, 1.82),
];

/// What is written of a mark's figures; `feet` writes all in feet.
struct Book {
    feet: bool,
    tape: fn(&str, f64) -> f64,
    counter: fn(&str, f64) -> f64,
    ground: fn(&str, f64) -> f64,
    elevation: fn(&str, f64) -> f64,
    height: &'static str,
}

/// A sound job in metres.
const SOUND: Book = Book {
    feet: false,
    tape: |_, l| l,
    counter: |_, c| c,
    ground: |_, z| z,
    elevation: |_, z| z,
    height: "",
};

impl Book {
    fn run(&self) -> Outcome {
        let unit = if self.feet { 0.3048 } else { 1.0 };
        let toml = settings(
            "misread",
            &format!("vertical = \"NHN\"\n{}", self.height),
            "",
        );
        let toml = if self.feet {
            toml.replace("unit = \"m\"", "unit = \"ft\"")
        } else {
            toml
        };
        let mut control = "point,easting,northing,elevation\n".to_owned();
        for (name, e, n, z) in CORNERS {
            let z = (self.elevation)(name, z / unit);
            writeln!(control, "{name},{e},{n},{z:.3}").unwrap();
        }
        let mut marks = "run,mark,counter,ground,depth_1,depth_2,\
            tie_1_ref,tie_1,tie_2_ref,tie_2,tie_3_ref,tie_3,tie_4_ref,tie_4\n"
            .to_owned();
        for (name, e, n, counter, ground, depth) in MARKS {
            let (counter, ground) = (
                (self.counter)(name, counter / unit),
                (self.ground)(name, ground / unit),
            );
            let depth = depth / unit;
            write!(
                marks,
                "A,{name},{counter:.2},{ground:.3},{depth:.3},{depth:.3}"
            )
            .unwrap();
            for (corner, ce, cn, _) in CORNERS {
                let tape = (self.tape)(name, f64::hypot(e - ce, n - cn) / unit);
                write!(marks, ",{corner},{tape:.3}").unwrap();
            }
            marks.push('\n');
        }
        computed(&[
            ("job.toml", &toml),
            ("control.csv", &control),
            ("marks.csv", &marks),
        ])
    }

    fn told(&self) -> Vec<Finding> {
        let mut findings = self.run().findings;
        findings.retain(|finding| finding.level > Level::Note);
        findings
    }

    /// One finding of the code, at the mark or point, says all parts.
    #[track_caller]
    fn tells(&self, code: Code, parts: &[&str]) {
        let told = self.told();
        let of: Vec<&Finding> = told.iter().filter(|f| f.code == code).collect();
        let says = |f: &&&Finding| parts.iter().all(|part| f.message.contains(part));
        assert!(of.iter().any(|f| says(&f)), "{parts:?} of {told:#?}");
    }
}

#[test]
fn the_sound_twins_are_silent() {
    for height in ["", "height = \"50 m\""] {
        let told = Book { height, ..SOUND }.told();
        assert!(told.is_empty(), "{told:#?}");
    }
    let told = Book {
        feet: true,
        ..SOUND
    }
    .told();
    assert!(told.is_empty(), "{told:#?}");
}

#[test]
fn ground_in_feet() {
    let all = Book {
        ground: |_, z| z / 0.3048,
        ..SOUND
    };
    all.tells(
        Code::Implausible,
        &[
            "A1",
            "`ground` is read as 164.042 m",
            "the reference points' elevations",
            "in feet it would be 50.000 m",
            "5 rows",
        ],
    );
    let told = Book {
        height: "height = \"50 m\"",
        ..all
    };
    told.tells(
        Code::Implausible,
        &["`height` in [grid]", "in feet it would be 50.000 m"],
    );
    let one = Book {
        ground: |name, z| if name == "A3" { z / 0.3048 } else { z },
        ..SOUND
    };
    one.tells(Code::Implausible, &["A3", "in feet it would be 49.980 m"]);
    let control = Book {
        elevation: |_, z| z / 0.3048,
        height: "height = \"50 m\"",
        ..SOUND
    };
    control.tells(
        Code::Implausible,
        &[
            "P1",
            "`elevation` is read as 164.37",
            "in feet it would be 50.100 m",
            "4 rows",
        ],
    );
    let metres = Book {
        feet: true,
        ground: |_, z| z * 0.3048,
        ..SOUND
    };
    metres.tells(
        Code::Implausible,
        &["A1", "in metres it would be 164.04 ft"],
    );
}

#[test]
fn tapes_in_centimetres_and_inches() {
    let centimetres = Book {
        tape: |name, l| if name == "A3" { 100.0 * l } else { l },
        ..SOUND
    };
    centimetres.tells(
        Code::Blunder,
        &[
            "4 tapes to A3",
            "centimetres",
            "1442.22 m would be 1442.22 cm, which is 14.422 m",
        ],
    );
    let inches = Book {
        feet: true,
        tape: |name, l| if name == "A3" { 12.0 * l } else { l },
        ..SOUND
    };
    inches.tells(
        Code::Blunder,
        &["4 tapes to A3", "inches", "567.80 in, which is 47.32 ft"],
    );
}

#[test]
fn one_counter_with_its_point_elsewhere() {
    let middle = Book {
        counter: |name, c| if name == "A3" { 10.0 * c } else { c },
        ..SOUND
    };
    middle.tells(
        Code::CounterOrder,
        &[
            "the counter of A3 would fit: 11.550 m for 115.500 m",
            "marks.csv:4",
        ],
    );
    let last = Book {
        counter: |name, c| if name == "A5" { 0.1 * c } else { c },
        ..SOUND
    };
    last.tells(
        Code::CounterOrder,
        &["the counter of A5 would fit", "for 1.980 m"],
    );
    let feet = Book {
        counter: |name, c| if name == "A5" { c / 0.3048 } else { c },
        ..SOUND
    };
    let notes = feet.run().findings;
    let short = notes
        .iter()
        .find(|f| f.code == Code::PathTooShort)
        .expect("a note");
    assert!(
        short
            .message
            .contains("In the other unit the counter of A5 would fit: 19.79"),
        "{}",
        short.message
    );
}

/// A receiver that stood twelve seconds over each of five places 4 m apart, a minute between them.
fn log() -> String {
    let mut lines = String::new();
    let mut say = |sentence: String| {
        let sum = sentence.bytes().fold(0, |sum, byte| sum ^ byte);
        writeln!(lines, "${sentence}*{sum:02X}").unwrap();
    };
    for stand in 0..5_u32 {
        // 51.45° N, 9° E.
        let minutes = 27.123_45 + f64::from(stand) * 0.002_16;
        for second in 0..12 {
            let seconds = 8 * 3600 + 60 * stand + second;
            let time = format!(
                "{:02}{:02}{:02}.00",
                seconds / 3600,
                seconds / 60 % 60,
                seconds % 60
            );
            let place = format!("51{minutes:.6},N,00900.000000,E");
            say(format!(
                "GNGGA,{time},{place},4,14,0.7,50.00,M,46.0,M,1.0,0001"
            ));
            say(format!("GNRMC,{time},A,{place},0.0,0.0,140526,,"));
        }
    }
    lines
}

fn logged(times: [(u32, u32); 5]) -> Vec<Finding> {
    let toml = settings("logged", "vertical = \"NHN\"", "");
    let mut marks = "run,mark,counter,from_time,to_time,depth_1,depth_2\n".to_owned();
    for (k, (from, to)) in times.into_iter().enumerate() {
        let clock = |s: u32| format!("{:02}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60);
        let counter = 3.3 + 4.0 * k as f64;
        writeln!(
            marks,
            "A,A{k},{counter:.1},{},{},1.50,1.52",
            clock(from),
            clock(to)
        )
        .unwrap();
    }
    let files = [
        ("job.toml", toml),
        ("marks.csv", marks),
        ("receiver.nmea", log()),
    ];
    let files = files.each_ref().map(|(name, text)| (*name, text.as_str()));
    let mut findings = computed(&files).findings;
    findings.retain(|finding| finding.code == Code::GnssFix);
    findings
}

#[test]
fn windows_of_a_receiver_log() {
    let stands = [0, 1, 2, 3, 4].map(|k| (8 * 3600 + 60 * k, 8 * 3600 + 60 * k + 11));
    assert_eq!(logged(stands), []);

    let mut carried = stands;
    carried[2].1 += 60;
    let told = logged(carried);
    assert_eq!(told.len(), 1, "{told:#?}");
    assert_eq!(told[0].mark.as_deref(), Some("A2"));
    assert!(
        told[0].message.contains("the receiver was carried"),
        "{}",
        told[0].message
    );
    assert!(
        told[0].message.contains("up to 2.00 m from their mean"),
        "{}",
        told[0].message
    );

    let local = stands.map(|(from, to)| (from + 7200, to + 7200));
    let told = logged(local);
    assert_eq!(told.len(), 5, "{told:#?}");
    for part in [
        "2 hours earlier it has enough",
        "2026-05-14 08:00:00 to 2026-05-14 08:04:11 UTC",
        "local time",
    ] {
        assert!(
            told[0].message.contains(part),
            "{part} in {}",
            told[0].message
        );
    }

    // No clock of the world explains it.
    let mut early = stands;
    early[0] = (7 * 3600 + 600, 7 * 3600 + 611);
    let told = logged(early);
    assert_eq!(told.len(), 1, "{told:#?}");
    assert!(
        !told[0].message.contains("local time"),
        "{}",
        told[0].message
    );
}

/// The elevation that two lines of levels have in common is named before the staff is blamed.
#[test]
fn a_benchmark_typed_wrong() {
    let levelled = |second: &str| {
        let toml = settings("levelled", "vertical = \"NHN\"", "");
        let control = format!(
            "point,easting,northing,elevation\nB1,500000,5700000,50.000\nB2,500010,5700000,{second}\nB3,500020,5700000,50.200\n"
        );
        let marks = "run,mark,counter,easting,northing,ground,depth_1,depth_2\nA,A1,3,500000,5700004,50,1.5,1.5\nA,A2,13,500010,5700004,50,1.6,1.6\n";
        let levels =
            "point,backsight,intermediate,foresight\nB1,1.500,,\nB2,1.400,,1.400\nB3,,,1.300\n";
        let outcome = computed(&[
            ("job.toml", &toml),
            ("control.csv", &control),
            ("marks.csv", marks),
            ("levels.csv", levels),
        ]);
        let mut findings = outcome.findings;
        findings.retain(|finding| finding.code == Code::LevelMisclosure);
        findings
    };
    assert_eq!(levelled("50.100"), []);
    let told = levelled("50.900");
    assert_eq!(told.len(), 2, "{told:#?}");
    for finding in &told {
        assert!(
            finding.message.contains("first at the elevation of B2"),
            "{}",
            finding.message
        );
    }
}

/// Feet and inches with a point between, in a job in feet: told once, and no tape is blamed. Of decimals none is told.
#[test]
fn feet_and_inches_typed_with_a_point() {
    let inches = |_: &str, l: f64| {
        let inches = (12.0 * l).round();
        let (feet, rest) = ((inches / 12.0).floor(), inches.rem_euclid(12.0));
        // Ten inches are .10, whose 0 is lost.
        let decimals = if rest < 10.0 { 0.1 } else { 0.01 } * rest;
        feet + decimals
    };
    let book = Book {
        feet: true,
        tape: inches,
        ..SOUND
    };
    let told = book.told();
    let of: Vec<&Finding> = told.iter().filter(|f| f.code == Code::Blunder).collect();
    assert_eq!(of.len(), 1, "{told:#?}");
    for part in [
        "The 20 tapes",
        "feet and inches with a point between",
        "12'6\"",
    ] {
        assert!(of[0].message.contains(part), "{part} in {}", of[0].message);
    }
    let tenths = Book {
        feet: true,
        tape: |name, l| {
            let tenths = (10.0 * l).round() / 10.0;
            if name == "A2" { tenths + 1.0 } else { tenths }
        },
        ..SOUND
    };
    let told = tenths.told();
    assert!(told.iter().any(|f| f.code == Code::Blunder), "{told:#?}");
    assert!(
        told.iter().all(|f| !f.message.contains("inches")),
        "{told:#?}"
    );
}

/// A straight run of five marks by grid coordinates, in the order given; `counted` with a counter.
fn straight(order: [usize; 5], counted: bool) -> Vec<Finding> {
    let mut marks = "run,mark,counter,easting,northing\n".to_owned();
    for k in order {
        let (e, n) = (500_000.0 + 4.0 * k as f64, 5_700_000.0 + k as f64);
        let counter = if counted {
            format!("{:.2}", 3.0 + 4.123 * k as f64)
        } else {
            String::new()
        };
        let _ = writeln!(marks, "A,A{},{counter},{e:.3},{n:.3}", k + 1);
    }
    let toml = settings("order", "", "");
    computed(&[("job.toml", &toml), ("marks.csv", &marks)]).findings
}

/// Without a counter the rows say in what order the marks lie: a line that doubles back is told, with the order that would do.
#[test]
fn rows_that_are_not_in_the_order_of_the_pipe() {
    let told = straight([0, 3, 2, 1, 4], false);
    let of: Vec<&Finding> = told
        .iter()
        .filter(|f| f.code == Code::CounterOrder)
        .collect();
    assert_eq!(of.len(), 1, "{told:#?}");
    for part in [
        "doubles back at A4, A2,",
        "A1, A2, A3, A4, A5",
        "16.492 m long, not 32.985 m",
    ] {
        assert!(of[0].message.contains(part), "{part} in {}", of[0].message);
    }
    for (order, counted) in [
        ([0, 1, 2, 3, 4], false),
        ([4, 3, 2, 1, 0], false),
        ([0, 3, 2, 1, 4], true),
    ] {
        let told = straight(order, counted);
        let back = told.iter().filter(|f| f.message.contains("doubles back"));
        assert_eq!(back.count(), 0, "{order:?} {told:#?}");
    }
}

/// The template's own rows count like any others; they are named once somebody else's stand beside them, and the template alone is not.
#[test]
fn the_template_s_rows_left_in() {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("job");
    aslaid::job::template::write_folder(&job).unwrap();
    let findings = |job: &std::path::Path| {
        let options = aslaid::pipeline::Options::default();
        aslaid::pipeline::run(job, &options).unwrap().findings
    };
    let left = |findings: &[Finding]| -> Vec<String> {
        let of = findings
            .iter()
            .filter(|f| f.message.contains("example row"));
        of.filter_map(|f| f.source.clone()).collect()
    };
    assert_eq!(left(&findings(&job)), [""; 0]);
    let text = std::fs::read_to_string(job.join("marks.csv")).unwrap();
    let own = text.replace(",A1,", ",B7,");
    assert_ne!(own, text);
    std::fs::write(job.join("marks.csv"), own).unwrap();
    let named = left(&findings(&job));
    for file in ["camera.csv:2", "control.csv:2", "runs.csv:2"] {
        assert!(named.iter().any(|at| at == file), "{file} in {named:?}");
    }
    assert!(
        named.iter().all(|at| !at.starts_with("marks.csv")),
        "{named:?}"
    );
}

/// A decimal comma without quotation marks moves what follows by one column; where the last is blank, nothing else shows it.
#[test]
fn a_row_with_one_cell_more() {
    let rows = |second: &str, last: &str| {
        let marks = format!(
            "run,mark,counter,easting,northing,depth_1,depth_2,fitting\nA,A1,3,500000,5700000,1.5,1.5,{last}\n{second}\nA,A3,11,500008,5700000,1.6,1.6,{last}\n"
        );
        computed(&[
            ("job.toml", &settings("longer", "", "")),
            ("marks.csv", &marks),
        ])
        .findings
    };
    let more = |findings: &[Finding]| {
        let of = findings
            .iter()
            .filter(|f| f.message.contains("cells under"));
        of.map(|f| f.source.clone().unwrap_or_default())
            .collect::<Vec<_>>()
    };
    let moved = rows("A,A2,7,500004,5700000,1,55,1.55,", "");
    assert_eq!(more(&moved), ["marks.csv:3"], "{moved:#?}");
    assert_eq!(more(&rows("A,A2,7,500004,5700000,1.55,1.55,", "")), [""; 0]);
    // Where all rows end so, it is the habit of what wrote them.
    assert_eq!(
        more(&rows("A,A2,7,500004,5700000,1.55,1.55,,", ",")),
        [""; 0]
    );
}

/// Cable and coordinates in different units are a warning whichever of the two is the larger: shorter legs by themselves are a note.
#[test]
fn a_clash_of_units_is_a_warning_both_ways() {
    for (times, code) in [(0.3048, Code::PathTooShort), (3.2808, Code::PathTooLong)] {
        let mut marks = "run,mark,counter,easting,northing\n".to_owned();
        for k in 0..6 {
            let (e, counter) = (
                500_000.0 + 6.0 * times * f64::from(k),
                3.0 + 6.0 * f64::from(k),
            );
            let _ = writeln!(marks, "A,A{k},{counter:.2},{e:.3},5700000");
        }
        let told = computed(&[
            ("job.toml", &settings("clash", "", "")),
            ("marks.csv", &marks),
        ])
        .findings;
        let of: Vec<&Finding> = told
            .iter()
            .filter(|f| f.message.contains("in feet and the other in metres"))
            .collect();
        assert_eq!(of.len(), 1, "{told:#?}");
        assert_eq!((of[0].code, of[0].level), (code, Level::Warning));
    }
}
