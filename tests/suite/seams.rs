//! Where two parts of a job meet: a branch at a run's end, a point that a mark adopts, two pushes, heights that several things give.

use aslaid::findings::{Code, Finding, Level};
use aslaid::pipeline::Outcome;
use aslaid::record::AsBuilt;
use aslaid::record::model::{Run, VertexKind};

use crate::common::{computed, settings};

#[track_caller]
fn record(outcome: &Outcome) -> &AsBuilt {
    let errors: Vec<&Finding> = outcome
        .findings
        .iter()
        .filter(|f| f.level == Level::Error)
        .collect();
    assert!(errors.is_empty(), "{errors:#?}");
    outcome.record.as_ref().expect("a record")
}

fn run<'a>(record: &'a AsBuilt, id: &str) -> &'a Run {
    record.runs.iter().find(|run| run.run == id).expect("a run")
}

const BRANCH: &str = "[[run]]\nid = \"B\"\ndiameter = \"150 mm\"\nwall = \"4 mm\"\npushed = \"downstream\"\njoins = \"A\"\n";

/// Run A, four marks along a line, and branch B whose last mark lies at `joint` east of A's first.
fn branched(joint: f64, heights: bool) -> Outcome {
    let toml = settings("branched", "", "") + BRANCH;
    let head = if heights {
        "run,mark,counter,latitude,longitude,height,fix,depth_1,depth_2\n"
    } else {
        "run,mark,counter,easting,northing,ground,depth_1,depth_2\n"
    };
    let mut marks = head.to_owned();
    // Metres of a degree at 51.45° N.
    let (north, east) = (111_260.0, 69_500.0);
    let mut row = |run: &str, mark: &str, counter: f64, x: f64, y: f64, depth: f64| {
        let place = if heights {
            format!("{:.9},{:.9},96,rtk", 51.45 + y / north, 9.0 + x / east)
        } else {
            format!("{:.3},{:.3},50", 500_000.0 + x, 5_700_000.0 + y)
        };
        marks += &format!("{run},{mark},{counter},{place},{depth},{depth}\n");
    };
    for k in 0..4 {
        let x = 4.0 * f64::from(k);
        row("A", &format!("A{}", k + 1), 3.0 + x, x, 0.0, 1.5 + 0.02 * x);
    }
    row("B", "B1", 3.0, joint, 6.0, 1.0);
    row("B", "B2", 9.0, joint, 0.0, 1.1);
    computed(&[("job.toml", &toml), ("marks.csv", &marks)])
}

#[test]
fn a_branch_may_join_at_either_end_and_the_run_is_what_it_was() {
    let alone = branched(60.0, false);
    let alone = run(record(&alone), "A").clone();
    for joint in [0.0, 8.0, 12.0, 12.02] {
        let outcome = branched(joint, false);
        let joined = run(record(&outcome), "A");
        let kinds: Vec<VertexKind> = joined.vertices.iter().map(|v| v.kind).collect();
        assert_eq!(
            kinds.iter().filter(|k| **k == VertexKind::Junction).count(),
            1,
            "{joint}"
        );
        assert_eq!(
            (kinds[0], kinds[4]),
            (VertexKind::Mark, VertexKind::Mark),
            "{joint}"
        );
        assert_eq!(
            (joined.fall, joined.length),
            (alone.fall, alone.length),
            "{joint}"
        );
        assert!(joined.fall.is_some() && joined.vertices.iter().all(|v| v.along_pipe.is_some()));
        assert!(
            joined.vertices.iter().all(|v| v.invert.is_some()),
            "{joint}"
        );
    }
}

/// The branch drops half a metre into the run: the run's line on the map takes no part in that.
#[test]
fn a_junction_has_the_height_of_the_run_that_it_is_on() {
    let outcome = branched(6.0, true);
    let joined = run(record(&outcome), "A");
    let heights: Vec<f64> = joined
        .vertices
        .iter()
        .map(|v| v.geographic.as_ref().unwrap().ellipsoidal_height.unwrap())
        .collect();
    assert_eq!(heights.len(), 5);
    for (height, x) in heights.into_iter().zip([0.0, 4.0, 6.0, 8.0, 12.0]) {
        let axis = 96.0 - 1.5 - 0.02 * x - 0.05;
        assert!((height - axis).abs() < 0.002, "{x}: {height} {axis}");
    }
}

