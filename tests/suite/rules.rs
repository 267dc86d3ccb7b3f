//! What rules say of jobs made from the clean twins of `fixtures/jobs/codes` with a few cells changed, and that they say nothing
//! of the twins.

use std::fs;
use std::path::Path;

use aslaid::findings::Level::{Error, Note, Warning};
use aslaid::findings::{Code, Finding};
use aslaid::pipeline::{Options, Outcome, run};

/// A text of a job's file, and what is put in its place wherever it stands.
type Swap<'a> = (&'a str, &'a str, &'a str);

/// The clean twin of a code with the swaps made.
fn changed(code: &str, swaps: &[Swap<'_>]) -> Outcome {
    made(code, swaps, &[])
}

/// The clean twin of a code with the swaps made, and further files.
fn made(code: &str, swaps: &[Swap<'_>], files: &[(&str, &str)]) -> Outcome {
    let from = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/jobs/codes")
        .join(format!("{code}-clean"));
    let folder = tempfile::tempdir().unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let name = entry.file_name().into_string().unwrap();
        let mut text = fs::read_to_string(entry.path()).unwrap();
        for (_, old, new) in swaps.iter().filter(|(file, ..)| *file == name) {
            assert!(text.contains(old), "{old} in {name}");
            text = text.replace(old, new);
        }
        fs::write(folder.path().join(name), text).unwrap();
    }
    for (name, text) in files {
        fs::write(folder.path().join(name), text).unwrap();
    }
    run(folder.path(), &Options::default()).unwrap()
}

/// The findings of a code.
fn of(outcome: &Outcome, code: Code) -> Vec<&Finding> {
    outcome.findings.iter().filter(|f| f.code == code).collect()
}

/// The only finding of a code.
fn one(outcome: &Outcome, code: Code) -> &Finding {
    let found = of(outcome, code);
    assert_eq!(found.len(), 1, "{:#?}", outcome.findings);
    found[0]
}

fn none(outcome: &Outcome, code: Code) {
    assert!(of(outcome, code).is_empty(), "{:#?}", outcome.findings);
}

const A2_TIES: &str = "P1,11.32,P4,9.22,P2,9.85";
const HEADING: &str = "tie_1_ref,tie_1,tie_2_ref,tie_2,tie_3_ref,tie_3";

/// A2 and A3 by bearing and distance from P1, and the cells of that.
fn by_bearing<'a>(bearing_from: &'a str, toml: Swap<'a>) -> Vec<Swap<'a>> {
    vec![
        (
            "marks.csv",
            HEADING,
            "setup,bearing,distance,bearing_from,tie_2_ref,tie_2,tie_3_ref,tie_3",
        ),
        (
            "marks.csv",
            "P1,8.25,P4,12.05,P2,13.46",
            ",,,,P4,12.05,P2,13.46",
        ),
        (
            "marks.csv",
            "P3,7.62,P4,13.46,P2,12.05",
            ",,,,P4,13.46,P2,12.05",
        ),
        (
            "marks.csv",
            "P2,9.22,P4,9.85,P3,11.41",
            ",,,,P4,9.85,P3,11.41",
        ),
        ("marks.csv", A2_TIES, bearing_from),
        toml,
    ]
}

const COMPASS: &str = "P1,135,11.32,,P4,9.22,P2,9.85";
const GRID: &str = "P1,135,11.32,grid,P4,9.22,P2,9.85";
const DATE: Swap<'static> = ("job.toml", "located_on = 2026-05-14\n", "");

#[test]
fn a_compass_without_a_declination_is_told_once() {
    let undated = changed("low-grade", &by_bearing(COMPASS, DATE));
    let weak = of(&undated, Code::Weak);
    let told: Vec<_> = weak
        .iter()
        .filter(|f| f.message.contains("declination"))
        .collect();
    assert_eq!(told.len(), 1, "{:#?}", undated.findings);
    assert_eq!(
        (told[0].level, told[0].mark.as_deref()),
        (Warning, Some("A2"))
    );
    let message = &told[0].message;
    for words in ["true north", "`located_on`", "`declination`", "20°"] {
        assert!(message.contains(words), "{message}");
    }
    let frame = undated.record.unwrap().frame;
    assert_eq!(frame.declination, None);
    let said = aslaid::sheet::content::figures::declination_of(&frame);
    assert_eq!(said.as_deref(), Some("not known"));

    let early = ("job.toml", "2026-05-14", "2012-05-14");
    let early = changed("low-grade", &by_bearing(COMPASS, early));
    assert!(early.findings.iter().any(|f| f.message.contains("2012")));

    let given = (
        "job.toml",
        "unit = \"m\"\n",
        "unit = \"m\"\ndeclination = \"3.5\"\n",
    );
    for swaps in [
        by_bearing(COMPASS, given),
        by_bearing(COMPASS, ("job.toml", "unit", "unit")),
        by_bearing(GRID, DATE),
    ] {
        let clean = changed("low-grade", &swaps);
        assert!(
            !clean
                .findings
                .iter()
                .any(|f| f.message.contains("declination")),
            "{:#?}",
            clean.findings
        );
    }
}

#[test]
fn nothing_is_measured_from_itself() {
    let angle = HEADING.replace("tie_1_ref,tie_1", "setup,backsight,angle,tie_1_ref,tie_1");
    let rows = |a2: &'static str| -> Outcome {
        let mut swaps: Vec<Swap<'_>> = vec![("marks.csv", HEADING, &angle)];
        let others = [
            ("P1,8.25,P4", ",,,P1,8.25,P4"),
            ("P2,9.22,P4", ",,,P2,9.22,P4"),
            ("P3,7.62,P4", ",,,P3,7.62,P4"),
            (A2_TIES, a2),
        ];
        swaps.extend(others.map(|(old, new)| ("marks.csv", old, new)));
        changed("unreadable", &swaps)
    };
    none(
        &rows("P1,P2,50.0,P1,11.32,P4,9.22,P2,9.85"),
        Code::Unreadable,
    );
    for (row, words) in [
        ("P1,P1,50.0,P1,11.32,P4,9.22,P2,9.85", "same point"),
        (",,,A2,11.32,P4,9.22,P2,9.85", "tie_1_ref names A2"),
        ("A2,P1,50.0,P1,11.32,P4,9.22,P2,9.85", "setup names A2"),
        ("P1,A2,50.0,P1,11.32,P4,9.22,P2,9.85", "backsight names A2"),
    ] {
        let found = rows(row);
        let finding = one(&found, Code::Unreadable);
        assert!(finding.message.contains(words), "{}", finding.message);
        assert_eq!(finding.level, Error);
    }
}

