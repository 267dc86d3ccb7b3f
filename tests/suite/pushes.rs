//! Jobs pushed more than once: marks that several pushes reached, counters that go back because the camera was pulled out.

use aslaid::findings::{Code, Finding};
use aslaid::pipeline::Outcome;
use aslaid::record::AsBuilt;
use aslaid::record::model::Mark;

use crate::common::{computed, settings};

fn toml() -> String {
    settings("both-ends", "", "lens_to_transmitter = \"0.3 m\"")
}

/// From the cleanout at either end, the transmitter 0.3 m behind the lens.
const PUSHES: &str =
    "push,run,pushed,counter_at_start,start\nN1,A,downstream,0,CO1\nN2,A,upstream,2,CO2\n";
const CONTROL: &str = "point,easting,northing\nCO1,500000,5500000\nCO2,500030,5500000\n";
const HEADING: &str = "run,mark,push,counter,easting,northing,ground,depth_1,depth_2\n";
const FIRST: &str = "\
A,A1,N1,5.3,500005,5500000,50,1.50,1.52
A,A2,N1,10.3,500010,5500000,50,1.60,1.62
A,A3,N1,15.3,500015,5500000,50,1.70,1.72
";
const SECOND: &str = "\
A,A5,N2,7.3,500025,5500000,50,1.90,1.92
A,A4,N2,12.3,500020,5500000,50,1.80,1.82
";
/// A3 again, from the other side, on the same paint.
const AGAIN: &str = "A,A3,N2,17.3,,,,1.72,1.74\n";

/// Both pushes saw the same joint 12.7 m from the first opening and 17.3 m from the second.
const CAMERA: &str = "run,push,counter,what\nA,N1,12.7,joint\nA,N2,19.3,joint\n";

fn job(marks: &[&str]) -> Outcome {
    let table = format!("{HEADING}{}", marks.concat());
    computed(&[
        ("job.toml", &toml()),
        ("control.csv", CONTROL),
        ("pushes.csv", PUSHES),
        ("camera.csv", CAMERA),
        ("marks.csv", &table),
    ])
}

fn of(outcome: &Outcome, code: Code) -> Vec<&Finding> {
    outcome.findings.iter().filter(|f| f.code == code).collect()
}

fn record(outcome: &Outcome) -> &AsBuilt {
    outcome.record.as_ref().expect("a record")
}

fn mark<'a>(outcome: &'a Outcome, name: &str) -> &'a Mark {
    let marks = &record(outcome).marks;
    let found = marks.iter().find(|mark| mark.mark == name);
    found.unwrap_or_else(|| panic!("no {name}"))
}

fn joints(outcome: &Outcome) -> Vec<Option<f64>> {
    let camera = &record(outcome).camera;
    camera.iter().map(|seen| seen.easting).collect()
}

#[test]
fn a_mark_that_two_pushes_reached_is_located_twice() {
    let both = job(&[FIRST, SECOND, AGAIN]);
    assert!(
        of(&both, Code::Duplicate).is_empty(),
        "{:#?}",
        both.findings
    );
    let (first, again) = (mark(&both, "A3"), mark(&both, "A3 (N2)"));
    assert_ne!(first.id, again.id);
    assert_eq!(
        (first.source.as_str(), again.source.as_str()),
        ("marks.csv:4", "marks.csv:7")
    );
    // One paint, and each depth as its own push read it.
    assert_eq!(first.paint, again.paint);
    let depths = [first, again].map(|mark| mark.transmitter_depth.expect("a depth"));
    assert!(
        (depths[0] - 1.71).abs() < 1e-9 && (depths[1] - 1.73).abs() < 1e-9,
        "{depths:?}"
    );
    // Both lie downhill of the paint, whichever way they were pushed, to what their slope is known.
    assert!((first.easting - again.easting).abs() < 2e-3);
    let flow: Vec<&str> = record(&both).marks.iter().map(|mark| &*mark.mark).collect();
    assert_eq!(
        (flow[0], flow[1], flow[4], flow[5]),
        ("A1", "A2", "A4", "A5")
    );
}

/// In either order of the rows, and where the second gives the place.
#[test]
fn the_row_that_gives_the_place_has_the_paint() {
    let placeless = "A,A3,N1,15.3,,,50,1.70,1.72\n";
    let placed = "A,A3,N2,17.3,500015,5500000,,1.72,1.74\n";
    let first = FIRST.replace("A,A3,N1,15.3,500015,5500000,50,1.70,1.72\n", "");
    for rows in [[placeless, placed], [placed, placeless]] {
        let both = job(&[&first, rows[0], SECOND, rows[1]]);
        assert!(!both.blocked(), "{:#?}", both.findings);
        let (painted, other) = (mark(&both, "A3"), mark(&both, "A3 (N1)"));
        assert_eq!(painted.paint, other.paint);
        assert_eq!(
            painted.transmitter_depth.map(|d| (d * 100.0).round()),
            Some(173.0)
        );
        assert_eq!(
            other.transmitter_depth.map(|d| (d * 100.0).round()),
            Some(171.0)
        );
    }
}