/// What a cable allows beyond the straight between two marks is not less because a branch joins there.
#[test]
fn a_junction_takes_nothing_of_the_bulge() {
    let with = |joint: Option<f64>| {
        let toml = settings("bulge", "", "") + if joint.is_some() { BRANCH } else { "" };
        let mut marks = "run,mark,counter,easting,northing,ground,depth_1,depth_2\n\
            A,A1,3.0,500000,5700000,50,1.50,1.50\nA,A2,23.4,500020,5700000,50,1.90,1.90\n"
            .to_owned();
        if let Some(x) = joint {
            let e = 500_000.0 + x;
            marks += &format!("B,B1,3.0,{e},5700006,50,1.0,1.0\nB,B2,9.0,{e},5700000,50,1.1,1.1\n");
        }
        computed(&[("job.toml", &toml), ("marks.csv", &marks)])
    };
    let bulges = |outcome: &Outcome| -> Vec<f64> {
        let vertices = &run(record(outcome), "A").vertices;
        vertices.iter().filter_map(|v| v.joint?.bulge).collect()
    };
    let whole = bulges(&with(None));
    let [whole] = whole[..] else {
        panic!("{whole:?}")
    };
    assert!((1.0..3.0).contains(&whole), "{whole}");
    let parts = bulges(&with(Some(15.0)));
    let [before, after] = parts[..] else {
        panic!("{parts:?}")
    };
    assert!(
        (before / whole - 0.75_f64.sqrt()).abs() < 0.01,
        "{before} {whole}"
    );
    assert!(
        (after / whole - 0.25_f64.sqrt()).abs() < 0.01,
        "{after} {whole}"
    );
}

/// A mark that takes its place from a reference point lies where that does, as high, and as sure as grid coordinates are.
#[test]
fn an_adopted_point_is_what_it_was() {
    let toml = settings("adopted", "vertical = \"ODN\"\ngeoid_separation = \"48 m\"", "antenna_height = \"2 m\"")
        .replace("EPSG:25832", "EPSG:27700")
        .replace("[equipment]", "[points]\nfiles = [\"topo.csv\"]\ncolumns = \"point, latitude, longitude, height, crew\"\n[equipment]");
    let topo = "A1,51.5000000,-1.5000000,148.00,north\nA2,51.5000500,-1.5000000,148.10,north\nR1,51.5000000,-1.5000000,148.00,south\n";
    let marks = "run,mark,counter,depth_1,depth_2\nA,A1,3,1.5,1.5\nA,A2,8.6,1.6,1.6\n";
    let outcome = computed(&[
        ("job.toml", &toml),
        ("topo.csv", topo),
        ("marks.csv", marks),
    ]);
    let record = record(&outcome);
    let reference = record
        .references
        .iter()
        .find(|r| r.point == "R1")
        .expect("R1");
    let mark = &record.marks[0];
    let off =
        (mark.paint.easting - reference.easting).hypot(mark.paint.northing - reference.northing);
    assert!(off < 1e-6, "{off}");
    assert_eq!(
        (mark.ground, reference.elevation),
        (Some(100.0), Some(100.0))
    );
    let ellipse = mark.paint.ellipse.expect("an ellipse");
    assert!(
        (ellipse.semi_major_95 - 2.4477 * 0.02).abs() < 1e-4,
        "{}",
        ellipse.semi_major_95
    );
    assert_eq!(
        mark.attributes.get("crew").map(String::as_str),
        Some("north")
    );
    let told = outcome
        .findings
        .iter()
        .filter(|f| f.code == Code::GnssFix)
        .count();
    assert_eq!(told, 0, "{:#?}", outcome.findings);
}

const CONTROL: &str = "point,easting,northing\nCO1,500000,5700000\nCO2,500030,5700000\n";

