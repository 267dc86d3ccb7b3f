//! Lays a pipe: draws legs, bends, marks, ground and depth from a scenario.

use super::pipe::{Pipe, Plan, Profile, Surface};
use super::rng::Rng;
use super::scenario::Scenario;
use super::survey::{AXIS_ABOVE_INVERT, DEEPEST};

/// Cable enters and the main lies so far from the outermost marks.
const BEYOND: (f64, f64) = (0.3, 0.9);

/// A laid pipe with its marks.
pub struct Layout {
    /// The pipe.
    pub pipe: Pipe,
    /// Stations of the marks, in the direction of flow.
    pub marks: Vec<f64>,
    /// Bends: station, degrees, located.
    pub bends: Vec<(f64, f64, bool)>,
}

/// Lays the main run, and the ground over it.
pub fn lay(scenario: &Scenario, height: f64, rng: &mut Rng) -> (Layout, Surface) {
    let grade = rng.between(scenario.grade);
    let (marks, bends) = stations(scenario, grade, rng);
    let length = marks[marks.len() - 1] + rng.between(BEYOND);
    let azimuth = std::f64::consts::TAU * rng.unit();
    let plan = plan(&bends, length, azimuth, rng);
    let fall = if scenario.ground_follows {
        grade
    } else {
        rng.between((-0.01, grade.min(0.02)))
    };
    let cross = if scenario.ground_follows {
        0.0
    } else {
        rng.between((-0.02, 0.02))
    };
    let rise = [
        -fall * azimuth.sin() + cross * azimuth.cos(),
        -fall * azimuth.cos() - cross * azimuth.sin(),
    ];
    let surface = Surface { height, rise };
    let start = height - rng.between(scenario.depth) - AXIS_ABOVE_INVERT;
    let belly = scenario.belly.map(|belly| (belly, 0.5 * length));
    (
        Layout {
            pipe: Pipe {
                plan,
                profile: Profile {
                    start,
                    grade,
                    belly,
                },
            },
            marks,
            bends,
        },
        surface,
    )
}

/// Marks' and bends' stations.
fn stations(scenario: &Scenario, grade: f64, rng: &mut Rng) -> (Vec<f64>, Vec<(f64, f64, bool)>) {
    let (least, most) = scenario.marks;
    let mut gaps: Vec<f64> = (1..least + rng.below(most - least + 1))
        .map(|_| rng.between(scenario.leg))
        .collect();
    let longest = (DEEPEST - scenario.depth.1) / (grade + 0.01);
    let length: f64 = gaps.iter().sum();
    if !scenario.ground_follows && length > longest {
        for gap in &mut gaps {
            *gap *= longest / length;
        }
    }
    // Every other gap at most has a bend, so that each has a straight leg to either side.
    let mut free: Vec<usize> = (1..gaps.len() - 1).step_by(2).collect();
    let mut chosen = Vec::new();
    for bend in &scenario.bends {
        if free.is_empty() {
            break;
        }
        let gap = free.swap_remove(rng.below(free.len()));
        if !bend.located {
            gaps[gap] = rng.between((4.0, 8.0));
        }
        chosen.push((gap, bend));
    }
    chosen.sort_by_key(|(gap, _)| *gap);
    let mut marks = vec![rng.between(BEYOND)];
    for gap in &gaps {
        marks.push(marks[marks.len() - 1] + gap);
    }
    let bends = chosen.into_iter().map(|(gap, bend)| {
        let station = if bend.located {
            marks[gap]
        } else {
            marks[gap] + rng.between((0.25, 0.75)) * gaps[gap]
        };
        (station, bend.degrees, bend.located)
    });
    let bends = bends.collect();
    (marks, bends)
}

