//! The field of the transmitter, a magnetic dipole, over flat ground: where a receiver finds what.
//!
//! # Frame
//! The dipole lies at the origin at depth 1 under the plane of the receiver's sensing point; all lengths are in units of
//! that depth. x runs along the push direction, y to its right, z up. Its axis lies in the x–z plane, raised by the tilt θ
//! at the lens end (+x). With r the vector from the dipole to the receiver, the field
//! ([`crate::sources::Source::Griffiths`]) is, but for a constant,
//!
//! B = (3 (m·r) r − r² m) / r⁵, m = (cos θ, 0, sin θ).
//!
//! # On the line over the pipe
//! At r = (x, 0, 1), with p = x cos θ + sin θ and r² = x² + 1:
//!
//! - **Field vertical**, Bₓ = 0: 3 p x = r² cos θ, which is 2x² + 3x t − 1 = 0 with t = tan θ. So
//!   x = (−3t ± √(9t² + 8)) / 4. The two are √(9t² + 8)/2 apart; level, that is √2.
//! - **Field level**, B_z = 0: 3 p = r² sin θ, which is t x² − 3x − 2t = 0. The root near the transmitter is
//!   x = (3 − √(9 + 8t²)) / (2t), written −4t / (3 + √(9 + 8t²)) to hold at t = 0. About −⅔ t.
//! - **Strongest**: B² = (3p² + r²) / r⁸ (from (3(m·r)r − r²m)² = 3(m·r)² r² + r⁴). With N = 3p² + r² = a x² + b x + c,
//!   a = 3cos²θ + 1, b = 6 sinθ cosθ, c = 3sin²θ + 1, the derivative of N/(1+x²)⁴ vanishes where
//!   N′(x² + 1) = 8 x N: 6a x³ + 7b x² + (8c − 2a) x − b = 0. Level that is 24 x³ = 0: a flat top, which the
//!   least tilt moves far.

/// Largest tilt that the closed forms along the pipe are asked for: beyond it "along" has no meaning.
pub const STEEPEST: f64 = 80.0 * std::f64::consts::PI / 180.0;

fn tangent(tilt: f64) -> f64 {
    tilt.clamp(-STEEPEST, STEEPEST).tan()
}

/// The field at `[x, y, z]` from the dipole (z up), for a tilt in radians. Any length unit; strength in m/r³.
#[must_use]
pub fn field(at: [f64; 3], tilt: f64) -> [f64; 3] {
    let [x, y, z] = at;
    let (m_z, m_x) = tilt.sin_cos();
    let square = x * x + y * y + z * z;
    let dot = 3.0 * (m_x * x + m_z * z);
    let fifth = square * square * square.sqrt();
    [
        (dot * x - square * m_x) / fifth,
        dot * y / fifth,
        (dot * z - square * m_z) / fifth,
    ]
}

/// Total strength at `x` along and `y` across on the ground over a dipole at depth 1.
#[must_use]
pub fn strength(x: f64, y: f64, tilt: f64) -> f64 {
    let [east, north, up] = field([x, y, 1.0], tilt);
    (east * east + north * north + up * up).sqrt()
}

/// Where the field is vertical: behind, ahead.
#[must_use]
pub fn vertical_points(tilt: f64) -> (f64, f64) {
    let t = tangent(tilt);
    let root = (9.0 * t * t + 8.0).sqrt();
    ((-3.0 * t - root) / 4.0, (-3.0 * t + root) / 4.0)
}

/// Distance between the two points of vertical field.
#[must_use]
pub fn separation(tilt: f64) -> f64 {
    let t = tangent(tilt);
    (9.0 * t * t + 8.0).sqrt() / 2.0
}

/// Where the field is level, next to the transmitter: the crossline.
#[must_use]
pub fn crossline(tilt: f64) -> f64 {
    let t = tangent(tilt);
    -4.0 * t / (3.0 + (9.0 + 8.0 * t * t).sqrt())
}

