//! The advice is true: the measurement that it names is added to the job's folder, the job is computed again, and the record
//! then states what was promised; and no other measurement that could be taken would have done better.

use aslaid::record::AsBuilt;
use aslaid::record::model::{Advice, Mark, Run};

pub mod job;
use crate::simulation::rng;

use job::{Job, ORIGIN, set};
use rng::Rng;

/// Values drawn anew move a linearised figure a little.
const TOLERANCE: f64 = 0.05;

fn of<'a>(record: &'a AsBuilt, concern: &str) -> Option<&'a Advice> {
    record
        .advice
        .iter()
        .find(|advice| advice.concern == concern)
}

fn mark<'a>(record: &'a AsBuilt, name: &str) -> &'a Mark {
    let found = record.marks.iter().find(|mark| mark.mark == name);
    found.expect("the mark")
}

fn semi_major(record: &AsBuilt, name: &str) -> f64 {
    mark(record, name)
        .ellipse
        .expect("an ellipse")
        .semi_major_95
}

fn invert_95(record: &AsBuilt, name: &str) -> f64 {
    mark(record, name).invert_95.expect("an invert")
}

fn index(name: &str) -> usize {
    name[1..].parse::<usize>().expect("A and a number") - 1
}

fn near(value: f64, promised: f64, what: &str) {
    let off = (value / promised - 1.0).abs();
    assert!(off < TOLERANCE, "{what}: {value} instead of {promised}");
}

/// The largest error at a mark that one of its measurements may make before it is likely found, as the record's own
/// redundancy numbers have it (Baarda 1968: 3.29 for the test, 0.84 for a power of 80 %).
fn unseen(record: &AsBuilt, name: &str) -> f64 {
    let own = record
        .measurements
        .iter()
        .filter(|m| m.kind != "ground" && m.points.iter().any(|point| point == name));
    own.map(|m| (3.290_53 + 0.841_62) * m.sigma / m.redundancy.sqrt())
        .fold(0.0, f64::max)
}

/// Every way of placing a mark better that a crew could still take: the folder with it, and its name in a sentence.
fn ways(job: &Job, mark: usize, rtk: bool, rng: &mut Rng) -> Vec<(String, Job)> {
    let mut ways = Vec::new();
    for reference in job.untaped(mark) {
        let mut with = job.clone();
        with.tape(reference, mark, rng);
        let name = format!(
            "A tape from {} to A{}",
            job.references[reference].0,
            mark + 1
        );
        ways.push((name, with));
    }
    if rtk {
        let mut with = job.clone();
        receive(&mut with, mark, rng);
        ways.push((format!("A GNSS position of A{}", mark + 1), with));
    }
    ways
}

/// Gives a mark a position by GNSS, with its error.
fn receive(job: &mut Job, mark: usize, rng: &mut Rng) {
    let crs = aslaid::crs::Crs::new("EPSG:26910", aslaid::units::LengthUnit::Metre).expect("a CRS");
    let (e, n) = job.places[mark];
    let place = (
        ORIGIN.0 + e + 0.02 * rng.normal(),
        ORIGIN.1 + n + 0.02 * rng.normal(),
    );
    let datum = aslaid::crs::Datum::OfCrs;
    let (lonlat, _) = crs.to_geographic(&datum, &[place]).expect("on the earth");
    let cells = &mut job.marks[mark];
    set(
        cells,
        "longitude",
        format!("{:.10}", lonlat[0].0.to_degrees()),
    );
    set(
        cells,
        "latitude",
        format!("{:.10}", lonlat[0].1.to_degrees()),
    );
    set(cells, "fix", "rtk");
}

/// Jobs of many shapes; in every other one a receiver is at hand.
fn jobs() -> impl Iterator<Item = (Job, bool, Rng)> {
    (0..16).map(|seed| {
        let (mut job, mut rng) = (Job::random(seed), Rng::new(seed, 2));
        let rtk = seed % 2 == 1;
        if rtk {
            receive(&mut job, 1, &mut rng);
        }
        (job, rtk, rng)
    })
}

#[test]
fn the_ellipse_shrinks_as_promised_and_by_nothing_else_more() {
    let mut given = 0;
    for (job, rtk, mut rng) in jobs() {
        let before = job.run();
        let Some(advice) = of(&before, "ellipse") else {
            continue;
        };
        given += 1;
        let (name, then) = (&advice.about, advice.then.expect("a figure"));
        near(
            advice.now.expect("a figure"),
            semi_major(&before, name),
            "now",
        );
        let now = semi_major(&before, name);
        // It is about the largest that anything would help: what is larger, nothing would.
        for larger in before
            .marks
            .iter()
            .filter(|mark| semi_major(&before, &mark.mark) > now)
        {
            let size = semi_major(&before, &larger.mark);
            for (way, with) in ways(&job, index(&larger.mark), rtk, &mut rng) {
                let after = semi_major(&with.run(), &larger.mark);
                assert!(
                    after > 0.9 * size * (1.0 - TOLERANCE),
                    "{way}: {size} to {after}"
                );
            }
        }
        let mut named = 0;
        for (way, with) in ways(&job, index(name), rtk, &mut rng) {
            let after = semi_major(&with.run(), name);
            if advice.text.starts_with(&way) {
                named += 1;
                near(after, then, &advice.text);
                assert!(after < 0.9 * now * (1.0 + TOLERANCE));
            } else {
                let text = &advice.text;
                assert!(
                    after > then * (1.0 - TOLERANCE),
                    "{way}: {after}, but {text}"
                );
            }
        }
        assert_eq!(named, 1, "{}", advice.text);
    }
    assert!(given >= 8, "only {given} of 16 jobs got advice");
}

