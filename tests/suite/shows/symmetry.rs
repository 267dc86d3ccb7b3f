//! The same pipe told otherwise gives the same record.

use std::collections::BTreeMap;

use aslaid::pipeline::Outcome;
use aslaid::record::AsBuilt;
use aslaid::record::model::Mark;

use crate::simulation::book::Book;
use crate::simulation::mirror::{both_ways_from, from_the_other_end};
use crate::simulation::run::{compute, jobs};
use crate::simulation::scenario::{Bend, EndPoints, Method, Scenario};
use crate::simulation::survey::survey;
use crate::simulation::truth::Truth;

fn record(book: &Book) -> AsBuilt {
    let outcome = compute(book).expect("the job is computed");
    let first = outcome
        .findings
        .first()
        .map(|finding| finding.message.clone());
    assert!(!outcome.blocked(), "{first:?}");
    outcome.record.expect("a record")
}

/// Places of all marks, metres: easting, northing, invert.
fn places(record: &AsBuilt) -> BTreeMap<String, [f64; 3]> {
    let (metre, crs_metre) = (record.frame.unit.metres(), record.frame.crs_unit_metres);
    let place = |mark: &Mark| {
        let invert = mark.invert.expect("an invert");
        (
            mark.mark.clone(),
            [
                mark.easting * crs_metre,
                mark.northing * crs_metre,
                invert * metre,
            ],
        )
    };
    record.marks.iter().map(place).collect()
}

/// Vertices of the first run: names, and whether each is a mark.
fn order(record: &AsBuilt) -> Vec<Option<String>> {
    record.runs[0]
        .vertices
        .iter()
        .map(|vertex| vertex.mark.clone())
        .collect()
}

/// Both tell of the same marks, in the same order, within a tenth of a millimetre.
fn assert_same(one: &AsBuilt, other: &AsBuilt, what: &str) {
    let (places_one, places_other) = (places(one), places(other));
    assert!(
        places_one.len() >= 6,
        "{what}: only {} marks",
        places_one.len()
    );
    assert_eq!(places_one.len(), places_other.len(), "{what}");
    for (name, place) in &places_one {
        let other = places_other[name];
        let apart = place
            .iter()
            .zip(other)
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, f64::max);
        assert!(apart < 1e-4, "{what}: {name} is {apart} m from its twin");
    }
    assert_eq!(order(one), order(other), "{what}");
}

fn exact(method: Method, ends: EndPoints) -> Scenario {
    let bends = vec![Bend {
        degrees: 45.0,
        located: true,
    }];
    Scenario::default()
        .methods(vec![method])
        .ends(ends)
        .bends(bends)
        .tilts(true)
        .camera(3)
        .exact(true)
}

#[test]
fn pushed_from_the_other_end_with_everything_told_the_other_way_gives_the_same_transmitters() {
    let scenarios = [
        exact(Method::ThreeTies, EndPoints::Distances),
        exact(Method::Rtk, EndPoints::Rows),
        exact(Method::Baseline, EndPoints::Distances),
        exact(Method::Baseline, EndPoints::Rows),
        exact(Method::Baseline, EndPoints::None).upstream(true),
    ];
    for (seed, scenario) in scenarios.iter().enumerate() {
        let (book, _) = survey(scenario, 20 + seed as u64);
        let other = from_the_other_end(&book);
        assert_ne!(book.marks, other.marks);
        assert_same(&record(&book), &record(&other), &format!("job {seed}"));
    }
}

#[test]
fn one_cleanout_pushed_both_ways_with_the_counter_reset_is_one_clean_push() {
    for (seed, ends) in (30..).zip([EndPoints::None, EndPoints::Distances, EndPoints::Rows]) {
        let (book, _) = survey(&exact(Method::ThreeTies, ends), seed);
        let other = both_ways_from(&book, "A3");
        let (one, two) = (record(&book), record(&other));
        assert_same(&one, &two, &format!("{ends:?}"));
        let stations = |record: &AsBuilt| -> Vec<f64> {
            record.runs[0].vertices.iter().map(|v| v.station).collect()
        };
        for (a, b) in stations(&one).into_iter().zip(stations(&two)) {
            assert!((a - b).abs() < 1e-4, "{ends:?}: station {a} against {b}");
        }
    }
}

/// Mean error and its one-sigma of depths by the ends, metres, when the job says such a sensor height and it was 0.3 m.
fn depth_errors(told: f64) -> [f64; 2] {
    let scenario = Scenario::default()
        .ends(EndPoints::Distances)
        .readings(false)
        .sensor_height(0.3);
    let one = |job: usize| {
        let (mut book, truth) = survey(&scenario, 40 + job as u64);
        book.sensor_height = told;
        differences(&compute(&book), &truth)
    };
    let errors: Vec<f64> = (0..jobs(60)).flat_map(one).collect();
    let n = errors.len() as f64;
    assert!(n > 300.0, "only {n} depths by the ends");
    let mean = errors.iter().sum::<f64>() / n;
    let variance = errors
        .iter()
        .map(|error| (error - mean).powi(2))
        .sum::<f64>()
        / n;
    [mean, (variance / n).sqrt()]
}

fn differences(outcome: &Result<Outcome, String>, truth: &Truth) -> Vec<f64> {
    let record = outcome
        .as_ref()
        .expect("the job is computed")
        .record
        .as_ref()
        .expect("a record");
    let metre = record.frame.unit.metres();
    let of =
        |mark: &Mark| Some(mark.transmitter_depth? * metre - truth.marks.get(&mark.mark)?.depth);
    record.marks.iter().filter_map(of).collect()
}

#[test]
fn ends_found_above_the_ground_give_depths_without_bias() {
    let [mean, sigma] = depth_errors(0.3);
    println!(
        "mean error {:.1} mm, one-sigma {:.1} mm",
        1e3 * mean,
        1e3 * sigma
    );
    assert!(
        mean.abs() < 3.29 * sigma && mean.abs() < 0.02,
        "{mean} ± {sigma}"
    );
    let [untold, _] = depth_errors(0.0);
    assert!(
        untold > 0.25,
        "a sensor height that is not told must show: {untold}"
    );
}