/// How fast the crossline moves with the tilt, depths a radian.
#[must_use]
pub fn crossline_rate(tilt: f64) -> f64 {
    let t = tangent(tilt);
    let root = (9.0 + 8.0 * t * t).sqrt();
    // d/dt of −4t/(3 + root) is −4 (3 + root − 8t²/root)/(3 + root)², and dt/dθ = 1 + t².
    -4.0 * (3.0 + root - 8.0 * t * t / root) / (3.0 + root).powi(2) * (1.0 + t * t)
}

/// Where the total field is strongest.
#[must_use]
pub fn peak(tilt: f64) -> f64 {
    let (sin, cos) = tilt.abs().sin_cos();
    let (a, b, c) = (
        3.0 * cos * cos + 1.0,
        6.0 * sin * cos,
        3.0 * sin * sin + 1.0,
    );
    if b <= 0.0 {
        return 0.0;
    }
    // For x ≥ 0 the cubic rises and is convex (8c ≥ 2a), so Newton from the right comes down to its one root.
    let mut x: f64 = 0.5;
    for _ in 0..80 {
        let value = ((6.0 * a * x + 7.0 * b) * x + 8.0 * c - 2.0 * a) * x - b;
        let step = value / ((18.0 * a * x + 14.0 * b) * x + 8.0 * c - 2.0 * a);
        x -= step;
        if step.abs() < 1e-13 {
            break;
        }
    }
    x.copysign(tilt)
}