/// The second opening is itself a mark of the first push, or the first one of the second.
#[test]
fn openings_are_tied_by_a_mark_that_is_one_in_any_order_of_the_pushes() {
    let head = "push,run,pushed,counter_at_start,start\n";
    let (one, other) = ("N1,A,downstream,0,CO1\n", "N2,A,upstream,0,CO2\n");
    let marks = "run,mark,push,counter,easting,northing,ground,depth_1,depth_2\n\
        A,A1,N1,5,500005,5700000,50,1.5,1.5\nA,A2,N1,10,500010,5700000,50,1.6,1.6\n\
        A,CO1,N2,30,500000,5700000,50,1.4,1.4\nA,A4,N2,5,500025,5700000,50,1.9,1.9\n";
    let control = CONTROL.replace("CO1,500000,5700000\n", "");
    let gaps = |pushes: [&str; 2]| {
        let pushes = format!("{head}{}", pushes.concat());
        let outcome = computed(&[
            ("job.toml", &settings("order", "", "")),
            ("control.csv", &control),
            ("marks.csv", marks),
            ("pushes.csv", &pushes),
        ]);
        let vertices = run(record(&outcome), "A").vertices.clone();
        vertices.iter().filter_map(|v| v.joint?.bulge).count()
    };
    assert_eq!((gaps([one, other]), gaps([other, one])), (3, 3));
}

/// A mark that two pushes reached has a name for each, and what is told of its second row is told of the second name.
#[test]
fn a_finding_stands_at_the_push_that_it_is_about() {
    let toml = settings("second", "", "");
    let marks = "run,mark,push,counter,easting,northing,ground,depth_1,depth_2\n\
        A,A1,N1,5,500005,5700000,50,1.5,1.5\nA,A2,N1,10,500010,5700000,50,1.6,1.6\n\
        A,A2,N2,2,500010.01,5700000,50,1.6,1.6\n";
    let pushes =
        "push,run,pushed,counter_at_start,start\nN1,A,downstream,0,CO1\nN2,A,upstream,20,CO2\n";
    let outcome = computed(&[
        ("job.toml", &toml),
        ("control.csv", CONTROL),
        ("marks.csv", marks),
        ("pushes.csv", pushes),
    ]);
    let told: Vec<&Finding> = outcome
        .findings
        .iter()
        .filter(|f| f.message.contains("behind the opening"))
        .collect();
    assert_eq!(told.len(), 1, "{:#?}", outcome.findings);
    assert_eq!(told[0].mark.as_deref(), Some("A2 (N2)"));
}

/// One tape, pulled twice, is one measurement: nothing else is said to be from a point without a place.
#[test]
fn a_tape_pulled_twice_is_counted_once() {
    let outcome = computed(&[
        ("job.toml", &settings("twice", "", "")),
        ("control.csv", CONTROL),
        (
            "marks.csv",
            "run,mark,counter,tie_1_ref,tie_1,depth_1,depth_2\nA,A1,3,CO1,5.00,1.5,1.5\n",
        ),
        ("measures.csv", "kind,from,to,value\ndistance,CO1,A1,5.01\n"),
    ]);
    let open: Vec<&Finding> = outcome
        .findings
        .iter()
        .filter(|f| f.code == Code::Undetermined)
        .collect();
    assert_eq!(open.len(), 1, "{:#?}", outcome.findings);
    assert!(
        open[0].message.contains("1 usable measurement"),
        "{}",
        open[0].message
    );
    assert!(!open[0].message.contains("Besides"), "{}", open[0].message);
}

/// 1600 m up, tapes are 250 parts in a million longer than on the ellipsoid, and GNSS says how high that is.
#[test]
fn gnss_heights_say_how_high_the_site_is() {
    let combined = |height: &str, separation: &str| {
        let toml = settings("high", separation, "");
        let marks = format!(
            "run,mark,counter,latitude,longitude,height,fix,depth_1,depth_2\n\
             A,A1,3,51.45,9.0,{height},rtk,1.5,1.5\nA,A2,8.6,51.45005,9.0,{height},rtk,1.6,1.6\n"
        );
        let outcome = computed(&[("job.toml", &toml), ("marks.csv", &marks)]);
        (
            record(&outcome).frame.clone(),
            record(&outcome).notes.clone(),
        )
    };
    let (high, notes) = combined("1646", "geoid_separation = \"46 m\"");
    assert!(
        notes
            .iter()
            .all(|note| !note.text.contains("No height of the site")),
        "{notes:#?}"
    );
    let factor = high.combined_factor.expect("a factor") / high.grid_scale.expect("a scale");
    assert!(
        ((1.0 - factor) * 1e6 - 1646.0 / 6.378).abs() < 2.0,
        "{factor}"
    );
    // It is the height above the ellipsoid that counts: that is known without the separation.
    let (bare, _) = combined("1646", "");
    assert_eq!(bare.combined_factor, high.combined_factor);
    let (none, notes) = combined("", "");
    assert!(none.combined_factor > high.combined_factor);
    assert!(
        notes
            .iter()
            .any(|note| note.text.contains("No height of the site"))
    );
}