/// A mark's end point may be measured from the mark: they are two points.
#[test]
fn an_end_point_is_measured_from_its_mark() {
    let end = "A,A3,end_ahead,,,,,A3,0.9,P2,9.5,P3,10.8,,,,\nA,A4,,19.25";
    let found = changed("not-peak", &[("marks.csv", "A,A4,,19.25", end)]);
    none(&found, Code::Unreadable);
}

/// The depth's bound of A2 with a tilt column in place of `attitude`, or with the attitude said.
fn depth_95(heading: &str, cell: &str) -> f64 {
    let row = format!("{A2_TIES},{cell},manual");
    let told = format!("{A2_TIES},tilted,manual");
    let found = changed(
        "depth-doubtful",
        &[
            ("marks.csv", "attitude", heading),
            ("marks.csv", &told, &row),
        ],
    );
    none(&found, Code::DepthDoubtful);
    let record = found.record.unwrap();
    let mark = record.marks.iter().find(|mark| mark.mark == "A2").unwrap();
    mark.depth_95.unwrap()
}

#[test]
fn a_manual_reading_over_a_known_tilt_is_taken_at_the_peak() {
    let (said, known, level) = (
        depth_95("attitude", "tilted"),
        depth_95("tilt", "20"),
        depth_95("tilt", "0"),
    );
    assert!((known - said).abs() < 1e-9, "{known} {said}");
    assert!((level - said).abs() < 1e-9, "{level} {said}");
}

