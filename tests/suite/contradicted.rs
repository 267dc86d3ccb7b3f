//! Figures that others in the same job contradict, and those that can't be: each is told where it stands, and the sound twin is not.

use aslaid::findings::{Code, Finding, Level};
use aslaid::pipeline::Outcome;

use crate::common::{computed, settings};

fn toml() -> String {
    settings(
        "contradicted",
        "vertical = \"NHN\"\nheight = \"50 m\"\ngeoid_separation = \"46 m\"",
        "lens_to_transmitter = \"0.3 m\"\nantenna_height = \"2 m\"",
    )
}
const CONTROL: &str = "point,easting,northing\nP1,500000,5700000\nP2,500020,5700000\nP3,500010,5700015\nCO,500001,5700006\n";
const HEADING: &str = "run,mark,push,counter,baseline,station,offset,latitude,longitude,height,fix,ground,depth_1,depth_2,fitting\n";
/// Along a line 6 m north of P1>P2, 4 m apart.
const MARKS: &str = "\
A,A1,N,3.3,P1>P2,4,-6,,,,,50.00,1.50,1.52,
A,A2,N,7.3,P1>P2,8,-6,,,,,50.00,1.58,1.60,
A,A3,N,11.3,P1>P2,12,-6,,,,,50.00,1.66,1.68,
A,A4,N,15.3,P1>P2,16,-6,,,,,50.00,1.74,1.76,
";
const PUSHES: &str = "push,run,pushed,counter_at_start,start\nN,A,downstream,0,CO\n";

#[derive(Clone)]
struct Job {
    toml: String,
    control: String,
    marks: String,
    pushes: String,
}

/// Puts a text in another's place, wherever that stands.
fn swap(file: &mut String, old: &str, new: &str) {
    assert!(file.contains(old), "{old}");
    *file = file.replace(old, new);
}

impl Job {
    fn sound() -> Self {
        Self {
            toml: toml(),
            control: CONTROL.to_owned(),
            marks: format!("{HEADING}{MARKS}"),
            pushes: PUSHES.to_owned(),
        }
    }

    fn toml(mut self, old: &str, new: &str) -> Self {
        swap(&mut self.toml, old, new);
        self
    }

    fn control(mut self, old: &str, new: &str) -> Self {
        swap(&mut self.control, old, new);
        self
    }

    fn marks(mut self, old: &str, new: &str) -> Self {
        swap(&mut self.marks, old, new);
        self
    }

    fn pushes(mut self, old: &str, new: &str) -> Self {
        swap(&mut self.pushes, old, new);
        self
    }

    fn run(&self) -> Outcome {
        computed(&[
            ("job.toml", &self.toml),
            ("control.csv", &self.control),
            ("marks.csv", &self.marks),
            ("pushes.csv", &self.pushes),
        ])
    }

    /// What is told above a note.
    fn told(&self) -> Vec<Finding> {
        let findings = self.run().findings;
        findings
            .into_iter()
            .filter(|f| f.level > Level::Note)
            .collect()
    }

    /// The only thing that is told of a code has these parts.
    fn tells(&self, code: Code, parts: &[&str]) {
        let told = self.told();
        let of: Vec<&Finding> = told.iter().filter(|f| f.code == code).collect();
        assert_eq!(of.len(), 1, "{code:?} of {told:#?}");
        for part in parts {
            assert!(of[0].message.contains(part), "{part} in {}", of[0].message);
        }
    }
}

#[test]
fn the_sound_twin_is_silent() {
    let told = Job::sound().told();
    assert!(told.is_empty(), "{told:#?}");
}

#[test]
fn pipes_that_cannot_be() {
    let job = Job::sound();
    let axis = job.clone().toml("\"0.05 m\"", "\"400 mm\"");
    axis.tells(
        Code::Implausible,
        &["axis_above_invert", "0.400 m", "0.150 m", "inside the pipe"],
    );
    let wall = job.clone().toml("\"4 mm\"", "\"3 ft\"");
    wall.tells(Code::Implausible, &["wall", "half of the bore"]);
    let lens = job.clone().toml("\"0.3 m\"", "\"25 m\"");
    lens.tells(Code::Implausible, &["lens_to_transmitter", "too much"]);
    let antenna = job
        .clone()
        .toml("antenna_height = \"2 m\"", "antenna_height = 20");
    antenna.tells(Code::Implausible, &["antenna_height", "too much"]);
    let geoid = job.toml("\"46 m\"", "\"460 m\"");
    geoid.tells(
        Code::Implausible,
        &["geoid_separation", "nowhere so far apart"],
    );
}