/// A further observation of the camera renames none of the others.
#[test]
fn camera_observations_keep_their_names() {
    let ids = |rows: &str| -> Vec<String> {
        let camera = format!("run,counter,what\n{rows}");
        let marks = "run,mark,counter,easting,northing,ground,depth_1,depth_2\n\
            A,A1,3,500000,5700000,50,1.5,1.5\nA,A2,13,500010,5700000,50,1.6,1.6\n";
        let outcome = computed(&[
            ("job.toml", &settings("named", "", "")),
            ("marks.csv", marks),
            ("camera.csv", &camera),
        ]);
        record(&outcome)
            .camera
            .iter()
            .map(|seen| seen.id.clone())
            .collect()
    };
    let few = ids("A,8.25,roots\nA,11,crack\nA,8.25,joint\n");
    assert_eq!(few, ["named/A/c8.25", "named/A/c8.25-2", "named/A/c11"]);
    let more = ids("A,4.5,tap\nA,8.25,roots\nA,11,crack\nA,8.25,joint\n");
    assert_eq!(more[0], "named/A/c4.5");
    assert_eq!(more[1..], few[..]);
}

/// One test over all redundancy: what the record says of it is what `misfit` goes by.
#[test]
fn the_record_tests_heights_with_the_rest() {
    let toml = settings("together", "vertical = \"NHN\"", "");
    let control = "point,easting,northing,elevation\nP1,500000,5700000,50\nP2,500020,5700000,\nP3,500010,5700015,\n";
    let marks = "run,mark,counter,tie_1_ref,tie_1,tie_2_ref,tie_2,tie_3_ref,tie_3,depth_1,depth_2\n\
        A,A1,3,P1,10.000,P2,14.142,P3,11.180,1.5,1.5\nA,A2,8,P1,12.806,P2,12.806,P3,5.000,1.6,1.6\n";
    // Five readings over three points, two of them spare and some centimetres off.
    let measures = "kind,from,to,value,sigma\nheight_difference,P1,P2,0.500,0.002\nheight_difference,P2,P3,0.200,0.002\n\
        height_difference,P3,P1,-0.660,0.002\n";
    let outcome = computed(&[
        ("job.toml", &toml),
        ("control.csv", control),
        ("marks.csv", marks),
        ("measures.csv", measures),
    ]);
    let adjustment = &outcome.record.as_ref().expect("a record").adjustment;
    assert_eq!(adjustment.redundancy_of_heights, 1, "{adjustment:?}");
    assert_eq!(adjustment.redundancy, 3, "{adjustment:?}");
    let misfit: Vec<&Finding> = outcome
        .findings
        .iter()
        .filter(|f| f.code == Code::Misfit)
        .collect();
    assert_eq!(misfit.len(), 1, "{:#?}", outcome.findings);
    let (factor, upper) = (
        adjustment.variance_factor.unwrap(),
        adjustment.variance_upper.unwrap(),
    );
    assert!(factor > upper);
    assert!((misfit[0].value.unwrap() - factor).abs() < 1e-9);
}

