//! The field of a magnetic dipole, and where a receiver finds what it looks for, by root finding on the field itself.
//!
//! Derived apart from the crate's closed forms: nothing here knows them. Frame: x along the push direction, z up; the
//! dipole at the origin, its axis in the x–z plane, raised at the lens end (+x) by the tilt. The receiver is at
//! (x, h(x)), where h is the height of its sensing point over the transmitter's axis, on ground that may slope.

/// Height of the upper coil of the simulated receiver over the lower one, metres: our choice, no receiver's.
const COILS: f64 = 0.3;

/// Field at (x, z) over μ₀m/4π: 3(m·r)r/r⁵ − m/r³ (Griffiths, *Introduction to Electrodynamics*, dipole field).
pub fn field(x: f64, z: f64, tilt: f64) -> [f64; 2] {
    let m = [tilt.cos(), tilt.sin()];
    let r2 = x * x + z * z;
    let r3 = r2 * r2.sqrt();
    let projection = 3.0 * (m[0] * x + m[1] * z) / r2;
    [(projection * x - m[0]) / r3, (projection * z - m[1]) / r3]
}

/// A root of `f` between `a` and `b`, where `f` must change sign, by bisection.
pub fn root(f: impl Fn(f64) -> f64, mut a: f64, mut b: f64) -> f64 {
    let start = f(a);
    assert!(start * f(b) <= 0.0, "no change of sign between {a} and {b}");
    for _ in 0..200 {
        let middle = 0.5 * (a + b);
        if f(middle) * start > 0.0 {
            a = middle;
        } else {
            b = middle;
        }
    }
    0.5 * (a + b)
}

/// Where the field is level, nearest the transmitter.
pub fn crossline(height: impl Fn(f64) -> f64, tilt: f64) -> f64 {
    let reach = 0.6 * height(0.0);
    root(|x| field(x, height(x), tilt)[1], -reach, reach)
}

/// Where the field is vertical, ahead of and behind the transmitter.
pub fn ends(height: impl Fn(f64) -> f64, tilt: f64) -> [f64; 2] {
    let reach = 2.5 * height(0.0);
    let along = |x| field(x, height(x), tilt)[0];
    [root(along, 0.0, reach), root(along, 0.0, -reach)]
}

/// Strength of the field at (x, y, z), y to the side.
pub fn strength([x, y, z]: [f64; 3], tilt: f64) -> f64 {
    let m = [tilt.cos(), tilt.sin()];
    let r2 = x * x + y * y + z * z;
    let r = [x, y, z];
    let projection = 3.0 * (m[0] * x + m[1] * z) / r2;
    let b = [0, 1, 2].map(|i| projection * r[i] - [m[0], 0.0, m[1]][i]);
    (b[0] * b[0] + b[1] * b[1] + b[2] * b[2]).sqrt() / (r2 * r2.sqrt())
}

/// Where the field is strongest on the line over the pipe, by looking about and then closer.
pub fn peak(height: impl Fn(f64) -> f64, tilt: f64) -> f64 {
    let mut reach = 0.6 * height(0.0);
    let mut middle = 0.0;
    for _ in 0..12 {
        let tries = (-20..=20).map(|step| middle + reach * f64::from(step) / 20.0);
        let strongest = |a: &f64, b: &f64| {
            let [a, b] = [*a, *b].map(|x| strength([x, 0.0, height(x)], tilt));
            a.total_cmp(&b)
        };
        middle = tries.max_by(strongest).expect("tries");
        reach *= 0.2;
    }
    middle
}

/// Depth below its lower coil that a receiver shows at x, from the strengths at its two coils as if the
/// transmitter lay level straight below: it falls with the cube of the distance.
pub fn shown_depth(x: f64, height: f64, tilt: f64) -> f64 {
    let strength = |z| {
        let [bx, bz] = field(x, z, tilt);
        bx.hypot(bz)
    };
    COILS / ((strength(height) / strength(height + COILS)).cbrt() - 1.0)
}

