//! Bends that no mark lies on are found where end points show them, and nowhere else.

use super::coverage::{assert_complete, assert_share};
use crate::simulation::run::{jobs, run_many};
use crate::simulation::scenario::{Bend, EndPoints, Method, Scenario};

fn with_ends() -> Scenario {
    Scenario::default()
        .ends(EndPoints::Rows)
        .methods(vec![Method::ThreeTies, Method::Rtk])
}

#[test]
fn bends_between_marks_with_end_points_are_inferred_within_their_ellipses() {
    let bent = |degrees| {
        with_ends().bends(vec![Bend {
            degrees,
            located: false,
        }])
    };
    let scenarios = [
        bent(45.0),
        bent(90.0).upstream(true),
        bent(45.0).upstream(true),
        bent(90.0),
    ];
    let coverage = run_many(&scenarios, 3, jobs(200));
    println!("{coverage}");
    assert_complete(&coverage);
    assert_share(&coverage, "bend found", (0.90, 1.0), 190);
    assert_share(&coverage, "bend ellipse", (0.90, 1.0), 150);
    for degrees in [45, 90] {
        let found = coverage.of("bend found", &format!("{degrees} degrees"));
        assert!(
            found.total >= 90 && found.share() >= 0.9,
            "{degrees}°: {found}"
        );
    }
}

#[test]
fn straight_runs_are_given_no_bends() {
    let plain = with_ends();
    let scenarios = [
        plain.upstream(true),
        plain.ends(EndPoints::None),
        plain.ends(EndPoints::Distances).grade((0.005, 0.25)),
        plain,
    ];
    let coverage = run_many(&scenarios, 4, jobs(200));
    println!("{coverage}");
    assert_complete(&coverage);
    assert_share(&coverage, "bend where there is none", (0.0, 0.01), 1000);
}