/// Two pushes that name no opening: from one cleanout both ways, or from both ends of the run. Their marks tell which.
#[test]
fn pushes_without_a_named_opening() {
    let toml = settings("unnamed", "", "");
    let pushes = "push,run,pushed,counter_at_start,start\nN1,A,downstream,0,\nN2,A,upstream,0,\n";
    let head = "run,mark,push,counter,easting,northing,ground,depth_1,depth_2\n";
    let row = |name: &str, push: &str, counter: f64, x: f64| {
        let depth = 1.5 + 0.02 * x;
        format!(
            "A,{name},{push},{counter},{},5700000,50,{depth:.3},{depth:.3}\n",
            500_000.0 + x
        )
    };
    let outcome = |rows: &[String]| {
        let marks = format!("{head}{}", rows.concat());
        computed(&[
            ("job.toml", &toml),
            ("marks.csv", &marks),
            ("pushes.csv", pushes),
        ])
    };
    let line = |outcome: &Outcome| -> (Vec<String>, usize) {
        let run = run(record(outcome), "A");
        let cabled = run
            .vertices
            .iter()
            .filter(|v| v.joint.is_some_and(|j| j.bulge.is_some()));
        let names = run.vertices.iter().filter_map(|v| v.mark.clone()).collect();
        (names, cabled.count())
    };
    let warned = |outcome: &Outcome| {
        outcome
            .findings
            .iter()
            .filter(|f| f.level > Level::Note)
            .count()
    };
    let noted = |outcome: &Outcome| {
        record(outcome)
            .notes
            .iter()
            .any(|note| note.text.contains("name no opening"))
    };
    // From a cleanout at 30 m both ways: one opening, and cable on every leg.
    let both_ways = outcome(&[
        row("A4", "N1", 10.0, 40.0),
        row("A5", "N1", 20.0, 50.0),
        row("A6", "N1", 30.0, 60.0),
        row("A3", "N2", 10.0, 20.0),
        row("A2", "N2", 20.0, 10.0),
        row("A1", "N2", 30.0, 0.0),
    ]);
    let names = ["A1", "A2", "A3", "A4", "A5", "A6"]
        .map(str::to_owned)
        .to_vec();
    assert_eq!(line(&both_ways), (names.clone(), 5));
    assert_eq!((warned(&both_ways), noted(&both_ways)), (0, false));
    // From both ends: no cable from A3 to A4.
    let both_ends = outcome(&[
        row("A1", "N1", 5.0, 0.0),
        row("A2", "N1", 15.0, 10.0),
        row("A3", "N1", 25.0, 20.0),
        row("A6", "N2", 5.0, 60.0),
        row("A5", "N2", 15.0, 50.0),
        row("A4", "N2", 25.0, 40.0),
    ]);
    assert_eq!(line(&both_ends), (names, 4));
    assert_eq!(
        (warned(&both_ends), noted(&both_ends)),
        (0, true),
        "{:#?}",
        both_ends.findings
    );
    // A mark that both reached ties them.
    let shared = outcome(&[
        row("A1", "N1", 5.0, 0.0),
        row("A2", "N1", 15.0, 10.0),
        row("A3", "N1", 25.0, 20.0),
        row("A5", "N2", 15.0, 50.0),
        row("A3", "N2", 45.0, 20.0),
    ]);
    assert_eq!(warned(&shared), 0, "{:#?}", shared.findings);
    // A1, A2, A3, A3 of the second push, A5.
    assert_eq!(line(&shared).1, 4);
}

