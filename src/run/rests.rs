//! Places between marks as linear functions of the marks.

use crate::math::block::{self, Block};

/// What a place rests on: what a small change of each mark does to it, and what comes on top of that.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rests {
    /// Indices into [`super::Traced::marks`], each with its rate.
    pub marks: Vec<(usize, Block)>,
    /// Covariance beyond the marks', m².
    pub own: Block,
}

impl Rests {
    /// On one mark, at its very place.
    #[must_use]
    pub fn on(mark: usize) -> Self {
        Self {
            marks: vec![(mark, block::IDENTITY)],
            own: block::ZERO,
        }
    }

    /// Puts on top what `rate` makes of a change of another place. Its `own` counts once: of two places added here, no more
    /// than one may have the same `own` in it.
    pub fn add(&mut self, rate: Block, other: &Self) {
        for &(mark, theirs) in &other.marks {
            self.add_mark(mark, block::product(rate, theirs));
        }
        self.own = block::add(self.own, block::carried(rate, other.own, rate));
    }

    /// Puts a mark's rate on top.
    pub fn add_mark(&mut self, mark: usize, rate: Block) {
        match self.marks.iter_mut().find(|(known, _)| *known == mark) {
            Some((_, mine)) => *mine = block::add(*mine, rate),
            None => self.marks.push((mark, rate)),
        }
    }

    /// Covariance of two places by what they share of marks; `joint` is that of two marks (rows: the first).
    #[must_use]
    pub fn covariance(&self, other: &Self, joint: &dyn Fn(usize, usize) -> Block) -> Block {
        let mut sum = block::ZERO;
        for &(a, rate_a) in &self.marks {
            for &(b, rate_b) in &other.marks {
                let joint = joint(a, b);
                // Of most pairs.
                if joint != block::ZERO {
                    sum = block::add(sum, block::carried(rate_a, joint, rate_b));
                }
            }
        }
        sum
    }

    /// Covariance of the place itself.
    #[must_use]
    pub fn variance(&self, joint: &dyn Fn(usize, usize) -> Block) -> Block {
        block::add(self.covariance(self, joint), self.own)
    }
}

/// A figure (an angle, a length) as a linear function of the marks.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Pull {
    /// Indices into [`super::Traced::marks`], each with the figure's gradient.
    pub marks: Vec<(usize, [f64; 2])>,
    /// Variance beyond the marks'.
    pub own: f64,
}

impl Pull {
    /// Puts on top what a gradient makes of a place.
    pub fn add(&mut self, gradient: [f64; 2], place: &Rests) {
        for &(mark, rate) in &place.marks {
            let own = [
                gradient[0] * rate[0][0] + gradient[1] * rate[1][0],
                gradient[0] * rate[0][1] + gradient[1] * rate[1][1],
            ];
            match self.marks.iter_mut().find(|(known, _)| *known == mark) {
                Some((_, mine)) => *mine = [mine[0] + own[0], mine[1] + own[1]],
                None => self.marks.push((mark, own)),
            }
        }
        self.own += block::along(place.own, gradient);
    }

    /// One-sigma of the figure.
    pub fn sigma(&self, joint: &dyn Fn(usize, usize) -> Block) -> f64 {
        let mut sum = self.own;
        for &(a, pull_a) in &self.marks {
            for &(b, pull_b) in &self.marks {
                sum += block::between(joint(a, b), pull_a, pull_b);
            }
        }
        sum.max(0.0).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two marks, correlated: the middle between them, and their distance.
    #[test]
    fn middle_and_distance() {
        let joint = |a: usize, b: usize| block::isotropic(if a == b { 4.0 } else { 1.0 });
        let mut middle = Rests::default();
        middle.add(block::isotropic(0.5), &Rests::on(0));
        middle.add(block::isotropic(0.5), &Rests::on(1));
        // (4 + 4 + 2·1)/4, and with a mark 1/2·(4 + 1).
        assert_eq!(middle.variance(&joint), block::isotropic(2.5));
        assert_eq!(
            middle.covariance(&Rests::on(1), &joint),
            block::isotropic(2.5)
        );
        let mut distance = Pull::default();
        distance.add([0.0, -1.0], &Rests::on(0));
        distance.add([0.0, 1.0], &Rests::on(1));
        assert!((distance.sigma(&joint) - 6.0_f64.sqrt()).abs() < 1e-12);
    }
}
