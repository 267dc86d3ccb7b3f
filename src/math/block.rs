//! Covariances in the plane: 2 × 2 blocks, order east, north.

use std::sync::OnceLock;

use super::ellipse::Ellipse;
use super::stats::{ELLIPSE_95, NORMAL_95};

/// A 2 × 2 matrix, rows first.
pub type Block = [[f64; 2]; 2];

/// Nothing.
pub const ZERO: Block = [[0.0; 2]; 2];

/// The sum of two blocks.
#[must_use]
pub fn add(a: Block, b: Block) -> Block {
    [
        [a[0][0] + b[0][0], a[0][1] + b[0][1]],
        [a[1][0] + b[1][0], a[1][1] + b[1][1]],
    ]
}

/// A block times a number.
#[must_use]
pub fn scale(a: Block, k: f64) -> Block {
    [[a[0][0] * k, a[0][1] * k], [a[1][0] * k, a[1][1] * k]]
}

/// The same variance on both axes.
#[must_use]
pub const fn isotropic(variance: f64) -> Block {
    [[variance, 0.0], [0.0, variance]]
}

/// `a bᵀ`.
#[must_use]
pub fn outer(a: [f64; 2], b: [f64; 2]) -> Block {
    [[a[0] * b[0], a[0] * b[1]], [a[1] * b[0], a[1] * b[1]]]
}

/// Covariance of what is known to one sigma along an azimuth, radians, and to another square to it.
#[must_use]
pub fn lying(azimuth: f64, along: f64, square: f64) -> Block {
    let (s, c) = azimuth.sin_cos();
    add(
        scale(outer([s, c], [s, c]), along * along),
        scale(outer([c, -s], [c, -s]), square * square),
    )
}

/// The determinant.
#[must_use]
pub const fn determinant(c: Block) -> f64 {
    c[0][0] * c[1][1] - c[0][1] * c[1][0]
}

/// Ones on the diagonal.
pub const IDENTITY: Block = [[1.0, 0.0], [0.0, 1.0]];

/// `a b`.
#[must_use]
pub fn product(a: Block, b: Block) -> Block {
    let cell = |i: [f64; 2], j: usize| i[0] * b[0][j] + i[1] * b[1][j];
    [
        [cell(a[0], 0), cell(a[0], 1)],
        [cell(a[1], 0), cell(a[1], 1)],
    ]
}

/// `a C bᵀ`: a covariance after linear changes of both its points.
#[must_use]
pub fn carried(a: Block, c: Block, b: Block) -> Block {
    product(product(a, c), transposed(b))
}

/// `aᵀ C b`: the covariance of the components along two directions.
#[must_use]
pub fn between(c: Block, a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * (c[0][0] * b[0] + c[0][1] * b[1]) + a[1] * (c[1][0] * b[0] + c[1][1] * b[1])
}

/// `uᵀ C u`, never below zero: the variance of the component along a direction.
#[must_use]
pub fn along(c: Block, u: [f64; 2]) -> f64 {
    between(c, u, u).max(0.0)
}

/// The transposed block.
#[must_use]
pub const fn transposed(c: Block) -> Block {
    [[c[0][0], c[1][0]], [c[0][1], c[1][1]]]
}

/// Covariance of the difference of two points from their own and their joint covariance.
#[must_use]
pub fn difference(aa: Block, bb: Block, ab: Block) -> Block {
    add(add(aa, bb), scale(add(ab, transposed(ab)), -1.0))
}

/// Principal axes: one-sigma major, one-sigma minor, azimuth of the major axis from the second coordinate (north)
/// toward the first (east), radians in 0 to π.
#[must_use]
pub fn axes(c: Block) -> (f64, f64, f64) {
    let ellipse = Ellipse::of(c);
    (ellipse.major, ellipse.minor, ellipse.azimuth)
}

/// The 95 % ellipse: semi-major axis, semi-minor axis, azimuth of the major axis in radians.
#[must_use]
pub fn ellipse_95(c: Block) -> (f64, f64, f64) {
    let (major, minor, azimuth) = axes(c);
    (major * ELLIPSE_95, minor * ELLIPSE_95, azimuth)
}

const STEPS: usize = 128;