/// A transmitter that stands upright in a stack is not a pipe that lies at its depth.
#[test]
fn a_stack_is_no_lying_pipe() {
    let toml = settings("stack", "", "");
    let stack = |first: &str, run_pushed: &str| {
        let marks = format!(
            "run,mark,counter,attitude,read_by,found_by,easting,northing,ground,depth_1,depth_2\n{first}\
             A,A1,5,,,,500004,5700000,50,1.50,1.50\nA,A2,10,,,,500009,5700000,50,1.60,1.60\nA,A3,15,,,,500014,5700000,50,1.70,1.70\n"
        );
        let camera = "run,counter,what\nA,0.5,edge of the stack\nA,2.5,foot of it\n";
        computed(&[
            ("job.toml", &toml.replace("downstream", run_pushed)),
            ("marks.csv", &marks),
            ("camera.csv", camera),
        ])
    };
    let upright = "A,A0,1.3,vertical,manual,peak,500000,5700000,50,0.90,0.90\n";
    let (with, without) = (stack(upright, "downstream"), stack("", "downstream"));
    let grade = |outcome: &Outcome| run(record(outcome), "A").grade.expect("a grade");
    assert!(
        (grade(&with) - grade(&without)).abs() < 0.05,
        "{} {}",
        grade(&with),
        grade(&without)
    );
    let mark = &record(&with).marks[0];
    assert_eq!(
        (mark.mark.as_str(), mark.transmitter_depth),
        ("A0", Some(0.9))
    );
    assert_eq!(
        (mark.cover, mark.cover_least, mark.invert, mark.invert_depth),
        (None, None, None, None)
    );
    assert_eq!(mark.tilt, Some(-90.0), "pushed down it, the lens is below");
    let seen = &record(&with).camera[0];
    let off = (seen.easting.unwrap() - mark.easting).hypot(seen.northing.unwrap() - mark.northing);
    assert!(
        off < 0.001 && seen.transmitter_depth.is_none() && seen.invert.is_none(),
        "{seen:#?}"
    );
    let foot = &record(&with).camera[1];
    assert!(
        foot.easting.is_some() && foot.transmitter_depth.is_none() && foot.invert.is_none(),
        "{foot:#?}"
    );
    let missing: Vec<&Finding> = with
        .findings
        .iter()
        .filter(|f| f.code == Code::DepthMissing)
        .collect();
    assert!(
        missing.len() == 1 && missing[0].message.contains("stack"),
        "{missing:#?}"
    );
    let said = aslaid::sheet::content::depths::sentences(record(&with)).join(" ");
    assert!(
        said.contains("could be met at any depth") && !said.contains("at A0"),
        "{said}"
    );
}

/// Whatever any row of a mark says is kept: an exposure's note, what stands beside an end point, a check's own columns.
#[test]
fn every_row_of_a_mark_keeps_what_it_says() {
    let marks = "run,mark,role,use,counter,easting,northing,ground,depth_1,depth_2,invert_depth,fitting,photo,note,crew\n\
        A,A1,,,3,500000,5700000,50,1.50,1.50,,,,,one\n\
        A,A1,exposed,,,500000.02,5700000,50,,,1.57,bend,hole.jpg,gas line above,two\n\
        A,A1,end_ahead,,,500001.1,5700000,,,,,,,by the kerb,three\n\
        A,A2,,,8,500005,5700000,50,1.60,1.60,,,,tree,one\n\
        A,A2,,check,,500005.01,5700000,,,,,,,read again,four\n";
    let outcome = computed(&[
        ("job.toml", &settings("kept", "", "")),
        ("marks.csv", marks),
    ]);
    let record = record(&outcome);
    let (one, two) = (&record.marks[0], &record.marks[1]);
    assert_eq!(one.fitting.as_deref(), Some("bend"));
    assert_eq!(
        (one.note.as_deref(), one.photo.as_deref()),
        (Some("gas line above"), Some("hole.jpg"))
    );
    assert_eq!(two.note.as_deref(), Some("tree"));
    let noted = |text: &str| {
        record
            .notes
            .iter()
            .any(|note| note.text == text && note.entered)
    };
    assert!(noted("by the kerb") && noted("read again") && !noted("gas line above"));
    let crews: Vec<&str> = [one, two]
        .iter()
        .flat_map(|mark| {
            mark.further
                .iter()
                .filter_map(|row| row.attributes.get("crew"))
        })
        .map(String::as_str)
        .collect();
    assert_eq!(crews, ["two", "three", "four"]);
}

/// Where nothing in reach helps the worst mark, something may help the next.
#[test]
fn advice_goes_on_to_a_mark_that_can_be_helped() {
    let toml = settings("advice", "", "");
    // A2 lies 40 m off every reference, A1 among them.
    let control =
        "point,easting,northing\nP1,500000,5700000\nP2,500012,5700000\nP3,500006,5700009\n";
    let marks = "run,mark,counter,latitude,longitude,fix,tie_1_ref,tie_1,tie_2_ref,tie_2,side,depth_1,depth_2\n\
        A,A1,3,,,,P1,5.000,P2,9.434,left,1.5,1.5\nA,A2,61,51.451200,9.000800,dgnss,,,,,,1.6,1.6\n";
    let outcome = computed(&[
        ("job.toml", &toml),
        ("control.csv", control),
        ("marks.csv", marks),
    ]);
    let advice = &record(&outcome).advice;
    assert!(
        advice
            .iter()
            .any(|one| one.about == "A1" && one.concern == "redundancy"),
        "{advice:#?}"
    );
}