#[cfg(test)]
mod tests {
    use super::{crossline, ends, field, peak, shown_depth, strength};

    /// Tilt in degrees; end behind, end ahead, crossline over depth. Made with magpylib and a Brent root finder.
    const PUBLISHED: [[f64; 4]; 6] = [
        [1.0, -0.720_319_255, 0.694_136_658, -0.011_635_922],
        [2.0, -0.733_782_229, 0.681_401_075, -0.023_274_208],
        [10.0, -0.851_612_181, 0.587_121_710, -0.116_750_173],
        [20.0, -1.030_946_548, 0.484_991_197, -0.235_895_573],
        [30.0, -1.262_168_899, 0.396_143_496, -0.359_963_680],
        [45.0, -1.780_776_406, 0.280_776_406, -0.561_552_813],
    ];

    #[test]
    fn level_ends_are_their_separation_over_root_two_apart() {
        let [ahead, behind] = ends(|_| 1.7, 0.0);
        assert!((ahead - behind - std::f64::consts::SQRT_2 * 1.7).abs() < 1e-12);
        assert!(crossline(|_| 1.7, 0.0).abs() < 1e-12);
    }

    #[test]
    fn roots_are_those_of_an_independent_field_library() {
        for [degrees, behind, ahead, level] in PUBLISHED {
            for depth in [0.5, 1.0, 3.7] {
                let tilt = degrees.to_radians();
                let found = ends(|_| depth, tilt);
                assert!(
                    (found[0] / depth - ahead).abs() < 1e-8,
                    "{degrees}: ahead {}",
                    found[0]
                );
                assert!(
                    (found[1] / depth - behind).abs() < 1e-8,
                    "{degrees}: behind {}",
                    found[1]
                );
                assert!(
                    (crossline(|_| depth, tilt) / depth - level).abs() < 1e-8,
                    "{degrees}"
                );
                assert!(
                    (crossline(|_| depth, -tilt) / depth + level).abs() < 1e-8,
                    "−{degrees}"
                );
            }
        }
    }

    /// 2° puts the strongest signal 0.185 of the depth off, 10° 0.248, an upright transmitter straight above.
    #[test]
    fn the_peak_runs_off_quickly_with_a_little_tilt() {
        for (degrees, off) in [(2.0_f64, 0.185), (10.0, 0.248), (90.0, 0.0)] {
            for depth in [0.5, 2.0] {
                let found = peak(|_| depth, degrees.to_radians()) / depth;
                assert!((found - off).abs() < 5e-4, "{degrees}: {found}");
                let mirrored = peak(|_| depth, -degrees.to_radians()) / depth;
                assert!((mirrored + off).abs() < 5e-4, "−{degrees}: {mirrored}");
            }
        }
        let [x, z] = field(0.4, 1.1, 0.3);
        assert!((strength([0.4, 0.0, 1.1], 0.3) - x.hypot(z)).abs() < 1e-12);
    }

    #[test]
    fn a_level_transmitter_is_shown_at_its_depth_and_a_tilted_one_too_deep() {
        assert!((shown_depth(0.0, 2.0, 0.0) - 2.0).abs() < 1e-9);
        for (degrees, deep) in [(10.0_f64, 0.020), (20.0, 0.083), (30.0, 0.19)] {
            let x = crossline(|_| 1.0, degrees.to_radians());
            let excess = shown_depth(x, 1.0, degrees.to_radians()) - 1.0;
            assert!((excess - deep).abs() < 0.005, "{degrees}: {excess}");
        }
    }

    #[test]
    fn sloping_ground_moves_the_ends_apart_to_one_side() {
        let [ahead, behind] = ends(|x| 1.0 + 0.1 * x, 0.0);
        let root2 = std::f64::consts::SQRT_2;
        assert!((ahead - 1.0 / (root2 - 0.1)).abs() < 1e-9, "{ahead}");
        assert!((behind + 1.0 / (root2 + 0.1)).abs() < 1e-9, "{behind}");
    }
}