#[test]
fn limits_that_switch_a_check_off() {
    for (setting, part) in [
        ("[limits]\nalarm = 95\n", "3.29"),
        ("[limits]\npair = 10\n", "10 % are 0.1"),
        ("[accuracy]\ncounter_fraction = 1\n", "1 % are 0.01"),
    ] {
        let job = Job::sound().toml("[[run]]", &format!("{setting}[[run]]"));
        job.tells(Code::Implausible, &[part]);
    }
    let coarse = Job::sound().toml(
        "[[run]]",
        "[limits]\nalarm = 3\npair = 0.2\n[accuracy]\ncounter_fraction = 0.05\n[[run]]",
    );
    assert!(coarse.told().is_empty());
}

#[test]
fn a_line_without_length() {
    let job = Job::sound().control("P2,500020,5700000", "P2,500000,5700000");
    let found = job.run().findings;
    let of: Vec<&Finding> = found
        .iter()
        .filter(|f| f.code == Code::Unreadable)
        .collect();
    assert_eq!(of.len(), 4, "{found:#?}");
    assert!(
        of[0]
            .message
            .contains("P1 and P2 have the same coordinates"),
        "{}",
        of[0].message
    );
}

#[test]
fn ground_that_another_figure_contradicts() {
    let site = Job::sound().toml("height = \"50 m\"", "height = \"500 m\"");
    site.tells(Code::Implausible, &["ground lies at 50.000 m", "500.000 m"]);
    // 98 m above the ellipsoid are 50 above the geoid, under a pole of 2 m.
    let gnss = |height: [f64; 4]| {
        let place = |k: usize| {
            let longitude = 9.000_057_7 + 0.000_057_66 * k as f64;
            format!("51.451237,{longitude:.8},{:.2},rtk,50.00", height[k])
        };
        let job = Job::sound();
        (0..4).fold(job, |job, k| {
            let row = MARKS.lines().nth(k).expect("a row");
            let (head, tail) = (
                row.split(",P1>P2").next().expect("a head"),
                &row[row.find("50.00").expect("a ground") + 5..],
            );
            job.marks(row, &format!("{head},,,,{}{tail}", place(k)))
        })
    };
    let sound = gnss([98.03, 97.98, 98.01, 98.05]).told();
    assert!(
        sound.iter().all(|f| f.code != Code::Implausible),
        "{sound:#?}"
    );
    gnss([98.03, 99.98, 98.01, 98.05]).tells(
        Code::Implausible,
        &["A2", "`ground` says 50.000 m", "51.980 m", "Check both"],
    );
    gnss([96.03, 95.98, 96.01, 96.05]).tells(
        Code::Implausible,
        &["A1", "The same on 4 rows", "antenna_height"],
    );
}

/// A counter in feet in a job in metres, and one that reads ten times too little: told once, by its scale, and not leg by leg.
#[test]
fn a_counter_of_another_scale() {
    let scaled = |factor: f64| {
        [3.3_f64, 7.3, 11.3, 15.3].iter().rev().fold(
            Job::sound().toml("\"0.3 m\"", "\"0.1 m\""),
            |job, counter| {
                job.marks(
                    &format!(",N,{counter},"),
                    &format!(",N,{:.2},", counter * factor),
                )
            },
        )
    };
    let feet = scaled(1.0 / 0.3048).run();
    let of = |outcome: &Outcome, code: Code| {
        outcome
            .findings
            .iter()
            .filter(|f| f.code == code)
            .cloned()
            .collect::<Vec<_>>()
    };
    let told = of(&feet, Code::PathTooShort);
    assert_eq!(told.len(), 1, "{:#?}", feet.findings);
    assert!(
        told[0].message.contains("3 legs")
            && told[0].message.contains("3.28 times")
            && told[0].message.contains("feet"),
        "{}",
        told[0].message
    );
    let tenth = scaled(0.1).run();
    let told: Vec<Finding> = of(&tenth, Code::PathTooLong)
        .into_iter()
        .filter(|f| f.message.starts_with("On each"))
        .collect();
    assert_eq!(told.len(), 1, "{:#?}", tenth.findings);
    assert!(
        told[0].message.contains("decimal point"),
        "{}",
        told[0].message
    );
}