#[test]
fn the_top_of_the_pipe_stays_below_the_ground() {
    let depths = |a2: &str, lift: &str, diameter: &str| {
        let (a2, lift) = (format!("50.04,{a2}"), format!("9.85,{lift}"));
        let swaps = [
            ("marks.csv", "50.04,1.36,1.37", a2.as_str()),
            ("marks.csv", "9.85,0.10", &lift),
            ("job.toml", "100 mm", diameter),
        ];
        changed("above-ground", &swaps)
    };
    let found = depths("0.05,0.05", "0", "150 mm");
    let message = &one(&found, Code::AboveGround).message;
    assert!(message.contains("top of the pipe at A2"), "{message}");
    assert!(message.contains("0.150 m"), "{message}");
    none(&depths("0.25,0.25", "0", "150 mm"), Code::AboveGround);
    let level = depths("0,0", "0", "100 mm");
    let message = &one(&level, Code::AboveGround).message;
    assert!(message.contains("level with the ground"), "{message}");
    assert!(!message.contains("-0"), "{message}");
    // A negative depth is told as that, and its spread says nothing.
    let negative = depths("0.20,0.24", "0.30", "100 mm");
    one(&negative, Code::AboveGround);
    none(&negative, Code::DepthDisagrees);
    let half = depths("0.20,0.80", "0.30", "100 mm");
    let message = &one(&half, Code::DepthDisagrees).message;
    assert!(!message.contains('%'), "{message}");
    assert!(message.contains("lies above the ground"), "{message}");
}

#[test]
fn a_plain_diameter_of_six_may_be_inches() {
    let doubted = |diameter: &str| changed("above-ground", &[("job.toml", "\"100 mm\"", diameter)]);
    let six = doubted("6");
    let message = &one(&six, Code::Implausible).message;
    assert!(
        message.contains("\"6 mm\"") && message.contains("\"6 in\""),
        "{message}"
    );
    let large = doubted("150");
    let message = &one(&large, Code::Implausible).message;
    assert!(
        message.contains("\"150 mm\"") && !message.contains("150 in"),
        "{message}"
    );
    none(&doubted("\"6 in\""), Code::Implausible);
}

#[test]
fn a_peak_is_stronger_than_all_about_it() {
    let peak = |ahead: &str, found_by: &str| {
        let heading = "signal_ahead,signal_behind,found_by";
        let own = format!("61,{ahead},50,{found_by},0.3");
        changed(
            "not-peak",
            &[
                ("marks.csv", "signal_left,signal_right", heading),
                (
                    "marks.csv",
                    "A,A2,peak,,,,,P1,11.18,P4,9.26,P2,9.93,,,,\n",
                    "",
                ),
                ("marks.csv", "P2,13.46,,,,", "P2,13.46,,,,,"),
                ("marks.csv", "P3,11.41,,,,", "P3,11.41,,,,,"),
                ("marks.csv", "P2,12.05,,,,", "P2,12.05,,,,,"),
                ("marks.csv", "61,52,50,0.3", &own),
            ],
        )
    };
    let found = peak("80", "peak");
    let finding = one(&found, Code::NotPeak);
    assert!(
        finding.message.contains("80 ahead of it"),
        "{}",
        finding.message
    );
    none(&peak("52", "peak"), Code::NotPeak);
    // A tilt of a few degrees does that beside a crossline.
    none(&peak("80", "crossline"), Code::NotPeak);
}

