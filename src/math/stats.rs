//! Constants and distributions of the normal and chi-square families.

/// Two-sided 95 % of the normal distribution.
pub const NORMAL_95: f64 = 1.959_963_984_540_054;
/// One-sided 95 % of the normal distribution.
pub const NORMAL_95_ONE_SIDED: f64 = 1.644_853_626_951_472_2;
/// Standard normal quantile of a one-sided 90 %.
pub const NORMAL_90_ONE_SIDED: f64 = 1.281_551_565_544_6;
/// Two-sided 99.9 % of the normal distribution (Baarda's α = 0.001): alarms that are repeated for each mark.
pub const ALARM: f64 = 3.290_526_731_491_906;
/// Root of the 95 % quantile of chi-square with two degrees of freedom: 95 % ellipse over one-sigma.
pub const ELLIPSE_95: f64 = 2.447_746_830_680_816;

/// Natural logarithm of the gamma function for x > 0: Stirling's series after shifting x above 10.
fn ln_gamma(x: f64) -> f64 {
    let mut shift = 0.0;
    let mut x = x;
    while x < 10.0 {
        shift += x.ln();
        x += 1.0;
    }
    let r = 1.0 / (x * x);
    let series =
        (1.0 / 12.0 - r * (1.0 / 360.0 - r * (1.0 / 1260.0 - r * (1.0 / 1680.0 - r / 1188.0)))) / x;
    (x - 0.5) * x.ln() - x + 0.5 * (2.0 * std::f64::consts::PI).ln() + series - shift
}

/// Regularised lower incomplete gamma function P(a, x): power series below a + 1, continued fraction above.
fn gamma_p(a: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    let front = (a * x.ln() - x - ln_gamma(a)).exp();
    if x < a + 1.0 {
        let (mut term, mut sum, mut n) = (1.0 / a, 1.0 / a, a);
        while term > sum * 1e-17 {
            n += 1.0;
            term *= x / n;
            sum += term;
        }
        return front * sum;
    }
    // Modified Lentz evaluation.
    let tiny = 1e-300;
    let mut b = x + 1.0 - a;
    let mut c = 1.0 / tiny;
    let mut d = 1.0 / b;
    let mut h = d;
    for i in 1..100_000 {
        let an = -f64::from(i) * (f64::from(i) - a);
        b += 2.0;
        d = an * d + b;
        d = 1.0 / if d.abs() < tiny { tiny } else { d };
        c = b + an / c;
        c = if c.abs() < tiny { tiny } else { c };
        let step = d * c;
        h *= step;
        if (step - 1.0).abs() < 1e-16 {
            break;
        }
    }
    1.0 - front * h
}

/// The middle one of some values, the upper of two; `None` of none. Sorts them.
#[must_use]
pub fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// Probability that a chi-square variable with `dof` degrees of freedom lies below `x`.
#[must_use]
pub fn chi_square_probability(x: f64, dof: f64) -> f64 {
    gamma_p(dof / 2.0, x / 2.0)
}

/// Probability that a normal variable of so much mean and one-sigma (> 0) lies within ± `bound`, and how that grows with the bound.
#[must_use]
pub fn normal_within(bound: f64, (mean, sigma): (f64, f64)) -> (f64, f64) {
    let [above, below] = [(bound - mean) / sigma, (-bound - mean) / sigma];
    let erf = |z: f64| libm::erf(z * std::f64::consts::FRAC_1_SQRT_2);
    let density = |z: f64| (-0.5 * z * z).exp();
    (
        0.5 * (erf(above) - erf(below)),
        (density(above) + density(below)) / (sigma * std::f64::consts::TAU.sqrt()),
    )
}

/// How far out, in one-sigmas, two coordinates lie together as rarely as one figure lies beyond ± `sigmas`: 2.4477 for 1.9600,
/// 3.7169 for 3.2905.
#[must_use]
pub fn in_plane(sigmas: f64) -> f64 {
    let beyond = libm::erfc(sigmas * std::f64::consts::FRAC_1_SQRT_2);
    (-2.0 * beyond.ln()).max(0.0).sqrt()
}

/// How well measurements fit each other: a sum of squares with its degrees of freedom.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Fit {
    /// Σ (v/σ)².
    pub squares: f64,
    /// Degrees of freedom.
    pub redundancy: usize,
}