#[test]
fn a_misreading_is_found_as_promised() {
    let mut given = 0;
    for (job, rtk, mut rng) in jobs() {
        let before = job.run();
        let Some(advice) = of(&before, "redundancy") else {
            continue;
        };
        given += 1;
        let (name, then) = (&advice.about, advice.then.expect("a figure"));
        let mut named = 0;
        for (way, with) in ways(&job, index(name), rtk, &mut rng) {
            let after = unseen(&with.run(), name);
            if advice.text.contains(&format!("{way} ")) {
                named += 1;
                near(after, then, &advice.text);
            } else {
                let text = &advice.text;
                assert!(
                    after > then * (1.0 - TOLERANCE),
                    "{way}: {after}, but {text}"
                );
            }
        }
        assert_eq!(named, 1, "{}", advice.text);
    }
    assert!(given >= 12, "only {given} of 16 jobs got advice");
}

/// Where every mark is taped from all its references, nothing is left to say.
#[test]
fn silent_where_nothing_would_help() {
    let (mut job, mut rng) = (Job::random(3), Rng::new(3, 2));
    for mark in 0..job.places.len() {
        for reference in job.untaped(mark) {
            job.tape(reference, mark, &mut rng);
        }
    }
    let record = job.run();
    assert!(record.advice.is_empty(), "{:#?}", record.advice);
}

/// A job whose fourth mark is changed in its depth or ground.
fn with_fourth(change: impl Fn(&mut job::Cells)) -> Job {
    let mut job = Job::random(5);
    change(&mut job.marks[3]);
    job
}

/// What the surface could still give at the fourth mark, as cells.
fn readings(job: &Job) -> Vec<(&'static str, Job)> {
    let with = |cells: &[(&str, &str)]| {
        let mut with = job.clone();
        for (column, value) in cells {
            set(&mut with.marks[3], column, value);
        }
        with
    };
    vec![
        ("Levelling the ground at A4", with(&[("ground", "100.03")])),
        (
            "A pair of depth readings at A4",
            with(&[("depth_1", "1.65"), ("depth_2", "1.66")]),
        ),
        (
            "A second pair of depth readings at A4",
            with(&[("depth_3", "1.63"), ("depth_4", "1.66")]),
        ),
        (
            "Tapes from A4 to both of its end points",
            with(&[("end_ahead", "1.17"), ("end_behind", "1.17")]),
        ),
    ]
}

/// Adds each reading whose cells are still empty; the named one keeps its promise, no other does better.
fn invert_promise(job: &Job, expected: &str) {
    let before = job.run();
    let advice = of(&before, "invert").expect("advice on an invert");
    assert!(advice.text.starts_with(expected), "{}", advice.text);
    assert_eq!(advice.about, "A4");
    assert_eq!(advice.now, mark(&before, "A4").invert_95);
    let then = advice.then.expect("a figure");
    for (what, with) in readings(job) {
        let overwrites = with.marks[3].len() == job.marks[3].len();
        if overwrites {
            continue;
        }
        let after = mark(&with.run(), "A4").invert_95;
        if what == expected {
            near(after.expect("an invert"), then, &advice.text);
        } else if let Some(after) = after {
            assert!(after > then * (1.0 - TOLERANCE), "{what}: {after}");
        }
    }
}

#[test]
fn inverts_as_promised() {
    let disagree = with_fourth(|cells| {
        set(cells, "depth_1", "1.4");
        set(cells, "depth_2", "1.9");
    });
    invert_promise(&disagree, "A second pair of depth readings at A4");
    // Between two others that were read, a further reading says no more than they do; at the end of a run it says all.
    let unread = with_fourth(|cells| cells.retain(|column, _| !column.starts_with("depth")));
    assert!(of(&unread.run(), "invert").is_none_or(|advice| advice.about != "A4"));
    let mut short = unread.clone();
    short.marks.truncate(4);
    short.places.truncate(4);
    let text = of(&short.run(), "invert").expect("advice").text.clone();
    let end = "Tapes from A4 to both of its end points";
    let pair = "A pair of depth readings at A4";
    invert_promise(&short, if text.starts_with(end) { end } else { pair });
    let mut bare = Job::random(5);
    for cells in &mut bare.marks {
        cells.remove("ground");
    }
    // No ground anywhere: the first mark's is as good as any.
    let advice = of(&bare.run(), "invert").expect("advice").clone();
    assert!(advice.text.starts_with("Levelling the ground at A1"));
    set(&mut bare.marks[0], "ground", "100.00");
    near(
        invert_95(&bare.run(), "A1"),
        advice.then.expect("a figure"),
        "levelled",
    );
}