/// Two readings of one signal differ by 3 % each: 15 % is an alarm's worth (61 × 1.1498 = 70.14).
#[test]
fn a_signal_is_stronger_only_beyond_its_scatter() {
    let beside = |left: &str| {
        changed(
            "not-peak",
            &[("marks.csv", "61,52,50,0.3", &format!("61,{left},50,0.3"))],
        )
    };
    for scatter in ["64", "70"] {
        none(&beside(scatter), Code::NotPeak);
    }
    let found = beside("71");
    let finding = one(&found, Code::NotPeak);
    assert!(
        finding.message.contains("71 to its left"),
        "{}",
        finding.message
    );
}

/// Below 0, where a display counts in steps of a ratio, a signal stronger by as little is no alarm either.
#[test]
fn a_signal_below_zero_has_its_scatter_too() {
    let beside = |left: &str| {
        changed(
            "not-peak",
            &[("marks.csv", "61,52,50,0.3", &format!("-61,{left},-70,0.3"))],
        )
    };
    none(&beside("-58"), Code::NotPeak);
    one(&beside("-40"), Code::NotPeak);
}

/// A2 found again at once, with another counter (A2's is 7.25): on the same spot, the counter's own scatter (3.29 · 0.03 m) puts either
/// first.
#[test]
fn a_spot_found_again_has_counters_in_either_order() {
    let again = |counter: &str, ties: &str| {
        let a2 = format!("A,A2,7.25,50.04,1.26,1.27,{A2_TIES}\n");
        let twice = format!("{a2}A,A9,{counter},50.04,1.26,1.27,{ties}\n");
        changed("counter-order", &[("marks.csv", &a2, &twice)])
    };
    for chance in ["7.25", "7.249", "7.16"] {
        none(&again(chance, A2_TIES), Code::CounterOrder);
    }
    for back in ["7.14", "5.25"] {
        let found = again(back, A2_TIES);
        let finding = one(&found, Code::CounterOrder);
        assert!(finding.message.contains("goes back"), "{}", finding.message);
    }
    // A metre on, a counter that has not grown is wrong, by however little.
    let found = again("7.249", "P1,12.04,P4,9.06,P2,9.49");
    one(&found, Code::CounterOrder);
}

/// Branch B, from the north to A2, where run A's readings are 1.26 and 1.27.
fn branch(at_junction: f64) -> Outcome {
    // The branch falls by 16 cm.
    let above = at_junction - 0.1;
    let toml = "min_grade = \"1 %\"\n";
    let run = format!(
        "{toml}[[run]]\nid = \"B\"\ndiameter = \"100 mm\"\nwall = \"4 mm\"\npushed = \"downstream\"\njoins = \"A\"\n"
    );
    let last = "A,A4,19.25,49.92,1.38,1.39,P3,7.62,P4,13.46,P2,12.05\n";
    let rows = format!(
        "{last}B,B1,1.25,50.10,{above:.3},{above:.3},P1,8.25,P4,15.13,P2,5.00\nB,B2,7.25,50.04,{at_junction:.3},{at_junction:.3},{A2_TIES}\n"
    );
    changed(
        "adverse-grade",
        &[("job.toml", toml, &run), ("marks.csv", last, &rows)],
    )
}

/// Of the difference of both inverts, one sigma is 0.11 m 0.6 m down: both readings' (0.080 and 0.059 m), both grounds' (0.028 m together), and
/// 0.012 m of the shared depth scale.
#[test]
fn water_does_not_flow_up_into_a_branch_s_run() {
    let of_branch = |at_junction| -> Vec<Finding> {
        let outcome = branch(at_junction);
        let found = of(&outcome, Code::AdverseGrade).into_iter();
        found
            .filter(|f| f.run.as_deref() == Some("B"))
            .cloned()
            .collect()
    };
    for (depth, level) in [(1.865, Warning), (1.525, Note)] {
        let found = of_branch(depth);
        let [finding] = found.as_slice() else {
            panic!("{found:#?}")
        };
        assert_eq!(
            (finding.level, finding.mark.as_deref()),
            (level, Some("B2")),
            "{}",
            finding.message
        );
        assert!(
            finding.message.contains("lower than run A"),
            "{}",
            finding.message
        );
    }
    let bound = of_branch(1.865)[0].limit.unwrap();
    assert!((bound - 1.96 * 0.105).abs() < 0.005, "{bound}");
    // As deep, a little deeper, and above: a drop.
    for depth in [1.265, 1.365, 0.765] {
        let found = of_branch(depth);
        assert!(found.is_empty(), "{found:#?}");
    }
}

