//! Random numbers of our own, so that a seed means the same jobs on every machine and in every version.

use std::f64::consts::TAU;

/// xoshiro256++ (Blackman and Vigna 2019), its state filled by splitmix64.
#[derive(Clone)]
pub struct Rng {
    state: [u64; 4],
}

impl Rng {
    /// A generator for one stream of a seed: geometry and errors are separate streams, so that a job without errors has
    /// the same geometry as its twin with them.
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut z = seed ^ stream.wrapping_mul(0xd1b5_4a32_d192_ed03);
        let mut state = [0; 4];
        for word in &mut state {
            z = z.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut x = z;
            x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            *word = x ^ (x >> 31);
        }
        Self { state }
    }

    fn next(&mut self) -> u64 {
        let [a, b, c, d] = self.state;
        let result = a.wrapping_add(d).rotate_left(23).wrapping_add(a);
        self.state = [
            a ^ b ^ d,
            b ^ c ^ a,
            c ^ a ^ (b << 17),
            (d ^ b).rotate_left(45),
        ];
        result
    }

    /// Uniform over [0, 1).
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform over a range.
    pub fn between(&mut self, (low, high): (f64, f64)) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A whole number below `n`, which must not be 0.
    pub fn below(&mut self, n: usize) -> usize {
        ((self.unit() * n as f64) as usize).min(n - 1)
    }

    /// One of a list, which must not be empty.
    pub fn pick<T: Copy>(&mut self, list: &[T]) -> T {
        list[self.below(list.len())]
    }

    /// +1 or −1.
    pub fn sign(&mut self) -> f64 {
        if self.unit() < 0.5 { 1.0 } else { -1.0 }
    }

    /// Standard normal (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (TAU * self.unit()).cos()
    }
}

#[cfg(test)]
mod tests {
    use super::Rng;

    #[test]
    fn moments_and_tails_are_those_of_the_normal_distribution() {
        let mut rng = Rng::new(1, 0);
        let n = 200_000;
        let (mut sum, mut squares, mut inside) = (0.0, 0.0, 0);
        for _ in 0..n {
            let x = rng.normal();
            sum += x;
            squares += x * x;
            inside += usize::from(x.abs() < 1.959_963_985);
        }
        let n = f64::from(n);
        assert!((sum / n).abs() < 4.0 / n.sqrt(), "mean {}", sum / n);
        assert!(
            (squares / n - 1.0).abs() < 4.0 * (2.0 / n).sqrt(),
            "variance {}",
            squares / n
        );
        assert!(
            (inside as f64 / n - 0.95).abs() < 4.0 * (0.95 * 0.05 / n).sqrt(),
            "inside {inside}"
        );
    }

    #[test]
    fn streams_differ_and_seeds_repeat() {
        let take = |seed, stream| {
            let mut rng = Rng::new(seed, stream);
            [rng.next(), rng.next(), rng.next()]
        };
        assert_eq!(take(7, 0), take(7, 0));
        assert_ne!(take(7, 0), take(7, 1));
        assert_ne!(take(7, 0), take(8, 0));
    }
}