/// Mean and one-sigma of [`peak`] over a normally distributed tilt.
///
/// The peak's place is two-humped (about ± 0.2 of the depth) when the tilt is only known to be small: the place at the mean
/// tilt is not its mean place. Equal steps over ± 4 σ, which for so smooth a weight is exact to 1e-4.
#[must_use]
pub fn peak_over(tilt: f64, sigma: f64) -> (f64, f64) {
    const STEPS: i32 = 16;
    let (mut weights, mut mean, mut square) = (0.0, 0.0, 0.0);
    for step in -STEPS..=STEPS {
        let u = f64::from(step) * 4.0 / f64::from(STEPS);
        let weight = (-u * u / 2.0).exp();
        let x = peak(tilt + u * sigma);
        weights += weight;
        mean += weight * x;
        square += weight * x * x;
    }
    mean /= weights;
    (mean, (square / weights - mean * mean).max(0.0).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// tilt, field vertical behind and ahead, field level, strongest, separation: made with magpylib 6.3.0 and Brent's root
    /// finder (see the README beside the file).
    const NULLS: &str = include_str!("../../fixtures/reference/dipole/dipole_nulls.csv");

    fn rows(text: &str) -> impl Iterator<Item = Vec<f64>> + '_ {
        text.lines().skip(1).map(|line| {
            line.split(',')
                .filter_map(|cell| cell.parse().ok())
                .collect()
        })
    }

    #[test]
    fn points_equal_an_independent_root_finder() {
        let mut seen = 0;
        for row in rows(NULLS) {
            let tilt = row[0].to_radians();
            let (behind, ahead) = vertical_points(tilt);
            assert!(
                (behind - row[1]).abs() < 1e-6 && (ahead - row[2]).abs() < 1e-6,
                "{row:?}"
            );
            assert!((crossline(tilt) - row[3]).abs() < 1e-6, "{row:?}");
            assert!(
                (peak(tilt) - row[4]).abs() < 2e-5,
                "{row:?}: the file's own precision of the peak"
            );
            assert!((separation(tilt) - row[5]).abs() < 1e-6, "{row:?}");
            seen += 1;
        }
        assert!(seen >= 15);
    }

    #[test]
    fn tilting_the_other_way_mirrors() {
        for degrees in [0.5_f64, 7.0, 33.0, 60.0] {
            let tilt = degrees.to_radians();
            let (behind, ahead) = vertical_points(tilt);
            let (mirrored_behind, mirrored_ahead) = vertical_points(-tilt);
            assert!(
                (behind + mirrored_ahead).abs() < 1e-14 && (ahead + mirrored_behind).abs() < 1e-14
            );
            assert!((crossline(tilt) + crossline(-tilt)).abs() < 1e-15);
            assert!((peak(tilt) + peak(-tilt)).abs() < 1e-15);
        }
    }

    #[test]
    fn rate_is_the_derivative() {
        for degrees in [-40.0_f64, -3.0, 0.0, 1.0, 20.0, 55.0] {
            let (tilt, h) = (degrees.to_radians(), 1e-6);
            let numeric = (crossline(tilt + h) - crossline(tilt - h)) / (2.0 * h);
            assert!((crossline_rate(tilt) - numeric).abs() < 1e-8, "{degrees}");
        }
    }

    /// Strengths relative to the crossline: level 0.770 at both ends; 10° lens end up 0.979 ahead, 0.596 behind.
    #[test]
    fn strengths_at_the_ends() {
        let (behind, ahead) = vertical_points(0.0);
        let at = strength(crossline(0.0), 0.0, 0.0);
        assert!((strength(ahead, 0.0, 0.0) / at - 0.770).abs() < 5e-4);
        assert!((strength(behind, 0.0, 0.0) / at - 0.770).abs() < 5e-4);
        let tilt = 10.0_f64.to_radians();
        let (behind, ahead) = vertical_points(tilt);
        let at = strength(crossline(tilt), 0.0, tilt);
        assert!((strength(ahead, 0.0, tilt) / at - 0.979).abs() < 5e-4);
        assert!((strength(behind, 0.0, tilt) / at - 0.596).abs() < 5e-4);
    }

    /// Ends and crossline give back place, depth and tilt, from 0 to 60°, either way.
    #[test]
    fn points_to_place_depth_tilt_and_back() {
        for step in -60..=60 {
            let (tilt, depth, place) = (f64::from(step).to_radians(), 1.7, 10.0);
            let (behind, ahead) = vertical_points(tilt);
            let [behind, level, ahead] =
                [behind, crossline(tilt), ahead].map(|x| place + depth * x);
            // The crossline's part of the way from end to end rises steadily with −tilt: bisection.
            let part = (level - behind) / (ahead - behind);
            let (mut low, mut high) = (-1.2_f64, 1.2);
            for _ in 0..80 {
                let mid = f64::midpoint(low, high);
                let (b, a) = vertical_points(mid);
                if (crossline(mid) - b) / (a - b) < part {
                    low = mid;
                } else {
                    high = mid;
                }
            }
            let found = f64::midpoint(low, high);
            let found_depth = (ahead - behind) / separation(found);
            let found_place = level - found_depth * crossline(found);
            assert!(
                (found - tilt).abs() < 1e-9,
                "{step}: {}",
                found.to_degrees()
            );
            assert!(
                (found_depth - depth).abs() < 1e-9 && (found_place - place).abs() < 1e-9,
                "{step}"
            );
        }
    }

    /// Round trips worked outside: tilt 30°, depth 1.7 at 10, and −12°, 2.4 at −3.
    #[test]
    fn published_positions() {
        let cases = [
            (
                30.0_f64,
                1.7,
                10.0,
                [7.854_312_871, 10.673_443_943, 9.388_061_744],
            ),
            (
                -12.0,
                2.4,
                -3.0,
                [-4.357_048_771, -0.877_747_607, -2.663_257_142],
            ),
        ];
        for (degrees, depth, place, expected) in cases {
            let tilt = degrees.to_radians();
            let (behind, ahead) = vertical_points(tilt);
            for (x, expected) in [behind, ahead, crossline(tilt)].into_iter().zip(expected) {
                assert!((place + depth * x - expected).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn peak_scatters_as_far_as_its_humps() {
        let (mean, sigma) = peak_over(0.0, 3.0_f64.to_radians());
        assert!(mean.abs() < 1e-12);
        assert!((0.16..0.20).contains(&sigma), "{sigma}");
        let (mean, sigma) = peak_over(10.0_f64.to_radians(), 1e-6);
        assert!((mean - peak(10.0_f64.to_radians())).abs() < 1e-6 && sigma < 1e-4);
    }
}
