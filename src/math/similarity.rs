//! Plane similarity between two systems of coordinates.

/// East, north or x, y.
type Pair = (f64, f64);

/// East = e + a·(x − x₀) + b·(y − y₀), north = n − b·(x − x₀) + a·(y − y₀): scale √(a² + b²), clockwise turn atan2(b, a) of the axes of the image.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Similarity {
    /// Point of the source system about which it is written.
    pub origin: (f64, f64),
    /// Parameters a, b, e, n.
    pub parameters: [f64; 4],
}

impl Similarity {
    /// Scale: image length over source length.
    #[must_use]
    pub fn scale(&self) -> f64 {
        self.parameters[0].hypot(self.parameters[1])
    }

    /// Clockwise turn from a direction in the source to the same in the image, radians: what a source azimuth grows by.
    #[must_use]
    pub fn rotation(&self) -> f64 {
        self.parameters[1].atan2(self.parameters[0])
    }

    /// Image of a source point.
    #[must_use]
    pub fn apply(&self, (x, y): Pair) -> Pair {
        let [a, b, e, n] = self.parameters;
        let (x, y) = (x - self.origin.0, y - self.origin.1);
        (e + a * x + b * y, n - b * x + a * y)
    }

    /// The source point of an image, less the origin.
    #[must_use]
    pub fn local(&self, (e, n): Pair) -> Pair {
        let [a, b, east, north] = self.parameters;
        let (e, n, square) = (e - east, n - north, a * a + b * b);
        ((a * e - b * n) / square, (b * e + a * n) / square)
    }

    /// Partial derivatives of the image of a source point with respect to a, b, e, n: rows east, north.
    #[must_use]
    pub fn partials(&self, (x, y): Pair) -> [[f64; 4]; 2] {
        let (x, y) = (x - self.origin.0, y - self.origin.1);
        [[x, y, 1.0, 0.0], [y, -x, 0.0, 1.0]]
    }

    /// The similarity that fits pairs (source, image) best with equal weights; `None` with fewer than two distinct source points.
    #[must_use]
    pub fn fit(pairs: &[(Pair, Pair)]) -> Option<Self> {
        let equal: Vec<_> = pairs.iter().map(|pair| (*pair, 1.0)).collect();
        Self::weighted(&equal)
    }

    /// The one that fits best where each pair has a weight.
    #[must_use]
    pub fn weighted(pairs: &[((Pair, Pair), f64)]) -> Option<Self> {
        let all: f64 = pairs.iter().map(|(_, weight)| weight).sum();
        let mean = pairs
            .iter()
            .fold([0.0; 4], |m, (((x, y), (e, nn)), weight)| {
                let share = weight / all;
                [
                    m[0] + share * x,
                    m[1] + share * y,
                    m[2] + share * e,
                    m[3] + share * nn,
                ]
            });
        let (origin, image) = ((mean[0], mean[1]), (mean[2], mean[3]));
        let (mut aa, mut bb, mut size) = (0.0, 0.0, 0.0);
        for (((x, y), (e, nn)), weight) in pairs {
            let (x, y, e, nn) = (x - origin.0, y - origin.1, e - image.0, nn - image.1);
            aa += weight * (x * e + y * nn);
            bb += weight * (y * e - x * nn);
            size += weight * (x * x + y * y);
        }
        let parameters = [aa / size, bb / size, image.0, image.1];
        (pairs.len() >= 2 && size > 0.0 && parameters.iter().all(|p| p.is_finite()))
            .then_some(Self { origin, parameters })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fit_gives_back_what_made_it() {
        let made = Similarity {
            origin: (50.0, 70.0),
            parameters: [0.8, 0.6, 1000.0, 2000.0],
        };
        let pairs: Vec<_> = [(0.0, 0.0), (10.0, 5.0), (-3.0, 8.0)]
            .into_iter()
            .map(|p| (p, made.apply(p)))
            .collect();
        let fit = Similarity::fit(&pairs).expect("three distinct points");
        assert!((fit.scale() - 1.0).abs() < 1e-12);
        assert!((fit.rotation() - 0.6_f64.atan2(0.8)).abs() < 1e-12);
        for (p, q) in pairs {
            let (e, n) = fit.apply(p);
            assert!((e - q.0).hypot(n - q.1) < 1e-9);
        }
    }

    #[test]
    fn site_north_turned_clockwise_is_a_positive_rotation() {
        // Site +y lies due east: azimuths grow by 90°.
        let fit = Similarity::fit(&[((0.0, 0.0), (0.0, 0.0)), ((0.0, 1.0), (1.0, 0.0))])
            .expect("two points");
        assert!((fit.rotation().to_degrees() - 90.0).abs() < 1e-9);
    }

    #[test]
    fn one_place_twice_is_no_fit() {
        assert_eq!(
            Similarity::fit(&[((1.0, 1.0), (0.0, 0.0)), ((1.0, 1.0), (0.0, 0.0))]),
            None
        );
    }
}
