//! The upper tail of the chi-square distribution.

/// Probability that a chi-square variable of `degrees` of freedom exceeds `value`.
///
/// The regularised upper incomplete gamma function at half of each: its power series below the mean, its continued
/// fraction above (both are textbook mathematics), to about 1e-14.
#[must_use]
pub fn upper_tail(value: f64, degrees: usize) -> f64 {
    if value <= 0.0 || degrees == 0 {
        return 1.0;
    }
    let (a, x) = (degrees as f64 / 2.0, value / 2.0);
    let front = (a * x.ln() - x - ln_gamma_half(degrees)).exp();
    let tail = if x < a + 1.0 {
        1.0 - front * series(a, x)
    } else {
        front * fraction(a, x)
    };
    tail.clamp(0.0, 1.0)
}

/// ln Γ(degrees / 2), by the recursion Γ(z + 1) = z Γ(z) from Γ(1) = 1 or Γ(1/2) = √π.
fn ln_gamma_half(degrees: usize) -> f64 {
    let (mut z, mut sum) = if degrees.is_multiple_of(2) {
        (1.0, 0.0)
    } else {
        (0.5, 0.5 * std::f64::consts::PI.ln())
    };
    while z + 0.5 < degrees as f64 / 2.0 {
        sum += f64::ln(z);
        z += 1.0;
    }
    sum
}

/// Σ xⁿ / (a (a+1) … (a+n)).
fn series(a: f64, x: f64) -> f64 {
    let (mut term, mut sum, mut n) = (1.0 / a, 1.0 / a, a);
    while term > sum * 1e-16 {
        n += 1.0;
        term *= x / n;
        sum += term;
    }
    sum
}

/// 1/(x+1−a − 1(1−a)/(x+3−a − 2(2−a)/(x+5−a − …))), from the front with running ratios.
fn fraction(a: f64, x: f64) -> f64 {
    let mut b = x + 1.0 - a;
    let (mut c, mut d) = (1e300, 1.0 / b);
    let mut value = d;
    for i in 1..100_000 {
        let n = f64::from(i);
        let numerator = n * (a - n);
        b += 2.0;
        d = 1.0 / (numerator * d + b);
        c = b + numerator / c;
        let factor = c * d;
        value *= factor;
        if (factor - 1.0).abs() < 1e-15 {
            break;
        }
    }
    value
}

#[cfg(test)]
mod tests {
    use super::upper_tail;

    /// Quantiles at 0.025, 0.95 and 0.975 as scipy prints them.
    #[test]
    fn quantiles() {
        let rows = [
            (1, 0.000_982_069, 3.841_459, 5.023_886),
            (2, 0.050_635_6, 5.991_465, 7.377_759),
            (3, 0.215_795_3, 7.814_728, 9.348_404),
            (4, 0.484_418_6, 9.487_729, 11.143_287),
            (5, 0.831_211_6, 11.070_498, 12.832_502),
            (10, 3.246_973, 18.307_038, 20.483_177),
            (20, 9.590_777, 31.410_433, 34.169_607),
        ];
        for (degrees, low, upper, high) in rows {
            assert!((upper_tail(low, degrees) - 0.975).abs() < 2e-7, "{degrees}");
            assert!(
                (upper_tail(upper, degrees) - 0.05).abs() < 2e-7,
                "{degrees}"
            );
            assert!(
                (upper_tail(high, degrees) - 0.025).abs() < 2e-7,
                "{degrees}"
            );
        }
    }

    #[test]
    fn limits() {
        assert!((upper_tail(0.0, 3) - 1.0).abs() < 1e-15);
        assert!(upper_tail(1e5, 3) < 1e-300);
        assert!((upper_tail(1000.0, 1000) - 0.494_053_02).abs() < 1e-3);
    }
}
