//! Grades along the pipe, not along the line drawn through marks that scatter.

use super::bends::traced;
use super::build::{Site, row, run};
use aslaid::job::model::{Role, Stream};
use aslaid::profile::{Profile, profiles};

const GRADE: f64 = 0.03;

/// A run to the north on one grade, with marks at stations, each so far to the right of the pipe, read without an error.
fn profile(marks: &[(f64, f64)]) -> Profile {
    let mut site = Site::new(vec![run("A", Stream::Down)]);
    // Scatter of placing that has nothing of the depth in it.
    site.job.accuracy.mark = 0.1;
    site.job.accuracy.mark_fraction = 0.0;
    for (index, &(station, right)) in marks.iter().enumerate() {
        let mut mark = row(&format!("A{index}"), Role::Centre);
        mark.counter = Some(1.25 + station);
        let depth = 1.5 + GRADE * station;
        mark.readings = [Some(depth), Some(depth), None, None];
        site.add(mark, (right, station), 0.0, Some(100.0));
    }
    let traced = traced(&site);
    profiles(site.inputs(), &traced).swap_remove(0)
}

/// Marks to the left and right of the pipe by as much as they scatter on the average: a leg across of 0.14 m makes 1 m of drawn line 1 % longer,
/// and a grade along that line 1 % flatter.
#[test]
fn marks_that_scatter_make_no_grade_flatter() {
    let aside = 0.1 / 2.0_f64.sqrt();
    let marks: Vec<(f64, f64)> = (0..41)
        .map(|i| (f64::from(i), if i % 2 == 0 { aside } else { -aside }))
        .collect();
    let profile = profile(&marks);
    let grade = profile.line.unwrap().grade;
    assert!((grade / GRADE - 1.0).abs() < 0.002, "{grade}");
    for leg in &profile.legs {
        let grade = leg.grade.value;
        assert!((grade / GRADE - 1.0).abs() < 0.002, "{grade}");
    }
    // The line as drawn keeps its length, but for what the crossline's shift grows with the depth.
    assert!((profile.length.unwrap().value - 40.0 * 1.02_f64.sqrt()).abs() < 0.04);
}

/// Two marks closer than their scatter: little is known of the grade, but not which way it goes.
#[test]
fn a_short_leg_is_not_turned_round() {
    for apart in [0.03, 0.1, 0.3] {
        let grade = profile(&[(0.0, 0.0), (apart, 0.0)]).line.unwrap().grade;
        assert!(
            grade > 0.9 * GRADE && grade < 2.2 * GRADE,
            "{apart}: {grade}"
        );
    }
}

/// The way goes past marks that were found again, not to and fro between them.
#[test]
fn marks_found_again_on_one_spot_make_no_grade_flatter() {
    let mut marks = vec![(0.0, 0.0)];
    marks.extend((0..10).map(|i| (5.0, if i % 2 == 0 { 0.1 } else { -0.1 })));
    marks.push((10.0, 0.0));
    let profile = profile(&marks);
    // Drawn, the run goes to and fro over 1.8 m more.
    assert!(profile.length.unwrap().value > 11.7);
    let grade = profile.line.unwrap().grade;
    assert!((grade / GRADE - 1.0).abs() < 0.01, "{grade}");
}
