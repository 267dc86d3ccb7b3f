//! Ellipses, depths, inverts, grades and camera places hold the truth as often as they say.

use crate::simulation::coverage::Coverage;
use crate::simulation::frame::{BRITISH, LOCAL, LOCAL_FEET, TEXAS, UTAH, UTM_10, UTM_32};
use crate::simulation::run::{jobs, run_many};
use crate::simulation::scenario::{Bend, EndPoints, Heights, Method, Scenario, Unit};

/// Fails where nothing was computed, and where anything that has a truth is absent from a record.
pub fn assert_complete(coverage: &Coverage) {
    let failures = coverage
        .failures
        .iter()
        .chain(&coverage.missing)
        .take(5)
        .collect::<Vec<_>>();
    assert!(
        failures.is_empty(),
        "{} failures, {} missing: {failures:#?}",
        coverage.failures.len(),
        coverage.missing.len()
    );
}

/// Fails unless at least so many comparisons were made and the share inside lies between the limits.
pub fn assert_share(
    coverage: &Coverage,
    quantity: &'static str,
    (low, high): (f64, f64),
    least: usize,
) {
    let tally = coverage.all(quantity);
    assert!(
        tally.total >= least,
        "{quantity}: only {} comparisons",
        tally.total
    );
    assert!((low..=high).contains(&tally.share()), "{quantity}: {tally}");
}

const METHODS: [Method; 14] = [
    Method::ThreeTies,
    Method::TwoTies,
    Method::Baseline,
    Method::BaselineAndTie,
    Method::Angle,
    Method::MagneticBearing,
    Method::TrueBearing,
    Method::GridBearing,
    Method::Rtk,
    Method::Float,
    Method::Dgnss,
    Method::Log,
    Method::Grid,
    Method::Corners,
];

/// One scenario a method, over units, coordinate systems and both ways of pushing; then mixtures, uncertain control,
/// a site grid, an assumed grid.
fn every_method() -> Vec<Scenario> {
    let systems = [
        (&UTM_32, Unit::Metre),
        (&TEXAS, Unit::UsSurveyFoot),
        (&UTAH, Unit::Foot),
        (&BRITISH, Unit::Metre),
        (&UTM_10, Unit::Foot),
    ];
    let plain = Scenario::default();
    let single = METHODS.iter().enumerate().map(|(i, &method)| {
        let (crs, unit) = systems[i % systems.len()];
        plain
            .methods(vec![method])
            .crs(crs)
            .unit(unit)
            .upstream(i % 2 == 1)
    });
    let mixed = plain.class("mixed").methods(METHODS.to_vec());
    let taped = plain.methods(vec![
        Method::ThreeTies,
        Method::TwoTies,
        Method::Baseline,
        Method::BaselineAndTie,
        Method::Angle,
    ]);
    let further = [
        mixed.crs(&TEXAS).unit(Unit::UsSurveyFoot),
        mixed.upstream(true),
        taped
            .class("uncertain control")
            .uncertain_control(true)
            .upstream(true),
        taped.class("site grid").site_grid(true).crs(&BRITISH),
        taped
            .class("assumed grid")
            .crs(&LOCAL_FEET)
            .unit(Unit::Foot),
    ];
    single.chain(further).collect()
}

#[test]
fn ellipses_and_depths_of_every_method_hold_the_truth() {
    let coverage = run_many(&every_method(), 1, jobs(200));
    println!("{coverage}");
    assert_complete(&coverage);
    assert_share(&coverage, "ellipse", (0.93, 0.97), 1000);
    assert_share(&coverage, "depth", (0.93, 0.97), 1000);
    for method in METHODS {
        let heading = format!("{method:?}");
        assert!(
            coverage.of("ellipse", &heading).total >= 20,
            "{heading} was hardly compared"
        );
    }
}

/// Every knob turned, each with every grade from 0.5 to 25 %.
fn everything() -> Vec<Scenario> {
    let base = Scenario::default().grade((0.005, 0.25)).camera(4);
    let bent = |degrees, located| base.bends(vec![Bend { degrees, located }]);
    let mixed = base.methods(METHODS.to_vec());
    let taped = base.methods(vec![
        Method::ThreeTies,
        Method::BaselineAndTie,
        Method::Angle,
    ]);
    let satellites = base.methods(vec![Method::Rtk, Method::Log]);
    vec![
        mixed.class("plain"),
        mixed.class("upstream").upstream(true).crs(&UTM_10),
        mixed
            .class("survey feet")
            .crs(&TEXAS)
            .unit(Unit::UsSurveyFoot),
        base.class("ends taped").ends(EndPoints::Distances),
        taped
            .class("ends placed")
            .ends(EndPoints::Rows)
            .upstream(true),
        base.class("sensor height")
            .ends(EndPoints::Rows)
            .sensor_height(0.3),
        base.class("tilts given")
            .tilts(true)
            .ends(EndPoints::Distances),
        base.class("levels").heights(Heights::Levels),
        satellites.class("GNSS heights").heights(Heights::Gnss),
        satellites.class("logs in feet").crs(&UTAH).unit(Unit::Foot),
        base.class("sparse ground")
            .heights(Heights::Sparse)
            .upstream(true),
        base.class("exposures, checks").exposures(2).checks(2),
        base.class("branch").branch(true),
        taped.class("branch").branch(true).upstream(true),
        taped.class("site grid").site_grid(true).crs(&BRITISH),
        taped
            .class("assumed grid")
            .crs(&LOCAL)
            .uncertain_control(true),
        bent(45.0, true).class("located bend").ends(EndPoints::Rows),
        bent(90.0, false)
            .class("bend with ends")
            .ends(EndPoints::Rows),
        bent(45.0, false)
            .class("bend with ends")
            .ends(EndPoints::Rows)
            .upstream(true),
        bent(45.0, false).class("bend alone"),
    ]
}

#[test]
fn everything_on_holds_the_truth_at_every_grade() {
    let coverage = run_many(&everything(), 2, jobs(500));
    println!("{coverage}");
    assert_complete(&coverage);
    assert_share(&coverage, "ellipse", (0.93, 0.97), 3000);
    assert_share(&coverage, "invert", (0.93, 0.97), 3000);
    assert_share(&coverage, "leg grade", (0.93, 0.97), 2500);
    assert_share(&coverage, "camera", (0.92, 0.98), 1500);
    assert_share(&coverage, "check", (0.90, 1.0), 30);
    assert_share(&coverage, "junction", (0.90, 1.0), 40);
}
