//! The simulator's errors add up to what the method says, from the field down to the written cell.

use crate::simulation::frame::UTM_32;
use crate::simulation::scenario::{Method, Scenario};
use crate::simulation::survey::{AXIS_ABOVE_INVERT, survey};

/// Root mean square of many errors, and how far chance moves it: one-sigma.
fn root_mean_square(errors: &[f64]) -> [f64; 2] {
    let n = errors.len() as f64;
    let mean = (errors.iter().map(|error| error * error).sum::<f64>() / n).sqrt();
    [mean, mean / (2.0 * n).sqrt()]
}

/// Level straight pipes 2 m deep, every mark by one position: what the positions and readings are off by.
fn errors(method: Method) -> [Vec<f64>; 3] {
    let level = Scenario::default()
        .methods(vec![method])
        .grade((0.0, 0.0))
        .depth((2.0, 2.0));
    let level = level.ground_follows(true).exact(true);
    let [mut along, mut across, mut deep] = [const { Vec::new() }; 3];
    for seed in 0..250 {
        let (book, truth) = survey(&level, seed);
        let (first, second) = (truth.marks["A1"].grid, truth.marks["A2"].grid);
        let (s, c) = (second[0] - first[0]).atan2(second[1] - first[1]).sin_cos();
        for row in &book.marks {
            let mark = &truth.marks[row.text("mark")];
            let place = match (row.number("longitude"), row.number("latitude")) {
                (Some(lon), Some(lat)) => UTM_32.forward([lon, lat]).expect("a projected system"),
                _ => [
                    row.number("easting").expect("e"),
                    row.number("northing").expect("n"),
                ],
            };
            let off = [0, 1].map(|i| (place[i] - mark.grid[i]) / truth.scale);
            along.push(off[0] * s + off[1] * c);
            across.push(off[0] * c - off[1] * s);
            let reading =
                0.5 * (row.number("depth_1").expect("d") + row.number("depth_2").expect("d"));
            let ground = row.number("ground").expect("ground");
            deep.push(ground - reading - AXIS_ABOVE_INVERT - mark.invert);
        }
    }
    [along, across, deep]
}

#[test]
fn places_and_inverts_are_off_by_the_stated_sigmas() {
    let placing = 0.05_f64.hypot(0.02 * 2.0);
    let unseen_tilt = 2.0 / 3.0 * 2.0 * 3.0_f64.to_radians().tan();
    let depth = 0.03_f64.hypot(0.04 * 2.0).hypot(0.02 * 2.0).hypot(0.02);
    for (method, measuring) in [
        (Method::Rtk, 0.02_f64),
        (Method::Grid, 0.02),
        (Method::Float, 0.25),
    ] {
        let [along, across, deep] = errors(method);
        assert!(along.len() > 1500);
        let stated = [
            ("along", &along, measuring.hypot(placing).hypot(unseen_tilt)),
            ("across", &across, measuring.hypot(placing)),
            ("invert", &deep, depth),
        ];
        for (what, errors, sigma) in stated {
            let [found, chance] = root_mean_square(errors);
            // The receiver's scale is shared by the marks of a job, which widens the chance a little.
            assert!(
                (found - sigma).abs() < 4.5 * chance,
                "{method:?} {what}: {found} for {sigma} ± {chance}"
            );
        }
    }
}