fn plan(bends: &[(f64, f64, bool)], length: f64, azimuth: f64, rng: &mut Rng) -> Plan {
    let mut legs = Vec::new();
    let mut turns = Vec::new();
    let mut before = 0.0;
    for &(station, degrees, _) in bends {
        legs.push(station - before);
        turns.push(rng.sign() * degrees.to_radians());
        before = station;
    }
    legs.push(length - before);
    Plan::new([0.0, 0.0], azimuth, &legs, &turns)
}

/// Lays a branch that flows into the main run midway between two marks without a bend between them.
pub fn lay_branch(
    main: &Layout,
    surface: &Surface,
    scenario: &Scenario,
    rng: &mut Rng,
) -> (Layout, f64) {
    let straight = |gap: &&[f64]| {
        main.bends
            .iter()
            .all(|(at, ..)| *at < gap[0] - 1.0 || *at > gap[1] + 1.0)
    };
    let gaps: Vec<&[f64]> = main.marks.windows(2).filter(straight).collect();
    let gap = gaps[rng.below(gaps.len())];
    let meets = 0.5 * (gap[0] + gap[1]);
    let mut marks = vec![rng.between(BEYOND)];
    for _ in 0..2 + rng.below(2) {
        marks.push(marks[marks.len() - 1] + rng.between(scenario.leg).clamp(1.5, 3.0));
    }
    let length = marks[marks.len() - 1];
    let azimuth = main.pipe.plan.azimuth(meets) + rng.sign() * rng.between((0.7, 1.2));
    let [x, y] = main.pipe.plan.at(meets);
    let start = [x - length * azimuth.sin(), y - length * azimuth.cos()];
    let plan = Plan::new(start, azimuth, &[length], &[]);
    let end = main.pipe.profile.invert(meets);
    // A branch may not rise out of the ground.
    let most = (surface.at(start) - AXIS_ABOVE_INVERT - 0.4 - end) / length;
    let grade = rng.between(scenario.grade).min(most);
    let profile = Profile {
        start: end + grade * length,
        grade,
        belly: None,
    };
    (
        Layout {
            pipe: Pipe { plan, profile },
            marks,
            bends: Vec::new(),
        },
        meets,
    )
}

#[cfg(test)]
mod tests {
    use super::{lay, lay_branch};
    use crate::simulation::rng::Rng;
    use crate::simulation::scenario::{Bend, Scenario};

    #[test]
    fn pipes_stay_in_the_ground_and_bends_where_they_should() {
        let bends = vec![
            Bend {
                degrees: 90.0,
                located: false,
            },
            Bend {
                degrees: 45.0,
                located: true,
            },
        ];
        let scenario = Scenario {
            grade: (0.005, 0.25),
            bends,
            ..Scenario::default()
        };
        for seed in 0..200 {
            let mut rng = Rng::new(seed, 0);
            let (layout, surface) = lay(&scenario, 100.0, &mut rng);
            let (branch, meets) = lay_branch(&layout, &surface, &scenario, &mut rng);
            for laid in [&layout, &branch] {
                for &station in &laid.marks {
                    let depth =
                        surface.at(laid.pipe.plan.at(station)) - laid.pipe.profile.invert(station);
                    assert!((0.3..9.0).contains(&depth), "{seed}: {depth}");
                }
            }
            let [x, y] = layout.pipe.plan.at(meets);
            let [u, v] = branch.pipe.plan.at(branch.marks[branch.marks.len() - 1]);
            assert!((x - u).hypot(y - v) < 1e-9);
            for (station, degrees, located) in &layout.bends {
                let on_mark = layout
                    .marks
                    .iter()
                    .any(|mark| (mark - station).abs() < 1e-9);
                assert_eq!(on_mark, *located);
                let turn = layout.pipe.plan.azimuth(station + 1e-3)
                    - layout.pipe.plan.azimuth(station - 1e-3);
                let turn = turn.to_degrees().rem_euclid(360.0);
                assert!(
                    (turn - degrees).abs().min((360.0 - turn - degrees).abs()) < 1e-6,
                    "{turn}"
                );
            }
        }
    }
}