/// With places of their own they are two paints; a further row of the same push is one row too many, and nothing is made of it.
#[test]
fn places_of_their_own_and_rows_too_many() {
    let other = "A,A3,N2,17.3,500015.08,5500000.06,50,1.72,1.74\n";
    let both = job(&[FIRST, SECOND, other]);
    assert!(!both.blocked(), "{:#?}", both.findings);
    let (first, again) = (mark(&both, "A3"), mark(&both, "A3 (N2)"));
    assert!((again.paint.easting - first.paint.easting - 0.08).abs() < 1e-6);
    assert!((again.paint.northing - first.paint.northing - 0.06).abs() < 1e-6);

    let clean = job(&[FIRST, SECOND, AGAIN]);
    let further = "A,A3,N2,17.4,500019,5500003,50,1.72,1.74\n";
    let twice = job(&[FIRST, SECOND, AGAIN, further]);
    assert_eq!(of(&twice, Code::Duplicate).len(), 1);
    let named = "A,A2,N1,10.4,500013,5500003,50,1.60,1.62\n";
    let again = job(&[FIRST, SECOND, AGAIN, named]);
    assert_eq!(of(&again, Code::Duplicate).len(), 1);
    for name in ["A2", "A3", "A3 (N2)"] {
        assert_eq!(mark(&twice, name).paint, mark(&clean, name).paint);
        assert_eq!(mark(&again, name).paint, mark(&clean, name).paint);
    }
}

/// The second cleanout is no mark, so that only A3 ties its counter to the first's: a joint beyond its marks has a place then, and a
/// cable between marks of both pushes is a cable.
#[test]
fn a_shared_mark_ties_the_counters() {
    let tied = job(&[FIRST, SECOND, AGAIN]);
    let joints = joints(&tied);
    let [Some(one), Some(two)] = joints[..] else {
        panic!("{joints:?}")
    };
    // 0.025 m of both is the crossline's move.
    assert!(
        (one - 500_012.68).abs() < 0.02 && (one - two).abs() < 0.02,
        "{joints:?}"
    );
    // Read wrong by a metre, it does not fit the marks on its other side.
    let misread = job(&[FIRST, SECOND, &AGAIN.replace("17.3", "19.3")]);
    let told: Vec<&Finding> = misread
        .findings
        .iter()
        .filter(|f| {
            matches!(
                f.code,
                Code::PathTooShort | Code::PathTooLong | Code::CounterOrder
            )
        })
        .collect();
    assert!(!told.is_empty(), "{:#?}", misread.findings);
    assert!(of(&tied, Code::PathTooShort).is_empty() && of(&tied, Code::PathTooLong).is_empty());
}

/// Marked while the camera was pulled out: the counters go back from row to row, and nothing is wrong with that.
#[test]
fn a_camera_that_is_pulled_out() {
    let rows = |counters: [f64; 5]| {
        let row = |(i, counter): (usize, f64)| {
            let east = 500_025 - 5 * i;
            let depth = 1.90 - 0.1 * i as f64;
            format!(
                "A,A{},N1,{counter},{east},5500000,50,{depth:.2},{:.2}\n",
                5 - i,
                depth + 0.01
            )
        };
        let rows: Vec<String> = counters.into_iter().enumerate().map(row).collect();
        job(&[&rows.concat()])
    };
    let pulled = rows([25.3, 20.3, 15.3, 10.3, 5.3]);
    assert!(
        of(&pulled, Code::CounterOrder).is_empty(),
        "{:#?}",
        pulled.findings
    );
    let flow: Vec<&str> = record(&pulled)
        .marks
        .iter()
        .map(|mark| &*mark.mark)
        .collect();
    assert_eq!(flow, ["A1", "A2", "A3", "A4", "A5"]);
    // 51.3 for 15.3.
    let misread = rows([25.3, 20.3, 51.3, 10.3, 5.3]);
    let told = of(&misread, Code::CounterOrder);
    assert_eq!(told.len(), 1, "{told:#?}");
    assert_eq!(told[0].mark.as_deref(), Some("A3"));
    assert!(told[0].message.contains("goes on"), "{}", told[0].message);
}

/// From a cleanout in the middle to the street and to the house, with `pushed` copied down: told once, at the push, and no mark is blamed.
#[test]
fn two_pushes_that_both_go_the_same_way() {
    let told = |second: &str| {
        let pushes = format!(
            "push,run,pushed,counter_at_start,start\nN1,A,downstream,0,CO\nN2,A,{second},0,CO\n"
        );
        let mut marks = "run,mark,push,counter,easting,northing\n".to_owned();
        for (mark, push, way) in [
            ("CO", "N1", 0.0),
            ("M2", "N1", 5.0),
            ("M3", "N1", 10.0),
            ("M4", "N1", 15.0),
            ("M5", "N2", -5.0),
            ("M6", "N2", -10.0),
        ] {
            let (e, counter) = (500_000.0 + way, f64::abs(way) + 0.25);
            marks += &format!("A,{mark},{push},{counter},{e},5700000\n");
        }
        let toml = crate::common::settings("turned", "distances = \"grid\"", "");
        let outcome = crate::common::computed(&[
            ("job.toml", &toml),
            ("marks.csv", &marks),
            ("pushes.csv", &pushes),
        ]);
        let of = outcome.findings.into_iter();
        of.filter(|f| f.code == aslaid::findings::Code::PathTooLong)
            .collect::<Vec<_>>()
    };
    let copied = told("downstream");
    assert_eq!(copied.len(), 1, "{copied:#?}");
    assert!(
        copied[0]
            .message
            .contains("N1 and N2 of run A both go downstream"),
        "{copied:#?}"
    );
    assert!(
        copied[0]
            .source
            .as_deref()
            .is_some_and(|at| at.starts_with("pushes.csv"))
    );
    assert!(told("upstream").is_empty());
}