/// Radius over the larger one-sigma, for ratios 0, 1/128, … 1 of the smaller to the larger.
/// Each is computed when it is first asked for: all of them take longer than an everyday job.
static CIRCLE: [OnceLock<f64>; STEPS + 1] = [const { OnceLock::new() }; STEPS + 1];

/// Radius of the circle about the mean that holds 95 % of a bivariate normal distribution.
///
/// Not the root-sum-square times a constant, which is right only for a round distribution: interpolated (to 1e-5)
/// in a table of the exact radius by ratio of the axes.
#[must_use]
pub fn circle_95(c: Block) -> f64 {
    let (major, minor, _) = axes(c);
    if major <= 0.0 {
        return 0.0;
    }
    let at = (minor / major).clamp(0.0, 1.0) * STEPS as f64;
    let step = (at.floor() as usize).min(STEPS - 1);
    let radius =
        |step: usize| *CIRCLE[step].get_or_init(|| circle_of_ratio(step as f64 / STEPS as f64));
    let (low, high) = (radius(step), radius(step + 1));
    major * (low + (high - low) * (at - step as f64))
}

/// The exact radius for axes 1 and `ratio`.
///
/// In polar coordinates the probability outside radius r is the mean over φ of
/// `ratio / q(φ) · exp(−r² q(φ) / (2 ratio²))`, q = ratio² cos² φ + sin² φ: a smooth periodic integrand, for which equal steps
/// converge exponentially.
fn circle_of_ratio(ratio: f64) -> f64 {
    if ratio < 1e-9 {
        return NORMAL_95;
    }
    let angles = (16.0 / ratio).ceil().max(64.0) as usize;
    let all_q: Vec<f64> = (0..angles)
        .map(|i| {
            let (sin, cos) = (std::f64::consts::PI * i as f64 / angles as f64).sin_cos();
            ratio * ratio * cos * cos + sin * sin
        })
        .collect();
    let outside = |r: f64| {
        let sum: f64 = all_q
            .iter()
            .map(|q| ratio / q * (-r * r * q / (2.0 * ratio * ratio)).exp())
            .sum();
        sum / angles as f64
    };
    let (mut low, mut high) = (NORMAL_95, ELLIPSE_95);
    for _ in 0..60 {
        let mid = f64::midpoint(low, high);
        if outside(mid) > 0.05 {
            low = mid;
        } else {
            high = mid;
        }
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn circle_between_its_limits() {
        assert!((circle_95(isotropic(4.0)) - 2.0 * ELLIPSE_95).abs() < 1e-9);
        assert!((circle_95([[9.0, 0.0], [0.0, 0.0]]) - 3.0 * NORMAL_95).abs() < 1e-9);
    }

    /// Counted, not computed: of a fine grid of the standard normal plane, stretched, 95 % lie inside.
    #[test]
    fn circle_holds_95_percent() {
        for ratio in [0.1, 0.37, 0.8] {
            let radius = circle_95([[1.0, 0.0], [0.0, ratio * ratio]]);
            let (mut inside, mut all) = (0.0, 0.0);
            let step = 0.01;
            for i in -600..=600 {
                for j in -600..=600 {
                    let (u, v) = (f64::from(i) * step, f64::from(j) * step);
                    let weight = (-f64::midpoint(u * u, v * v)).exp();
                    all += weight;
                    if f64::hypot(u, v * ratio) <= radius {
                        inside += weight;
                    }
                }
            }
            assert!(
                (inside / all - 0.95_f64).abs() < 5e-4,
                "{ratio} {}",
                inside / all
            );
        }
    }

    #[test]
    fn carrying_turns_a_covariance() {
        let quarter = [[0.0, 1.0], [-1.0, 0.0]];
        let c = [[4.0, 1.0], [1.0, 9.0]];
        assert_eq!(carried(quarter, c, quarter), [[9.0, -1.0], [-1.0, 4.0]]);
        assert_eq!(product(quarter, IDENTITY), quarter);
    }

    #[test]
    fn difference_of_equal_points_is_nothing() {
        let c = [[2.0, 0.3], [0.3, 1.0]];
        assert_eq!(difference(c, c, c), ZERO);
    }
}