#[test]
fn metal_is_told_by_its_trade_names_and_not_where_it_is_denied() {
    let found = |material: &str, note: &str| {
        changed(
            "signal-path",
            &[
                ("job.toml", "PVC", material),
                ("marks.csv", "hedge beside it", note),
            ],
        )
    };
    for (material, note) in [
        ("C.I.", "hedge"),
        ("PVC with tracer wire", "hedge"),
        ("PVC", "tracer tape"),
    ] {
        one(&found(material, note), Code::SignalPath);
    }
    none(
        &found("PVC, no tracer wire", "no metal nearby"),
        Code::SignalPath,
    );
}

#[test]
fn a_scale_names_the_units_that_are_read() {
    let control = [
        ("control.csv", "108.00,218.01", "354.34,715.25"),
        ("control.csv", "120.01,219.01", "393.73,718.53"),
        ("control.csv", "131.01,217.01", "429.83,711.97"),
        ("control.csv", "118.01,201.00", "387.16,659.45"),
    ];
    let message = one(&changed("scale-suspect", &control), Code::ScaleSuspect)
        .message
        .clone();
    assert!(
        message.contains("x, y look like feet where metres are read"),
        "{message}"
    );
    assert!(
        message.contains("(m)") && message.contains("(metre)"),
        "{message}"
    );
    none(&changed("scale-suspect", &[]), Code::ScaleSuspect);
}

#[test]
fn a_single_fix_is_told_for_what_it_is() {
    let fix = |fix: &str| {
        changed(
            "gnss-fix",
            &[("marks.csv", "9.00023026,rtk,", &format!("9.00023026,{fix}"))],
        )
    };
    let found = fix("single,0.05");
    let finding = one(&found, Code::GnssFix);
    assert!(
        !finding.message.contains("over the limit"),
        "{}",
        finding.message
    );
    assert!(
        finding.message.contains("fix single, a kind"),
        "{}",
        finding.message
    );
    assert_eq!(finding.limit, None);
    assert!(
        one(&fix("single,0.15"), Code::GnssFix)
            .message
            .contains("over the limit of 0.10 m")
    );
    none(&fix("rtk,0.05"), Code::GnssFix);
}

/// Depths in the order of flow, downstream deeper by nothing, or shallower.
fn falling(depths: [&str; 4], min_grade: &str) -> Outcome {
    let old = [
        "50.10,1.20,1.21",
        "50.04,1.26,1.27",
        "49.98,1.32,1.33",
        "49.92,1.38,1.39",
    ];
    let new: Vec<String> = depths.iter().map(|d| format!("50.00,{d},{d}")).collect();
    let mut swaps: Vec<Swap<'_>> = vec![("job.toml", "1 %", min_grade)];
    swaps.extend(
        old.iter()
            .zip(&new)
            .map(|(old, new)| ("marks.csv", *old, new.as_str())),
    );
    changed("low-grade", &swaps)
}

#[test]
fn a_rise_is_told_once_and_as_a_rise() {
    let rising = falling(["3.0", "2.1", "1.2", "0.3"], "1 %");
    none(&rising, Code::LowGrade);
    let adverse = of(&rising, Code::AdverseGrade);
    assert!(
        adverse
            .iter()
            .any(|f| f.message.contains("as a whole rises")),
        "{adverse:#?}"
    );
    let flat = falling(["1.5", "1.49", "1.48", "1.47"], "0.5 %");
    let message = &one(&flat, Code::LowGrade).message;
    assert!(message.contains("rises by 0.2 %"), "{message}");
    assert!(message.contains("to settle it"), "{message}");
    let level = falling(["1.5", "1.5", "1.5", "1.5"], "5 %");
    let message = &one(&level, Code::LowGrade).message;
    assert!(
        message.contains("falls by 0.0 %") && !message.contains("settle"),
        "{message}"
    );
    none(
        &falling(["1.5", "1.6", "1.7", "1.8"], "1 %"),
        Code::LowGrade,
    );
    for outcome in [rising, flat, level] {
        for text in outcome.findings.iter().map(|f| &f.message) {
            assert!(!text.contains("-0.0 %") && !text.contains("by -"), "{text}");
        }
    }
}