impl Fit {
    /// Both together.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self {
            squares: self.squares + other.squares,
            redundancy: self.redundancy + other.redundancy,
        }
    }

    /// The a-posteriori variance factor; `None` without redundancy.
    #[must_use]
    pub fn factor(self) -> Option<f64> {
        (self.redundancy > 0).then(|| self.squares / self.redundancy as f64)
    }

    /// Bounds that it keeps with 95 %, if the sigmas hold.
    #[must_use]
    pub fn bounds(self) -> Option<(f64, f64)> {
        let dof = self.redundancy as f64;
        let bound = |p: f64| chi_square_quantile(p, dof) / dof;
        (self.redundancy > 0).then(|| (bound(0.025), bound(0.975)))
    }
}

/// The value that a chi-square variable with `dof` degrees of freedom stays below with probability `p` (0 < p < 1).
#[must_use]
pub fn chi_square_quantile(p: f64, dof: f64) -> f64 {
    let (mut low, mut high) = (0.0, dof.max(1.0) * 2.0);
    while chi_square_probability(high, dof) < p && high < 1e12 {
        high *= 2.0;
    }
    // Halving the bracket 200 times ends at neighbouring numbers whatever the shape.
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if chi_square_probability(middle, dof) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Quantiles made with scipy 1.x `chi2.ppf`, six decimals.
    #[test]
    fn quantiles_match_tables() {
        let table: [(f64, [f64; 3]); 7] = [
            (1.0, [0.000_982_069, 3.841_459, 5.023_886]),
            (2.0, [0.050_635_6, 5.991_465, 7.377_759]),
            (3.0, [0.215_795_3, 7.814_728, 9.348_404]),
            (4.0, [0.484_418_6, 9.487_729, 11.143_287]),
            (5.0, [0.831_211_6, 11.070_498, 12.832_502]),
            (10.0, [3.246_973, 18.307_038, 20.483_177]),
            (20.0, [9.590_777, 31.410_433, 34.169_607]),
        ];
        for (dof, row) in table {
            for (p, want) in [0.025, 0.95, 0.975].into_iter().zip(row) {
                let got = chi_square_quantile(p, dof);
                assert!((got - want).abs() < 6e-7, "{dof} {p}: {got} {want}");
            }
        }
    }

    #[test]
    fn constants_are_the_distributions_own() {
        assert!((chi_square_quantile(0.95, 2.0).sqrt() - ELLIPSE_95).abs() < 1e-12);
        assert!((chi_square_quantile(0.95, 1.0).sqrt() - NORMAL_95).abs() < 1e-9);
        assert!((chi_square_quantile(0.90, 1.0).sqrt() - NORMAL_95_ONE_SIDED).abs() < 1e-9);
        assert!((chi_square_quantile(0.999, 1.0).sqrt() - ALARM).abs() < 1e-9);
    }

    /// Mean 1, one-sigma 2, within ± 3: `norm.cdf(1) - norm.cdf(-2)` of scipy 1.x.
    #[test]
    fn within_a_bound_off_the_middle() {
        let within = |bound, of| normal_within(bound, of).0;
        assert!((within(NORMAL_95, (0.0, 1.0)) - 0.95).abs() < 1e-12);
        assert!((within(3.0, (1.0, 2.0)) - 0.818_594_614_120_364_3).abs() < 1e-12);
        assert!((within(3.0, (-1.0, 2.0)) - 0.818_594_614_120_364_3).abs() < 1e-12);
        assert!(within(1.0, (50.0, 1.0)) < 1e-12);
        let grows = (within(3.0 + 1e-5, (1.0, 2.0)) - within(3.0 - 1e-5, (1.0, 2.0))) / 2e-5;
        assert!((normal_within(3.0, (1.0, 2.0)).1 - grows).abs() < 1e-9);
    }

    #[test]
    fn a_radius_in_plane_is_passed_as_rarely_as_a_bound() {
        assert!((in_plane(NORMAL_95) - ELLIPSE_95).abs() < 1e-9);
        assert!((in_plane(ALARM) - chi_square_quantile(0.999, 2.0).sqrt()).abs() < 1e-9);
        // Far out, where 1 − P has no digits left: the normal tail beyond ± 10 is 1.523971e-23 (scipy 1.x, 2 norm.sf).
        assert!(
            (in_plane(10.0) - (-2.0 * 1.523_970_604_832_094_2e-23_f64.ln()).sqrt()).abs() < 1e-9
        );
        assert_eq!(in_plane(0.0), 0.0);
    }

    #[test]
    fn large_degrees_of_freedom_stay_sane() {
        // Wilson and Hilferty's approximation is good to 1e-6 of the value here.
        let dof: f64 = 2.0e6;
        let want = dof * (1.0 - 2.0 / (9.0 * dof) + NORMAL_95 * (2.0 / (9.0 * dof)).sqrt()).powi(3);
        assert!((chi_square_quantile(0.975, dof) / want - 1.0).abs() < 1e-6);
    }
}