#[test]
fn an_opening_that_is_too_far() {
    let far = Job::sound().control("CO,500001", "CO,499921");
    far.tells(
        Code::PathTooLong,
        &[
            "A1 lies 83.0",
            "from CO, where push N started",
            "on 3.000 m of cable",
        ],
    );
    let start = Job::sound().pushes("downstream,0", "downstream,2.8");
    start.tells(Code::PathTooLong, &["counter_at_start"]);
}

#[test]
fn the_main_lies_downstream() {
    let depths = |job: Job| {
        ["1.50,1.52", "1.58,1.60", "1.66,1.68", "1.74,1.76"]
            .iter()
            .fold(job, |job, depth| job.marks(depth, ","))
    };
    let main = "main connection";
    let sound = depths(Job::sound()).marks(
        "A,A4,N,15.3,P1>P2,16,-6,,,,,50.00,,,",
        &format!("A,A4,N,15.3,P1>P2,16,-6,,,,,50.00,,,{main}"),
    );
    assert!(sound.told().is_empty(), "{:#?}", sound.told());
    let turned = sound
        .pushes("downstream", "upstream")
        .toml("\"downstream\"", "\"upstream\"");
    turned.tells(
        Code::AdverseGrade,
        &["A4, at the upper end of run A, is the main connection"],
    );
}

/// RTK positions without a datum in a grid whose datum is of old: its own would put them a hundred metres off, and in silence.
#[test]
fn no_correction_network_works_in_an_old_datum() {
    let toml = toml()
        .replace("25832", "27700")
        .replace("geoid_separation = \"46 m\"\n", "");
    let marks = "run,mark,counter,latitude,longitude,fix\nA,A1,3.3,51.5000000,-0.1000000,rtk\nA,A2,7.3,51.5000360,-0.1000000,rtk\n";
    let outcome = computed(&[("job.toml", &toml), ("marks.csv", marks)]);
    let told: Vec<&Finding> = outcome
        .findings
        .iter()
        .filter(|f| f.code == Code::GnssFix && f.level == Level::Warning)
        .collect();
    assert_eq!(told.len(), 1, "{:#?}", outcome.findings);
    assert!(
        told[0].message.contains("2 positions") && told[0].message.contains("WGS 84 is taken"),
        "{}",
        told[0].message
    );
    let record = outcome.record.expect("a record");
    // pyproj.Transformer.from_crs(4326, 27700, always_xy=True).transform(-0.1, 51.5), without its grids: 531979.293, 179606.909.
    let (east, north) = (record.marks[0].easting, record.marks[0].northing);
    assert!(
        (east - 531_979.293).abs() < 6.0 && (north - 179_606.909).abs() < 6.0,
        "{east} {north}"
    );
    let ellipse = record.marks[0].ellipse.expect("an ellipse");
    assert!(ellipse.semi_major_95 > 1.0, "{ellipse:?}");
    // In a datum of today nothing is said.
    let today = toml.replace("27700", "25830");
    let outcome = computed(&[("job.toml", &today), ("marks.csv", marks)]);
    assert!(
        outcome.findings.iter().all(|f| f.code != Code::GnssFix),
        "{:#?}",
        outcome.findings
    );
}

