//! The least-squares core against certified regression problems (`fixtures/reference/nist`): the same Gauss–Newton that
//! adjusts networks, with numeric derivatives.

use std::fs;

use aslaid::math::adjust::{Model, Row, Values, adjust};
use aslaid::math::solution::Solution;

type Function = fn(&[f64], f64) -> f64;

/// A certified problem.
struct Problem {
    function: Function,
    starts: [Vec<f64>; 2],
    certified: Vec<f64>,
    deviations: Vec<f64>,
    squares: f64,
    data: Vec<(f64, f64)>,
    /// Scale of the errors: the residual standard deviation as certified.
    sigma: f64,
}

impl Model for Problem {
    fn nodes(&self) -> usize {
        1
    }
    fn width(&self) -> usize {
        self.certified.len()
    }
    fn shared(&self) -> usize {
        0
    }
    fn rows(&self) -> usize {
        self.data.len()
    }
    fn row(&self, i: usize, values: &Values<'_>, row: &mut Row) {
        let (y, x) = self.data[i];
        let b: Vec<f64> = (0..self.width() as u32).map(|k| values.get(k)).collect();
        row.sigma = self.sigma;
        row.misclosure = y - (self.function)(&b, x);
        for k in 0..b.len() {
            let h = 1e-4 * b[k].abs().max(1e-5);
            let at = |step: f64| {
                let mut moved = b.clone();
                moved[k] += step;
                (self.function)(&moved, x)
            };
            let slope = (8.0 * (at(h) - at(-h)) - (at(2.0 * h) - at(-2.0 * h))) / (12.0 * h);
            row.terms
                .push((k as u32, if slope.is_finite() { slope } else { 0.0 }));
        }
    }
}

fn numbers(line: &str) -> Vec<f64> {
    line.split_whitespace()
        .filter_map(|word| word.parse().ok())
        .collect()
}

fn read(name: &str, function: Function) -> Problem {
    let path = format!(
        "{}/fixtures/reference/nist/{name}.dat",
        env!("CARGO_MANIFEST_DIR")
    );
    let text = fs::read_to_string(path).expect("a fixture");
    let lines: Vec<&str> = text.lines().collect();
    let rows: Vec<Vec<f64>> = lines
        .iter()
        .filter(|line| line.trim_start().starts_with('b') && line.contains('='))
        .map(|line| numbers(line.split_once('=').expect("an equals sign").1))
        .filter(|row| row.len() == 4)
        .collect();
    let after = |head: &str| {
        let line = lines
            .iter()
            .find(|line| line.trim_start().starts_with(head))
            .expect("a line");
        *numbers(line).last().expect("a number")
    };
    let data = lines[60..]
        .iter()
        .map(|line| numbers(line))
        .filter(|row| row.len() == 2);
    Problem {
        function,
        starts: [0, 1].map(|k| rows.iter().map(|row| row[k]).collect()),
        certified: rows.iter().map(|row| row[2]).collect(),
        deviations: rows.iter().map(|row| row[3]).collect(),
        squares: after("Residual Sum of Squares:"),
        data: data.map(|row| (row[0], row[1])).collect(),
        sigma: after("Residual Standard Deviation:"),
    }
}

/// Digits that two figures have in common.
fn digits(got: f64, want: f64) -> f64 {
    -((got - want).abs() / want.abs()).max(1e-16).log10()
}

/// Digits that parameters, their standard deviations and the sum of squares all share with the certified ones; `None` if
/// the solution itself says that it did not get there.
fn agreement(problem: &Problem, start: usize) -> Option<f64> {
    let solution: Solution = adjust(problem, &problem.starts[start], &|_| false);
    if !solution.failed.is_empty() || !solution.loose.is_empty() {
        return None;
    }
    let mut least = digits(solution.squares * problem.sigma.powi(2), problem.squares);
    for k in 0..problem.certified.len() as u32 {
        let (b, d) = (
            problem.certified[k as usize],
            problem.deviations[k as usize],
        );
        least = least.min(digits(solution.values[k as usize], b));
        least = least.min(digits(solution.covariance(k, k).sqrt(), d));
    }
    Some(least)
}

#[test]
fn certified_values_are_met_or_the_failure_is_said() {
    let problems: [(&str, Function); 8] = [
        ("Misra1a", |b, x| b[0] * (1.0 - (-b[1] * x).exp())),
        ("DanWood", |b, x| b[0] * x.powf(b[1])),
        ("BoxBOD", |b, x| b[0] * (1.0 - (-b[1] * x).exp())),
        ("Eckerle4", |b, x| {
            b[0] / b[1] * (-0.5 * ((x - b[2]) / b[1]).powi(2)).exp()
        }),
        ("MGH09", |b, x| {
            b[0] * (x * x + x * b[1]) / (x * x + x * b[2] + b[3])
        }),
        ("MGH17", |b, x| {
            b[0] + b[1] * (-x * b[3]).exp() + b[2] * (-x * b[4]).exp()
        }),
        ("Rat43", |b, x| {
            b[0] / (1.0 + (b[1] - b[2] * x).exp()).powf(1.0 / b[3])
        }),
        ("Thurber", |b, x| {
            (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1.0 + x * (b[4] + x * (b[5] + x * b[6])))
        }),
    ];
    for (name, function) in problems {
        let problem = read(name, function);
        for start in [0, 1] {
            let found = agreement(&problem, start);
            println!("{name} from start {}: {found:.1?} digits", start + 1);
            // The first starts of three problems lie so far off that Gauss–Newton ends on a plateau. Networks start
            // from constructed places; what matters is that it never ends there without saying so.
            let too_far = start == 0 && ["BoxBOD", "MGH09", "MGH17"].contains(&name);
            assert!(
                found.map_or(too_far, |digits| digits > 5.0),
                "{name} from start {}: {found:?}",
                start + 1
            );
        }
    }
}

#[test]
fn the_certified_line() {
    let path = format!(
        "{}/fixtures/reference/nist/Norris.dat",
        env!("CARGO_MANIFEST_DIR")
    );
    let text = fs::read_to_string(path).expect("a fixture");
    let data: Vec<(f64, f64)> = text
        .lines()
        .skip(60)
        .map(numbers)
        .filter(|row| row.len() == 2)
        .map(|row| (row[0], row[1]))
        .collect();
    assert_eq!(data.len(), 36);
    let line = Problem {
        function: |b, x| b[0] + b[1] * x,
        starts: [vec![0.0, 0.0], vec![1.0, 1.0]],
        certified: vec![-0.262_323_073_774_029, 1.002_116_818_020_45],
        deviations: vec![0.232_818_234_301_152, 0.429_796_848_199_937e-3],
        squares: 26.617_398_529_422_4,
        data,
        sigma: 0.884_796_396_144_373,
    };
    for start in [0, 1] {
        assert!(agreement(&line, start).is_some_and(|digits| digits > 8.0));
    }
}
