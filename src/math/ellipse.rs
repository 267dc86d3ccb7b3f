//! Error ellipse of a plane covariance.

/// One-sigma ellipse: semi-axes in the unit of the coordinates, azimuth of the major axis clockwise from the second axis (north), 0 to π.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ellipse {
    /// Semi-major axis, one-sigma.
    pub major: f64,
    /// Semi-minor axis, one-sigma.
    pub minor: f64,
    /// Azimuth of the major axis, radians.
    pub azimuth: f64,
}

impl Ellipse {
    /// From a covariance of (east, north).
    #[must_use]
    pub fn of(covariance: [[f64; 2]; 2]) -> Self {
        let [[ee, en], [_, nn]] = covariance;
        let mean = 0.5 * (ee + nn);
        let half = (0.5 * (ee - nn)).hypot(en);
        let azimuth = 0.5 * (2.0 * en).atan2(nn - ee);
        Self {
            major: (mean + half).max(0.0).sqrt(),
            minor: (mean - half).max(0.0).sqrt(),
            azimuth: azimuth.rem_euclid(std::f64::consts::PI),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two tapes of a self-made figure, worked with numpy: axes and azimuth as given there.
    #[test]
    fn axes_and_azimuth() {
        let ellipse = Ellipse::of([[0.001_098_54, 0.000_105_76], [0.000_105_76, 0.000_256_97]]);
        assert!((ellipse.major - 0.033_341_1).abs() < 1e-6);
        assert!((ellipse.minor - 0.015_616_6).abs() < 1e-6);
        assert!((ellipse.azimuth.to_degrees() - 82.945_8).abs() < 1e-3);
    }

    #[test]
    fn a_line_north_to_south_has_azimuth_zero() {
        let ellipse = Ellipse::of([[0.0, 0.0], [0.0, 4.0]]);
        assert_eq!(
            (ellipse.major, ellipse.minor, ellipse.azimuth),
            (2.0, 0.0, 0.0)
        );
    }
}