/// Tapes from three corners; a digit lost in one corner's easting.
#[test]
fn a_reference_that_no_two_tapes_can_have() {
    let heading =
        "run,mark,counter,tie_1_ref,tie_1,tie_2_ref,tie_2,tie_3_ref,tie_3,ground,depth_1,depth_2\n";
    let tape = |from: (f64, f64), to: (f64, f64)| (from.0 - to.0).hypot(from.1 - to.1) / 0.99959;
    let row = |k: usize| {
        let at = (4.0 + 4.0 * k as f64, 6.0);
        let ties = [
            ("P1", (0.0, 0.0)),
            ("P2", (20.0, 0.0)),
            ("P3", (10.0, 15.0)),
        ]
        .map(|(name, p)| format!("{name},{:.3}", tape(p, at)));
        let depth = 1.5 + 0.08 * k as f64;
        format!(
            "A,A{},{:.1},{},50.00,{depth:.2},{:.2}\n",
            k + 1,
            3.3 + 4.0 * k as f64,
            ties.join(","),
            depth + 0.02
        )
    };
    let mut job = Job::sound();
    job.marks = format!("{heading}{}", (0..4).map(row).collect::<String>());
    job.pushes = "push,run,pushed,counter_at_start,start\n".to_owned();
    assert!(job.told().is_empty(), "{:#?}", job.told());
    let lost = job.control("P3,500010", "P3,500910");
    let told = lost.told();
    let of: Vec<&Finding> = told
        .iter()
        .filter(|f| f.message.starts_with("Tapes from P3"))
        .collect();
    assert_eq!(of.len(), 1, "{told:#?}");
    assert_eq!(of[0].source.as_deref(), Some("control.csv:4"));
}

#[test]
fn a_baseline_that_leaves_the_town() {
    let far = Job::sound().control("P2,500020,5700000", "P2,500020,7500000");
    far.tells(
        Code::Implausible,
        &["baseline P1>P2 is 1800000.000 m long", "15.993 m"],
    );
}

/// The model has 2.9° east here; the other sign of 8 is 11° off.
#[test]
fn a_declination_of_the_wrong_sign() {
    let heading = "run,mark,counter,setup,bearing,distance,ground,depth_1,depth_2\n";
    let rows = "A,A1,3.3,P1,30,7,50.00,1.50,1.52\nA,A2,7.3,P1,50,10,50.00,1.58,1.60\n";
    let with = |declination: &str| {
        let mut job = Job::sound().toml(
            "geoid_separation",
            &format!("declination = \"{declination}\"\ngeoid_separation"),
        );
        job.marks = format!("{heading}{rows}");
        job.pushes = "push,run,pushed,counter_at_start,start\n".to_owned();
        job.told()
            .into_iter()
            .filter(|f| f.message.contains("World Magnetic Model"))
            .collect::<Vec<_>>()
    };
    assert!(with("3.5").is_empty());
    let wrong = with("-4");
    assert_eq!(wrong.len(), 1);
    assert!(
        wrong[0].message.contains("Is its sign wrong"),
        "{}",
        wrong[0].message
    );
}

/// Without heights: a depth whose decimal point stands one place off, among its neighbours.
#[test]
fn a_depth_that_is_ten_times_off() {
    let bare = |job: Job| job.marks(",50.00,", ",,");
    assert!(bare(Job::sound()).told().is_empty());
    let tenth = bare(Job::sound()).marks("1.66,1.68", "0.166,0.168");
    tenth.tells(Code::Implausible, &["A3", "decimal point"]);
}

/// What rounding hides is said to be just over.
#[test]
fn figures_that_print_alike() {
    let job = Job::sound()
        .toml("[[run]]", "[limits]\nmax_depth = \"1.7495 m\"\n[[run]]")
        .marks("1.74,1.76", "1.7495,1.7498");
    job.tells(
        Code::Implausible,
        &["1.750 m, just beyond the limit of 1.750 m"],
    );
}

/// A name that a run or a mark has as well: no id comes twice.
#[test]
fn ids_are_unique() {
    let mut job = Job::sound().control("P3,", "A,").marks("A,A3,", "A,c5,");
    job.marks = job.marks.replace("A,A4,", "A,c9,");
    let outcome = computed(&[
        ("job.toml", &job.toml),
        ("control.csv", &job.control),
        ("marks.csv", &job.marks),
        ("pushes.csv", &job.pushes),
        (
            "camera.csv",
            "run,push,counter,what\nA,N,5,joint\nA,N,9,roots\n",
        ),
    ]);
    let record = outcome.record.expect("a record");
    let marks = record.marks.iter().map(|mark| &mark.id);
    let others = record.camera.iter().map(|seen| &seen.id);
    let references = record.references.iter().map(|point| &point.id);
    let ids: Vec<&String> = record
        .runs
        .iter()
        .map(|run| &run.id)
        .chain(marks)
        .chain(others)
        .chain(references)
        .collect();
    let unique: std::collections::BTreeSet<&&String> = ids.iter().collect();
    assert_eq!(ids.len(), unique.len(), "{ids:?}");
    assert!(
        ids.iter().any(|id| id.ends_with("/A/c5 (camera)")),
        "{ids:?}"
    );
}

