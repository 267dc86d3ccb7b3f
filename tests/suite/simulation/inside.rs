//! Whether a truth lies within a stated ellipse.

use aslaid::record::model::Ellipse;

/// Distance of a difference east and north from an ellipse's middle, over the ellipse's radius in that direction:
/// 1 on the ellipse. Lengths in one unit.
pub fn over_ellipse(ellipse: &Ellipse, [east, north]: [f64; 2]) -> f64 {
    let (s, c) = ellipse.azimuth_95.to_radians().sin_cos();
    let (along, across) = (east * s + north * c, east * c - north * s);
    (along / ellipse.semi_major_95).hypot(across / ellipse.semi_minor_95)
}

#[cfg(test)]
mod tests {
    use super::{Ellipse, over_ellipse};

    #[test]
    fn major_axis_lies_on_its_azimuth() {
        let ellipse = Ellipse {
            semi_major_95: 2.0,
            semi_minor_95: 1.0,
            azimuth_95: 90.0,
        };
        assert!((over_ellipse(&ellipse, [2.0, 0.0]) - 1.0).abs() < 1e-12);
        assert!((over_ellipse(&ellipse, [0.0, 1.0]) - 1.0).abs() < 1e-12);
        let ellipse = Ellipse {
            azimuth_95: 45.0,
            ..ellipse
        };
        let half = std::f64::consts::SQRT_2;
        assert!((over_ellipse(&ellipse, [half, half]) - 1.0).abs() < 1e-12);
        assert!(over_ellipse(&ellipse, [half, -half]) > 1.9);
    }
}