/// Metres in a message, in order.
fn lengths(message: &str) -> Vec<f64> {
    let words: Vec<&str> = message.split_whitespace().collect();
    let metres = |pair: &[&str]| pair[1].starts_with('m').then(|| pair[0].parse().ok())?;
    words.windows(2).filter_map(metres).collect()
}

#[test]
fn a_paths_figures_add_up() {
    let short = changed(
        "path-too-short",
        &[("marks.csv", "A,A4,19.25", "A,A4,20.75")],
    );
    let message = &one(&short, Code::PathTooShort).message;
    let figures = lengths(message);
    assert!(
        (figures[1] - figures[0] - figures[2]).abs() < 1e-9,
        "{message}"
    );
    assert!(figures[2] > figures[3], "{message}");
    let same = changed(
        "path-too-short",
        &[(
            "marks.csv",
            "P3,7.62,P4,13.46,P2,12.05",
            "P2,9.22,P4,9.85,P3,11.41",
        )],
    );
    let message = &one(&same, Code::PathTooShort).message;
    let figures = lengths(message);
    assert!(
        (figures[1] - figures[0] - figures[2]).abs() < 1e-9,
        "{message}"
    );
}

#[test]
fn a_wrong_ground_is_named_where_the_distance_is_height() {
    let high = changed("path-too-long", &[("marks.csv", "49.98", "4998.00")]);
    for finding in of(&high, Code::PathTooLong) {
        assert!(finding.message.contains("`ground`"), "{}", finding.message);
    }
    assert_eq!(of(&high, Code::PathTooLong).len(), 2);
    let far = changed(
        "path-too-long",
        &[("marks.csv", "A,A4,19.25", "A,A4,14.25")],
    );
    let message = &one(&far, Code::PathTooLong).message;
    assert!(!message.contains("`ground`"), "{message}");
    none(&changed("path-too-long", &[]), Code::PathTooLong);
}

#[test]
fn an_upright_transmitter_moves_no_mark() {
    let upright = changed(
        "depth-doubtful",
        &[("marks.csv", "tilted,manual", "vertical,manual")],
    );
    let message = &one(&upright, Code::Tilted).message;
    assert!(
        message.contains("needed no move") && !message.contains("0.000"),
        "{message}"
    );
}

/// Heights count in the one test of the job: a levelling net that disagrees with itself throughout, with nothing that could be blamed.
#[test]
fn heights_that_disagree_are_a_misfit() {
    let with = |scatter: f64| {
        let differences: String = [
            ("A1", "A2", -0.06),
            ("A2", "A3", -0.06),
            ("A1", "A3", -0.12),
        ]
        .iter()
        .flat_map(|&(from, to, value)| {
            let row = move |off: f64| format!("height_difference,{from},{to},{:.4}\n", value + off);
            [row(scatter), row(-scatter)]
        })
        .collect();
        let table = format!("kind,from,to,value\n{differences}");
        made("counter-order", &[], &[("measures.csv", &table)])
    };
    // One-sigma of a difference 5 mm: 3 of its own either way are 1.5 of their mean's, too few for an alarm of their own.
    let (sound, coarse) = (with(0.002), with(0.010));
    none(&sound, Code::Misfit);
    let told = one(&coarse, Code::Misfit);
    assert!(told.message.contains("of the heights"), "{}", told.message);
    none(&coarse, Code::Blunder);
}