/// A ground between two others, far from both, is worth levelling.
#[test]
fn a_ground_between_others_is_levelled_as_promised() {
    let mut job = Job::random(5);
    for i in [2, 3, 4] {
        job.marks[i].remove("ground");
    }
    for cells in &mut job.marks {
        for column in ["depth_1", "depth_2"] {
            set(cells, column, "0.4");
        }
    }
    invert_promise(&job, "Levelling the ground at A4");
}

/// Forty feet at six feet deep, asked whether it falls by 2 %.
fn forty_feet(marks: usize, grade: f64) -> Job {
    let mut job = Job::random(8);
    "min_grade = \"2 %\"\n".clone_into(&mut job.extra);
    let mut rng = Rng::new(8, 3);
    job.places.clear();
    job.marks.clear();
    for i in 0..marks {
        let at = 12.2 * i as f64 / (marks - 1) as f64;
        job.places.push((8.0 + at, 0.0));
        let mut cells = job::Cells::new();
        set(&mut cells, "mark", format!("A{}", i + 1));
        set(&mut cells, "counter", 0.5 + at);
        set(&mut cells, "ground", "100.00");
        for column in ["depth_1", "depth_2"] {
            set(&mut cells, column, format!("{:.4}", 1.83 + grade * at));
        }
        job.marks.push(cells);
        for reference in job.untaped(i) {
            job.tape(reference, i, &mut rng);
        }
    }
    job
}

fn grade_95(record: &AsBuilt) -> (f64, f64) {
    let run: &Run = &record.runs[0];
    (run.grade.expect("a grade"), run.grade_95.expect("a bound"))
}

#[test]
fn what_the_surface_cant_answer() {
    let mut job = forty_feet(2, 0.028);
    let before = job.run();
    let advice = of(&before, "grade").expect("the question is open");
    let (_, now) = grade_95(&before);
    assert!((advice.now.expect("a figure") - now).abs() < 1e-9);
    assert!(advice.text.contains("can't prove"), "{}", advice.text);
    assert!(advice.text.contains("Expose both ends"), "{}", advice.text);
    // All that the surface could add does not tell: a mark between, with readings and ground.
    let (grade, bound) = grade_95(&forty_feet(3, 0.028).run());
    assert!((grade - 2.0).abs() < bound, "{grade} ± {bound}");
    // Exposed at both ends, where the paint is.
    for i in 0..2 {
        let mut cells = job::Cells::new();
        set(&mut cells, "mark", format!("A{}", i + 1));
        set(&mut cells, "role", "exposed");
        set(&mut cells, "ground", "100.00");
        set(
            &mut cells,
            "invert_depth",
            format!("{:.4}", 1.87 + 0.028 * 12.2 * f64::from(i)),
        );
        job.marks.push(cells);
    }
    let after = job.run();
    near(
        grade_95(&after).1,
        advice.then.expect("a figure"),
        &advice.text,
    );
    assert!(of(&after, "grade").is_none(), "it falls by 2.8 %: told");
}

/// The same question where more readings would tell, and where it is told already.
#[test]
fn what_the_surface_can_answer() {
    let mut open = None;
    for thousandths in 20..60 {
        let grade = f64::from(thousandths) / 1000.0;
        let Some(advice) = of(&forty_feet(4, grade).run(), "grade").cloned() else {
            break;
        };
        open = Some((grade, advice));
    }
    let (grade, advice) = open.expect("near 2 % it is open");
    let text = &advice.text;
    assert!(text.contains("A further mark between"), "{text}");
    assert!(
        of(&forty_feet(4, grade + 0.001).run(), "grade").is_none(),
        "told already"
    );
    // A hair below, no single mark would tell, but one in every gap.
    let all = of(&forty_feet(4, grade - 0.002).run(), "grade").cloned();
    let text = all.expect("open").text;
    assert!(text.contains("between each two neighbours"), "{text}");
    let promised = text
        .split("± ")
        .nth(2)
        .and_then(|rest| rest.split(' ').next());
    let promised: f64 = promised.expect("a bound").parse().expect("a figure");
    let after = forty_feet(7, grade - 0.002).run();
    near(grade_95(&after).1, promised, &text);
    assert!(of(&after, "grade").is_none());
    // Far below nothing from the surface would, and at 2.1 % not even an exposure.
    let near_least = of(&forty_feet(4, 0.021).run(), "grade")
        .cloned()
        .expect("open");
    assert!(
        near_least.text.ends_with("which would still not tell."),
        "{}",
        near_least.text
    );
    let mut unasked = forty_feet(2, 0.028);
    unasked.extra = String::new();
    assert!(of(&unasked.run(), "grade").is_none(), "nothing was asked");
}