/// A height datum of the site's own has its own zero, and `height` is above the sea.
#[test]
fn a_local_height_datum_has_nothing_to_do_with_the_sites_height() {
    let told = |vertical: &str| {
        let grid = format!("vertical = \"{vertical}\"\nheight = \"705 m\"");
        let marks = "run,mark,counter,easting,northing,ground,depth_1,depth_2\n\
            A,A1,3,500000,5700000,99.0,1.5,1.5\nA,A2,13,500010,5700000,99.1,1.6,1.6\n";
        let outcome = computed(&[
            ("job.toml", &settings("zero", &grid, "")),
            ("marks.csv", marks),
        ]);
        outcome
            .findings
            .iter()
            .filter(|f| f.code == Code::Implausible)
            .count()
    };
    assert_eq!((told("local"), told("NHN")), (0, 1));
}

/// A depth that the camera's place has from the marks before it is not denied in the same breath.
#[test]
fn no_depth_is_said_to_be_unknown_where_one_is_given() {
    let marks = "run,mark,counter,easting,northing,ground,depth_1,depth_2\n\
        A,A1,3,500000,5700000,50,1.5,1.5\nA,A2,8,500005,5700000,50,1.6,1.6\n\
        A,A3,13,500010,5700000,,1.7,1.7\nA,A4,18,500015,5700000,50,,\n";
    let outcome = computed(&[
        ("job.toml", &settings("denied", "", "")),
        ("marks.csv", marks),
        ("camera.csv", "run,counter,what\nA,14.5,roots\n"),
    ]);
    let seen = &record(&outcome).camera[0];
    assert!(seen.cover_least.is_some(), "{seen:#?}");
    let said = aslaid::sheet::content::depths::sentences(record(&outcome)).join(" ");
    assert!(
        said.contains("No depth is known along run A from 0+011.50 to 0+015.00"),
        "{said}"
    );
}

/// A branch a few metres beyond the marks of its run is a matter of locating more; one 50 m beyond is doubted.
#[test]
fn a_branch_far_beyond_its_run_is_doubted() {
    for (joint, doubted) in [(18.0, false), (62.0, true)] {
        let outcome = branched(joint, false);
        let far: Vec<&Finding> = outcome
            .findings
            .iter()
            .filter(|f| f.code == Code::OffLine)
            .collect();
        assert_eq!(far.len(), usize::from(doubted), "{joint}: {far:#?}");
        let notes = &record(&outcome).notes;
        let noted = notes.iter().any(|note| note.text.contains("no junction"));
        assert_eq!(noted, !doubted, "{joint}");
    }
}

/// A mark that was located and exposed: the exposure is where its place comes from, and the two places check each other.
#[test]
fn an_exposed_mark_names_the_row_that_it_comes_from() {
    let marks = "run,mark,role,easting,northing,ground,depth_1,depth_2,invert_depth\n\
        A,A1,,500000,5700000,50,1.5,1.5,\nA,A2,,500004,5700000,50,1.6,1.6,\n\
        A,A2,exposed,500004.05,5700000.04,50,,,1.66\nA,A3,,500008,5700000,50,1.7,1.7,\n";
    let toml = settings("exposed", "", "");
    let outcome = computed(&[("job.toml", &toml), ("marks.csv", marks)]);
    let record = record(&outcome);
    let mark = |name: &str| record.marks.iter().find(|mark| mark.mark == name).unwrap();
    assert_eq!(mark("A2").source, "marks.csv:4");
    assert_eq!(mark("A2").further_sources, ["marks.csv:3"]);
    assert!((mark("A2").easting - 500_004.05).abs() < 1e-6);
    assert_eq!(mark("A1").source, "marks.csv:2");
    let unchecked = |name: &str| {
        let mut of = outcome
            .findings
            .iter()
            .filter(|f| f.code == Code::Unchecked);
        of.any(|f| f.mark.as_deref() == Some(name))
    };
    assert!(unchecked("A1") && !unchecked("A2") && unchecked("A3"));
    assert!(outcome.findings.iter().any(|f| f.code == Code::Exposure));
}