/// Of a compound system the horizontal part is taken, and that is said.
#[test]
fn heights_are_not_converted() {
    let job = Job::sound().toml("EPSG:25832", "EPSG:5555");
    let record = job.run().record.expect("a record");
    assert_eq!(record.frame.crs, "EPSG:25832");
    let said = |note: &&aslaid::record::model::Note| {
        note.text
            .contains("Of EPSG:5555 the horizontal part is taken")
    };
    assert_eq!(
        record.notes.iter().filter(said).count(),
        1,
        "{:?}",
        record.notes
    );
}

/// A metre too much on one ground height: the rise that it makes is told with it, one that a depth makes is not.
#[test]
fn a_rise_that_one_ground_makes() {
    let parts = ["Look first at the ground's height at A3", "1.0"];
    let ground = Job::sound().marks(",50.00,1.66,1.68", ",51.00,1.66,1.68");
    ground.tells(Code::AdverseGrade, &parts);
    let depth = Job::sound()
        .marks(",50.00,1.66,1.68", ",50.00,0.66,0.68")
        .told();
    assert!(
        depth.iter().any(|f| f.code == Code::AdverseGrade),
        "{depth:#?}"
    );
    assert!(
        depth.iter().all(|f| !f.message.contains(parts[0])),
        "{depth:#?}"
    );
}

/// One wrong coordinate of a point that site and grid both know: that point is named and no other, unless any of three may be it.
#[test]
fn a_wrong_common_point_is_named_and_no_other() {
    const AT: [(f64, f64); 4] = [(0.0, 0.0), (40.0, 3.0), (22.0, 31.0), (-12.0, 20.0)];
    let (s, c) = 0.6_f64.sin_cos();
    for count in [3, 4] {
        for wrong in 0..count {
            for column in 0..4 {
                let mut control = "point,x,y,easting,northing\n".to_owned();
                for (i, (e, n)) in AT.iter().take(count).enumerate() {
                    let mut cells = [
                        100.0 + e * c - n * s,
                        200.0 + e * s + n * c,
                        500_000.0 + e,
                        5_700_000.0 + n,
                    ];
                    if i == wrong {
                        cells[column] += 0.5;
                    }
                    let [x, y, e, n] = cells;
                    control += &format!("P{i},{x:.3},{y:.3},{e:.3},{n:.3}\n");
                }
                let mut marks =
                    "run,mark,tie_1_ref,tie_1,tie_2_ref,tie_2,tie_3_ref,tie_3\n".to_owned();
                for k in 0..4 {
                    let at = (5.0 + 4.0 * f64::from(k), 10.0 + f64::from(k));
                    let tape = |i: usize| (AT[i].0 - at.0).hypot(AT[i].1 - at.1);
                    marks += &format!(
                        "A,A{k},P0,{:.3},P1,{:.3},P2,{:.3}\n",
                        tape(0),
                        tape(1),
                        tape(2)
                    );
                }
                let toml = settings("common", "distances = \"grid\"", "");
                let outcome = computed(&[
                    ("job.toml", &toml),
                    ("control.csv", &control),
                    ("marks.csv", &marks),
                ]);
                let fits_badly =
                    |f: &&Finding| f.code == Code::GridFitResidual && f.level == Level::Warning;
                let named = outcome.findings.iter().filter(fits_badly);
                let named: Vec<_> = named.filter_map(|f| f.mark.as_deref()).collect();
                let point = format!("P{wrong}");
                let all = &outcome.findings;
                assert!(
                    named.contains(&point.as_str()),
                    "{count} {column}: {all:#?}"
                );
                // Of three points, two are left to hold the site, whichever is left out: only the tapes tell, and not always by enough.
                let first = all.iter().find(|f| f.code == Code::Blunder);
                let first = first.and_then(|f| f.mark.as_deref());
                let by_tapes = count == 3 && column > 1;
                assert!(!by_tapes || first == Some(&point), "{column}: {all:#?}");
                assert!(count == 3 || named.len() == 1, "{column}: {all:#?}");
            }
        }
    }
}
