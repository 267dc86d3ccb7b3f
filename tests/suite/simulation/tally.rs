//! Counting how often a stated 95 % region holds the truth.

use std::fmt;

/// Counts of one quantity.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Tally {
    /// Comparisons.
    pub total: usize,
    /// Truth within the stated region.
    pub inside: usize,
    squares: f64,
    signed: f64,
}

impl Tally {
    /// Counts a difference over its stated bound: 1 is on the bound. The sign counts where there is one.
    pub fn add(&mut self, ratio: f64) {
        self.total += 1;
        self.inside += usize::from(ratio.abs() <= 1.0);
        self.squares += ratio * ratio;
        self.signed += ratio;
    }

    /// Counts a yes or no.
    pub fn add_flag(&mut self, yes: bool) {
        self.total += 1;
        self.inside += usize::from(yes);
    }

    /// Adds other counts.
    pub fn merge(&mut self, other: &Self) {
        self.total += other.total;
        self.inside += other.inside;
        self.squares += other.squares;
        self.signed += other.signed;
    }

    /// Share inside; NaN of nothing, which lies within no limits.
    pub fn share(&self) -> f64 {
        self.inside as f64 / self.total as f64
    }

    /// 95 % interval of the share (Wilson 1927). Comparisons of one job share errors, so it is a little too narrow.
    pub fn interval(&self) -> [f64; 2] {
        let (n, p, z) = (self.total as f64, self.share(), 1.959_963_985);
        let middle = p + z * z / (2.0 * n);
        let half = z * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
        let scale = 1.0 + z * z / n;
        [(middle - half) / scale, (middle + half) / scale]
    }

    /// Root mean square of difference over bound, and its mean.
    pub fn spread(&self) -> [f64; 2] {
        let n = self.total as f64;
        [(self.squares / n).sqrt(), self.signed / n]
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [low, high] = self.interval().map(|share| 100.0 * share);
        let [spread, bias] = self.spread();
        let share = 100.0 * self.share();
        write!(
            f,
            "{:>6}/{:<6} {share:5.1} % ({low:.1} to {high:.1})",
            self.inside, self.total
        )?;
        write!(
            f,
            "  difference over bound: rms {spread:.3}, mean {bias:+.3}"
        )
    }
}

#[cfg(test)]
mod tests {
    use super::Tally;

    #[test]
    fn interval_is_wilsons() {
        // Newcombe 1998, table I, method 3: 81 of 263 gives 0.2553 to 0.3662.
        let tally = Tally {
            total: 263,
            inside: 81,
            ..Tally::default()
        };
        let [low, high] = tally.interval();
        assert!(
            (low - 0.2553).abs() < 5e-5 && (high - 0.3662).abs() < 5e-5,
            "{low} {high}"
        );
        assert!(Tally::default().share().is_nan());
    }
}
